"""The forecast of one layer: its course, its readings, and what people read of both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from lifecycle.wear import degradation as deg
from lifecycle.wear import evidence, words
from lifecycle.wear.chemistry import UNKNOWN_KIND
from lifecycle.wear.course import Course
from lifecycle.wear.degradation import Clock, consumed_at_function
from lifecycle.wear.evidence import Posterior, Seen
from lifecycle.wear.stack import LiveLayer
from lifecycle.wear.timeline import Timeline
from lifecycle.wear.types import CoursePoint, LayerForecast, LayerInput, Mark, ReadingInput, Stage

COURSE_POINTS = 60
GLOSSY_FAMILIES = ("wax", "sealant", "ceramic", "film_top")
UNKNOWN_NOTE = "A layer of unknown kind: nothing is forecast for it, an inspection tells more."
CLOGGED_NOTE = "No beading was seen without decontamination: clogged, wear unknown. Decontaminate and look again."
OVER_UNKNOWN_NOTE = "It lies over an unknown earlier layer: the range is wider."
FRESH_PAINT_NOTE = "It was applied within 90 days of a respray: the paint may not have cured."
IMPLIED_NOTE = "From a top-up that was noted without a product: a usual booster is assumed."


@dataclass(frozen=True, slots=True)
class Look:
    """A reading that speaks of a layer, with the clogging expected on its day."""

    reading: ReadingInput
    clogging: float


def unknown_forecast(layer: LayerInput) -> LayerForecast:
    """The answer for a layer of unknown kind: it is there, and nothing is promised."""
    return LayerForecast(
        key=layer.key,
        kind=layer.kind,
        applied=layer.applied,
        stage=Stage.UNKNOWN,
        function_left=None,
        life_consumed=None,
        renewal_months=None,
        tired_on=None,
        end_on=None,
        renewal_on=None,
        ln_life_sd=0.0,
        rate_median=1.0,
        reasons=(),
        marks=(),
        course=(),
        notes=(UNKNOWN_NOTE,),
    )


def posterior_of(course: Course, looks: Sequence[Look], *, ln_sd: float) -> Posterior:
    """The vehicle's rate on this layer after its readings."""
    seen = []
    for look in looks:
        day = min((look.reading.on - course.applied).days, len(course.stress) - 1)
        seen.append(
            Seen(
                reading=look.reading,
                consumed_at_median=float(course.stress[day]) / course.life.median_months,
                angles=course.chemistry.angles,
                clogging=look.clogging,
                glossy=course.chemistry.family in GLOSSY_FAMILIES,
                contact_years=course.contact_years(day),
            )
        )
    return evidence.update(prior_ln_sd=ln_sd, seen=seen)


def rate_of(posterior: Posterior) -> deg.Rate:
    """The rate that a forecast uses: after readings that say something, else the prior."""
    return posterior.rate if posterior.used else deg.prior_rate(ln_sd=posterior.prior_ln_sd)


def course_points(clock: Clock, *, as_of: date) -> tuple[CoursePoint, ...]:
    """Function left with its band from application to a little past the late end, about sixty days and today."""
    last = deg.months_after(clock.applied, clock.months_until(1.0, 0.9) * 1.1)
    last = max(last, as_of + timedelta(days=30))
    days = set(np.rint(np.linspace(0, (last - clock.applied).days, COURSE_POINTS)).astype(int).tolist())
    days.add(max((as_of - clock.applied).days, 0))
    ages = sorted(days)
    index = np.minimum(ages, len(clock.stress) - 1)
    left = deg.function_left(clock.consumed_by(index, deg.BAND)).tolist()
    start = clock.applied.toordinal()
    return tuple(
        CoursePoint(date.fromordinal(start + age), low, middle, high)
        for age, high, middle, low in zip(ages, *left, strict=True)
    )


def _notes(
    course: Course, *, over_unknown: bool, clogged: bool, duty_note: str, refinished_on: date | None
) -> list[str]:
    notes = list(course.life.notes)
    if over_unknown:
        notes.append(OVER_UNKNOWN_NOTE)
    if clogged:
        notes.append(CLOGGED_NOTE)
    if duty_note:
        notes.append(duty_note)
    if refinished_on is not None and 0 <= (course.applied - refinished_on).days < 90:
        notes.append(FRESH_PAINT_NOTE)
    if course.live.implied:
        notes.append(IMPLIED_NOTE)
    return notes


def _marks(course: Course, posterior: Posterior) -> tuple[Mark, ...]:
    marks = [course.life.mark, course.chemistry.weights_mark, *deg.spread_marks()]
    if posterior.weight >= evidence.SAYS_LITTLE:
        marks.append(Mark.LEARNED_HERE)
    return tuple(dict.fromkeys(marks))


def layer_forecast(
    course: Course,
    *,
    looks: Sequence[Look],
    ln_sd: float,
    timeline: Timeline,
    posterior: Posterior | None = None,
    clogged: bool = False,
    over_unknown: bool = False,
    duty_note: str = "",
    refinished_on: date | None = None,
) -> LayerForecast:
    """State and future of a live layer.

    Args:
        looks: readings that speak of this layer.  ln_sd: spread of ln life before them.  posterior: of `looks`, where
            it has been worked out already.
        clogged: "no beading" was seen without decontamination: the bands stay, the stage is unknown.
    """
    vehicle, layer = timeline.vehicle, course.live.layer
    posterior = posterior or posterior_of(course, looks, ln_sd=ln_sd)
    clock = Clock(applied=layer.applied, stress=course.stress, life=course.life, rate=rate_of(posterior))
    consumed = clock.consumed_band(vehicle.as_of)
    left = deg.function_band(consumed)
    segment = timeline.habit_on(vehicle.as_of)
    studio = [one.reading.on for one in looks if one.reading.by == "studio" and one.reading.clean_state != "dirty"]
    return LayerForecast(
        key=layer.key,
        kind=layer.kind,
        applied=layer.applied,
        stage=Stage.UNKNOWN if clogged else deg.stage_of(left.p50),
        function_left=left,
        life_consumed=consumed,
        renewal_months=clock.months_band(1.0),
        tired_on=clock.date_band(consumed_at_function(0.5)),
        end_on=clock.date_band(consumed_at_function(0.3)),
        renewal_on=clock.date_band(1.0),
        ln_life_sd=posterior.ln_sd if posterior.used else ln_sd,
        rate_median=posterior.kappa_median if posterior.used else 1.0,
        reasons=words.reasons(
            course.shares(until=vehicle.as_of),
            habit=segment.habit,
            place=segment.habit.place or vehicle.place,
            colour=vehicle.colour,
            stored=segment.stored,
        ),
        marks=_marks(course, posterior),
        course=course_points(clock, as_of=vehicle.as_of),
        seen_on=max(studio) if studio else None,
        evidence_says=evidence.evidence_sentence(posterior),
        notes=tuple(
            _notes(course, over_unknown=over_unknown, clogged=clogged, duty_note=duty_note, refinished_on=refinished_on)
        ),
        chance_dates=clock.chance_dates(),
        implied=course.live.implied,
    )


def is_known(live: LiveLayer) -> bool:
    """Whether a forecast can be given for a layer."""
    return live.layer.kind != UNKNOWN_KIND
