"""A candidate is one surface's wish for a task; candidates of one task become one due with one window."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from lifecycle.care.chances import Window
from lifecycle.care.facts import CareFacts
from lifecycle.care.tasks_table import interval

TALKS = frozenset({"recoat", "film_renewal"})  # costly, never pressing: talked about, with more time


@dataclass(frozen=True, slots=True)
class Candidate:
    """One wish for a task.

    Attributes:
        cause: the first half of the sentence "why", after the surfaces.
        not_before: a hard lower bound (cure, fresh refinish), already kept by `window`.
        fixed: neither storage nor seasons move it (contract dates, events).
        hours, answer_h: as of `Due`; of several wishes the most hours and the soonest answer.
        overdue_since: set by `keep_current` where the window has closed.
    """

    task: str
    surfaces: tuple[str, ...]
    window: Window
    reason: str
    cause: str
    known: str
    changed: str
    expected: str
    keys: tuple[str, ...] = ()
    contract: date | None = None
    not_before: date | None = None
    fixed: bool = False
    overdue_since: date | None = None
    hours: float | None = None
    answer_h: float | None = None


def ordered(earliest: date, ideal: date, latest: date) -> Window:
    """The three days, pushed apart forwards so that earliest <= ideal <= latest."""
    ideal = max(earliest, ideal)
    return earliest, ideal, max(ideal, latest)


def clamp_day(day: date, *, first: date, last: date) -> date:
    """`day`, or the nearer of `first` and `last` where it lies outside them."""
    return min(max(day, first), last)


def not_before(window: Window, bound: date | None) -> Window:
    """The window moved so that it does not open before `bound`; a window that lay wholly before it keeps its length."""
    if bound is None or window[0] >= bound:
        return window
    earliest, ideal, latest = window
    if latest < bound:
        return bound, bound + (ideal - earliest), bound + (latest - earliest)
    return ordered(bound, ideal, latest)


def around(day: date, *, days: float) -> Window:
    """`day` give or take `days`."""
    spread = timedelta(days=round(days))
    return day - spread, day, day + spread


def merge(candidates: Iterable[Candidate]) -> Candidate:
    """One candidate for all of one task: the hardest window (soonest `latest`) wins, surfaces join that are open in it.

    A surface whose own window opens only after the hardest one has closed waits for its next due. Windows are current
    (see `keep_current`); if a joined one was overdue, the whole is.
    """
    by_hardness = sorted(candidates, key=lambda one: (one.window[2], one.window[1], one.window[0], one.surfaces))
    hardest = by_hardness[0]
    joined = [one for one in by_hardness if one.window[0] <= hardest.window[2]]
    bound = max((one.not_before for one in joined if one.not_before), default=None)
    return replace(
        hardest,
        surfaces=tuple(dict.fromkeys(code for one in joined for code in one.surfaces)),
        keys=tuple(dict.fromkeys(key for one in joined for key in one.keys)),
        window=not_before(hardest.window, bound),
        not_before=bound,
        overdue_since=min((one.overdue_since for one in joined if one.overdue_since), default=None),
        fixed=any(one.fixed for one in joined),
        hours=max((one.hours for one in joined if one.hours is not None), default=None),
        answer_h=min((one.answer_h for one in joined if one.answer_h is not None), default=None),
    )


def keep_current(candidate: Candidate, as_of: date) -> Candidate:
    """A window whose ideal day is past is served as soon as possible; a closed one opens anew and is called overdue."""
    earliest, ideal, latest = candidate.window
    if latest < as_of:
        soon = timedelta(days=interval("late.days")) * (3 if candidate.task in TALKS else 1)
        return replace(candidate, window=(earliest, as_of + soon / 4, as_of + soon), overdue_since=latest)
    return replace(candidate, window=(earliest, max(ideal, as_of), latest))


def around_storage(candidate: Candidate, facts: CareFacts) -> Candidate | None:
    """Keep a window out of storage: before it where two weeks are left for that, else after it.

    None where neither is possible because the end of storage is not known. Contract dates and events stay as they are.
    """
    if candidate.fixed:
        return candidate
    room = timedelta(days=14)
    for period in sorted(facts.storage, key=lambda one: one.start):
        earliest, ideal, latest = candidate.window
        if latest < period.start or (period.end is not None and earliest >= period.end):
            continue
        opens = max(earliest, facts.as_of)
        if ideal < period.start or (period.start - opens >= room and ideal < (period.end or date.max)):
            last = period.start - timedelta(days=1)
            candidate = replace(candidate, window=(earliest, min(ideal, last), min(latest, last)))
        elif period.end is None:
            return None
        else:
            after = not_before((earliest, ideal, latest), period.end)
            if latest < period.end + room:
                after = ordered(period.end, max(ideal, period.end + room), period.end + 3 * room)
            candidate = replace(candidate, window=after)
    return candidate
