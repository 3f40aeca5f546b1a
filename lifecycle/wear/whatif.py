"""What another way of living would do to a vehicle's layers: months gained and cost a year, each with its range.

Both courses share everything but the change: the past, the readings, and above all the rate kappa of this vehicle. A
quantile of the difference is therefore taken over one rate, `T(kappa | changed) - T(kappa | as now)`, not over two
independent ones, which would make every gain look doubtful. What the change itself adds is kept apart: how well the
tables know the new duty, sd of ln `spread.away x |ln(duty changed / duty now)|`, and for a move the new climate.

All of it on a fixed grid of chances, no draws: the same question has the same answer.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from lifecycle.wear import normal, spread
from lifecycle.wear.change_words import describe, gain_sentence
from lifecycle.wear.clogging import cleaned
from lifecycle.wear.course import SOIL, Course
from lifecycle.wear.degradation import BAND, DAYS_PER_MONTH, Life, Rate, cumulate, horizon_days
from lifecycle.wear.figures import figure, wear_value
from lifecycle.wear.laid import Laid, LiveClock, World, clogging_on, courses_of, lay_out, live_clocks, world_of
from lifecycle.wear.stack import PAINTED
from lifecycle.wear.timeline import REFERENCE_HABIT, habit_on
from lifecycle.wear.types import (
    Band,
    ClimateYear,
    EventInput,
    FloatArray,
    LayerInput,
    Place,
    SurfaceInput,
    VehicleInput,
)
from lifecycle.wear.whatif_types import Change, LayerGain, Prices, SurfaceGain, WhatIf

__all__ = ["Change", "LayerGain", "Prices", "SurfaceGain", "WhatIf", "changed_vehicle", "what_if"]

RATES, DUTIES, PRICES = 40, 7, 5
YEAR_DAYS = 365
MOST_TIMES = 60
PLAN_DAYS = 5 * YEAR_DAYS  # nobody plans care for longer, and the layers that it is for rarely live longer


@dataclass(frozen=True, slots=True)
class _Pair:
    """A layer's clock as now and changed; `duty_sd` how well the change of duty is known (sd of ln)."""

    now: LiveClock
    changed: Course
    duty_sd: float


def _band(values: FloatArray) -> Band:
    """10, 50 and 90 % points, linear between the sorted values (`numpy.quantile`, which asks more than it works)."""
    ordered = np.sort(values, axis=None)
    at = np.array(BAND) * (ordered.size - 1)
    below = at.astype(np.intp)
    above = np.minimum(below + 1, ordered.size - 1)
    return Band(*(ordered[below] + (ordered[above] - ordered[below]) * (at - below)).tolist())


def _chances(count: int) -> FloatArray:
    return (np.arange(count) + 0.5) / count


def _scores(count: int) -> FloatArray:
    return np.array([normal.quantile(float(chance)) for chance in _chances(count)])


CHANCES, RATE_SCORES, DUTY_SCORES, PRICE_SCORES = _chances(RATES), _scores(RATES), _scores(DUTIES), _scores(PRICES)


def _times(per_year: float | None, *, first: date, last: date, lead: bool) -> list[date]:
    """Days of something done so often a year, the first on `first` (`lead`) or one interval later."""
    if not per_year:
        return []
    step = YEAR_DAYS / per_year
    count = min(int(min((last - first).days, PLAN_DAYS) / step) + 1, MOST_TIMES)
    days = [first + timedelta(days=round(step * (index + (0 if lead else 1)))) for index in range(count)]
    return [day for day in days if day <= last]


def _topped(surface: SurfaceInput, days: list[date], kind: str) -> SurfaceInput:
    if not days or surface.substrate not in PAINTED or not surface.layers:
        return surface
    planned = tuple(LayerInput(f"{surface.code}:planned:{day}", kind, day) for day in days)
    return replace(surface, layers=(*surface.layers, *planned))


