"""A time zone as a calendar file tells it (RFC 5545, 3.6.5): every change of the clock in some years, with its onset.

Written here because icalendar 7.3 gives the onset of summer time by the clock after the change; the standard asks for
the clock before it, and a program that follows the file would be an hour off on that day.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard

_MINUTE = timedelta(minutes=1)


def changes(zone: ZoneInfo, *, first: date, last: date) -> Iterator[datetime]:
    """The moments (UTC, to the minute) from `first` to `last` at which the zone's offset or name becomes another."""

    def told(moment: datetime) -> tuple[object, object]:
        local = moment.astimezone(zone)
        return local.utcoffset(), local.tzname()

    day, end = datetime.combine(first, time(), UTC), datetime.combine(last, time(), UTC)
    while day < end:
        low, high = day, day + timedelta(days=1)
        if told(low) != told(high):
            before = told(low)
            while high - low > _MINUTE:
                middle = low + (high - low) // (2 * _MINUTE) * _MINUTE
                low, high = (middle, high) if told(middle) == before else (low, middle)
            yield high
        day += timedelta(days=1)


def timezone_of(name: str, *, first: date, last: date) -> Timezone:
    """The VTIMEZONE of an IANA zone, true from `first` to `last`.

    Raises:
        ZoneInfoNotFoundError: no such zone.
    """
    zone = ZoneInfo(name)
    found = Timezone()
    found.add("tzid", name)
    begin = datetime.combine(first, time(), zone).astimezone(UTC)
    for moment in (begin, *changes(zone, first=first + timedelta(days=1), last=last)):
        after = moment.astimezone(zone)
        before = after if moment == begin else (moment - _MINUTE).astimezone(zone)
        part = TimezoneDaylight() if after.dst() else TimezoneStandard()
        # The onset by the clock before the change.
        part.add("dtstart", moment.replace(tzinfo=None) + (before.utcoffset() or timedelta()))
        part.add("tzoffsetfrom", before.utcoffset())
        part.add("tzoffsetto", after.utcoffset())
        part.add("tzname", after.tzname())
        found.add_component(part)
    return found
