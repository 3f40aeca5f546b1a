"""What another way of using a vehicle would do to it, asked by its keeper: months, money, and the two courses.

A read: nothing is stored, and a place that nobody lives at yet is asked of the class table alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from lifecycle.care.renewal import RENEWED_BY
from lifecycle.care.vehicle_view import TOPPERS
from lifecycle.care.wording import spoken
from lifecycle.climate.class_table import ClassTableSource
from lifecycle.climate.gazetteer import find_place
from lifecycle.climate.source import ClimateError
from lifecycle.climate.store import rows_at, year_of
from lifecycle.condition.inputs import figures_of, rows_for, vehicle_input
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import Keeper, Price, Studio, Vehicle
from lifecycle.wear.assessment import assess_world
from lifecycle.wear.choices import WASH_METHODS
from lifecycle.wear.laid import World, world_of
from lifecycle.wear.marks import NO_OVERRIDES, Overrides, overridden
from lifecycle.wear.timeline import REFERENCE_HABIT, habit_on
from lifecycle.wear.types import Band, ClimateYear, CoursePoint, HabitPeriod, Place, VehicleForecast, VehicleInput
from lifecycle.wear.whatif import changed_vehicle, what_if
from lifecycle.wear.whatif_types import Change, LayerGain, Prices

FIELDS: Final = ("parking", "wash_method", "washes_per_year", "km_per_year", "road_salt")


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """How a vehicle is used. `place` None: where it lives now. `extra_per_year`: what the change costs besides, money a
    year (a garage's rent)."""

    parking: str
    wash_method: str
    washes_per_year: float
    km_per_year: float
    road_salt: str
    place: Place | None = None
    extra_per_year: float | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """A vehicle of this keeper, ready to be asked about. `told`: whether the present use was told in their time;
    `source`: who says it. `start` of the present habits, None where nobody told any."""

    id: int
    plate: str
    description: str
    studio: Studio
    currency: str
    size: str
    today: date
    use: Use
    told: bool
    source: str
    habit: HabitPeriod
    given: VehicleInput
    figures: Overrides


@dataclass(frozen=True, slots=True)
class KindAnswer:
    """One kind of layer: the surface on which it goes first (`gain`), on how many it lies, and its two courses.

    Bands of months from today until renewal; money in the studio's currency a year, None without a price.
    """

    kind: str
    surface: str
    surfaces: int
    topper: bool
    gain: LayerGain
    now: tuple[CoursePoint, ...]
    then: tuple[CoursePoint, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer. `kinds`: lasting coats first, the soonest to go first. `saved_per_year`: renewals saved less the
    extra cost, over the vehicle; None where a price is missing. `climate`: of the other place, "" without a move."""

    kinds: tuple[KindAnswer, ...]
    all_gains: tuple[LayerGain, ...]
    saved_per_year: Band | None
    climate: str
    unpriced: tuple[str, ...]

    @property
    def most(self) -> KindAnswer | None:
        """The kind that it moves most, lasting coats before short-lived ones; None without a forecast."""
        return max(self.kinds, key=lambda one: (not one.topper, abs(one.gain.months_gained.p50)), default=None)


def asked(*, customer_ids: Iterable[int], vehicle_id: int, today: date) -> Asked:
    """The vehicle with what its forecast rests on.

    Raises:
        NotFoundHere: none of these customers keeps the vehicle now.
    """
    keeper = Keeper.objects.filter(
        end=None, customer_id__in=list(customer_ids), vehicle_id=vehicle_id, vehicle__retired_on=None
    ).first()
    rows = rows_for([vehicle_id]) if keeper is not None else []
    if keeper is None or not rows:
        raise NotFoundHere(f"There is no vehicle {vehicle_id} here.")
    vehicle: Vehicle = rows[0]
    figures = figures_of([vehicle.studio_id]).get(vehicle.studio_id, NO_OVERRIDES)
    given = vehicle_input(vehicle, as_of=today, figures=figures)
    habit = habit_on(given.habits, today)
    # What an earlier keeper told stays with them.
    told = habit.source != "defaulted" and habit.start >= keeper.start
    shown = habit if told else replace(REFERENCE_HABIT, road_salt=vehicle.site.road_salt)
    use = Use(**{name: getattr(shown, name) for name in FIELDS})
    return Asked(
        id=vehicle.pk, plate=vehicle.plate, description=vehicle.description, studio=vehicle.studio,
        currency=vehicle.studio.currency, size=vehicle.size, today=today, use=use, told=told, source=shown.source,
        habit=habit, given=given, figures=figures,
    )  # fmt: skip


def place_of(text: str) -> Place | None:
    """The place that a keeper names: a city, or latitude and longitude; None for nothing.

    Raises:
        DomainError: nothing or more than one place found; it says how to go on.
    """
    if not text.strip():
        return None
    try:
        return find_place(text).place
    except ClimateError as error:
        raise DomainError(f"where: {error}", field="where") from error


def _climates() -> Callable[[Place], ClimateYear]:
    """Climate of a place: what is on record, else the class table's; nothing is written for a mere question."""

    def climate(place: Place) -> ClimateYear:
        rows = rows_at(place)
        return year_of(rows[0], place) if rows else ClassTableSource().climate(place)

    return climate


def change_of(vehicle: Asked, use: Use) -> Change | None:
    """What would be otherwise than the forecast takes it now; None for nothing."""
    told = {name: getattr(use, name) for name in FIELDS}
    differs = {name: value for name, value in told.items() if value != getattr(vehicle.habit, name)}
    if not differs and use.place is None and use.extra_per_year is None:
        return None
    return Change(**differs, place=use.place) if differs or use.place else Change(parking=use.parking)


def _prices(vehicle: Asked, use: Use) -> tuple[Prices, tuple[str, ...]]:
    """Renewal prices of the list by kind of layer, and the kinds without one. What somebody pays for washes at home is
    not known and left out on both sides."""
    listed = {
        row.task: (float(row.low), float(row.high))
        for row in Price.objects.filter(studio=vehicle.studio, size=vehicle.size)
    }
    there = {layer.kind for surface in vehicle.given.surfaces for layer in surface.layers if layer.ended is None}
    renewal = {kind: listed[task] for kind in there if (task := RENEWED_BY.get(kind, "")) in listed}
    extra = (use.extra_per_year, use.extra_per_year) if use.extra_per_year is not None else None
    prices = Prices(renewal=renewal, wash=dict.fromkeys(WASH_METHODS, (0.0, 0.0)), other_per_year=extra)
    return prices, tuple(sorted(there - renewal.keys() - {"unknown"}))


def _courses(forecast: VehicleForecast) -> dict[str, tuple[CoursePoint, ...]]:
    return {layer.key: layer.course for surface in forecast.surfaces for layer in surface.layers}


def _kinds(gains: Iterable[LayerGain], now: World, then: World) -> tuple[KindAnswer, ...]:
    by_kind: dict[str, list[LayerGain]] = {}
    for gain in gains:
        by_kind.setdefault(gain.kind, []).append(gain)
    courses, others = _courses(assess_world(now)), _courses(assess_world(then))
    found = []
    for kind, those in by_kind.items():
        first = min(those, key=lambda gain: (gain.months_left.p50, gain.surface))
        found.append(
            KindAnswer(
                kind=kind, surface=spoken(first.surface), surfaces=len(those), topper=kind in TOPPERS, gain=first,
                now=courses.get(first.key, ()), then=others.get(first.key, ()),
            )
        )  # fmt: skip
    return tuple(sorted(found, key=lambda one: (one.topper, one.gain.months_left.p50, one.kind)))


def answer(vehicle: Asked, use: Use) -> Answer | None:
    """What this use would give, from today on; None where it is how the vehicle is used now."""
    change = change_of(vehicle, use)
    if change is None:
        return None
    climates = _climates()
    prices, unpriced = _prices(vehicle, use)
    with overridden(vehicle.figures):
        now = world_of(vehicle.given, climates)
        told = what_if(vehicle.given, now.climates, change, prices=prices, world=now)
        then = world_of(changed_vehicle(now.vehicle, change, last=vehicle.today), now.climates)
        kinds = _kinds(told.layers, now, then)
    return Answer(
        kinds=kinds, all_gains=told.layers, saved_per_year=told.saved_per_year,
        climate=climates(use.place).detail if use.place is not None else "", unpriced=unpriced,
    )  # fmt: skip