def changed_vehicle(vehicle: VehicleInput, change: Change, *, last: date) -> VehicleInput:
    """The vehicle as it would live from `as_of` on; everything before stays. Planned care is laid out up to `last`."""
    today = vehicle.as_of
    habits = vehicle.habits or (replace(REFERENCE_HABIT, start=date.min),)
    present = habit_on(habits, today)
    past = tuple(
        replace(one, end=today if one.end is None or one.end > today else one.end)
        for one in habits
        if one.start < today
    )
    told = change.habits()
    unsaid = tuple(name for name in present.defaulted if name not in told)
    living = replace(present, start=today, end=None, defaulted=unsaid, **told)  # type: ignore[arg-type]
    cleanings = _times(change.decontaminations_per_year, first=today, last=last, lead=False)
    top_ups = _times(change.top_ups_per_year, first=today, last=last, lead=True)
    return replace(
        vehicle,
        habits=(*past, living),
        surfaces=tuple(_topped(surface, top_ups, change.top_up_kind) for surface in vehicle.surfaces),
        events=(*vehicle.events, *(EventInput(on=day, kind="decontamination") for day in cleanings)),
    )


def _targets(life: Life, ln_kappa: FloatArray) -> FloatArray:
    """Cumulative stress, reference months, at which D = 1 for each rate."""
    return np.asarray(life.median_months * np.exp(-ln_kappa), dtype=float)


def _months_until(stress: FloatArray, life: Life, target: FloatArray) -> FloatArray:
    """Months until `stress` reaches each target, held by the calendar. Shape of `target`, whose rows follow
    `RATE_SCORES`."""
    after = np.searchsorted(stress, target.ravel(), side="left").reshape(target.shape)
    inside = after < len(stress)
    upper = np.minimum(after, len(stress) - 1)
    lower = np.maximum(upper - 1, 0)
    step = stress[upper] - stress[lower]
    part = np.where(step > 0, (target - stress[lower]) / np.where(step > 0, step, 1.0), 0.0)
    by_stress = np.where(inside, (lower + part) / DAYS_PER_MONTH, np.inf)
    calendar = life.mild_months * np.exp(life.mild_ln_sd * RATE_SCORES)
    return np.asarray(np.minimum(by_stress, calendar[:, None]), dtype=float)


def _ln_kappa(rate: Rate, chances: FloatArray) -> FloatArray:
    """ln kappa of the layers that are the `chances` quantile in life: a long life has a low rate."""
    return np.asarray(np.interp(1.0 - chances, rate.chance, rate.ln_kappa), dtype=float)


def _from_today(course: Course, today: date) -> FloatArray:
    """Cumulative stress of a fresh layer from today on, at the duty of the coming years; the last year repeats."""
    daily = np.diff(course.stress)[max((today - course.applied).days, 0) :] * DAYS_PER_MONTH
    need = horizon_days(course.life)
    if len(daily) < need:
        last = daily[-YEAR_DAYS:] if len(daily) >= YEAR_DAYS else daily
        daily = np.concatenate([daily, np.resize(last, need - len(daily))])
    return cumulate(daily[:need])


def _mean_duty(course: Course, today: date) -> float:
    start = max((today - course.applied).days, 0)
    year = course.by_mechanism[start : start + YEAR_DAYS]
    return max(float(year.sum()) / max(len(year), 1), 1e-6)


def _pairs(
    worlds: tuple[VehicleInput, VehicleInput], now: tuple[Laid, ...], changed: tuple[Laid, ...], change: Change
) -> dict[str, list[_Pair]]:
    """Layers that live in both worlds, by surface."""
    vehicle, living = worlds
    climate_sd = 0.0
    if change.place is not None and now:
        climate_sd = spread.climate_spread(changed[0].timeline.climates(change.place).error_word)
    found: dict[str, list[_Pair]] = {}
    for here, there in zip(now, changed, strict=True):
        courses = {
            course.live.layer.key: course
            for course in courses_of(living, there).values()
            if course.live.is_live(vehicle.as_of)
        }
        for clock in live_clocks(vehicle, here).values():
            course = courses.get(clock.course.live.layer.key)
            if course is not None:
                ratio = _mean_duty(course, vehicle.as_of) / _mean_duty(clock.course, vehicle.as_of)
                duty_sd = math.hypot(wear_value("spread.away") * abs(math.log(ratio)), climate_sd)
                found.setdefault(here.given.code, []).append(_Pair(clock, course, duty_sd))
    return found


def _price_points(price: tuple[float, float]) -> FloatArray:
    low, high = price
    if not 0 <= low <= high:
        raise ValueError(f"a price is {low:g} to {high:g}; write 0 <= low <= high.")
    middle, sd = 0.5 * (low + high), (high - low) / (2.0 * normal.Z90)
    return np.maximum(middle + sd * PRICE_SCORES, 0.0)


