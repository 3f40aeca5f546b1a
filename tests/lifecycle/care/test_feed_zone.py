"""The time zone in a calendar file, read back by dateutil's reader of RFC 5545 zones and held against the IANA data."""

from __future__ import annotations

import io
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil.tz import tzical

from lifecycle.care.feed_zone import changes, timezone_of


@pytest.mark.parametrize(
    "name",
    ["Europe/Oslo", "Europe/London", "Europe/Dublin", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata",
     "Africa/Casablanca", "UTC"],
)  # fmt: skip
def test_a_second_library_reads_the_same_offset_at_every_hour_of_two_years(name):
    first, last = date(2025, 1, 1), date(2027, 1, 1)
    text = timezone_of(name, first=first, last=last).to_ical().decode()
    read, zone = tzical(io.StringIO(text)).get(name), ZoneInfo(name)
    moment = datetime(2025, 1, 2, tzinfo=UTC)
    told, wrong = set(), []
    while moment < datetime(2026, 12, 30, tzinfo=UTC):
        local = moment.astimezone(zone)
        told.add(local.utcoffset())
        naive = local.replace(tzinfo=None)
        # The hour that comes twice is read by fold; dateutil's reader knows only one of the two.
        twice = naive.replace(fold=0).replace(tzinfo=zone).utcoffset() != naive.replace(fold=1, tzinfo=zone).utcoffset()
        if not twice and read.utcoffset(naive) != local.utcoffset():
            wrong.append((moment, read.utcoffset(naive), local.utcoffset()))
        moment += timedelta(hours=1)
    assert wrong == []
    assert (len(told) > 1) == any(True for _ in changes(zone, first=first, last=last))


def test_summer_time_begins_by_the_clock_before_the_change():
    """EU directive 2000/84/EC: the last Sundays of March and October at 01:00 UTC, so 02:00 and 03:00 in Oslo."""
    text = timezone_of("Europe/Oslo", first=date(2026, 1, 1), last=date(2027, 1, 1)).to_ical().decode()
    parts = [part.split("\r\n") for part in text.split("BEGIN:")[3:]]
    assert [(part[0], part[1]) for part in parts] == [
        ("DAYLIGHT", "DTSTART:20260329T020000"),
        ("STANDARD", "DTSTART:20261025T030000"),
    ]
