"""Dew: when a panel is wet at night, and how much falls."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.wear import doses, panel
from lifecycle.wear.dew import dew_yield_mm_h, has_dew


def test_a_clear_calm_night_wets_a_panel_that_cloud_keeps_dry() -> None:
    """From memory: a horizontal panel falls 2-5 K below the air; at 80 % the dew point lies 3.4 K below it (Magnus)."""
    night = {"air_c": 14.0, "irradiance_w_m2": 0.0, "wind_ms": 0.5}
    clear, dull = (panel.panel_temperature_c(**night, cloud=cloud) for cloud in (0.0, 1.0))
    assert has_dew(surface_c=clear, air_c=14.0, rh_pct=80.0)
    assert not has_dew(surface_c=dull, air_c=14.0, rh_pct=80.0)
    roofed = panel.panel_temperature_c(**night, cloud=0.0, sky_view=0.0)
    assert not has_dew(surface_c=roofed, air_c=14.0, rh_pct=80.0)


def test_dew_counts_as_wet_in_the_dose() -> None:
    """An hour with dew has the hydrolysis of saturated air at the temperature of the panel."""
    night = {"air_c": [14.0], "rh_pct": [80.0], "wind_ms": [0.5], "cloud": [0.0], "ghi_w_m2": [0.0]}
    found = doses.hourly_rates(doses.Sky(**night, cos_zenith=[-0.5], extraterrestrial_w_m2=[1361.0]))
    surface = panel.panel_temperature_c(air_c=14.0, irradiance_w_m2=0.0, wind_ms=0.5, cloud=0.0)
    assert found[1, 0] == pytest.approx(float(doses.hydrolysis_rate(surface_rh_pct=100.0, surface_c=surface)))
    assert found[0, 0] == 0.0


def test_hoar_frost_is_not_dew() -> None:
    assert not has_dew(surface_c=-6.0, air_c=-2.0, rh_pct=90.0)


def test_yield_by_hand() -> None:
    """Beysens 2016 at sea level, worked by hand: saturated clear calm air at 11.85 °C (285 K): 0.37 (1 - 18.0132e-3 x
    11.85) / 12 mm/h."""
    found = dew_yield_mm_h(air_c=11.85, rh_pct=100.0, wind_ms=0.0, cloud=0.0)
    assert float(found) == pytest.approx(0.37 * (1.0 - 18.0132e-3 * 11.85) / 12.0, rel=1e-6)


def test_a_night_gives_less_than_the_known_most() -> None:
    """Published ceiling of passive dew: about 0.8 mm a night; wind above 4.4 m/s ends it."""
    night = 12.0 * dew_yield_mm_h(air_c=np.array([0.0, 10.0, 20.0]), rh_pct=100.0, wind_ms=1.0, cloud=0.0)
    assert np.all((night > 0.1) & (night < 0.8))
    assert dew_yield_mm_h(air_c=15.0, rh_pct=98.0, wind_ms=6.0, cloud=0.0) == 0.0


@given(st.floats(1, 30), st.floats(60, 100), st.floats(0, 4), st.floats(0, 1))
@settings(max_examples=10)
def test_cloud_dryness_and_wind_never_add_dew(air: float, humid: float, wind: float, cloud: float) -> None:
    base = float(dew_yield_mm_h(air_c=air, rh_pct=humid, wind_ms=wind, cloud=cloud))
    assert math.isfinite(base)
    assert base >= float(dew_yield_mm_h(air_c=air, rh_pct=humid, wind_ms=wind, cloud=min(cloud + 0.2, 1.0)))
    assert base >= float(dew_yield_mm_h(air_c=air, rh_pct=humid - 10.0, wind_ms=wind, cloud=cloud)) - 1e-12
    assert base >= float(dew_yield_mm_h(air_c=air, rh_pct=humid, wind_ms=wind + 3.0, cloud=cloud)) - 1e-12
