"""Do the 80 % ranges of monthly revenue hold what they promise, over 200 invented studios.

The truth of each studio is drawn from the model that the ranges state: a rate for each task around the studio's mean,
past answers by that rate, then days by the triangle, answers by the true rate, prices even over their range. What this
shows: the ranges are computed as stated, and the doubt about the rates, known from a few answers alone, is in them at
its right size. What it does not show: that people and windows behave like the model; "Are we right" is for that.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from lifecycle.outlook import acceptance, revenue
from lifecycle.outlook.acceptance import Decisions
from lifecycle.outlook.revenue import Prospect

TODAY = date(2026, 3, 2)
STUDIOS, WINDOWS, RUNS = 200, 90, 400
TASKS = ("recoat", "booster", "decontamination_wash", "inspection", "trim_retreat")


def invented(random: np.random.Generator) -> tuple[list[Prospect], dict[str, Decisions], dict[str, float]]:
    """Windows of one studio, the answers it has had so far, and its true rates."""
    mean, weight = random.beta(*acceptance.STUDIO_PRIOR), acceptance.POOL_WEIGHT
    true = {task: float(random.beta(mean * weight, (1 - mean) * weight)) for task in TASKS}
    counts = {}
    for task in TASKS:
        asked = int(random.integers(5, 60))
        yes = int(random.binomial(asked, true[task]))
        counts[task] = Decisions(accepted=yes, declined=asked - yes)
    rows = []
    for number in range(WINDOWS):
        start = TODAY + timedelta(days=int(random.integers(0, 340)))
        ideal = start + timedelta(days=int(random.integers(0, 40)))
        low = float(random.integers(40, 400))
        rows.append(
            Prospect(
                key=f"{number:03d}", split="likely", rate=TASKS[number % len(TASKS)], earliest=start, ideal=ideal,
                latest=ideal + timedelta(days=int(random.integers(1, 60))), price_low=low, price_high=1.4 * low,
                labour_h=2.0,
            )
        )  # fmt: skip
    return rows, counts, true


def happened(rows: list[Prospect], true: dict[str, float], random: np.random.Generator) -> list[float]:
    """The revenue of the twelve months as it came, drawn by numpy's own triangle."""
    starts = [*revenue.month_starts(TODAY), date(2027, 3, 1)]
    money = [0.0] * 12
    for row in rows:
        if random.random() >= true[row.rate]:
            continue
        left, mode, right = (day.toordinal() for day in (row.earliest, row.ideal, row.latest))
        day = round(random.triangular(left, mode, right))
        month = sum(day >= start.toordinal() for start in starts) - 1
        if month < 12:
            money[month] += random.uniform(row.price_low, row.price_high)
    return money


def test_eight_of_ten_months_fall_into_their_range():
    random = np.random.default_rng(20260302)
    inside = months = years = 0
    for number in range(STUDIOS):
        rows, counts, true = invented(random)
        rates = {task: (rate.a, rate.b) for task, rate in acceptance.rates(counts).items()}
        found = revenue.simulate(rows, rates=rates, today=TODAY, seed=(number,), runs=RUNS)
        came = happened(rows, true, random)
        for month, money in zip(found.months, came, strict=True):
            inside += month.total.p10 <= money <= month.total.p90
            months += 1
        years += found.year_total.p10 <= sum(came) <= found.year_total.p90
    assert months == 12 * STUDIOS
    assert 0.74 <= inside / months <= 0.86, inside / months
    # The year hangs on the rates alone; 200 years leave 2.8 points of chance (binomial sd), so three of them each way.
    assert 0.71 <= years / STUDIOS <= 0.89, years / STUDIOS
