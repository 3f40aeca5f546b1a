"""One vehicle in, its forecast out: the entry point of the wear model."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import hypot

import numpy as np

from lifecycle.wear import clearcoat, clogging, etching, evidence, spread
from lifecycle.wear import degradation as deg
from lifecycle.wear.chemistry import chemistry
from lifecycle.wear.course import MECHANISMS, SOIL, Course, layer_course
from lifecycle.wear.figures import wear_value
from lifecycle.wear.layers import Look, is_known, layer_forecast, unknown_forecast
from lifecycle.wear.stack import (
    FILMS,
    PAINTED,
    LiveLayer,
    concerns,
    correction_days,
    ended_layers,
    layers_of,
)
from lifecycle.wear.timeline import Timeline, build_timeline
from lifecycle.wear.types import (
    Band,
    ClearCoat,
    ClimateYear,
    FloatArray,
    LayerForecast,
    Place,
    ReadingInput,
    SurfaceForecast,
    SurfaceInput,
    VehicleForecast,
    VehicleInput,
)

MODEL_VERSION = "1"
ETCH_LOOKS_BACK_DAYS = 365
CLOGGING_LOOKS_BACK_DAYS = 365
NO_LAYER_NOTE = "No layer is known on this surface: an inspection tells what is there."


@dataclass(frozen=True, slots=True)
class _Surface:
    """A surface on the vehicle's timeline."""

    index: int
    given: SurfaceInput
    stack: tuple[LiveLayer, ...]
    timeline: Timeline
    daily: FloatArray
    km: FloatArray

    def offset(self, day: date) -> int:
        return (day - self.timeline.first).days


