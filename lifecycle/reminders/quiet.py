"""Hours in which nobody is written to, on the recipient's own clock. Pure: no Django, no database, no clock."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Final

# From (included) and to (excluded), on the recipient's clock; people may choose their own.
QUIET: Final = (time(20, 0), time(8, 0))
MORNING: Final = time(9, 0)


def morning(day: date, zone: tzinfo) -> datetime:
    """The time of that day at which a notice goes out where nothing else speaks."""
    return datetime.combine(day, MORNING, tzinfo=zone).astimezone(UTC)


def is_quiet(at: datetime, zone: tzinfo, quiet: tuple[time, time] | None = None) -> bool:
    """Whether it is between the quiet hours' two ends on the recipient's clock; they may span midnight.

    Args:
        quiet: from (included) and to (excluded); None: 20:00 to 08:00.
    """
    start, end = quiet or QUIET
    clock = at.astimezone(zone).time()
    return start <= clock < end if start < end else clock >= start or clock < end


def out_of_quiet_hours(at: datetime, zone: tzinfo, quiet: tuple[time, time] | None = None) -> datetime:
    """Return `at` in UTC, or the first time after the quiet hours in which it falls: 09:00 after those of the house,
    the very end after a person's own.

    The clock decides, not the count of hours, so both clock changes come out right.

    Raises:
        ValueError: `at` is not aware.
    """
    if at.utcoffset() is None:
        raise ValueError("at has no time zone; pass an aware time.")
    if not is_quiet(at, zone, quiet):
        return at.astimezone(UTC)
    start, end = quiet or QUIET
    local = at.astimezone(zone)
    day = local.date() + timedelta(days=1) if start > end and local.time() >= start else local.date()
    if quiet is None:
        return morning(day, zone)
    ends = datetime.combine(day, end, tzinfo=zone).astimezone(UTC)
    # The hour that a clock change repeats ends twice; the second time counts.
    return ends if ends > at else datetime.combine(day, end, tzinfo=zone).replace(fold=1).astimezone(UTC)
