"""How long one site's year takes to plan: care windows to visits, visits to days.

    python tests/bench/site_plan.py [vehicles]

Invents vehicles with three to six windows each over twelve months, bundles them by the fast rule and spreads the visits
over a site sized so that they fill about 60 % of its hours. Prints seconds, the fullest and the emptiest week of the
middle ten months with and without spreading, and how far visits lie from their ideal days.
"""

from __future__ import annotations

import math
import random
import sys
import time
from collections import defaultdict
from datetime import date, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lifecycle.care.bundling import bundle
from lifecycle.care.due import Due
from lifecycle.care.site_board import monday
from lifecycle.care.site_days import BayRule, SiteRules, bay_cure_h, days_between
from lifecycle.care.spread_visits import Wish, spread
from lifecycle.care.tasks_table import load_tasks

TODAY = date(2026, 1, 4)
TASKS = ("decontamination_wash", "inspection", "booster", "windscreen_retreat", "maintenance_wash", "wheel_retreat",
         "leather_guard", "textile_proof", "engine_bay")  # fmt: skip


def windows(draw: random.Random) -> list[Due]:
    """Three to six windows of five to fourteen weeks; a quarter are wanted in spring alone."""
    dues = []
    for task in draw.sample(TASKS, draw.randint(3, 6)):
        first = draw.randint(60, 130) if draw.random() < 0.25 else draw.randint(0, 290)
        length = draw.randint(35, 98)
        days = [TODAY + timedelta(days=first + round(length * share)) for share in (0, draw.uniform(0.3, 0.6), 1)]
        dues.append(Due(task, (), *days, None, "wear", *[""] * 7, ()))
    return dues


def main() -> None:
    vehicles = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    draw = random.Random(11)
    assert load_tasks()
    cars = [(windows(draw), draw.choice("SMLX").replace("X", "XL")) for _ in range(vehicles)]
    start = time.perf_counter()
    bundles = [one for dues, size in cars for one in bundle(dues, as_of=TODAY, size=size)]
    bundled = time.perf_counter()
    wishes = [
        Wish(key, one.earliest, one.ideal, one.latest, one.labour_h, bay_cure_h(one.tasks), one.tasks)
        for key, one in enumerate(bundles)
    ]  # fmt: skip
    hours = sum(wish.labour_h for wish in wishes)
    bays = max(1, math.ceil(hours / 0.60 / (250 * 8.0)))
    rules = SiteRules(
        zone="Europe/Oslo", country="NO",
        bays=tuple(BayRule(number + 1, f"Bay {number + 1}", number % 2 == 0) for number in range(bays)),
    )  # fmt: skip
    plan = spread(rules, wishes, today=TODAY)
    done = time.perf_counter()
    caps: defaultdict[date, float] = defaultdict(float)
    naive: defaultdict[date, float] = defaultdict(float)
    for on, day in days_between(rules, TODAY, TODAY + timedelta(days=500)).items():
        caps[monday(on)] += day.labour_h
    for wish in wishes:
        naive[monday(wish.ideal)] += wish.labour_h
    middle = [week for week in plan.weeks[4:48] if week.labour_h > 0]
    before = [naive[week.first] / caps[week.first] for week in middle]
    after = [week.used_h / week.labour_h for week in middle]
    off = sorted(abs((one.on - wish.ideal).days) for one, wish in zip(plan.visits, wishes, strict=True) if one.on)
    unplanned = sum(one.on is None for one in plan.visits)
    print(f"{vehicles} vehicles, 12 months: {len(wishes)} visits of {hours:.0f} h in {bays} bays; "
          f"{unplanned} fit nowhere")  # fmt: skip
    print(f"seconds: bundling {bundled - start:.2f}, spreading {done - bundled:.2f}, together {done - start:.2f}")
    print(f"week load, least to most: on ideal days {min(before):.0%} to {max(before):.0%}, "
          f"spread {min(after):.0%} to {max(after):.0%}")  # fmt: skip
    print(f"days from the ideal day: median {off[len(off) // 2]}, 9 in 10 at most {off[int(len(off) * 0.9)]}")


if __name__ == "__main__":
    main()
