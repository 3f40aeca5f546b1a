"""The look-up for many layers against the clock of one layer, and against plain steps day by day."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.wear.degradation import DAYS_PER_MONTH, Clock, Life, prior_rate
from lifecycle.wear.kernel import by_site_and_day, curves_of, quantile_days

DAYS, SITES = 900, 5
DUTY = np.random.default_rng(3).uniform(0.0, 3.0, (SITES, DAYS)) / DAYS_PER_MONTH
DUTY[:, 100:160] = 0.0  # laid up: the curve stands still
CUMULATIVE = np.concatenate((np.zeros((SITES, 1)), np.cumsum(DUTY, axis=1)), axis=1)
CURVES = curves_of(CUMULATIVE)


def step_by_step(site: int, start: int, need: float) -> float:
    """Walk the days until the need is met."""
    taken = 0.0
    for day in range(start, DAYS):
        if taken + DUTY[site, day] >= need:
            return day - start + (need - taken) / DUTY[site, day]
        taken += DUTY[site, day]
    return math.inf


@given(st.integers(0, SITES - 1), st.integers(0, DAYS - 1), st.floats(0.2, 40.0), st.floats(0.3, 3.0))
@settings(max_examples=10)
def test_against_walking_the_days(site: int, start: int, life: float, kappa: float) -> None:
    found = quantile_days(CURVES, site=[site], start_day=[start], life_months=[life], kappa=[kappa])[0, 0]
    assert found == pytest.approx(step_by_step(site, start, life / kappa), rel=1e-6, abs=1e-6)


def test_against_the_clock_of_one_layer() -> None:
    """Where the calendar's bound is far away, `Clock.months_until` gives the same day."""
    sd, life = 0.38, Life(median_months=9.0, ln_sd=0.38, mild_months=1e6, mild_ln_sd=0.1)
    clock = Clock(applied=date(2025, 1, 1), stress=CUMULATIVE[2], life=life, rate=prior_rate(ln_sd=sd))
    chances = (0.1, 0.5, 0.9)
    kappa = [math.exp(clock.rate.ln_quantile(1.0 - chance)) for chance in chances]
    found = quantile_days(CURVES, site=[2], start_day=[0], life_months=[9.0], kappa=kappa)[0]
    assert found / DAYS_PER_MONTH == pytest.approx([clock.months_until(1.0, chance) for chance in chances], rel=1e-9)


def test_order_and_chunks_change_nothing() -> None:
    draw = np.random.default_rng(5)
    site, start = draw.integers(0, SITES, 500), draw.integers(0, DAYS, 500)
    life, kappa = draw.uniform(1.0, 30.0, 500), draw.uniform(0.5, 2.0, (500, 3))
    whole = quantile_days(CURVES, site=site, start_day=start, life_months=life, kappa=kappa)
    order = by_site_and_day(site=site, start_day=start)
    pieces = quantile_days(
        CURVES, site=site[order], start_day=start[order], life_months=life[order], kappa=kappa[order], chunk=7
    )
    assert np.array_equal(pieces, whole[order])
    assert np.all(np.diff(site[order]) >= 0)
    assert np.isinf(whole).any()


@given(st.floats(0.3, 3.0), st.floats(0.3, 3.0), st.floats(1.0, 20.0), st.floats(1.0, 20.0))
@settings(max_examples=10)
def test_faster_and_shorter_lived_layers_end_no_later(one: float, other: float, short: float, long: float) -> None:
    slow, fast = sorted((one, other))
    brief, lasting = sorted((short, long))
    found = quantile_days(CURVES, site=[1, 1], start_day=[3, 3], life_months=[brief, lasting], kappa=[slow, fast])
    assert found[0, 1] <= found[0, 0]
    assert found[0, 0] <= found[1, 0]


def test_nothing_in_nothing_out() -> None:
    assert quantile_days(CURVES, site=[], start_day=[], life_months=[], kappa=[1.0, 2.0]).shape == (0, 2)


@pytest.mark.parametrize(
    "table", [np.zeros(5), np.zeros((2, 1)), [[0.0, 2.0, 1.0]], [[1.0, 2.0]], [[0.0, np.nan]]], ids=range(5)
)
def test_curves_that_fall_are_refused(table: object) -> None:
    with pytest.raises(ValueError, match="cumulative"):
        curves_of(table)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"site": [SITES]}, "site: write indices"),
        ({"start_day": [-1]}, "start_day: write indices"),
        ({"life_months": [0.0]}, "above 0"),
        ({"kappa": [-1.0]}, "above 0"),
    ],
)
def test_impossible_layers_are_refused(change: dict[str, object], says: str) -> None:
    usual = {"site": [0], "start_day": [0], "life_months": [5.0], "kappa": [1.0]}
    with pytest.raises(ValueError, match=says):
        quantile_days(CURVES, **{**usual, **change})  # type: ignore[arg-type]
