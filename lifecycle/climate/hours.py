"""A year of hours, as weather files and typical-year services give it, and the twelve months that it holds."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from lifecycle.climate import derived
from lifecycle.climate.class_table import climate_at, koppen_at
from lifecycle.climate.figures import climate_value
from lifecycle.wear.types import ClimateYear, FloatArray, Place
from lifecycle.wear.weather import ByTheClock, weather_of, with_hours

EARTH_KM = 6371.0
# Further away than this from the place: the error word falls from "close" to "fair", then to "rough".
CLOSE_KM, FAIR_KM = 50.0, 150.0
_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


@dataclass(frozen=True, slots=True, eq=False)
class HourlyYear(ByTheClock):
    """8760 hours of a year without leap day, by standard time, each with its mean irradiance.

    `hour` is the middle of the hour, `cloud` the share of the sky; `rain_mm` is None where there is no rain that can be
    trusted, and `rain_says` then tells why.
    """

    lat: float
    lon: float
    height_m: float
    utc_offset_h: float
    month: FloatArray
    day_of_year: FloatArray
    hour: FloatArray
    ghi_w_m2: FloatArray
    air_c: FloatArray
    rh_pct: FloatArray
    wind_ms: FloatArray
    cloud: FloatArray
    rain_mm: FloatArray | None
    rain_says: str = ""
    period: str = ""


def distance_km(one: Place, other: Place) -> float:
    """Great-circle distance between two places, km."""
    lat1, lat2 = math.radians(one.lat), math.radians(other.lat)
    half = math.sin((lat2 - lat1) / 2.0) ** 2
    half += math.cos(lat1) * math.cos(lat2) * math.sin(math.radians(other.lon - one.lon) / 2.0) ** 2
    return 2.0 * EARTH_KM * math.asin(math.sqrt(min(half, 1.0)))


def word_for_distance(km: float) -> str:
    """Error word of a measurement that far from the place: close to 50 km, fair to 150 km, else rough (judgement)."""
    return "close" if km <= CLOSE_KM else "fair" if km <= FAIR_KM else "rough"


def _by_month(hourly: HourlyYear, figures: FloatArray, *, mean: bool = False) -> tuple[float, ...]:
    """Sum or mean of hourly figures by month."""
    picked = (figures[hourly.month == month] for month in range(1, 13))
    return tuple(float(part.mean() if mean else part.sum()) for part in picked)


def _daily_by_month(days: FloatArray, *, mean: bool = False) -> tuple[float, ...]:
    """Sum or mean of 365 daily figures by month."""
    parts = np.split(days, np.cumsum(_DAYS)[:-1])
    return tuple(float(part.mean() if mean else part.sum()) for part in parts)


@dataclass(frozen=True, slots=True)
class _Rain:
    mm: tuple[float, ...]
    days: tuple[float, ...]
    says: str = ""
    part: tuple[tuple[str, str, str], ...] = ()


def _rain(hourly: HourlyYear, normals: ClimateYear) -> _Rain:
    """Rain by month; the class's normals where the hours hold none that can be believed.

    Files of the TMY3 kind were found to hold tenths of a millimetre: a sum that is too high as it stands and fits when
    divided by ten is taken so.
    """
    says, usual = hourly.rain_says or "The hours have no rain", max(sum(normals.rain_mm), 1.0)
    trust = climate_value("rain.trust_factor")
    if hourly.rain_mm is not None:
        total = float(hourly.rain_mm.sum())
        for unit, note in ((1.0, ""), (0.1, "Its rain fits only as tenths of a millimetre and is taken so.")):
            if usual / trust <= total * unit <= usual * trust and total > 0.0:
                daily = hourly.rain_mm.reshape(365, 24).sum(axis=1) * unit
                part = (("rain", "the hours, in tenths", "fair"),) if note else ()
                return _Rain(_daily_by_month(daily), _daily_by_month((daily >= 1.0).astype(float)), note, part)
        says = f"The hours sum to {total:.0f} mm of rain a year where the class has {usual:.0f} mm"
        says = says if total > 0.0 else "The hours are all without rain, which no place is"
    return _Rain(
        normals.rain_mm,
        normals.rain_days,
        f"{says}; that of Köppen class {normals.koppen_class} is taken.",
        (("rain", normals.source, normals.error_word),),
    )


def monthly_from_hourly(hourly: HourlyYear, place: Place, *, name: str, source: str = "") -> ClimateYear:
    """The twelve months of an hourly year. Its own latitude and longitude hold where it speaks of the sun.

    Args:
        place: where the vehicle stands; its distance sets the error word.
        name: of the file or the service, for the sentence.  source: what stands beside the figures; None: the file.
    """
    at = Place(hourly.lat, hourly.lon, hourly.height_m, place.sea_distance_m)
    normals = climate_at(at)
    ghi = np.array(_by_month(hourly, hourly.ghi_w_m2, mean=True)) * 0.024
    says = [f"Hourly {name} of {hourly.lat:.2f}, {hourly.lon:.2f}; sunshine is worked out from its irradiation."]
    rain = _rain(hourly, normals)
    km = distance_km(place, at)
    if km > CLOSE_KM:
        says.append(f"The vehicle stands at {place.lat:.2f}, {place.lon:.2f}, which is not near: {km:.0f} km away.")
    by_day = hourly.air_c.reshape(365, 24)
    rays = derived.uv_w_m2(
        ghi_w_m2=hourly.ghi_w_m2, cos_zenith=hourly.cos_zenith(), day_of_year=hourly.day_of_year
    )  # fmt: skip
    wet = (hourly.rh_pct > climate_value("wet.rh_limit")) & (hourly.air_c > 0.0)
    year = ClimateYear(
        place=at,
        ghi_kwh_m2_day=tuple(ghi.tolist()),
        air_c=_by_month(hourly, hourly.air_c, mean=True),
        diurnal_range_k=_daily_by_month(np.ptp(by_day, axis=1), mean=True),
        rh_pct=_by_month(hourly, hourly.rh_pct, mean=True),
        rain_mm=rain.mm,
        rain_days=rain.days,
        wind_ms=_by_month(hourly, hourly.wind_ms, mean=True),
        sunshine_fraction=derived.sunshine_fraction(ghi, lat_deg=at.lat),
        source=source or f"file {name}",
        error_word=word_for_distance(km),
        detail=" ".join([*says, *([rain.says] if rain.says else [])]),
        koppen_class=koppen_at(at.lat, at.lon).koppen_class,
        uv_mj_m2=_by_month(hourly, rays * derived.JOULES_MJ_PER_WH),
        wet_hours=_by_month(hourly, wet.astype(float)),
        frost_days=_daily_by_month((by_day.min(axis=1) < 0.0).astype(float)),
        period=hourly.period,
        distance_km=km,
        parts=rain.part,
    )
    return with_hours(year, weather_of(hourly))
