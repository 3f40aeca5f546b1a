"""Do the 80 % ranges of monthly revenue hold what they promise, over 200 invented studios.

The truth of each studio is drawn from the model that the ranges state: how often its customers come and when they stay
away for good (BG/NBD, its parameters around what the house assumes), a rate of yes for each task around the studio's
mean, past visits and answers by those, then who comes, who says yes, days by the triangle, prices even over their
range. The ranges know only the past visits and answers. What this shows: the ranges are computed as stated, and the
doubt about the rates, known from a few answers alone, is in them at its right size. What it does not show: that people
and windows behave like the model; "Are we right" is for that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from lifecycle.outlook import acceptance, coming, revenue
from lifecycle.outlook.acceptance import Decisions
from lifecycle.outlook.coming import Seen
from lifecycle.outlook.returning import MONTHLY_PRIOR
from lifecycle.outlook.revenue import Prospect

TODAY = date(2026, 3, 2)
STUDIOS, CUSTOMERS, WINDOWS, RUNS = 200, 50, 240, 400
MONTH = 30.4375
TASKS = ("recoat", "booster", "decontamination_wash", "inspection", "trim_retreat")


@dataclass(frozen=True)
class Truth:
    """What nobody in the studio knows: the rates of yes, and who comes within twelve months."""

    yes: dict[str, float]
    comes: dict[int, bool]


def histories(random: np.random.Generator) -> tuple[list[Seen], dict[int, bool]]:
    """Customers by the story of BG/NBD, told by numpy alone: Fader, Hardie & Lee 2005, section 3."""
    rate, r, drop, weight = (random.normal(m, s) for m, s in zip(MONTHLY_PRIOR.means, MONTHLY_PRIOR.sds, strict=True))
    shape, share, total = math.exp(r), 1 / (1 + math.exp(-drop)), math.exp(weight)
    seen, comes = [], {}
    for who in range(1, CUSTOMERS + 1):
        age = int(random.integers(90, 1800))
        first = TODAY - timedelta(days=age)
        pace, stays_away = random.gamma(shape, math.exp(rate) / shape), random.beta(share * total, (1 - share) * total)
        days, on, comes[who] = [], 0.0, False
        while (on := on + random.exponential(1 / pace) * MONTH) < age + 12 * MONTH:
            if on < age:
                days.append(first + timedelta(days=math.ceil(on)))
            else:
                comes[who] = True
            if random.random() < stays_away:
                break
        seen.append(Seen(who, first, tuple(sorted(set(days))), TODAY))
    return seen, comes


def invented(random: np.random.Generator) -> tuple[list[Prospect], dict[str, Decisions], Truth]:
    """Windows of one studio with the chance that their customer comes, the answers so far, and the truth."""
    mean, weight = random.beta(*acceptance.STUDIO_PRIOR), acceptance.POOL_WEIGHT
    true = {task: float(random.beta(mean * weight, (1 - mean) * weight)) for task in TASKS}
    counts = {}
    for task in TASKS:
        asked = int(random.integers(5, 60))
        yes = int(random.binomial(asked, true[task]))
        counts[task] = Decisions(accepted=yes, declined=asked - yes, unanswered=int(random.integers(0, 40)))
    seen, comes = histories(random)
    chances = coming.chances(seen, coming.fitted(seen, today=TODAY))
    rows = []
    for number in range(WINDOWS):
        start = TODAY + timedelta(days=int(random.integers(0, 340)))
        ideal = start + timedelta(days=int(random.integers(0, 40)))
        low, who = float(random.integers(40, 400)), int(random.integers(1, CUSTOMERS + 1))
        rows.append(
            Prospect(
                key=f"{number:03d}", split="likely", rate=TASKS[number % len(TASKS)], earliest=start, ideal=ideal,
                latest=ideal + timedelta(days=int(random.integers(1, 60))), price_low=low, price_high=1.4 * low,
                labour_h=2.0, visit=chances[who].comes, customer=who,
            )
        )  # fmt: skip
    return rows, counts, Truth(true, comes)


def happened(rows: list[Prospect], true: Truth, random: np.random.Generator) -> list[float]:
    """The revenue of the twelve months as it came, drawn by numpy's own triangle."""
    starts = [*revenue.month_starts(TODAY), date(2027, 3, 1)]
    money = [0.0] * 12
    for row in rows:
        if not true.comes[row.customer] or random.random() >= true.yes[row.rate]:
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
        rates = {task: (rate.a, rate.b) for task, rate in acceptance.of_answers(counts).items()}
        found = revenue.simulate(rows, rates=rates, today=TODAY, seed=(number,), runs=RUNS)
        came = happened(rows, true, random)
        for month, money in zip(found.months, came, strict=True):
            inside += month.total.p10 <= money <= month.total.p90
            months += 1
        years += found.year_total.p10 <= sum(came) <= found.year_total.p90
    print(f"{100 * inside / months:.1f} % of months, {100 * years / STUDIOS:.1f} % of years inside")
    assert months == 12 * STUDIOS
    assert 0.74 <= inside / months <= 0.86, inside / months
    # 200 years leave 2.8 points of chance (binomial sd), so three of them each way.
    assert 0.71 <= years / STUDIOS <= 0.89, years / STUDIOS
