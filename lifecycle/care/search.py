"""One search over a studio's record: plates, vehicles, keepers, batches, findings, panels, grouped by what was found.

Every word must be found; case and accents do not count, and neither do spaces within a plate. What a person types is
taken as it is: "%" and "_" are letters like any other. A fixed number of queries, each bounded.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from django.db.models import Count, F, Max, Min, Q, QuerySet, Value
from django.db.models.functions import Concat, Replace

from lifecycle.care.folding import Fold, fold
from lifecycle.care.wording import capital, layer_words, spoken
from lifecycle.models import Finding, FindingKind, Keeper, Layer, Studio, Surface, Vehicle

MOST_WORDS: Final = 6
MOST_ROWS: Final = 25
LEAST_LETTERS: Final = 2
SPACE: Final = Value(" ")


@dataclass(frozen=True, slots=True)
class Hit:
    """One thing that was found. `reason`: what in it matched; `detail`: what else helps to know it."""

    title: str
    detail: str
    reason: str
    vehicle_id: int | None = None
    surface_id: int | None = None
    customer_id: int | None = None
    on: date | None = None


@dataclass(frozen=True, slots=True)
class Group:
    """What was found of one sort. `more`: there is more than is shown."""

    name: str
    hits: tuple[Hit, ...]
    more: bool


@dataclass(frozen=True, slots=True)
class Found:
    """`words`: what was searched for, folded; empty where it was too short."""

    text: str
    words: tuple[str, ...]
    groups: tuple[Group, ...]


def words_of(text: str) -> tuple[str, ...]:
    """The words of a search, folded; none where all of them are single letters."""
    words = tuple(dict.fromkeys(fold(text).split()))[:MOST_WORDS]
    return words if any(len(word) >= LEAST_LETTERS for word in words) else ()


def _spaced(column: str) -> Any:
    return Fold(Replace(F(column), Value("_"), SPACE))


def _tight(column: str) -> Any:
    """A plate without the spaces and dashes that people write differently."""
    return Replace(Replace(Fold(F(column)), SPACE, Value("")), Value("-"), Value(""))


def _group(name: str, rows: QuerySet[Any], make: Callable[[Any], Hit]) -> Group:
    found = list(rows[: MOST_ROWS + 1])
    return Group(name, tuple(make(row) for row in found[:MOST_ROWS]), more=len(found) > MOST_ROWS)


def _reason(words: Sequence[str], fields: Iterable[tuple[str, str]]) -> str:
    """Which fields hold a word: "plate", "description and keeper"."""
    names = [name for name, text in fields if any(word in fold(text) for word in words)]
    return " and ".join(dict.fromkeys(names)) or "plate"


def _car(vehicle: Vehicle) -> str:
    left = f", no longer looked after since {vehicle.retired_on}" if vehicle.retired_on else ""
    return f"{vehicle.description}, {vehicle.plate}{left}"


def _vehicles(studio: Studio, words: Sequence[str]) -> Group:
    rows = Vehicle.objects.of(studio).alias(
        tight=_tight("plate"), told=Fold(Concat(F("plate"), SPACE, F("description"), SPACE, F("colour")))
    )
    joined = "".join(words).replace("-", "")
    each = Q()
    for word in words:
        each &= Q(told__contains=word) | Q(tight__contains=word.replace("-", "") or word)
    rows = rows.filter(each | Q(tight__contains=joined) if joined else each)

    def hit(row: Vehicle) -> Hit:
        fields = (("plate", row.plate), ("description", row.description), ("colour", row.colour))
        return Hit(row.plate, _car(row).replace(f", {row.plate}", "", 1), _reason(words, fields), vehicle_id=row.pk)

    return _group("Vehicles", rows.order_by("retired_on", "plate", "id"), hit)


def _keepers(studio: Studio, words: Sequence[str]) -> Group:
    """Keepers now and before, with their vehicle."""
    rows = (
        Keeper.objects.of(studio)
        .alias(told=Fold(F("customer__name")))
        .select_related("customer", "vehicle")
        .order_by("customer__name", "-start", "id")
    )
    for word in words:
        rows = rows.filter(told__contains=word)

    def hit(row: Keeper) -> Hit:
        until = f" until {row.end}" if row.end else ""
        return Hit(
            row.customer.name, f"{_car(row.vehicle)}, since {row.start}{until}", "keeper",
            vehicle_id=row.vehicle_id, customer_id=row.customer_id,
        )  # fmt: skip

    return _group("Keepers", rows, hit)


def _batches(studio: Studio, words: Sequence[str]) -> Group:
    """Each batch on each vehicle: how many surfaces, and on how many of them it is still live."""
    rows = Layer.objects.of(studio).exclude(batch="").alias(told=Fold(F("batch")))
    for word in words:
        rows = rows.filter(told__contains=word)
    rows = (
        rows.values("batch", "kind", "surface__vehicle_id", "surface__vehicle__plate", "surface__vehicle__description")
        .annotate(
            surfaces=Count("surface", distinct=True), live=Count("id", filter=Q(ended=None)), last=Max("applied"),
            one=Min("surface"),
        )
        .order_by("batch", "-last", "surface__vehicle_id", "kind")
    )  # fmt: skip

    def hit(row: dict[str, Any]) -> Hit:
        many = f"{row['surfaces']} surface{'s' if row['surfaces'] > 1 else ''}, {row['live']} live"
        car = f"{row['surface__vehicle__description']}, {row['surface__vehicle__plate']}"
        only = row["one"] if row["surfaces"] == 1 else None
        return Hit(
            row["batch"], f"{layer_words(row['kind'])} on {car}: {many}", "batch",
            vehicle_id=row["surface__vehicle_id"], surface_id=only, on=row["last"],
        )  # fmt: skip

    return _group("Batches", rows, hit)


def _findings(studio: Studio, words: Sequence[str]) -> Group:
    """Findings by kind, note and panel; a plate may narrow them, but does not find them alone."""
    labels = {kind.value: fold(f"{kind.label} {kind.value.replace('_', ' ')}") for kind in FindingKind}
    rows = (
        Finding.objects.of(studio)
        .alias(
            noted=Fold(F("note")), panel=_spaced("surface__code"), plate=_tight("inspection__vehicle__plate"),
            car=Fold(F("inspection__vehicle__description")),
        )
        .select_related("surface", "inspection__vehicle")
        .order_by("-inspection__on", "-id")
    )  # fmt: skip
    own = Q()
    for word in words:
        kinds = [kind for kind, label in labels.items() if word in label]
        said = Q(kind__in=kinds) | Q(noted__contains=word)
        own |= said
        rows = rows.filter(
            said | Q(panel__contains=word) | Q(plate__contains=word.replace("-", "") or word) | Q(car__contains=word)
        )
    rows = rows.filter(own)

    def hit(row: Finding) -> Hit:
        panel = spoken(row.surface.code) if row.surface is not None else "the vehicle"
        words_of_kind = row.get_kind_display()
        fields = (("kind", f"{words_of_kind} {row.kind.replace('_', ' ')}"), ("note", row.note), ("panel", panel))
        note = f": {row.note}" if row.note else ""
        car = _car(row.inspection.vehicle)
        return Hit(
            f"{capital(words_of_kind)}, {panel}", f"{car}, severity {row.severity} of 5{note}",
            _reason(words, fields), vehicle_id=row.inspection.vehicle_id, surface_id=row.surface_id,
            on=row.inspection.on,
        )  # fmt: skip

    return _group("Findings", rows, hit)


def _panels(studio: Studio, words: Sequence[str]) -> Group:
    """Panels by name; words of the vehicle narrow them, but do not find them alone."""
    rows = (
        Surface.objects.of(studio)
        .alias(
            panel=_spaced("code"), plate=_tight("vehicle__plate"), car=Fold(F("vehicle__description")),
        )
        .select_related("vehicle")
        .order_by("vehicle__retired_on", "vehicle__plate", "id")
    )  # fmt: skip
    own = Q()
    for word in words:
        own |= Q(panel__contains=word)
        rows = rows.filter(
            Q(panel__contains=word) | Q(plate__contains=word.replace("-", "") or word) | Q(car__contains=word)
        )
    rows = rows.filter(own)

    def hit(row: Surface) -> Hit:
        return Hit(capital(spoken(row.code)), _car(row.vehicle), "panel", vehicle_id=row.vehicle_id, surface_id=row.pk)

    return _group("Panels", rows, hit)


def search(*, studio: Studio, text: str, customers: bool) -> Found:
    """Everything of a studio that a text finds, by sort.

    Args:
        customers: whether the person may see who keeps a vehicle; without it keepers are not searched.
    """
    words = words_of(text)
    if not words:
        return Found(text, (), ())
    finders = [_vehicles, *([_keepers] if customers else []), _batches, _findings, _panels]
    groups = [finder(studio, words) for finder in finders]
    return Found(text, words, tuple(group for group in groups if group.hits))
