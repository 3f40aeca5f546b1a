"""What another way of living would do is answered while somebody waits, so it costs little more than the forecast that
is on the page anyway. Ratios in one run; the times themselves are printed by `tests/bench/wear_kernel.py`."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest

from lifecycle.wear.assessment import assess, assess_world
from lifecycle.wear.laid import world_of
from lifecycle.wear.whatif import Change, Prices, what_if
from tests.wear.vehicles import source, ten_layers

pytestmark = pytest.mark.oracle

PRICES = Prices(renewal={"ceramic_mid": (700.0, 1000.0)}, decontamination=(100.0, 140.0), top_up=(60.0, 90.0))
CHANGES = [Change(parking="garage", decontaminations_per_year=2.0), Change(top_ups_per_year=2.0)]


def least_of(turns: int, *works: Callable[[], object]) -> list[float]:
    """The least processor time of each work, in turns, so that a busy machine hits all of them alike."""
    spent: list[list[float]] = [[] for _ in works]
    for _ in range(turns):
        for work, times in zip(works, spent, strict=True):
            start = time.process_time()
            work()
            times.append(time.process_time() - start)
    return [min(times) for times in spent]


@pytest.mark.parametrize("change", CHANGES, ids=["garage and care", "top-ups"])
def test_a_question_costs_no_more_than_a_few_forecasts(change: Change) -> None:
    given, climates = ten_layers(), source("Cfb")
    assert len(what_if(given, climates, change, prices=PRICES).layers) >= 9
    forecast, question = least_of(
        9, lambda: assess(given, climates), lambda: what_if(given, climates, change, prices=PRICES)
    )
    assert question < 4.0 * forecast


def test_forecast_and_question_share_their_work() -> None:
    """One world for both gives what each gives alone, for clearly less than the two of them."""
    given, climates = ten_layers(), source("Cfb")

    def together() -> tuple[object, object]:
        world = world_of(given, climates)
        return assess_world(world), what_if(given, climates, CHANGES[0], prices=PRICES, world=world)

    def apart() -> tuple[object, object]:
        return assess(given, climates), what_if(given, climates, CHANGES[0], prices=PRICES)

    assert together() == apart()
    shared, twice = least_of(15, together, apart)
    assert shared < 0.9 * twice