def _life(vehicle: VehicleInput, surface: SurfaceInput, live: LiveLayer) -> deg.Life:
    return deg.life_of(
        chemistry(live.layer.kind),
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
                days = deg.horizon_days(_life(vehicle, surface, live))
                last = max(last, live.layer.applied + timedelta(days=days))
    return build_timeline(vehicle, climates, first=first, days=(last - first).days)


def _courses(vehicle: VehicleInput, surface: _Surface) -> dict[int, Course]:
    """Courses of all known layers, ended ones too (they shielded what lies below), by their index in the stack."""
    courses: dict[int, Course] = {}
    for index in range(len(surface.stack) - 1, -1, -1):
        live = surface.stack[index]
        if not is_known(live):
            continue
        life = _life(vehicle, surface.given, live)
        start = surface.offset(live.layer.applied)
        days = max(deg.horizon_days(life), (vehicle.as_of - live.layer.applied).days + 2)
        courses[index] = layer_course(
            live,
            life=life,
            chemistry=chemistry(live.layer.kind),
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


def _clogging_on(vehicle: VehicleInput, surface: _Surface, day: date) -> Band:
    """Clogging at the start of a day; a surface is clean when a layer of the studio goes on or paint is new."""
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


def _speaks_of(surface: _Surface, courses: dict[int, Course], day: date) -> int | None:
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


def _looks(vehicle: VehicleInput, surface: _Surface, courses: dict[int, Course]) -> dict[int, list[Look]]:
    """Readings by the index of the layer that they speak of."""
    looks: dict[int, list[Look]] = {}
    for reading in sorted(vehicle.readings, key=lambda one: one.on):
        if reading.surface != surface.given.code or reading.on > vehicle.as_of:
            continue
        index = _speaks_of(surface, courses, reading.on)
        if index is not None:
            level = _clogging_on(vehicle, surface, reading.on).p50
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


def _spread(vehicle: VehicleInput, surface: _Surface, course: Course, *, extra: float) -> tuple[float, str]:
    """Spread of ln life before readings, and a note on a duty outside the tables."""
    until = max(vehicle.as_of, course.applied + timedelta(days=365))
    periods = []
    for segment in surface.timeline.segments:
        start, end = max(segment.start, course.applied), min(segment.end, until)
        if start < end and not segment.stored:
            periods.append((segment.habit, float((end - start).days)))
    duty, note = spread.duty_spread(course.mean_duty())
    total = hypot(
        course.life.ln_sd,
        spread.habit_spread(periods) if periods else 0.0,
        spread.climate_spread(surface.timeline.climates(vehicle.place).error_word),
        spread.assumed_spread(vehicle.assumed, surface_index=surface.index),
        duty,
        extra,
    )
    return total, note


def _layers(vehicle: VehicleInput, surface: _Surface, *, unclear: bool) -> tuple[LayerForecast, ...]:
    courses = _courses(vehicle, surface)
    looks, top, made = _looks(vehicle, surface, courses), _speaks_of(surface, courses, vehicle.as_of), []
    for index, live in enumerate(surface.stack):
        if not live.is_live(vehicle.as_of):
            continue
        if index not in courses:
            made.append(unknown_forecast(live.layer))
            continue
        under = surface.stack[:index]
        over_unknown = any(not is_known(other) and other.is_live(live.layer.applied) for other in under)
        clogged = unclear and index == top
        extra = hypot(
            wear_value("spread.over_unknown") if over_unknown else 0.0,
            wear_value("spread.dirty_look") if clogged else 0.0,
        )
        ln_sd, note = _spread(vehicle, surface, courses[index], extra=extra)
        made.append(
            layer_forecast(
                courses[index],
                looks=looks.get(index, []),
                ln_sd=ln_sd,
                timeline=surface.timeline,
                clogged=clogged,
                over_unknown=over_unknown,
                duty_note=note,
                refinished_on=surface.given.refinished_on,
            )
        )
    return tuple(made)


def _clear_coat(vehicle: VehicleInput, surface: _Surface) -> ClearCoat:
    listed = {removal.on for removal in surface.given.removals}
    events = [e for e in vehicle.events if e.kind == "correction" and concerns(e, surface.given) and e.on not in listed]
    film = any(live.layer.kind in FILMS and live.is_live(vehicle.as_of) for live in surface.stack)
    return clearcoat.clear_coat(
        surface.given, paint=vehicle.paint, under_film=film, unlisted_corrections=len({event.on for event in events})
    )


def _etch_risk(vehicle: VehicleInput, surface: _Surface, layers: tuple[LayerForecast, ...]) -> Band | None:
    """The worst chance among the contaminations of the last year that no correction or repaint has answered."""
    since = vehicle.as_of - timedelta(days=ETCH_LOOKS_BACK_DAYS)
    answered = [*correction_days(surface.given, vehicle.events)]
    answered += [e.on for e in vehicle.events if e.kind in ("repaint", "part_swap") and concerns(e, surface.given)]
    left = next((layer.function_left.p50 for layer in reversed(layers) if layer.function_left is not None), 0.0)
    climate = surface.timeline.climates(vehicle.place)
    risks = []
    for event in vehicle.events:
        open_ = event.kind in etching.ETCHING and since <= event.on <= vehicle.as_of and concerns(event, surface.given)
        if not open_ or surface.given.substrate not in PAINTED or any(day > event.on for day in answered):
            continue
        month = event.on.month - 1
        warm = climate.air_c[month] + 0.5 * climate.diurnal_range_k[month]
        risks.append(
            etching.etch_chance(
                dwell_h=wear_value("etch.dwell_default") if event.dwell_h is None else event.dwell_h,
                air_c=warm if event.air_c is None else event.air_c,
                colour=vehicle.colour,
                function_left=left,
            )
        )
    return max(risks, key=lambda risk: risk.p50) if risks else None


def _returns(layers: tuple[LayerForecast, ...], level: Band) -> Band | None:
    known = [layer for layer in layers if layer.function_left is not None]
    if not known or known[-1].function_left is None:
        return None
    return clogging.chance_that_behaviour_returns(function_left=known[-1].function_left, clogging=level)


def _assess_surface(vehicle: VehicleInput, surface: _Surface) -> SurfaceForecast:
    cleaned = cleaning_days(vehicle, surface.given)
    applied = tuple(live.layer.applied for live in surface.stack)
    mine = [one for one in vehicle.readings if one.surface == surface.given.code and one.on <= vehicle.as_of]
    unclear = _still_unclear(mine, tuple(sorted((*cleaned, *applied))))
    level = _clogging_on(vehicle, surface, vehicle.as_of)
    layers = _layers(vehicle, surface, unclear=unclear)
    clogged = unclear or level.p50 >= wear_value("clog.hides")
    notes = list(surface.timeline.notes)
    if not layers:
        notes.append(NO_LAYER_NOTE)
    return SurfaceForecast(
        code=surface.given.code,
        layers=layers,
        clear_coat=_clear_coat(vehicle, surface),
        clogging=level,
        clogged=clogged,
        decontaminated_on=clogging.last_cleaning(cleaned, on=vehicle.as_of),
        etch_risk=_etch_risk(vehicle, surface, layers),
        returns_chance=_returns(layers, level) if clogged else None,
        ended=ended_layers(surface.stack, as_of=vehicle.as_of),
        notes=tuple(notes),
    )


def assess(vehicle: VehicleInput, climates: Callable[[Place], ClimateYear]) -> VehicleForecast:
    """Forecast every layer of a vehicle, its clogging and its clear coat.

    Args:
        vehicle: what is known; layers, removals, events and readings after `as_of` are left out.
        climates: gives the twelve months of climate of a place (see `lifecycle.climate`).

    Raises:
        ValueError: a kind, orientation, colour or habit value that the tables do not know.
    """
    asked: dict[Place, ClimateYear] = {}

    def climate(place: Place) -> ClimateYear:
        if place not in asked:
            asked[place] = climates(place)
        return asked[place]

    vehicle = replace(vehicle, events=tuple(event for event in vehicle.events if event.on <= vehicle.as_of))
    stacks = [layers_of(surface, vehicle.events, as_of=vehicle.as_of) for surface in vehicle.surfaces]
    timeline = _timeline(vehicle, stacks, climate)
    dailies: dict[str, FloatArray] = {}
    km, made = timeline.km(), []
    for index, (given, stack) in enumerate(zip(vehicle.surfaces, stacks, strict=True)):
        if given.orientation not in dailies:
            dailies[given.orientation] = timeline.daily(orientation=given.orientation)
        made.append(_assess_surface(vehicle, _Surface(index, given, stack, timeline, dailies[given.orientation], km)))
    year = timeline.daily(orientation="flat")
    start = (vehicle.as_of - timeline.first).days
    means = np.mean(year[start : start + 365], axis=0)
    return VehicleForecast(
        as_of=vehicle.as_of,
        climate=climate(vehicle.place),
        surfaces=tuple(made),
        assumed=vehicle.assumed,
        model_version=MODEL_VERSION,
        yearly_stress={str(mechanism): float(mean) for mechanism, mean in zip(MECHANISMS, means, strict=True)},
    )
