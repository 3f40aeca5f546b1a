"""The weights of the life table are those that the fit draws: nobody has turned one by hand since.

The ranges behind the fit are an expert's judgement and common practice, no source (see tests/bench/fit_weights.py).
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from tests.bench.fit_weights import FAMILIES, Fit, committed, distance, fit, life_months, rounded

pytestmark = pytest.mark.oracle


@cache
def fitted(family: str) -> Fit:
    return fit(family)


@pytest.mark.parametrize("family", FAMILIES)
def test_the_table_holds_what_the_fit_draws(family: str) -> None:
    assert committed(family) == pytest.approx(fitted(family).weights, abs=0.004)


@pytest.mark.parametrize("family", FAMILIES)
def test_the_fit_stays_near_its_start_and_sums_to_one(family: str) -> None:
    found = fitted(family)
    assert found.weights.sum() == pytest.approx(1.0)
    assert found.weights.min() > 0
    assert np.abs(found.weights - found.start).sum() / 2 <= 0.13


def test_the_fit_meets_most_ranges_and_misses_none_by_much() -> None:
    missed = [
        distance(target, life_months(target, committed(family)))
        for family in FAMILIES
        for target in fitted(family).targets
    ]
    assert len(missed) > 90
    assert sum(one == 0 for one in missed) / len(missed) >= 0.85
    assert max(missed) < 0.25  # a quarter outside a range that is itself an expert's guess


def test_flat_panels_end_before_doors_not_at_the_edge_of_the_experts_range() -> None:
    ratio = fitted("ceramic").flat_over_side
    assert ratio is not None
    assert 0.61 <= ratio <= 0.74  # 25 to 40 % earlier: judgement


def test_rounding_keeps_the_sum() -> None:
    weights = rounded(np.array([1 / 3, 1 / 3, 1 / 3]))
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert sorted(weights) == pytest.approx([0.333, 0.333, 0.334])
