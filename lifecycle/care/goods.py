"""What the studio works with and what it asks for it: verbs and reads about products and prices."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final

from django.db import IntegrityError, transaction
from django.db.models import Count, Q

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.register import known
from lifecycle.care.tasks_table import load_tasks
from lifecycle.errors import DomainError
from lifecycle.models import FigureOverride, Layer, Price, Product, Studio, Vehicle
from lifecycle.wear.choices import LAYER_KINDS, SIZES

# A product is of a kind that the wear model knows; only a layer may be unknown.
PRODUCT_KINDS: Final = tuple(kind for kind in LAYER_KINDS if kind != "unknown")
LIFE_MONTHS: Final = (0.1, 240.0)
THICKNESS_UM: Final = (0.01, 5000.0)
MOST_PRICE: Final = Decimal("9999999.99")
FORECAST_FIELDS: Final = ("life_low_months", "life_high_months", "thickness_um")


@dataclass(frozen=True, slots=True)
class ProductRow:
    """A product with the number of its live layers. `fixed_kind`: layers or figures rest on its kind."""

    id: int
    code: str
    name: str
    kind: str
    life_low_months: float | None
    life_high_months: float | None
    thickness_um: float | None
    caution: str
    layers: int
    fixed_kind: bool

    @property
    def kind_words(self) -> str:
        return self.kind.replace("_", " ")


@dataclass(frozen=True, slots=True)
class PriceRow:
    """What one care task costs about, by vehicle size: low and high, None where nothing is on the list."""

    task: str
    title: str
    prices: Mapping[str, tuple[Decimal, Decimal] | None]


def products(studio: Studio) -> tuple[ProductRow, ...]:
    """The studio's products by code; two queries."""
    rows = Product.objects.of(studio).annotate(
        live=Count("layers", filter=Q(layers__ended=None), distinct=True), ever=Count("layers", distinct=True)
    )
    own = set(FigureOverride.objects.of(studio).exclude(product=None).values_list("product_id", flat=True))
    return tuple(
        ProductRow(
            id=row.pk, code=row.code, name=row.name, kind=row.kind, life_low_months=row.life_low_months,
            life_high_months=row.life_high_months, thickness_um=row.thickness_um, caution=row.caution,
            layers=row.live, fixed_kind=bool(row.ever) or row.pk in own,
        )
        for row in rows.order_by("code")
    )  # fmt: skip


def price_table(studio: Studio) -> tuple[PriceRow, ...]:
    """Every care task with its prices, in the order of the table of tasks; one query."""
    found = {(row.task, row.size): (row.low, row.high) for row in Price.objects.of(studio)}
    return tuple(
        PriceRow(task.task, task.title, {size: found.get((task.task, size)) for size in SIZES})
        for task in load_tasks().values()
    )


def _text(field: str, text: str, most: int) -> str:
    said = text.strip()
    if not 0 < len(said) <= most:
        raise DomainError(f"{field}: write 1 to {most} characters.", field=field)
    return said


def _within(field: str, figure: float | None, limits: tuple[float, float], unit: str) -> None:
    if figure is not None and not (math.isfinite(figure) and limits[0] <= figure <= limits[1]):
        raise DomainError(
            f"{field}: {figure:g} {unit} does not lie between {limits[0]:g} and {limits[1]:g} {unit}.", field=field
        )


def _check_life(low: float | None, high: float | None) -> None:
    _within("life_low_months", low, LIFE_MONTHS, "months")
    _within("life_high_months", high, LIFE_MONTHS, "months")
    if (low is None) != (high is None):
        missing = "life_low_months" if low is None else "life_high_months"
        raise DomainError(f"{missing}: give both ends of the range in months, or neither.", field=missing)
    if low is not None and high is not None and not low < high:
        raise DomainError(
            f"life_high_months: {high:g} months is not more than the low end, {low:g}.", field="life_high_months"
        )


