"""What a site has and what care asks for, against hours counted by hand; the triangle against scipy."""

from __future__ import annotations

from datetime import date, time, timedelta
from itertools import pairwise

import pytest
from scipy.stats import triang

from lifecycle.care.site_days import BayRule, HandsRule, SiteRules, cure_holds, day_of, days_between
from lifecycle.outlook import capacity
from lifecycle.outlook.capacity import Room
from lifecycle.outlook.shares import chance_between, triangle_below
from lifecycle.wear.types import Band

MONDAY = date(2026, 6, 1)
TWO_BAYS = SiteRules(
    zone="UTC", bays=(BayRule(1, "left", warm_still=True), BayRule(2, "right")), load_target=0.8,
    hands=(HandsRule(6.0, frozenset(range(5))), HandsRule(6.0, frozenset(range(5)))),
)  # fmt: skip


def test_a_week_of_two_bays_and_two_people():
    # The plan of studios: 2 bays of 8 h on 5 days are 80 bay-hours, two people about 60 productive hours, planned to
    # 75-85 % (common practice, no source). The one warm bay is closed 16 h after each of five days.
    days = days_between(TWO_BAYS, MONDAY, MONDAY + timedelta(days=6))
    found = capacity.room(TWO_BAYS, days, first=MONDAY, last=MONDAY + timedelta(days=6))
    assert found.labour == pytest.approx(0.8 * 60)
    assert found.bay == pytest.approx(0.8 * 80)
    assert found.cure == pytest.approx(5 * 16)
    assert found.full_labour == pytest.approx(60)


def test_hours_before_today_are_gone():
    days = days_between(TWO_BAYS, MONDAY, MONDAY + timedelta(days=6))
    assert capacity.room(TWO_BAYS, days, first=MONDAY + timedelta(days=3), last=MONDAY + timedelta(days=6)).bay == (
        pytest.approx(0.8 * 32)
    )


@pytest.mark.parametrize(("cure_h", "held"), [(0, 0), (12, 0), (16, 0), (18, 2), (24, 8), (30, 8), (48, 16), (44, 12)])
def test_a_cure_holds_its_bay_as_the_calendar_says(cure_h, held):
    # A Monday's cure from 16:00 on, with 8 to 16 open: by the clock, and by the calendar's own function.
    days = days_between(TWO_BAYS, MONDAY, MONDAY + timedelta(days=5))
    closes = day_of(TWO_BAYS, MONDAY).closes
    assert closes is not None
    assert sum(cure_holds(days, ends=closes, cure_h=cure_h).values()) == pytest.approx(held)
    assert capacity.held_h(cure_h, open_h=8.0) == pytest.approx(held)


def test_a_day_without_a_night_ends_too():
    always = SiteRules(zone="UTC", hours={day: (time(0), time(23, 59)) for day in range(7)})
    hours = capacity.open_hours(days_between(always, MONDAY, MONDAY))
    assert capacity.held_h(100.0, open_h=hours) == pytest.approx(100.0, abs=0.2)


def band(low: float, middle: float, high: float) -> Band:
    return Band(low, middle, high)


@pytest.mark.parametrize(
    ("labour", "bay", "state"),
    [
        (band(20, 49, 60), band(20, 49, 60), "overflow"),
        (band(20, 40, 60), band(40, 65, 70), "overflow"),
        (band(20, 40, 60), band(40, 50, 70), "fits"),
        (band(0, 10, 23.9), band(0, 10, 24), "empty"),
        (band(0, 10, 24.1), band(0, 10, 24), "fits"),
    ],
)
def test_overflow_and_empty(labour, bay, state):
    load = capacity.load_of(labour, bay, Room(labour=48, bay=64, cure=80, full_labour=60))
    assert load.state == state


def test_a_week_without_working_days():
    assert capacity.load_of(band(0, 0, 0), band(0, 0, 0), capacity.NO_ROOM).state == "closed"
    assert capacity.load_of(band(1, 2, 3), band(1, 2, 3), capacity.NO_ROOM).state == "overflow"


@pytest.mark.parametrize(("start", "peak", "end"), [(0, 30, 100), (0, 0, 50), (0, 50, 50), (10, 11, 200)])
def test_the_triangle_is_the_one_of_scipy(start, peak, end):
    oracle = triang((peak - start) / (end - start), loc=start, scale=end - start)
    for x in (-5, 0.5, 7.25, 11, 30, 49.5, 80, 150, 300):
        assert triangle_below(x, start=start, peak=peak, end=end) == pytest.approx(oracle.cdf(x), abs=1e-12)


def test_the_months_share_a_window_out():
    day = date(2026, 6, 20)
    window = {"earliest": day, "ideal": day + timedelta(days=9), "latest": day + timedelta(days=40), "today": MONDAY}
    edges = [date(2026, month, 1) for month in (6, 7, 8, 9)]
    shares = [chance_between(first=a, end=b, **window) for a, b in pairwise(edges)]
    assert sum(shares) == pytest.approx(1.0)
    assert all(0 <= share <= 1 for share in shares)
    booked = {"earliest": day, "ideal": day, "latest": day, "today": MONDAY}
    assert chance_between(first=edges[0], end=edges[1], **booked) == 1.0
    assert chance_between(first=edges[1], end=edges[2], **booked) == 0.0


def test_what_is_late_counts_from_today():
    past = date(2026, 5, 1)
    late = {"earliest": past, "ideal": past, "latest": past + timedelta(days=5), "today": MONDAY}
    assert chance_between(first=MONDAY, end=MONDAY + timedelta(days=7), **late) == 1.0