def _costs(pair: _Pair, price: tuple[float, float], *, today: date) -> tuple[FloatArray, FloatArray]:
    """Cost a year of renewals as now and changed, shape (rates, duties, prices): price over the life of a fresh
    layer."""
    ln_kappa = np.repeat(_ln_kappa(pair.now.rate, CHANCES)[:, None], DUTIES, axis=1)
    off = pair.duty_sd * DUTY_SCORES[None, :]
    life, changed_life = pair.now.course.life, pair.changed.life
    lives = (
        _months_until(_from_today(pair.now.course, today), life, _targets(life, ln_kappa)),
        _months_until(_from_today(pair.changed, today), changed_life, _targets(changed_life, ln_kappa + off)),
    )
    points = _price_points(price)[None, None, :]
    now, changed = (12.0 * points / np.maximum(months, 0.1)[:, :, None] for months in lives)
    return now, changed


def _layer_gain(
    pair: _Pair, code: str, *, today: date, words: str, costs: tuple[FloatArray, FloatArray] | None
) -> LayerGain:
    course = pair.now.course
    target = _targets(course.life, _ln_kappa(pair.now.rate, CHANCES)[:, None])
    age = (today - course.applied).days / DAYS_PER_MONTH
    now = np.maximum(_months_until(course.stress, course.life, target) - age, 0.0)
    # What has been worn is worn: the doubt about the new duty acts on the days to come. A duty that is harder by a
    # factor reaches what is left of the target where the curve itself reaches that part of it.
    worn = float(course.stress[max((today - course.applied).days, 0)])
    off = np.exp(pair.duty_sd * DUTY_SCORES)[None, :]
    ahead = np.where(target > worn, worn + (target - worn) / off, target)
    changed = np.maximum(_months_until(pair.changed.stress, course.life, ahead) - age, 0.0)
    gained = _band((changed - now).ravel())
    return LayerGain(
        surface=code,
        key=course.live.layer.key,
        kind=course.live.layer.kind,
        months_left=_band(now.ravel()),
        months_left_changed=_band(changed.ravel()),
        months_gained=gained,
        cost_per_year=_band(costs[0].ravel()) if costs else None,
        cost_per_year_changed=_band(costs[1].ravel()) if costs else None,
        saved_per_year=_band((costs[0] - costs[1]).ravel()) if costs else None,
        says=gain_sentence(words, course.live.layer.kind, code, gained),
    )


def _seen_months(vehicle: VehicleInput, surface: Laid, cleanings: list[date]) -> Band:
    """Months of the coming year with grime below the level that hides the coat; corners as in `clogging`."""
    start = surface.offset(vehicle.as_of)
    soil = surface.daily[start : start + YEAR_DAYS, SOIL] / DAYS_PER_MONTH
    today = clogging_on(vehicle, surface, vehicle.as_of)
    removed, sd, base = figure("clog.removed"), wear_value("clog.rate_sd"), wear_value("clog.rate")
    least_open = 1.0 - wear_value("clog.hides")
    rate = base * np.exp(np.array([normal.Z90, 0.0, -normal.Z90]) * sd)[:, None]
    taken, open_share = (removed.low, removed.value, removed.high), [1.0 - today.p90, 1.0 - today.p50, 1.0 - today.p10]
    days = {(day - vehicle.as_of).days for day in cleanings}
    cuts = sorted({0, len(soil), *(day for day in days if 0 < day < len(soil))})
    seen = np.zeros(3)
    for first, last in pairwise(cuts):
        if first in days:
            open_share = [1.0 - cleaned(1.0 - one, removed=share) for one, share in zip(open_share, taken, strict=True)]
        grown = np.concatenate(([0.0], np.cumsum(soil[first:last])))
        opened = np.array(open_share)[:, None] * np.exp(-rate * grown)
        seen += np.count_nonzero(opened[:, :-1] > least_open, axis=1)
        open_share = opened[:, -1].tolist()
    return Band(*sorted((seen / DAYS_PER_MONTH).tolist()))


