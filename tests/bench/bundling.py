"""How far the fast rule of bundling is from the best plan, on random vehicles with up to eight windows.

    python tests/bench/bundling.py [cases]

Prints in how many cases the number of visits and the loss are those of the best plan, how large the gap of loss is, and
the time of both.
"""

from __future__ import annotations

import random
import sys
import time
from datetime import date, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lifecycle.care.due import Due
from lifecycle.care.exact_bundling import exact_plan, fast_plan
from lifecycle.care.tasks_table import load_tasks

AS_OF = date(2026, 3, 1)


def vehicle(draw: random.Random) -> list[Due]:
    """Two to eight windows of two weeks to four months that open within seven months."""
    dues = []
    for task in draw.sample(sorted(load_tasks()), draw.randint(2, 8)):
        first, length = draw.randint(-40, 210), draw.randint(14, 120)
        days = [AS_OF + timedelta(days=first + round(length * share)) for share in (0, draw.uniform(0.2, 0.6), 1)]
        contract = days[1] if draw.random() < 0.1 else None
        dues.append(Due(task, (), *days, contract, "wear", *[""] * 7, ()))
    return dues


def main() -> None:
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    draw = random.Random(7)
    same_visits = same_loss = 0
    gaps, took = [], [0.0, 0.0]
    for _ in range(cases):
        dues, plans = vehicle(draw), []
        for index, plan in enumerate((fast_plan, exact_plan)):
            start = time.perf_counter()
            plans.append(plan(dues, as_of=AS_OF, size="M"))
            took[index] += time.perf_counter() - start
        fast, best = plans
        if len(fast.visits) == len(best.visits):
            same_visits += 1
            same_loss += fast.loss <= best.loss + 1e-6
            gaps.append((fast.loss - best.loss) / len(dues))
    gaps.sort()
    print(f"same number of visits in {same_visits} of {cases}; there the least loss too in {same_loss}")
    print(f"loss above the best, share of a life per task: median {gaps[len(gaps) // 2]:.4f}, "
          f"9 in 10 below {gaps[int(len(gaps) * 0.9)]:.4f}, worst {gaps[-1]:.4f}")  # fmt: skip
    print(f"ms per vehicle: fast {1000 * took[0] / cases:.2f}, exact {1000 * took[1] / cases:.1f}")


if __name__ == "__main__":
    main()
