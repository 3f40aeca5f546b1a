"""Sun and irradiation against worked examples of FAO Irrigation and Drainage Paper 56 and plain geometry."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.wear import solar


def test_extraterrestrial_irradiation_of_fao_example_8() -> None:
    """FAO-56 example 8: 20 degrees south, 3 September: 32.2 MJ per m² and day.

    Its declination (one sine) is 6.9 degrees there, the almanac's and ours 7.5; hence 2 %.
    """
    kwh = solar.extraterrestrial_kwh_m2_day(lat_deg=-20.0, day_of_year=246)
    assert kwh * 3.6 == pytest.approx(32.2, rel=0.02)


def test_daylight_of_fao_example_9() -> None:
    """FAO-56 example 9: 20 degrees south, 3 September: 11.7 hours of daylight (see above for its sun)."""
    angle = solar.sunset_hour_angle_rad(lat_deg=-20.0, day_of_year=246)
    assert np.degrees(angle) * 2.0 / 15.0 == pytest.approx(11.7, abs=0.1)


def test_global_irradiation_near_fao_example_10() -> None:
    """FAO-56 example 10: H0 25.1 MJ and 7.1 of 10.9 hours of sun give 14.5 MJ with 0.25 and 0.50; ours within 3 %."""
    found = solar.ghi_from_sunshine_kwh_m2_day(h0_kwh_m2_day=25.1 / 3.6, sunshine_fraction=7.1 / 10.9)
    assert found * 3.6 == pytest.approx(14.5, rel=0.03)


@pytest.mark.parametrize(("elevation_deg", "mass"), [(90, 1.000), (30, 1.994), (10, 5.586)])
def test_air_mass_of_kasten_and_young(elevation_deg: float, mass: float) -> None:
    """Kasten & Young 1989, table of relative optical air mass (from memory to three figures)."""
    assert solar.relative_air_mass(np.sin(np.radians(elevation_deg))) == pytest.approx(mass, rel=0.002)


def test_noon_height_at_the_solstices() -> None:
    """Geometry: 90 - latitude +- 23.44 degrees."""
    for day, tilt in ((172, 23.44), (355, -23.44)):
        cosine = solar.cos_zenith(lat_deg=49.5, day_of_year=day, solar_hour=12.0)
        assert np.degrees(np.arcsin(cosine)) == pytest.approx(90.0 - 49.5 + tilt, abs=0.1)


def test_clock_noon_and_solar_noon_part_by_longitude_and_equation_of_time() -> None:
    """On 3 November the sun is 16.4 minutes early; 8.55 degrees east lies 25.8 minutes behind 15 degrees."""
    hours = np.arange(11.0, 13.5, 0.01)
    height = solar.cos_zenith_at_clock(lat_deg=49.5, lon_deg=8.55, day_of_year=307, clock_hour=hours, utc_offset_h=1.0)
    assert hours[np.argmax(height)] == pytest.approx(12.0 + (25.8 - 16.4) / 60.0, abs=0.03)


@given(st.floats(-89.0, 89.0), st.floats(1.0, 365.0))
@settings(max_examples=40)
def test_typical_day_keeps_the_sum_and_the_dark(lat: float, day: float) -> None:
    shape = solar.typical_day_shape(lat_deg=lat, day_of_year=day)
    dark = solar.cos_zenith(lat_deg=lat, day_of_year=day, solar_hour=solar.MID_HOURS) <= 0.0
    assert np.all(shape >= 0.0)
    assert np.all(shape[dark] == 0.0)
    assert shape.sum() == pytest.approx(0.0 if dark.all() else 1.0)
    assert shape == pytest.approx(shape[::-1])


def test_typical_day_of_collares_pereira_and_rabl() -> None:
    """At the equinox (sunset at 90 degrees) the noon hour holds pi/24 (a + b) = 0.138 of the day, a + b = 1.056."""
    noon = solar.typical_day_shape(lat_deg=0.0, day_of_year=80.0)[11:13].mean()
    half_hour_off = np.cos(np.radians(7.5))
    a, b = 0.409 + 0.5016 * 0.5, 0.6609 - 0.4767 * 0.5
    assert noon == pytest.approx(np.pi / 24.0 * (a + b * half_hour_off) * half_hour_off, rel=0.01)


def test_polar_night_and_day() -> None:
    assert solar.monthly_h0_kwh_m2_day(75.0)[11] == 0.0
    assert solar.sunset_hour_angle_rad(lat_deg=75.0, day_of_year=172) == pytest.approx(np.pi)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
@settings(max_examples=20)
def test_more_sunshine_gives_no_less_irradiation(one: float, other: float) -> None:
    low, high = sorted((one, other))
    found = solar.ghi_from_sunshine_kwh_m2_day(h0_kwh_m2_day=8.0, sunshine_fraction=np.array([low, high]))
    assert found[0] <= found[1] < 8.0
