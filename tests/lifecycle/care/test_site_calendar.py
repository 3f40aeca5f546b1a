"""What a site can do on a day, over both changes of the clock in the north and in the south."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest

from lifecycle.care.site_days import (
    BayRule,
    ClosedDays,
    HandsRule,
    SiteRules,
    bay_cure_h,
    cure_holds,
    day_of,
    days_between,
    public_holidays,
)

ALL_WEEK = {day: (time(8), time(16)) for day in range(7)}
NIGHT = {day: (time(0), time(6)) for day in range(7)}


@pytest.mark.parametrize(
    ("zone", "on", "hours"),
    [
        # EU clocks change at 01:00 UTC on the last Sunday of March and of October (Directive 2000/84/EC).
        ("Europe/Oslo", date(2026, 3, 29), 5.0),
        ("Europe/Oslo", date(2026, 10, 25), 7.0),
        ("Europe/Oslo", date(2026, 3, 28), 6.0),
        # New South Wales: first Sunday of October and of April (Standard Time Act 1987 No 149, NSW).
        ("Australia/Sydney", date(2026, 10, 4), 5.0),
        ("Australia/Sydney", date(2026, 4, 5), 7.0),
        ("Australia/Sydney", date(2026, 10, 5), 6.0),
    ],
)
def test_a_site_open_over_the_change_has_an_hour_more_or_less(zone, on, hours):
    day = day_of(SiteRules(zone=zone, hours=NIGHT, bays=(BayRule(1, "a"), BayRule(2, "b"))), on)
    assert (day.open_h, day.labour_h) == (hours, 2 * hours)
    usual = day_of(SiteRules(zone=zone, hours=ALL_WEEK), on)
    assert usual.open_h == 8.0, "eight to four lies clear of the change"


def test_opening_by_the_clock_moves_against_utc():
    rules = SiteRules(zone="Europe/Oslo", hours=ALL_WEEK)
    assert day_of(rules, date(2026, 3, 28)).opens == datetime(2026, 3, 28, 7, tzinfo=UTC)
    assert day_of(rules, date(2026, 3, 29)).opens == datetime(2026, 3, 29, 6, tzinfo=UTC)


@pytest.mark.parametrize(
    ("zone", "evening", "held"),
    [
        # 17 h of cure after closing at 16:00 end at 09:00 by the clock; an hour later where it goes forward.
        ("Europe/Oslo", date(2026, 3, 28), 2.0),
        ("Europe/Oslo", date(2026, 10, 24), 0.0),
        ("Europe/Oslo", date(2026, 5, 9), 1.0),
        ("Australia/Sydney", date(2026, 10, 3), 2.0),
        ("Australia/Sydney", date(2026, 4, 4), 0.0),
    ],
)
def test_a_cure_through_the_night_of_the_change_is_elapsed_hours(zone, evening, held):
    rules = SiteRules(zone=zone, hours=ALL_WEEK)
    days = days_between(rules, evening, evening + timedelta(days=3))
    closes = days[evening].closes
    assert closes is not None
    assert cure_holds(days, ends=closes, cure_h=17).get(evening + timedelta(days=1), 0.0) == held


def test_holidays_closures_and_weekdays_close_and_say_why():
    rules = SiteRules(zone="Europe/Berlin", country="DE", subdivision="BY",
                      closed=(ClosedDays(date(2026, 3, 3), date(2026, 3, 4), "flooded yard"),))  # fmt: skip
    # Epiphany is kept in Bavaria (Bavarian public holidays act, FTG article 1) and not in Hamburg.
    assert "Epiphany" in day_of(rules, date(2026, 1, 6)).why
    assert day_of(SiteRules(zone="Europe/Berlin", country="DE", subdivision="HH"), date(2026, 1, 6)).open_h == 8.0
    assert day_of(rules, date(2026, 3, 4)).why == "flooded yard"
    assert day_of(rules, date(2026, 3, 7)).why == "not open on a Saturday"
    assert day_of(rules, date(2026, 3, 5)).why == ""
    assert public_holidays("", "", 2026) == {}
    with pytest.raises(ValueError, match="XX"):
        public_holidays("XX", "", 2026)


def test_bays_bound_hands_and_hands_bound_bays():
    hands = (HandsRule(8, frozenset({0, 1})), HandsRule(4, frozenset({0}), frozenset({"polish"})))
    one = SiteRules(zone="UTC", bays=(BayRule(1, "a"),), hands=hands)
    two = SiteRules(zone="UTC", bays=(BayRule(1, "a"), BayRule(2, "b")), hands=hands)
    monday, tuesday, wednesday = date(2026, 3, 2), date(2026, 3, 3), date(2026, 3, 4)
    assert [day_of(one, on).labour_h for on in (monday, tuesday, wednesday)] == [8, 8, 0]
    assert [day_of(two, on).labour_h for on in (monday, tuesday, wednesday)] == [12, 8, 0]
    assert day_of(two, monday).skill_h == {"polish": 4}
    assert day_of(two, tuesday).skill_h == {"polish": 0}


def test_only_coats_of_paint_film_and_trim_hold_a_warm_bay():
    # Cure hours of tasks.csv: common practice, no source; which of them need the bay: judgement.
    assert bay_cure_h(("recoat",)) == 24
    assert bay_cure_h(("windscreen_retreat", "maintenance_wash")) == 0
