"""What a day inside a care window costs against its ideal day. Pure; days in, a share out."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from lifecycle.care.due import Due
from lifecycle.care.tasks_table import interval

# Judgement: a day that a contract names weighs as much as ten days that wear names.
CONTRACT_WEIGHT = 10.0


def window_from(due: Due, as_of: date) -> tuple[date, date]:
    """The part of a window that is still to come; a window that has closed is open anew for four weeks."""
    if due.latest < as_of:
        return as_of, as_of + timedelta(days=interval("late.days"))
    return max(due.earliest, as_of), due.latest


def loss(due: Due, day: date, *, as_of: date) -> float:
    """Cost of serving a due on `day`, as a share of one life (0 on the ideal day), straight on both sides of it.

    A wear window opens, is ideal and closes where the chance of having reached the end of life passes the three figures
    `wear.chance_*` of intervals.csv. Late: the expected overdue share that is added since the ideal day. Early: the
    share given up, by the same scale. Windows of other clocks take the same scale, a contract ten times that
    (judgement).
    """
    first, last = window_from(due, as_of)
    ideal = min(max(due.ideal, first), last)
    weight = CONTRACT_WEIGHT if due.contract is not None else 1.0
    at_open, at_ideal, at_latest = (interval(f"wear.chance_{name}") for name in ("open", "ideal", "latest"))
    if day < ideal:
        span = max((ideal - min(due.earliest, ideal)).days, 1)
        return weight * (at_ideal - at_open) * (ideal - day).days / span
    return weight * (at_latest - at_ideal) * (day - ideal).days / max((last - ideal).days, 1)


def turning_days(due: Due, as_of: date) -> tuple[date, date, date]:
    """The days at which the loss of a due bends: the least of a sum of losses lies on one of them."""
    first, last = window_from(due, as_of)
    return first, min(max(due.ideal, first), last), last


def best_day(dues: Sequence[Due], *, first: date, last: date, as_of: date) -> date:
    """The day from `first` to `last` (both open for every due) with the least summed loss; the soonest of equals."""
    days = {day for due in dues for day in turning_days(due, as_of) if first <= day <= last} | {first, last}
    return min(sorted(days), key=lambda day: round(sum(loss(due, day, as_of=as_of) for due in dues), 9))
