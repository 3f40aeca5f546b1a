"""From a vehicle's looks to the histories that `durability` learns from, in months at the reference duty.

A look says "works" or "has ended", or nothing:

| look (by the studio, on a washed or decontaminated surface) | says |
|---|---|
| still works; beading score 3 to 5; water angle 3 degrees or more above the end angle | works |
| works no more; score 0 or 1; angle 3 degrees or more below the end angle, all after decontamination only | ended |
| anything between, dirty surfaces, a customer's own look | nothing: it moves that vehicle's forecast, no product |

Grime hides a coat, so that "no beading" without decontamination never counts as an end.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date

from lifecycle.wear import degradation as deg
from lifecycle.wear.course import Course
from lifecycle.wear.degradation import Life
from lifecycle.wear.durability import History
from lifecycle.wear.figures import wear_value
from lifecycle.wear.laid import Laid, courses_of, lay_out, remembered
from lifecycle.wear.spread import spread_value
from lifecycle.wear.stack import correction_days
from lifecycle.wear.types import ClimateYear, Place, ReadingInput, VehicleInput


@dataclass(frozen=True, slots=True)
class LayerHistory:
    """The history of one layer. `life` is that of its product on factory paint at the reference duty, as the label or
    the table says."""

    key: str
    kind: str
    history: History
    life: Life


def verdict(reading: ReadingInput, *, end_deg: float | None) -> bool | None:
    """Whether a look says that the layer works (True), has ended (False) or nothing (None); `end_deg` is its end
    angle, None for layers without a water test."""
    if reading.by != "studio" or reading.clean_state not in ("washed", "decontaminated"):
        return None
    said: list[bool] = []
    if reading.works is not None:
        said.append(reading.works)
    if end_deg is not None and reading.contact_angle_deg is not None:
        off = reading.contact_angle_deg - end_deg
        said += [off > 0] if abs(off) >= spread_value("look.angle_margin") else []
    if end_deg is not None and reading.beading_score is not None:
        if reading.beading_score >= spread_value("look.works_from"):
            said.append(True)
        elif reading.beading_score <= spread_value("look.ended_to"):
            said.append(False)
    if not said or len(set(said)) > 1:
        return None
    return said[0] if said[0] or reading.clean_state == "decontaminated" else None


def _months(course: Course, life: Life, day: date) -> float:
    """Reference months of stress by a day, brought to factory paint."""
    index = min((day - course.applied).days, len(course.stress) - 1)
    return float(course.stress[index]) * life.median_months / course.life.median_months


def _history(vehicle: VehicleInput, surface: Laid, index: int, course: Course, key: str) -> LayerHistory:
    live, chemistry = surface.stack[index], course.chemistry
    life = deg.life_of(chemistry, life_months=live.layer.life_months, life_mark=live.layer.life_mark)
    looks = [
        one
        for one in vehicle.readings
        if one.surface == surface.given.code and live.layer.applied < one.on <= vehicle.as_of and live.is_live(one.on)
    ]
    last = max((one.on for one in looks), default=live.layer.applied)
    put_on = [other.layer.applied for other in surface.stack[index + 1 :]]
    touches = [*correction_days(surface.given, vehicle.events), *put_on]
    end_deg = chemistry.angles.end if chemistry.angles is not None else None
    said = [(verdict(one, end_deg=end_deg), one) for one in looks]
    works = [one for saying, one in said if saying is True]
    alive = max(works, key=lambda one: one.on) if works else None
    ended = [one for saying, one in said if saying is False and (alive is None or one.on > alive.on)]
    failed = min(ended, key=lambda one: one.on) if ended else None
    alive_months = _months(course, life, alive.on) if alive is not None else 0.0
    failed_months = _months(course, life, failed.on) if failed is not None else None
    if failed_months is not None and failed_months <= alive_months:
        failed, failed_months = None, None
    states = [one.clean_state for one in (alive, failed) if one is not None]
    history = History(
        vehicle=key,
        alive_months=alive_months,
        failed_months=failed_months,
        weight=min((wear_value(f"evidence.weight.{state}") for state in states), default=1.0),
        touched=any(live.layer.applied < day <= last for day in touches),
    )
    return LayerHistory(live.layer.key, live.layer.kind, history, life)


def histories_of(
    vehicle: VehicleInput, climates: Callable[[Place], ClimateYear], *, key: str
) -> tuple[LayerHistory, ...]:
    """The history of every layer of known kind that a vehicle carries or carried.

    Args:
        key: names the vehicle among others; layers of one vehicle share the weight of one.
        climates: gives the climate of a place, as for `assessment.assess`.

    Raises:
        ValueError: a kind, orientation, colour or habit that the tables do not know.
    """
    events = tuple(event for event in vehicle.events if event.on <= vehicle.as_of)
    vehicle = replace(vehicle, events=events)
    _, laid = lay_out(vehicle, remembered(climates), until=vehicle.as_of)
    return tuple(
        _history(vehicle, surface, index, course, key)
        for surface in laid
        for index, course in sorted(courses_of(vehicle, surface).items())
        if not surface.stack[index].implied
    )
