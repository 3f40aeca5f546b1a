"""Washing and decontamination: by clogging, by time at this duty, after the salt season."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

from lifecycle.care.candidates import Candidate, around, not_before
from lifecycle.care.chances import Window
from lifecycle.care.curing import touchable_on
from lifecycle.care.facts import PAINT_LAYERS, CareFacts, SurfaceFacts
from lifecycle.care.tasks_table import figure, interval
from lifecycle.care.wording import between, changed_words, day_words, in_ten, wash_advice
from lifecycle.wear.degradation import DAYS_PER_MONTH
from lifecycle.wear.types import Band

RARE_WASHES_PER_YEAR = 13.0  # less often than every four weeks (own washing every 2 to 4 weeks, common practice)
# An expert's range for one decontamination of a clogged mid ceramic coat (judgement).
USUAL_RETURN = Band(0.6, 0.75, 0.85)


def decontamination_months(contamination: float) -> float:
    """Months between decontamination washes: 6 at the reference contamination, 3 on harsh duty, 12 always garaged.

    Six months over the yearly mean of K, kept inside 3 to 12 (range common practice, the law between is judgement).
    """
    months = figure("decontaminate.months")
    return min(max(months.value / max(contamination, 0.01), months.low), months.high)


def spring_window(facts: CareFacts, clean_on: date) -> Window | None:
    """The next window after a salt season that the surface has not been cleaned after; None without road salt.

    15 March, 5 April, 15 May in the north, half a year later in the south (judgement; salt from November to March).
    A missed spring is named until the end of June.
    """
    if not facts.salted:
        return None
    for year in range(facts.as_of.year - 1, facts.as_of.year + 3):
        first, ideal, last = (facts.season_day(year, *day) for day in ((3, 15), (4, 5), (5, 15)))
        cleaned_after = clean_on >= first - timedelta(days=14)
        if last + timedelta(days=46) >= facts.as_of and not cleaned_after:
            return first, ideal, last
    return None


def _time_window(facts: CareFacts, clean_on: date) -> Window:
    days = decontamination_months(facts.contamination) * DAYS_PER_MONTH
    spread = min(7 * interval("decontaminate.window_weeks"), 0.25 * days)
    return around(facts.driven_later(clean_on, days), days=spread)


def _both(time: Window, season: Window) -> Window | None:
    """The days that suit both, None where there are none."""
    first, last = max(time[0], season[0]), min(time[2], season[2])
    return (first, min(max(season[1], first), last), last) if first <= last else None


def _dirt_words(facts: CareFacts) -> str:
    pace = (
        "faster than"
        if facts.contamination > 1.25
        else "slower than"
        if facts.contamination < 0.8
        else "about as fast as"
    )
    return f"dirt gathers here {pace} usual"


def _known(surface: SurfaceFacts, clean_on: date) -> str:
    band = surface.forecast.clogging
    low = min(round(10 * band.p10), 9)
    high = min(max(round(10 * band.p90), low + 1), 10)
    estimate = f"an estimate of {low} to {high} tenths of the way to clogged"
    return f"As far as we know it was last free of bound dirt on {day_words(clean_on)}; {estimate}."


def _expected(facts: CareFacts) -> str:
    months = decontamination_months(facts.contamination)
    low = max(round(0.8 * months), 3)
    high = min(max(round(1.2 * months), low + 1), 12)
    return f"At this use a decontamination fits about every {low} to {high} months."


def clogged_window(surface: SurfaceFacts, facts: CareFacts, clean_on: date) -> Window:
    """Two to six weeks from the look that found it clogged, else from the day on which cleaning was due (judgement)."""
    told = [
        one.on for one in facts.vehicle.readings if one.surface == surface.code and clean_on < one.on <= facts.as_of
    ]
    start = max(told, default=min(facts.as_of, _time_window(facts, clean_on)[1]))
    return start, start + timedelta(days=14), start + timedelta(days=42)


def _clogged(surface: SurfaceFacts, facts: CareFacts, clean_on: date) -> Candidate:
    chance = in_ten(surface.forecast.returns_chance or USUAL_RETURN)
    cause = (
        "clogged, wear unknown: missing beads on dirt say little, so the coat is cleaned before it is judged"
        if surface.wear_unknown
        else "by our estimate so much bound dirt has gathered that beads say little about the coat beneath"
    )
    return Candidate(
        task="decontamination_wash",
        surfaces=(surface.code,),
        window=clogged_window(surface, facts, clean_on),
        reason="clogging",
        cause=cause,
        known=_known(surface, clean_on),
        changed=changed_words(None, facts, note="Bound dirt covers the surface."),
        expected=f"After one decontamination water behaviour returns usefully in {chance} such cases; a retest tells.",
        keys=tuple(layer.key for layer in surface.layers),
    )


def _timed(surface: SurfaceFacts, facts: CareFacts, clean_on: date) -> Iterator[Candidate]:
    time, season = _time_window(facts, clean_on), spring_window(facts, clean_on)
    by_time = f"last decontaminated on {day_words(clean_on)} as far as we know, and {_dirt_words(facts)}"
    by_season = f"the salt season has ended or ends soon, and {_dirt_words(facts)}"
    windows: list[tuple[Window, str, str]] = [(time, "interval", by_time)]
    if season is not None:
        both = _both(time, season)
        windows = [(both, "season", by_season)] if both else [*windows, (season, "season", by_season)]
    for window, reason, cause in windows:
        yield Candidate(
            task="decontamination_wash",
            surfaces=(surface.code,),
            window=window,
            reason=reason,
            cause=cause,
            known=_known(surface, clean_on),
            changed=changed_words(surface.live(PAINT_LAYERS), facts),
            expected=_expected(facts),
            keys=tuple(layer.key for layer in surface.layers),
        )


def decontamination(facts: CareFacts) -> Iterator[Candidate]:
    """Decontamination washes for coated or filmed body panels, never onto what is still in cure."""
    for surface in facts.painted():
        if surface.live(PAINT_LAYERS) is None or surface.clean_on is None:
            continue
        bound = touchable_on(surface, facts)
        if surface.forecast.clogged:
            found = [_clogged(surface, facts, surface.clean_on)]
        else:
            found = list(_timed(surface, facts, surface.clean_on))
        for candidate in found:
            yield replace(candidate, window=not_before(candidate.window, bound), not_before=bound)


def maintenance_wash(facts: CareFacts) -> Iterator[Candidate]:
    """A studio wash with advice, only where the owner washes rarely or harshly."""
    habit = facts.habit
    coated = [surface for surface in facts.painted() if surface.live(PAINT_LAYERS) is not None]
    days = [day for surface in coated for day in (surface.clean_on, surface.seen_on) if day is not None]
    if habit is None or not days:
        return
    days += facts.washed_on
    advice = wash_advice(facts)
    if habit.washes_per_year >= RARE_WASHES_PER_YEAR and not advice:
        return
    day = facts.driven_later(max(days), 7 * interval("wash.weeks"))
    window = around(day, days=7 * interval("wash.window_weeks"))
    rare = habit.washes_per_year < RARE_WASHES_PER_YEAR
    yield Candidate(
        task="maintenance_wash",
        surfaces=tuple(surface.code for surface in coated),
        window=window,
        reason="wash",
        cause="the paint is washed rarely" if rare else "the wash in use is hard on the layers",
        known=f"About {habit.washes_per_year:.0f} washes a year are on record ({habit.source}).",
        changed=changed_words(None, facts),
        expected=f"It fits {between(window[0], window[2])}; washing it yourself every 2 to 4 weeks does the same.",
        keys=tuple(layer.key for surface in coated for layer in surface.layers),
    )
