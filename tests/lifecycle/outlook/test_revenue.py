"""The simulation of revenue against what can be worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from lifecycle.outlook import revenue
from lifecycle.outlook.revenue import Prospect

TODAY = date(2026, 3, 2)
SURE = (1e6, 1e-3)


def row(key: str = "a", **fields: object) -> Prospect:
    plain = Prospect(
        key=key, split="likely", rate="booster", earliest=date(2026, 5, 1), ideal=date(2026, 5, 15),
        latest=date(2026, 5, 31), price_low=100.0, price_high=100.0, labour_h=2.0,
    )  # fmt: skip
    return replace(plain, **fields)  # type: ignore[arg-type]


def run(rows: list[Prospect], **rates: tuple[float, float]) -> revenue.Revenue:
    return revenue.simulate(rows, rates={"booster": SURE, **rates}, today=TODAY, seed=(1, 2026, 3))


def test_the_same_seed_gives_the_same_numbers_whatever_the_order():
    rows = [row(str(n), price_high=100.0 + n, ideal=date(2026, 5, 1) + timedelta(days=n)) for n in range(20)]
    assert run(rows, booster=(2, 3)) == run(rows[::-1], booster=(2, 3))
    other = revenue.simulate(rows, rates={"booster": (2, 3)}, today=TODAY, seed=(2, 2026, 3))
    assert other != run(rows, booster=(2, 3))


def test_a_sure_thing_lands_in_its_month_with_its_price():
    found = run([row(split="booked", earliest=date(2026, 5, 9), ideal=date(2026, 5, 9), latest=date(2026, 5, 9))])
    may = found.months[2]
    assert may.first == date(2026, 5, 1)
    assert (may.money["booked"].p10, may.money["booked"].p50, may.money["booked"].p90) == (100, 100, 100)
    assert may.hours.p50 == 2
    assert may.prospects == {"booked": 1, "likely": 0, "possible": 0}
    assert sum(month.total.p90 for month in found.months) == 100
    assert found.year_total.p50 == 100


def test_spread_of_independent_answers_is_binomial():
    # 400 windows, each taken up with chance one half: mean 200, sd 10 (binomial), so 10-90 % is 200 -+ 1.2816 * 10.
    rows = [row(f"{n:03d}", price_low=1.0, price_high=1.0) for n in range(400)]
    band = run(rows, booster=(5e5, 5e5)).year_total
    assert band.p50 == pytest.approx(200, abs=2)
    assert band.p10 == pytest.approx(200 - 12.8, abs=3)
    assert band.p90 == pytest.approx(200 + 12.8, abs=3)


def test_doubt_about_the_rate_does_not_average_out():
    # With a rate from Beta(2, 3) the sum of many windows spreads as the rate itself: 10-90 % of Beta(2, 3).
    from scipy.stats import beta

    rows = [row(f"{n:04d}", price_low=1.0, price_high=1.0) for n in range(1000)]
    band = run(rows, booster=(2, 3)).year_total
    assert band.p10 / 1000 == pytest.approx(beta.ppf(0.1, 2, 3), abs=0.03)
    assert band.p90 / 1000 == pytest.approx(beta.ppf(0.9, 2, 3), abs=0.03)


def test_days_follow_the_triangle():
    # Mean (a + b + c) / 3 and variance (a^2 + b^2 + c^2 - ab - ac - bc) / 18 of a triangular distribution.
    one = row(earliest=date(2026, 4, 1), ideal=date(2026, 4, 21), latest=date(2026, 7, 10))
    days = revenue._draw_days([one], TODAY, np.random.default_rng(5), 20_000)[:, 0] - one.earliest.toordinal()
    assert days.min() >= 0
    assert days.max() <= 100
    assert days.mean() == pytest.approx((0 + 20 + 100) / 3, abs=0.7)
    assert days.var() == pytest.approx((0 + 400 + 10_000 - 0 - 0 - 2000) / 18, rel=0.04)


def test_a_window_that_began_long_ago_counts_from_today():
    found = run([row(earliest=date(2025, 12, 1), ideal=date(2026, 1, 1), latest=date(2026, 3, 20))])
    assert found.months[0].total.p50 == 100
    assert found.months[0].prospects["likely"] == 1


def test_what_lies_beyond_twelve_months_falls_away():
    far = date(2027, 3, 1)
    found = run([row(earliest=far, ideal=far, latest=far), row("b", ideal=date(2026, 5, 2))])
    assert found.year_total.p50 == 100
    assert sum(month.prospects["likely"] for month in found.months) == 1


def test_the_range_of_the_year_is_narrower_than_the_sum_of_the_months():
    rows = [
        row(f"{n:03d}", earliest=day, ideal=day, latest=day)
        for n in range(240)
        for day in [date(2026, 3, 2) + timedelta(days=n)]
    ]
    found = run(rows, booster=(500, 500))
    months = sum(month.total.p90 - month.total.p10 for month in found.months)
    assert found.year_total.p90 - found.year_total.p10 < 0.6 * months


def test_nothing_gives_nothing():
    found = run([])
    assert len(found.months) == 12
    assert found.year_total.p90 == 0
    assert found.months[0].prospects == {"booked": 0, "likely": 0, "possible": 0}


def test_chunks_do_not_lose_rows():
    rows = [row(f"{n:05d}", price_low=1.0, price_high=1.0) for n in range(revenue.CHUNK * 2 + 7)]
    assert run(rows).year_total.p50 == pytest.approx(len(rows))


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"ideal": date(2026, 4, 1)}, "window"),
        ({"price_high": 50.0}, "price"),
        ({"split": "sure"}, "split"),
    ],
)
def test_rows_that_make_no_sense_are_refused(fields, says):
    with pytest.raises(ValueError, match=says):
        run([row(**fields)])


@pytest.mark.parametrize(("rows", "runs"), [(0, 2000), (1, 2000), (1500, 2000), (3000, 1000), (100_000, 400)])
def test_a_large_studio_is_drawn_less_often_but_never_too_little(rows, runs):
    assert revenue.runs_for(rows) == runs
