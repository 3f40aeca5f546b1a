"""Doses from the hours of a year: an invented year whose hours are known, against the laws themselves."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from lifecycle.wear import days, doses, solar
from lifecycle.wear.tilted import OrientationLaw
from lifecycle.wear.weather import HourlyClimate, HourlyWeather, weather_of, with_hours
from tests.wear.vehicles import TEMPERATE, climate

HOURS = np.arange(8760.0)
DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


@lru_cache(maxsize=4)
def weather(lat: float = 49.5) -> HourlyWeather:
    """Half of the extraterrestrial sunlight in every hour, a mean of 12 °C, 70 % humidity."""
    day, hour = HOURS // 24 + 1, HOURS % 24 + 0.5
    sun = solar.cos_zenith_at_clock(lat_deg=lat, lon_deg=15.0, day_of_year=day, clock_hour=hour, utc_offset_h=1.0)
    season = -np.sign(lat) * 8.0 * np.cos(2.0 * np.pi * (day - 15.0) / 365.0)
    return HourlyWeather(
        lat=lat, lon=15.0, utc_offset_h=1.0, day_of_year=day, hour=hour,
        ghi_w_m2=np.maximum(sun, 0.0) * 0.5 * solar.extraterrestrial_normal_w_m2(day),
        air_c=12.0 + season + 4.0 * np.cos(2.0 * np.pi * (hour - 15.0) / 24.0),
        rh_pct=np.full(8760, 70.0), wind_ms=np.full(8760, 3.0), cloud=np.full(8760, 0.5),
    )  # fmt: skip


@lru_cache(maxsize=4)
def hourly(lat: float = 49.5) -> HourlyClimate:
    return with_hours(replace(climate(*TEMPERATE), rain_days=(0.0,) * 12), weather(lat))


def test_sums_are_those_of_the_hours_themselves() -> None:
    """A flat mid-coloured panel in the street: the twelve months hold exactly the sum over 8760 hours."""
    hours = weather()
    whole = doses.summed(doses.hourly_rates(hours.sky()))
    assert days.monthly_doses(hourly()) @ DAYS == pytest.approx(whole, rel=1e-12)


def test_months_have_their_days() -> None:
    assert np.bincount(weather().month()) == pytest.approx(DAYS * 24)


def test_shares_of_time_add_up() -> None:
    """Carport: half of the day and a tenth of the night in the open; the rest under a roof, without any sunlight."""
    in_the_open, under_a_roof = days.hours_rates(hourly(), "flat", "mid")
    light = weather().cos_zenith() > 0.0
    assert np.all(under_a_roof[0] == 0.0)
    assert np.all(in_the_open[0][~light] == 0.0)
    share = np.where(light, 0.5, 0.1)
    by_hand = (share * in_the_open + (1.0 - share) * under_a_roof).sum(axis=1)
    assert days.monthly_doses(hourly(), parking="carport") @ DAYS == pytest.approx(by_hand, rel=1e-12)


def test_seasons_lie_right_in_the_south() -> None:
    south = days.monthly_doses(hourly(-35.0))[0]
    assert south.argmax() in (0, 11)
    assert south.argmin() in (5, 6)


def test_darker_and_flatter_takes_more_sunlight() -> None:
    yearly = [days.monthly_doses(hourly(), colour=colour)[0].sum() for colour in ("white", "mid", "black")]
    assert yearly == sorted(yearly)
    assert days.monthly_doses(hourly(), orientation="side")[0].sum() < yearly[1]


def test_measured_rain_wets_its_own_hours() -> None:
    """Rain in one hour keeps that hour and the next one wet; both then count as saturated at air temperature."""
    rain = np.zeros(8760)
    rain[4000] = 0.4
    wet = with_hours(climate(*TEMPERATE), replace(weather(), rain_mm=rain))
    dry = with_hours(climate(*TEMPERATE), replace(weather(), rain_mm=np.zeros(8760)))
    more = days.hours_rates(wet, "flat", "mid")[0, 1] - days.hours_rates(dry, "flat", "mid")[0, 1]
    assert np.flatnonzero(more).tolist() == [4000, 4001]
    saturated = doses.hydrolysis_rate(surface_rh_pct=100.0, surface_c=weather().air_c[4000])
    assert days.hours_rates(wet, "flat", "mid")[0, 1, 4000] == pytest.approx(float(saturated))


def test_hours_stay_out_of_what_is_compared_by_value() -> None:
    """Two years of the same months are the same only with the same hours; the plain year is another one."""
    hours = hourly().hours
    assert hours is not None
    assert hourly() == with_hours(hourly(), hours)
    assert hourly() != with_hours(hourly(), replace(hours))
    assert weather_of(weather()).rain_mm is None


@pytest.mark.parametrize(
    ("change", "says"),
    [({"air_c": np.zeros(10)}, "air_c: give 8760"), ({"rh_pct": np.full(8760, np.nan)}, "rh_pct: give 8760")],
)
def test_incomplete_hours_are_refused(change: dict[str, object], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        replace(weather(), **change)


def test_a_climate_without_hours_says_so() -> None:
    bare = replace(hourly(), hours=None)
    with pytest.raises(ValueError, match="has no hours"):
        days.hours_rates(bare, "flat", "mid")
    assert days.monthly_doses(bare, law=OrientationLaw.JUDGEMENT).shape == (3, 12)
