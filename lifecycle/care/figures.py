"""A studio's own figures: set one, drop one, read them all beside the table."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import sqrt

from django.db import IntegrityError, transaction

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.condition.inputs import figures_in_use, own_figures
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import FigureOverride, Product, Studio, Vehicle
from lifecycle.wear.chemistry import RANGES
from lifecycle.wear.figures import all_figures, check_overrides, why_fixed
from lifecycle.wear.marks import NO_OVERRIDES, Figure, TableError, overridden
from lifecycle.wear.types import Mark

LONGEST_SOURCE = 300
MOST_ROWS = 100
GROUPS = {
    "spread": "Spread", "assumed": "Spread from what nobody told", "evidence": "Evidence", "cut": "Beading scores",
    "clog": "Clogging", "clear": "Clear coat", "removal": "Removal by grade", "film": "Film readings",
    "refinish": "Signs of refinish", "defect": "Defects", "etch": "Etching", "jump": "Single events",
    "absorptance": "Colour", "sun": "Sunlight by place on the vehicle", "share_day": "Parking by day",
    "share_night": "Parking by night", "washes": "Washes a year", "km": "Kilometres a year", "sea": "Sea distance",
    "contact": "Wash contact by method", "chemistry": "Wash chemistry by method", "ph": "Wash chemistry by agent",
    "salt_road": "Road salt: road", "salt_soil": "Road salt: grime", "trees": "Trees and birds",
    "soil_parking": "Grime by parking", "soil_climate": "Grime by climate", "soiling": "Grime by washing",
    "road_zone": "Road by place on the vehicle", "soil_zone": "Grime by place on the vehicle",
    "durability": "Durability learned here", "dose": "Physics: doses", "uv": "Physics: ultraviolet",
    "panel": "Physics: panel temperature", "solar": "Physics: sun", "reference": "Reference duty",
    "day": "Typical day", "home": "Where the life tables were told",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class OwnFigure:
    """A studio's own figure that is or was in use. `until` is None for one that is."""

    id: int
    key: str
    product_id: int | None
    product: str
    value: float
    low: float
    high: float
    mark: str
    source: str
    since: datetime
    until: datetime | None


@dataclass(frozen=True, slots=True)
class FigureRow:
    """One row of the table as shipped, with the studio's own figures in its place: `own` for all, `products` for
    single ones. `fixed` says why it cannot be replaced, "" where it can; `now` is the value that counts."""

    key: str
    value: float
    low: float
    high: float
    unit: str
    mark: str
    source: str
    now: float
    own: OwnFigure | None
    products: tuple[OwnFigure, ...]
    fixed: str

    @property
    def is_range(self) -> bool:
        """Whether the figure is a range of lives, whose value is the middle of its ends."""
        return self.key.startswith("layer.") and self.key.rsplit(".", 1)[1] in RANGES


@dataclass(frozen=True, slots=True)
class FigureGroup:
    """Figures of one subject: how many there are, and those that were asked for."""

    name: str
    title: str
    count: int
    rows: tuple[FigureRow, ...]


@dataclass(frozen=True, slots=True)
class ProductChoice:
    id: int
    name: str


@dataclass(frozen=True, slots=True)
class FigureView:
    """One figure, what it was set to before, and the products it can be set for."""

    row: FigureRow
    history: tuple[OwnFigure, ...]
    products: tuple[ProductChoice, ...]


def _live(studio: Studio) -> list[FigureOverride]:
    return list(FigureOverride.objects.of(studio).filter(superseded=None).select_related("product").order_by("pk"))


def _told(row: FigureOverride) -> OwnFigure:
    return OwnFigure(
        row.pk, row.key, row.product_id, str(row.product) if row.product else "", row.value, row.low, row.high,
        row.mark, row.source, row.since, row.superseded,
    )  # fmt: skip


def _refuse_bad(rows: Iterable[FigureOverride]) -> None:
    figures, products = own_figures(rows)
    try:
        check_overrides(figures, products=products)
    except TableError as error:
        raise DomainError(str(error)) from error


