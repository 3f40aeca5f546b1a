"""One million layers over 200 sites: closed-form quantiles in one process against the bare search on the same arrays.

    python tests/bench/wear_kernel.py

Prints the time of `quantile_days` over that of `numpy.searchsorted` alone (goal: at most 3), the peak memory (goal:
under 1 GB), and the time of one vehicle with ten layers, evidence and what-if (goal: under 20 ms).
"""

from __future__ import annotations

import resource
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lifecycle.wear import normal
from lifecycle.wear.degradation import DAYS_PER_MONTH
from lifecycle.wear.kernel import by_site_and_day, curves_of, quantile_days

LAYERS, SITES, YEARS = 1_000_000, 200, 15
CHANCES = (0.1, 0.5, 0.9)


def fastest(work: Callable[[], object], *, times: int = 5) -> float:
    """Seconds of processor time of the fastest of a few runs."""
    found = []
    for _ in range(times):
        start = time.process_time()
        work()
        found.append(time.process_time() - start)
    return min(found)


def main() -> None:
    draw = np.random.default_rng(7)
    days = 365 * YEARS
    season = 1.0 + 0.6 * np.sin(2.0 * np.pi * np.arange(days) / 365.0)
    duty = draw.uniform(0.5, 2.5, (SITES, 1)) * season * draw.uniform(0.5, 1.5, (SITES, days)) / DAYS_PER_MONTH
    cumulative = np.concatenate((np.zeros((SITES, 1)), np.cumsum(duty, axis=1)), axis=1)
    site, start = draw.integers(0, SITES, LAYERS), draw.integers(0, 365 * 8, LAYERS)
    life = draw.choice([1.8, 4.9, 16.7, 33.5, 49.0], LAYERS)
    kappa = np.exp(np.array([-normal.quantile(chance) for chance in CHANCES]) * 0.38)
    order = by_site_and_day(site=site, start_day=start)
    site, start, life = site[order], start[order], life[order]

    curves = curves_of(cumulative)

    def kernel() -> None:
        quantile_days(curves, site=site, start_day=start, life_months=life, kappa=kappa)

    targets = [curves.lifted[site * curves.days + start] + life / rate for rate in kappa]

    def bare() -> None:
        for target in targets:
            np.searchsorted(curves.lifted, target)

    bare_s, kernel_s = fastest(bare), fastest(kernel)
    print(f"{LAYERS} layers x {len(CHANCES)} quantiles over {SITES} sites of {days} days")
    print(f"bare searchsorted {bare_s:.3f} s, quantile_days {kernel_s:.3f} s, ratio {kernel_s / bare_s:.2f} (goal 3)")
    turned = draw.permutation(LAYERS)

    def unsorted() -> None:
        mixed = by_site_and_day(site=site[turned], start_day=start[turned])
        quantile_days(
            curves,
            site=site[turned][mixed],
            start_day=start[turned][mixed],
            life_months=life[turned][mixed],
            kappa=kappa,
        )

    print(f"with sorting the layers first: {fastest(unsorted, times=2):.3f} s")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB (goal 1024)")
    print_vehicle()


def print_vehicle() -> None:
    """Time of one vehicle with ten layers on eight surfaces, four readings and two events: processor time, so that
    other work on the machine does not count."""
    from lifecycle.wear.assessment import assess_world
    from lifecycle.wear.laid import world_of
    from lifecycle.wear.whatif import Change, Prices, what_if
    from tests.wear.vehicles import source, ten_layers

    car, climates = ten_layers(), source("Cfb")
    change = Change(parking="garage", decontaminations_per_year=2.0)
    prices = Prices(renewal={"ceramic_mid": (700.0, 1000.0)}, decontamination=(100.0, 140.0))
    parts: list[tuple[float, float, float]] = []
    for _ in range(41):
        start = time.process_time()
        world = world_of(car, climates)
        assess_world(world)
        middle = time.process_time()
        what_if(car, climates, change, prices=prices, world=world)
        shared = time.process_time()
        what_if(car, climates, change, prices=prices)
        parts.append((middle - start, shared - middle, time.process_time() - shared))
    forecast, asked, alone = (1e3 * statistics.median(one) for one in zip(*parts[1:], strict=True))
    print(f"one vehicle, ten layers: forecast with readings {forecast:.1f} ms, what-if {asked:.1f} ms,", end=" ")
    print(f"together {forecast + asked:.1f} ms (goal 20); what-if alone {alone:.1f} ms (goal 50);", end=" ")
    print(f"the first forecast {1e3 * parts[0][0]:.0f} ms")


if __name__ == "__main__":
    main()
