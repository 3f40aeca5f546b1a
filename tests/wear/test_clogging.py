"""Clogging: reversible, grows with contamination, falls with a decontamination."""

from __future__ import annotations

import numpy as np
import pytest

from lifecycle.wear.clogging import chance_that_behaviour_returns, clogging_band, months_until_due
from lifecycle.wear.types import Band


def days(months: float, level: float = 1.0) -> np.ndarray:
    return np.full(round(months * 30.4375), level)


@pytest.mark.parametrize(
    ("contamination", "low", "high"),
    # Decontamination every 6 months; 3 to 4 on harsh duty; 12 in a garage: common practice, no source.
    [(1.0, 5.5, 6.5), (1.75, 3.0, 4.0), (0.5, 11.0, 13.0)],
)
def test_half_clogged_when_a_decontamination_is_usually_due(contamination: float, low: float, high: float) -> None:
    assert low <= months_until_due(contamination_mean=contamination) <= high
    at_due = clogging_band(contamination=days(months_until_due(contamination_mean=contamination), contamination))
    assert at_due.p50 == pytest.approx(0.5, abs=0.01)


def test_nothing_clogs_without_contamination() -> None:
    assert clogging_band(contamination=days(12, 0.0)) == Band(0.0, 0.0, 0.0)
    assert months_until_due(contamination_mean=0.0) == float("inf")


def test_a_decontamination_takes_seven_to_nine_and_a_half_tenths_away() -> None:
    # 70 to 95 %: common practice, no source.
    year = days(12)
    before = clogging_band(contamination=year)
    after = clogging_band(contamination=year, cleanings=(len(year),))
    assert after.p50 == pytest.approx(before.p50 * 0.15, rel=1e-6)
    assert after.p10 == pytest.approx(before.p10 * 0.05, rel=1e-6)
    assert after.p90 == pytest.approx(before.p90 * 0.30, rel=1e-6)


def test_it_grows_again_and_never_passes_one() -> None:
    cleaned = clogging_band(contamination=days(12), cleanings=(180,))
    untouched = clogging_band(contamination=days(12))
    assert 0 < cleaned.p50 < untouched.p50 < 1
    assert clogging_band(contamination=days(600, 3.0)).p90 <= 1.0


def test_the_same_days_cut_differently_give_the_same() -> None:
    # A cleaning on the first day of a clean surface changes nothing.
    assert clogging_band(contamination=days(7), cleanings=(0,)).p50 == pytest.approx(
        clogging_band(contamination=days(7)).p50
    )


def test_behaviour_returns_more_surely_to_a_fresh_layer_than_to_a_spent_one() -> None:
    dirty = Band(0.7, 0.8, 0.9)
    fresh = chance_that_behaviour_returns(function_left=Band(0.7, 0.8, 0.9), clogging=dirty)
    spent = chance_that_behaviour_returns(function_left=Band(0.05, 0.15, 0.3), clogging=dirty)
    assert fresh.p50 > 0.95
    assert spent.p50 < 0.1
    assert fresh.p10 <= fresh.p50 <= fresh.p90
