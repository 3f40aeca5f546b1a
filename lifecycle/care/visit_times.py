"""When a visit begins and ends, by the clock at its site and both changes of that clock. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from lifecycle.errors import DomainError

# Where nobody has said a time, a visit counts from here for the notice that a customer must give. Judgement.
FROM: Final = {"any": time(8), "morning": time(8), "afternoon": time(12)}
# Work beyond this many hours goes on the next day, so it stands in a calendar as whole days. Judgement.
DAY_H: Final = 10.0


@dataclass(frozen=True, slots=True)
class Span:
    """From `start` to `end` (excluded): aware times, or days where `whole_days`."""

    start: datetime | date
    end: datetime | date
    whole_days: bool


def clock(field: str, on: date, starts: time, zone: str) -> datetime:
    """The aware time of a clock reading at a site. A reading that comes twice in a night means the first one.

    Raises:
        DomainError: the clocks go forward over this reading on that day, so it does not exist.
    """
    local = datetime.combine(on, starts, ZoneInfo(zone))
    if local.astimezone(UTC).astimezone(ZoneInfo(zone)).replace(tzinfo=None) != local.replace(tzinfo=None):
        raise DomainError(
            f"{field}: on {on} the clocks go forward over {starts:%H:%M}, so that time does not exist; "
            "choose an earlier or a later one.", field=field,
        )  # fmt: skip
    return local


def begins(on: date, starts: time | None, part: str, zone: str) -> datetime:
    """When a visit begins; where no time is set, when its part of the day begins."""
    return datetime.combine(on, starts or FROM[part], ZoneInfo(zone))


def span(on: date, starts: time | None, hours: float, zone: str) -> Span:
    """What a visit takes up in a calendar.

    Args:
        hours: labour, elapsed hours; over a change of the clocks the end moves with it.
    """
    if starts is None or hours > DAY_H:
        return Span(on, on + timedelta(days=max(1, math.ceil(hours / DAY_H))), True)
    start = datetime.combine(on, starts, ZoneInfo(zone))
    end = (start.astimezone(UTC) + timedelta(hours=hours)).astimezone(ZoneInfo(zone))
    return Span(start, end, False)