def save_product(
    *,
    studio: Studio,
    product_id: int | None = None,
    code: str,
    name: str,
    kind: str,
    life_low_months: float | None = None,
    life_high_months: float | None = None,
    thickness_um: float | None = None,
    caution: str = "",
    actor: str,
    at: datetime,
) -> Product:
    """Put a product on record, or say anew what it is. Vehicles that wear it are assessed again where it matters.

    Args:
        product_id: None for a new product.
        life_low_months, life_high_months: months at the reference duty after which 10 % and 90 % of its layers have
            ended; both None: the life table's.  thickness_um: µm; None: the table's.

    Raises:
        DomainError: a bad word or figure, a code that is taken, or a kind that layers or figures rest on.
        NotFoundHere: the product is not of this studio.
    """
    known("kind", kind, PRODUCT_KINDS)
    _check_life(life_low_months, life_high_months)
    _within("thickness_um", thickness_um, THICKNESS_UM, "µm")
    if len(caution) > 2000:
        raise DomainError("caution: write 2000 characters at most.", field="caution")
    wanted = {
        "code": _text("code", code, 20), "name": _text("name", name, 120), "kind": kind,
        "life_low_months": life_low_months, "life_high_months": life_high_months, "thickness_um": thickness_um,
        "caution": caution.strip(),
    }  # fmt: skip
    try:
        with transaction.atomic():
            product = one(Product, studio, product_id, lock=True) if product_id is not None else Product(studio=studio)
            changed = [field for field, value in wanted.items() if getattr(product, field) != value]
            if product.pk is not None and "kind" in changed:
                _refuse_new_kind(product)
            if product.pk is None or changed:
                _write(product, wanted, changed, actor=actor, at=at)
    except IntegrityError as error:
        raise DomainError(f"code: another product of this studio has the code {code.strip()}.", field="code") from error
    return product


def _write(product: Product, wanted: Mapping[str, object], changed: list[str], *, actor: str, at: datetime) -> None:
    verb, asked = "product added" if product.pk is None else "product changed", 0
    for field, value in wanted.items():
        setattr(product, field, value)
    product.save()
    if verb == "product changed" and set(changed) & set(FORECAST_FIELDS):
        wearing = Vehicle.objects.filter(pk__in=product.layers.values("surface__vehicle"), retired_on=None)
        asked = wearing.update(assess_again=True)
    journal.record(
        studio=product.studio, actor=actor, at=at, verb=verb, subject="product", subject_id=product.pk, fields=changed,
        vehicles=asked,
    )  # fmt: skip


def _refuse_new_kind(product: Product) -> None:
    """Forecasts of the past speak of layers by their kind: another kind is another product."""
    if Layer.objects.filter(product=product).exists() or FigureOverride.objects.filter(product=product).exists():
        raise DomainError(
            f"kind: layers or figures of {product.code} are on record; enter another product for another kind.",
            field="kind",
        )


def save_price(
    *, studio: Studio, task: str, size: str, low: Decimal | None, high: Decimal | None, actor: str, at: datetime
) -> Price | None:
    """Say what a care task costs about for a size of vehicle, in the studio's currency. Offers already made keep their
    price.

    Args:
        low, high: both None takes the price off the list.

    Returns:
        The price; None where there is none any more.

    Raises:
        DomainError: an unknown task or size, one end only, or ends that do not fit.
    """
    known("task", task, tuple(load_tasks()))
    known("size", size, SIZES)
    if (low is None) != (high is None):
        field = "low" if low is None else "high"
        raise DomainError(f"{field}: give both ends of the price, or neither.", field=field)
    for field, amount in (("low", low), ("high", high)):
        if amount is not None and not (amount.is_finite() and 0 <= amount <= MOST_PRICE):
            raise DomainError(f"{field}: {amount} is not between 0 and {MOST_PRICE}.", field=field)
        if amount is not None and amount != amount.quantize(Decimal("0.01")):
            raise DomainError(f"{field}: {amount} has more than two decimals.", field=field)
    if low is not None and high is not None and high < low:
        raise DomainError(f"high: {high} is less than the low end, {low}.", field="high")
    with transaction.atomic():
        Studio.objects.select_for_update().get(pk=studio.pk)  # two owners with the same form take turns
        before: Price | None = Price.objects.filter(studio=studio, task=task, size=size).first()
        was = [before.low, before.high] if before is not None else None
        if was == ([low, high] if low is not None else None):
            return before
        price = None
        if low is not None and high is not None:
            price = before or Price(studio=studio, task=task, size=size)
            price.low, price.high = low, high
            price.save()
        elif before is not None:
            before.delete()
        journal.record(
            studio=studio, actor=actor, at=at, verb="price set" if price else "price dropped", subject="price",
            subject_id=price.pk if price else None, task=task, size=size, low=low, high=high, before=was,
        )  # fmt: skip
    return price
