"""The clock of a layer: reference duty, Cassie angles, calendar, quantiles. Sources stand at each test."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from lifecycle.wear import degradation as deg
from lifecycle.wear import exposure
from lifecycle.wear.chemistry import chemistries, chemistry
from lifecycle.wear.course import home_ratios, layer_course
from lifecycle.wear.degradation import Clock
from lifecycle.wear.layers import unknown_forecast
from lifecycle.wear.stack import LiveLayer
from lifecycle.wear.types import Band, LayerForecast, Mark, Stage
from tests.wear.vehicles import layer, surface

APPLIED = date(2023, 1, 1)


def clock_at(duty: float, *, kind: str = "ceramic_mid", days: int = 6000, ln_sd: float = 0.3) -> Clock:
    """A clock at a steady multiple of the reference duty, on the surface where the kind lives."""
    row = chemistry(kind)
    life = deg.life_of(row)
    daily = np.tile(duty * exposure.reference_stress().mean(axis=1) * home_ratios(row.home), (days, 1))
    live = LiveLayer(layer(kind, APPLIED))
    km = np.full(days, duty * 15000.0 / 365.25)
    course = layer_course(live, life=life, chemistry=row, surface=surface(), daily=daily, km=km)
    return Clock(applied=APPLIED, stress=course.stress, life=life, rate=deg.prior_rate(ln_sd=ln_sd))


@pytest.mark.parametrize("kind", chemistries())
def test_the_reference_duty_gives_the_median_life_exactly(kind: str) -> None:
    months = chemistry(kind).months
    middle = clock_at(1.0, kind=kind).months_until(1.0, 0.5)
    assert middle == pytest.approx(math.sqrt(months.low * months.high), rel=1e-9)


def test_life_goes_inversely_with_duty_and_its_quantiles_are_closed_form() -> None:
    # D reaches 1 where S = L / kappa (lognormal kappa): arithmetic.
    median = chemistry("ceramic_mid").months.middle
    band = clock_at(2.0).months_band(1.0)
    assert band.p50 == pytest.approx(median / 2, rel=1e-6)
    assert band.p10 == pytest.approx(median / 2 * math.exp(-1.2815516 * 0.3), rel=1e-4)
    assert band.p90 == pytest.approx(median / 2 * math.exp(1.2815516 * 0.3), rel=1e-4)


@pytest.mark.parametrize("kind", chemistries())
def test_no_quantile_goes_beyond_the_mild_column(kind: str) -> None:
    mild = chemistry(kind).mild_months
    band = clock_at(0.05, kind=kind, days=8000).months_band(1.0)
    assert band.p90 <= mild.high * 1.001
    assert band.p50 <= mild.middle * 1.001
    assert band.p10 < band.p50 < band.p90


def test_a_life_of_the_product_moves_the_mild_column_with_it() -> None:
    row = chemistry("ceramic_mid")
    twice = deg.life_of(row, life_months=(56.0, 80.0), life_mark=Mark.PUBLISHED)
    assert twice.median_months == pytest.approx(2 * row.months.middle)
    assert twice.mild_months == pytest.approx(2 * row.mild_months.middle)
    assert twice.mark is Mark.PUBLISHED
    with pytest.raises(ValueError, match="life_months"):
        deg.life_of(row, life_months=(5.0, 4.0))


@pytest.mark.parametrize("finish", ["refinish", "touch_up"])
def test_on_refinish_a_layer_lasts_six_to_eight_and_a_half_tenths_and_the_band_widens(finish: str) -> None:
    # 0.6 to 0.85 of the life: common practice, no source.
    row = chemistry("ceramic_mid")
    factory, other = deg.life_of(row), deg.life_of(row, finish=finish)
    assert 0.6 <= other.median_months / factory.median_months <= 0.85
    assert other.ln_sd > factory.ln_sd
    assert other.notes


@pytest.mark.parametrize(("active", "angle"), [(1.0, 110.0), (0.75, 101.43), (0.5, 93.11), (0.25, 84.86), (0.0, 76.5)])
def test_cassie_mixture(active: float, angle: float) -> None:
    # Cassie's equation, computed independently; 76.5 degrees of bare clear coat is a published goniometer reading.
    assert deg.cassie_angle(active=active, new_deg=110, bare_deg=76.5) == pytest.approx(angle, abs=0.01)


@pytest.mark.parametrize(
    ("new", "bare", "end", "rate"),
    [
        (110, 76.5, 90, 0.902231),
        (112, 76.5, 90, 0.957312),
        (100, 76.5, 85, 1.0235),
        (105, 76.5, 88, 0.9080),
        (108, 76.5, 90, 0.8432),
        (110, 30, 80, 0.5566),
    ],
)
def test_angle_rate_meets_the_end_angle(new: float, bare: float, end: float, rate: float) -> None:
    # Computed independently of this project's code.
    assert deg.angle_rate(new_deg=new, end_deg=end, bare_deg=bare) == pytest.approx(rate, abs=1e-4)
    assert deg.angle_at(1.0, new_deg=new, end_deg=end, bare_deg=bare) == pytest.approx(end, abs=1e-9)


def test_angle_over_life() -> None:
    # Computed independently: 112 over 76.5, end at 90.
    consumed = np.array([0.0, 0.25, 0.5, 0.75, 1.0, 1.5])
    angles = deg.angle_at(consumed, new_deg=112, end_deg=90, bare_deg=76.5)
    assert angles == pytest.approx([112, 104.19, 98.24, 93.62, 90, 84.91], abs=0.01)


def test_angles_that_do_not_rise_are_refused() -> None:
    with pytest.raises(ValueError, match="rise from bare"):
        deg.angle_rate(new_deg=90, end_deg=100, bare_deg=76)


def test_stage_words_agree_with_the_clock() -> None:
    # Stage table: fresh 100-75, settled 75-50, tired 50-30, end 30-10, gone below 10 (common practice, no source).
    assert float(deg.function_left(1.0)) == pytest.approx(0.30)
    seen = [deg.stage_of(left) for left in (0.9, 0.75, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.0)]
    assert seen == [
        Stage.FRESH,
        Stage.SETTLED,
        Stage.SETTLED,
        Stage.TIRED,
        Stage.TIRED,
        Stage.END,
        Stage.END,
        Stage.GONE,
        Stage.GONE,
    ]
    assert deg.consumed_at_function(0.30) == pytest.approx(1.0)
    assert deg.function_band(Band(0.2, 0.5, 0.9)).p10 == pytest.approx(float(deg.function_left(0.9)))


def forecast_of(clock: Clock) -> LayerForecast:
    return replace(unknown_forecast(layer("ceramic_mid", clock.applied)), chance_dates=clock.chance_dates())


def test_chance_past_end_reads_the_same_as_the_clock() -> None:
    clock = clock_at(1.3)
    layer_forecast = forecast_of(clock)
    for months in (12, 18, 22, 26, 30, 36):
        day = round(months * deg.DAYS_PER_MONTH)
        on = APPLIED + timedelta(days=day)
        assert deg.chance_past_end(layer_forecast, on=on) == pytest.approx(clock.chance_past(day), abs=0.01)


@pytest.mark.parametrize("chance", [0.02, 0.1, 0.2, 0.5, 0.85, 0.97])
def test_renewal_date_and_chance_are_each_others_inverse(chance: float) -> None:
    layer_forecast = forecast_of(clock_at(1.3))
    day = deg.renewal_date_at(layer_forecast, chance=chance)
    assert deg.chance_past_end(layer_forecast, on=day) == pytest.approx(chance, abs=0.005)


def test_chance_is_zero_on_the_day_of_application_and_refused_without_a_forecast() -> None:
    layer_forecast = forecast_of(clock_at(1.0))
    assert deg.chance_past_end(layer_forecast, on=APPLIED) == 0.0
    with pytest.raises(ValueError, match="no forecast"):
        deg.chance_past_end(replace(layer_forecast, chance_dates=()), on=APPLIED)
    with pytest.raises(ValueError, match="between 0 and 1"):
        deg.renewal_date_at(layer_forecast, chance=1.0)


def test_a_screen_coat_wears_by_distance_when_that_comes_first() -> None:
    # 15 to 25 thousand km: common practice, no source. At 60 000 km a year its middle is reached after 3.9 months.
    row = chemistry("windscreen_coat")
    life = deg.life_of(row)
    stress = deg.cumulate(np.ones(600))
    km = np.concatenate(([0.0], np.cumsum(np.full(600, 60000 / 365.25))))
    clock = Clock(APPLIED, deg.with_distance(stress, km=km, life=life), life, deg.prior_rate(ln_sd=0.3))
    assert clock.months_until(1.0, 0.5) == pytest.approx(12 * row.km.middle / 60000, rel=1e-6)


def test_a_spread_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        deg.prior_rate(ln_sd=0.0)