def _product(studio: Studio, key: str, product_id: int | None) -> Product | None:
    if product_id is None:
        return None
    product = one(Product, studio, product_id)
    if not key.startswith(f"layer.{product.kind}."):
        raise DomainError(
            f"product: {product} is of kind {product.kind}; only figures layer.{product.kind}.* can be set for it.",
            field="product",
        )
    return product


def _ask_for_assessment(studio: Studio, product: Product | None) -> int:
    """Every vehicle that the figure can touch is assessed again by the next cycle."""
    vehicles = Vehicle.objects.of(studio).filter(retired_on=None)
    if product is not None:
        vehicles = vehicles.filter(pk__in=product.layers.values("surface__vehicle"))
    return vehicles.update(assess_again=True)


def override_figure(
    *,
    studio: Studio,
    key: str,
    low: float,
    high: float,
    mark: str,
    source: str,
    value: float | None = None,
    product_id: int | None = None,
    actor: str,
    at: datetime,
) -> FigureOverride:
    """Put the studio's own figure in the place of one of the table, for all or for one product.

    The figures of the studio as a whole must still pass what the table passes: range, sign, shares, order, weights of a
    kind that sum to 1 (weights not set share what is left). Its vehicles are assessed again.

    Args:
        value: may be left out for a range of lives: the median of such a range is the middle of its ends.

    Raises:
        DomainError: no such figure, one that cannot be changed, or a figure that does not fit.
        NotFoundHere: the product is not in this studio.
    """
    if mark not in {known.value for known in Mark}:
        raise DomainError(f"mark: {mark!r} is not known; use one of {', '.join(Mark)}.", field="mark")
    source = source.strip()
    if not 0 < len(source) <= LONGEST_SOURCE:
        raise DomainError(
            f"source: say in 1 to {LONGEST_SOURCE} characters where the figure comes from.", field="source"
        )
    if value is None:
        if not (key.startswith("layer.") and key.rsplit(".", 1)[-1] in RANGES and low > 0 and high > 0):
            raise DomainError("value: give the figure itself, between low and high.", field="value")
        value = sqrt(low * high)
    product = _product(studio, key, product_id)
    own = FigureOverride(
        studio=studio, product=product, key=key, value=value, low=low, high=high, mark=mark, source=source, since=at
    )
    try:
        with transaction.atomic():
            before = [row for row in _live(studio) if (row.key, row.product_id) == (key, product_id)]
            others = [row for row in _live(studio) if (row.key, row.product_id) != (key, product_id)]
            _refuse_bad([*others, own])
            FigureOverride.objects.filter(pk__in=[row.pk for row in before]).update(superseded=at)
            own.save()
            asked = _ask_for_assessment(studio, product)
            journal.record(
                studio=studio, actor=actor, at=at, verb="figure set", subject="figure", subject_id=own.pk, key=key,
                product=product_id, value=value, low=low, high=high, mark=mark, source=source,
                before=[{"value": row.value, "low": row.low, "high": row.high} for row in before], vehicles=asked,
            )  # fmt: skip
    except IntegrityError as error:
        raise DomainError(f"{key}: somebody else has just set it; look again.") from error
    return own


def drop_override(*, studio: Studio, override_id: int, actor: str, at: datetime) -> FigureOverride:
    """Take the studio's own figure out of use; the table's holds again. The row stays as history.

    Raises:
        NotFoundHere: no such figure here, or it is out of use already.
        DomainError: another figure of the studio needs it (an order or weights that would no longer hold).
    """
    with transaction.atomic():
        own = one(FigureOverride, studio, override_id, lock=True)
        if own.superseded is not None:
            raise NotFoundHere("This figure is out of use already.")
        _refuse_bad([row for row in _live(studio) if row.pk != own.pk])
        own.superseded = at
        own.save(update_fields=["superseded"])
        asked = _ask_for_assessment(studio, own.product)
        journal.record(
            studio=studio, actor=actor, at=at, verb="figure dropped", subject="figure", subject_id=own.pk, key=own.key,
            product=own.product_id, value=own.value, low=own.low, high=own.high, vehicles=asked,
        )  # fmt: skip
    return own


