"""One vehicle laid on its timeline: surfaces, layers, stress day by day, readings, and how sure all of it is.

What `assessment` tells of today and `whatif` of another way of living are worked out from the same parts here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from math import hypot
from typing import Any, TypeVar

from lifecycle.wear import clogging, evidence, spread
from lifecycle.wear import degradation as deg
from lifecycle.wear.chemistry import Chemistry, chemistry
from lifecycle.wear.course import SOIL, Course, layer_course
from lifecycle.wear.figures import wear_value
from lifecycle.wear.layers import Look, is_known, posterior_of, rate_of
from lifecycle.wear.running import Heat, heat_of
from lifecycle.wear.stack import PAINTED, LiveLayer, concerns, correction_days, layers_of
from lifecycle.wear.timeline import Timeline, build_timeline
from lifecycle.wear.types import (
    Band,
    ClimateYear,
    FloatArray,
    Mechanism,
    Place,
    ReadingInput,
    StoragePeriod,
    SurfaceInput,
    VehicleInput,
)

CLOGGING_LOOKS_BACK_DAYS = 365
Kept = TypeVar("Kept")


@dataclass(frozen=True, slots=True)
class Laid:
    """A surface on the vehicle's timeline. `kept` holds what was worked out for the vehicle that it was laid out for,
    so that an assessment and a question about another way of living share it."""

    index: int
    given: SurfaceInput
    stack: tuple[LiveLayer, ...]
    timeline: Timeline
    daily: FloatArray
    km: FloatArray
    kept: dict[str, Any] = field(default_factory=dict, repr=False, compare=False)

    def keep(self, name: str, vehicle: VehicleInput, work: Callable[[], Kept]) -> Kept:
        """The answer of `work`, asked once for the vehicle of this timeline; a vehicle with other readings asks
        anew."""
        if vehicle is not self.timeline.vehicle:
            return work()
        if name not in self.kept:
            self.kept[name] = work()
        found: Kept = self.kept[name]
        return found

    def offset(self, day: date) -> int:
        """Index of a day on the timeline."""
        return (day - self.timeline.first).days


@dataclass(frozen=True, slots=True)
class LiveClock:
    """A live layer's stress, the looks that speak of it, and its rate after them.

    `ln_sd` is the spread of ln life before the looks, `duty_note` says where the duty lies outside the tables.
    """

    course: Course
    looks: tuple[Look, ...]
    posterior: evidence.Posterior
    ln_sd: float
    duty_note: str
    over_unknown: bool
    clogged: bool

    @property
    def rate(self) -> deg.Rate:
        """The distribution of the rate that a forecast uses."""
        return rate_of(self.posterior)


@dataclass(frozen=True, slots=True)
class World:
    """A vehicle laid out for a forecast of today: what `assessment.assess_world` and `whatif.what_if` share."""

    vehicle: VehicleInput
    climates: Callable[[Place], ClimateYear]
    timeline: Timeline
    laid: tuple[Laid, ...]


def _chemistry(live: LiveLayer) -> Chemistry:
    return chemistry(live.layer.kind, product=live.layer.product)


def _life(surface: SurfaceInput, live: LiveLayer) -> deg.Life:
    return deg.life_of(
        _chemistry(live),
        orientation=surface.orientation,
        finish=surface.finish if surface.substrate in PAINTED else "factory",
        life_months=live.layer.life_months,
        life_mark=live.layer.life_mark,
    )


def _timeline(
    vehicle: VehicleInput, stacks: list[tuple[LiveLayer, ...]], climates: Callable[[Place], ClimateYear]
) -> Timeline:
    first = vehicle.as_of - timedelta(days=CLOGGING_LOOKS_BACK_DAYS)
    last = vehicle.as_of + timedelta(days=CLOGGING_LOOKS_BACK_DAYS)
    for surface, stack in zip(vehicle.surfaces, stacks, strict=True):
        for live in stack:
            first = min(first, live.layer.applied)
            if is_known(live):
                days = deg.horizon_days(_life(surface, live))
                last = max(last, live.layer.applied + timedelta(days=days))
    return build_timeline(vehicle, climates, first=first, days=(last - first).days)


def courses_of(vehicle: VehicleInput, surface: Laid) -> dict[int, Course]:
    """Courses of all known layers, ended ones too (they shielded what lies below), by their index in the stack."""
    return surface.keep("courses", vehicle, lambda: _courses(vehicle, surface))


def _courses(vehicle: VehicleInput, surface: Laid) -> dict[int, Course]:
    courses: dict[int, Course] = {}
    for index in range(len(surface.stack) - 1, -1, -1):
        live = surface.stack[index]
        if not is_known(live):
            continue
        life = _life(surface.given, live)
        start = surface.offset(live.layer.applied)
        days = max(deg.horizon_days(life), (vehicle.as_of - live.layer.applied).days + 2)
        courses[index] = layer_course(
            live,
            life=life,
            chemistry=_chemistry(live),
            surface=surface.given,
            daily=surface.daily[start : start + days],
            km=surface.km[start : start + days],
            events=vehicle.events,
            above=[courses[top] for top in range(index + 1, len(surface.stack)) if top in courses],
        )
    return courses


def cleaning_days(vehicle: VehicleInput, surface: SurfaceInput) -> tuple[date, ...]:
    """Days on which the surface was decontaminated: told by an event, seen in a reading, or part of a correction."""
    days = {event.on for event in vehicle.events if event.kind == "decontamination" and concerns(event, surface)}
    days |= {
        reading.on
        for reading in vehicle.readings
        if reading.surface == surface.code and reading.clean_state == "decontaminated"
    }
    days |= set(correction_days(surface, vehicle.events))
    return tuple(sorted(day for day in days if day <= vehicle.as_of))


def clogging_on(vehicle: VehicleInput, surface: Laid, day: date) -> Band:
    """Clogging at the start of a day; a surface is clean when a layer of the studio goes on or paint is new."""
    return surface.keep(f"clogging {day}", vehicle, lambda: _clogging_on(vehicle, surface, day))


def _clogging_on(vehicle: VehicleInput, surface: Laid, day: date) -> Band:
    fresh = [live.layer.applied for live in surface.stack if is_known(live) and live.layer.applied <= day]
    if surface.given.refinished_on is not None:
        fresh.append(surface.given.refinished_on)
    fresh += [e.on for e in vehicle.events if e.kind in ("repaint", "part_swap") and concerns(e, surface.given)]
    fresh = [one for one in fresh if surface.timeline.first <= one <= day]
    cleanings = [one for one in cleaning_days(vehicle, surface.given) if one <= day]
    start = max(fresh) if fresh else max(min([*cleanings, vehicle.as_of]), surface.timeline.first)
    if not fresh and not cleanings:
        start = surface.timeline.first
    soil = surface.daily[surface.offset(start) : surface.offset(day), SOIL]
    return clogging.clogging_band(
        contamination=soil, cleanings=tuple((one - start).days for one in cleanings if one >= start)
    )


def speaks_of(surface: Laid, courses: dict[int, Course], day: date) -> int | None:
    """Index of the layer that a look on a day speaks of: the topmost that is not spent, else the topmost."""
    there = [
        index
        for index, live in enumerate(surface.stack)
        if live.layer.applied < day and live.is_live(day) and (index in courses or not is_known(live))
    ]
    for index in reversed(there):
        if index not in courses or courses[index].function_on(day) >= wear_value("evidence.spent"):
            return index
    return there[-1] if there else None


def looks_of(vehicle: VehicleInput, surface: Laid, courses: dict[int, Course]) -> dict[int, list[Look]]:
    """Readings by the index of the layer that they speak of."""
    looks: dict[int, list[Look]] = {}
    for reading in sorted(vehicle.readings, key=lambda one: one.on):
        if reading.surface != surface.given.code or reading.on > vehicle.as_of:
            continue
        index = speaks_of(surface, courses, reading.on)
        if index is not None:
            level = clogging_on(vehicle, surface, reading.on).p50
            looks.setdefault(index, []).append(Look(reading, level))
    return looks


def _still_unclear(readings: list[ReadingInput], cleaned: tuple[date, ...]) -> bool:
    """Whether the last word is "no beading" on a surface that nobody has decontaminated since."""
    doubtful = [reading.on for reading in readings if evidence.no_beading_without_decontamination(reading)]
    if not doubtful:
        return False
    return not any(day >= max(doubtful) for day in cleaned) and not any(
        reading.on > max(doubtful) and (reading.works is True or (reading.beading_score or 0) >= 3)
        for reading in readings
    )


def is_unclear(vehicle: VehicleInput, surface: Laid) -> bool:
    """Whether the last word on a surface is "no beading" without a decontamination since."""
    applied = tuple(live.layer.applied for live in surface.stack)
    mine = [one for one in vehicle.readings if one.surface == surface.given.code and one.on <= vehicle.as_of]
    return _still_unclear(mine, tuple(sorted((*cleaning_days(vehicle, surface.given), *applied))))


def life_spread(vehicle: VehicleInput, surface: Laid, course: Course, *, extra: float) -> tuple[float, str]:
    """Spread of ln life before readings, and a note on a duty outside the tables."""
    until = max(vehicle.as_of, course.applied + timedelta(days=365))
    periods = []
    for segment in surface.timeline.segments:
        start, end = max(segment.start, course.applied), min(segment.end, until)
        if start < end and not segment.stored:
            periods.append((segment.habit, float((end - start).days)))
    duty, note = spread.duty_spread(course.mean_duty())
    taken = course.shares(until=until)
    whole = sum(taken.values())
    climate = surface.timeline.climates(vehicle.place)
    total = hypot(
        course.life.ln_sd,
        spread.parameter_spread_at(
            climate, colour=vehicle.colour, sunlight_share=taken[Mechanism.SUNLIGHT] / whole if whole > 0.0 else 0.0
        ),
        spread.habit_spread(periods) if periods else 0.0,
        spread.climate_spread(climate.error_word),
        spread.assumed_spread(vehicle.assumed, surface_index=surface.index),
        duty,
        extra,
    )
    return total, note


def extra_spread(surface: Laid, index: int, *, clogged: bool) -> tuple[float, bool]:
    """Spread from a doubtful look and from what lies beneath, and whether something unknown lies beneath."""
    live = surface.stack[index]
    over_unknown = any(not is_known(other) and other.is_live(live.layer.applied) for other in surface.stack[:index])
    extra = hypot(
        wear_value("spread.over_unknown") if over_unknown else 0.0,
        wear_value("spread.dirty_look") if clogged else 0.0,
    )
    return extra, over_unknown


def live_clocks(vehicle: VehicleInput, surface: Laid) -> dict[int, LiveClock]:
    """Course and rate (after readings) of each live layer of known kind by its index, as the forecast takes them."""
    return surface.keep("clocks", vehicle, lambda: _live_clocks(vehicle, surface))


def _live_clocks(vehicle: VehicleInput, surface: Laid) -> dict[int, LiveClock]:
    courses = courses_of(vehicle, surface)
    looks, made = looks_of(vehicle, surface, courses), dict[int, LiveClock]()
    unclear = is_unclear(vehicle, surface)
    top = speaks_of(surface, courses, vehicle.as_of)
    for index, course in sorted(courses.items()):
        if course.live.is_live(vehicle.as_of):
            clogged, seen = unclear and index == top, tuple(looks.get(index, ()))
            extra, over_unknown = extra_spread(surface, index, clogged=clogged)
            ln_sd, note = life_spread(vehicle, surface, course, extra=extra)
            posterior = posterior_of(course, seen, ln_sd=ln_sd)
            made[index] = LiveClock(course, seen, posterior, ln_sd, note, over_unknown, clogged)
    return made


def remembered(climates: Callable[[Place], ClimateYear]) -> Callable[[Place], ClimateYear]:
    """`climates`, asked once per place."""
    asked: dict[Place, ClimateYear] = {}

    def climate(place: Place) -> ClimateYear:
        if place not in asked:
            asked[place] = climates(place)
        return asked[place]

    return climate


def world_of(vehicle: VehicleInput, climates: Callable[[Place], ClimateYear]) -> World:
    """A vehicle laid out up to its `as_of`; events after it are left out. `climates` is asked once per place.

    Raises:
        ValueError: a kind, orientation, colour or habit value that the tables do not know.
    """
    climate = remembered(climates)
    vehicle = replace(vehicle, events=tuple(event for event in vehicle.events if event.on <= vehicle.as_of))
    return World(vehicle, climate, *lay_out(vehicle, climate, until=vehicle.as_of))


def lay_out(
    vehicle: VehicleInput, climates: Callable[[Place], ClimateYear], *, until: date
) -> tuple[Timeline, tuple[Laid, ...]]:
    """A vehicle's surfaces on their timeline, with layers and events up to `until` (later ones are left out).

    `until` is the vehicle's `as_of` for a forecast, later for a plan. `climates` comes from `remembered`.
    """
    stacks = [layers_of(surface, vehicle.events, as_of=until) for surface in vehicle.surfaces]
    timeline = _timeline(vehicle, stacks, climates)
    dailies: dict[tuple[str, Heat, tuple[StoragePeriod, ...]], tuple[FloatArray, FloatArray]] = {}
    made = []
    for index, (given, stack) in enumerate(zip(vehicle.surfaces, stacks, strict=True)):
        heat = heat_of(given)
        key = (given.orientation, heat, given.mounted)
        if key not in dailies:
            daily = timeline.daily(orientation=given.orientation, heat=heat, mounted=given.mounted)
            dailies[key] = (daily, timeline.km(mounted=given.mounted))
        made.append(Laid(index, given, stack, timeline, *dailies[key]))
    return timeline, tuple(made)
