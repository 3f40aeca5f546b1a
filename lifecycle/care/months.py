"""Calendar months, counted as people write contracts: the same day, else the last day of the month."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterator
from datetime import date


def add_months(day: date, months: int) -> date:
    """The same day `months` later (earlier where negative); the month's last day where it has no such day.

    The rule is that of XML Schema Part 2, appendix E (W3C): the day is pinned to the last one of the month.

    Raises:
        ValueError: beyond the year 9999 or before the year 1.
    """
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    if not date.min.year <= year <= date.max.year:
        raise ValueError(f"{months} months from {day} lie outside the calendar.")
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def every(start: date, months: int, *, until: date) -> Iterator[date]:
    """`months` after the start, twice that, and so on, up to `until` (included). Each is counted from the start, so
    that a short month does not move those after it.

    Raises:
        ValueError: fewer than one month.
    """
    if months < 1:
        raise ValueError(f"{months} months are no step; 1 or more.")
    count = 1
    while (day := add_months(start, months * count)) <= until:
        yield day
        count += 1