def _care_costs(vehicle: VehicleInput, change: Change, prices: Prices) -> FloatArray | None:
    """What the change costs more a year, on the price points; None where a price is missing."""
    present = habit_on(vehicle.habits, vehicle.as_of) if vehicle.habits else REFERENCE_HABIT
    method, washes = change.wash_method or present.wash_method, change.washes_per_year
    washes = present.washes_per_year if washes is None else washes
    total = np.zeros(PRICES)
    if (method, washes) != (present.wash_method, present.washes_per_year):
        if method not in prices.wash or present.wash_method not in prices.wash:
            return None
        total += washes * _price_points(prices.wash[method])
        total -= present.washes_per_year * _price_points(prices.wash[present.wash_method])
    for times, price in (
        (change.decontaminations_per_year, prices.decontamination),
        (change.top_ups_per_year, prices.top_up),
    ):
        if times:
            if price is None:
                return None
            total += times * _price_points(price)
    return total + _price_points(prices.other_per_year) if prices.other_per_year is not None else total


def _saved(costs: Mapping[str, list[tuple[FloatArray, FloatArray]]], care: FloatArray | None) -> Band | None:
    """Renewals saved a year less the cost of care. A kind is renewed on the whole vehicle when its worst surface asks
    for it."""
    if care is None or not costs:
        return None
    total = -care[None, None, :]
    for pairs in costs.values():
        now, changed = (np.max(np.stack([pair[side] for pair in pairs]), axis=0) for side in (0, 1))
        total = total + now - changed
    return _band(np.broadcast_to(total, (RATES, DUTIES, PRICES)).ravel())


def _notes(now: tuple[Laid, ...], change: Change) -> tuple[str, ...]:
    notes = list(now[0].timeline.notes) if now else []
    today = now[0].timeline.vehicle.as_of if now else date.min
    stacks = [live for surface in now for live in surface.stack if live.is_live(today)]
    if change.top_ups_per_year and any(live.layer.kind == change.top_up_kind for live in stacks):
        notes.append(f"The present {change.top_up_kind.replace('_', ' ')} is renewed today and not told apart here.")
    return tuple(notes)


def _checked(change: Change) -> None:
    if all(getattr(change, one.name) is None for one in fields(change) if one.name != "top_up_kind"):
        raise ValueError("change says nothing; set at least one field, for example parking.")
    for name in ("decontaminations_per_year", "top_ups_per_year"):
        times = getattr(change, name)
        if times is not None and not 0 <= times <= 24:
            raise ValueError(f"{name} is {times}; write a number from 0 to 24.")


def what_if(
    vehicle: VehicleInput,
    climates: Callable[[Place], ClimateYear],
    change: Change,
    *,
    prices: Prices | None = None,
    world: World | None = None,
) -> WhatIf:
    """Months gained on each live layer, and cost a year, if the vehicle lived otherwise from `as_of` on.

    Args:
        vehicle: what is known. Habits planned for later count for life as now; the change stands instead of them.
        climates: gives the climate of a place, also of `change.place`.
        prices: (low, high) prices; without them no cost is told.
        world: the same vehicle as `laid.world_of` laid it out, where somebody has asked for its forecast already; then
            nothing of it is worked out twice.

    Raises:
        ValueError: the change says nothing or uses a word that the tables do not know; a price with low above high.
    """
    _checked(change)
    world = world or world_of(vehicle, climates)
    prices, today = prices or Prices(), vehicle.as_of
    vehicle, climate, timeline, now = world.vehicle, world.climates, world.timeline, world.laid
    last = timeline.first + timedelta(days=timeline.days - 1)
    living = changed_vehicle(vehicle, change, last=last)
    _, changed = lay_out(living, climate, until=last)
    words = describe(change)
    layers: list[LayerGain] = []
    by_kind: dict[str, list[tuple[FloatArray, FloatArray]]] = {}
    for code, pairs in _pairs((vehicle, living), now, changed, change).items():
        for pair in pairs:
            kind = pair.now.course.live.layer.kind
            costs = _costs(pair, prices.renewal[kind], today=today) if kind in prices.renewal else None
            if costs is not None:
                by_kind.setdefault(kind, []).append(costs)
            layers.append(_layer_gain(pair, code, today=today, words=words, costs=costs))
    cleanings = [event.on for event in living.events if event.kind == "decontamination" and event.on > today]
    surfaces = tuple(
        SurfaceGain(here.given.code, _seen_months(vehicle, here, []), _seen_months(living, there, cleanings))
        for here, there in zip(now, changed, strict=True)
    )
    care = _care_costs(vehicle, change, prices)
    return WhatIf(
        change=change,
        layers=tuple(layers),
        surfaces=surfaces,
        care_cost_per_year=_band(care) if care is not None else None,
        saved_per_year=_saved(by_kind, care),
        notes=_notes(now, change),
    )