def _rows(studio: Studio) -> tuple[list[FigureRow], str]:
    live = _live(studio)
    in_use, reason = figures_in_use(live)
    with overridden(NO_OVERRIDES):
        shipped = all_figures()
    with overridden(in_use):
        now = all_figures()
    own = {row.key: _told(row) for row in live if row.product_id is None}
    by_key: dict[str, list[OwnFigure]] = {}
    for row in live:
        if row.product_id is not None:
            by_key.setdefault(row.key, []).append(_told(row))
    rows = [
        _row(key, figure, now[key].value, own.get(key), tuple(by_key.get(key, ()))) for key, figure in shipped.items()
    ]
    return rows, reason


def _row(key: str, shipped: Figure, now: float, own: OwnFigure | None, products: tuple[OwnFigure, ...]) -> FigureRow:
    return FigureRow(
        key, shipped.value, shipped.low, shipped.high, "" if shipped.unit == "1" else shipped.unit, shipped.mark.value,
        shipped.source, now, own, products, why_fixed(key, shipped),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class FigureTable:
    """The table by subject: `index` names every group, `groups` holds the rows that were asked for (`shown` of
    `found`), `not_in_use` says why the studio's figures rest, "" where they hold."""

    index: tuple[FigureGroup, ...]
    groups: tuple[FigureGroup, ...]
    found: int
    shown: int
    count: int
    own_count: int
    not_in_use: str


def group_of(key: str) -> str:
    """The group of a key: its first word, of layers the kind too."""
    words = key.split(".")
    return ".".join(words[:2]) if words[0] == "layer" else words[0]


def _title(name: str) -> str:
    if name.startswith("layer."):
        return f"Layer: {name.removeprefix('layer.').replace('_', ' ')}"
    return GROUPS.get(name, name.replace("_", " ").capitalize())


def _grouped(rows: list[FigureRow], *, keep: bool) -> tuple[FigureGroup, ...]:
    by_group: dict[str, list[FigureRow]] = {}
    for row in rows:
        by_group.setdefault(group_of(row.key), []).append(row)
    order = list(GROUPS)
    names = sorted(by_group, key=lambda name: order.index(name) if name in GROUPS else -1)
    return tuple(
        FigureGroup(name, _title(name), len(by_group[name]), tuple(by_group[name]) if keep else ()) for name in names
    )


def figure_table(studio: Studio, *, search: str = "", group: str = "", own_only: bool = False) -> FigureTable:
    """The one parameter table with the studio's own figures beside it.

    Rows are those of a group, those whose key or source holds all the words, or the studio's own; all three empty: the
    studio's own. No more than `MOST_ROWS` are returned.
    """
    rows, reason = _rows(studio)
    own = [row for row in rows if row.own is not None or row.products]
    words = search.lower().split()
    asked = own if own_only or not (words or group) else rows
    kept = [
        row
        for row in asked
        if (not group or group_of(row.key) == group)
        and all(word in f"{row.key} {row.source}".lower() for word in words)
    ]
    return FigureTable(
        index=_grouped(rows, keep=False),
        groups=_grouped(kept[:MOST_ROWS], keep=True),
        found=len(kept),
        shown=min(len(kept), MOST_ROWS),
        count=len(rows),
        own_count=sum((row.own is not None) + len(row.products) for row in own),
        not_in_use=reason,
    )


def figure_view(studio: Studio, key: str) -> FigureView:
    """One figure with its history.

    Raises:
        NotFoundHere: there is no such figure.
    """
    rows, _ = _rows(studio)
    row = next((row for row in rows if row.key == key), None)
    if row is None:
        raise NotFoundHere(f"There is no figure {key!r}.")
    past = FigureOverride.objects.of(studio).filter(key=key).select_related("product").order_by("-since", "-pk")
    products: tuple[ProductChoice, ...] = ()
    if key.startswith("layer."):
        kind = key.split(".")[1]
        products = tuple(
            ProductChoice(product.pk, str(product)) for product in Product.objects.of(studio).filter(kind=kind)
        )
    return FigureView(row, tuple(_told(one) for one in past), products)
