"""What twelve months of climate say beyond themselves: ultraviolet, wetness, frost, evaporation, sea salt. numpy only.

Each comes in two ways: summed over the hours where a source has hours, or from twelve monthly means with a spread
around the mean day. `tests/bench/climate_error.py` prints how far the second lies from the first.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.climate.figures import climate_value
from lifecycle.wear import normal, panel, solar, uv
from lifecycle.wear.marks import value
from lifecycle.wear.types import Band, ClimateYear, FloatArray

JOULES_MJ_PER_WH = 0.0036
MM_PER_MJ_M2 = 0.408  # evaporation equivalent of radiation (FAO-56, equation 20)
P90 = 1.2815515655446004
# Aridity index P / PET; limits of the UNEP atlas of desertification 1992, from memory.
ARIDITY_CLASSES = (
    (0.05, "hyper-arid"), (0.2, "arid"), (0.5, "semi-arid"), (0.65, "dry sub-humid"), (math.inf, "humid"),
)  # fmt: skip


def _class_of(figure: float, classes: tuple[tuple[float, str], ...]) -> str:
    return next(name for limit, name in classes if figure <= limit)


def uv_w_m2(*, ghi_w_m2: ArrayLike, cos_zenith: ArrayLike, day_of_year: ArrayLike) -> FloatArray:
    """Ultraviolet (295-385 nm) on the horizontal, W/m², from global irradiance; see `lifecycle.wear.uv.uv_share`."""
    sun, cosine = np.asarray(ghi_w_m2, dtype=float), np.asarray(cos_zenith, dtype=float)
    # kt is undefined at the horizon: the sun is held above 3 degrees.
    outside = solar.extraterrestrial_normal_w_m2(day_of_year) * np.maximum(cosine, np.cos(np.radians(87.0)))
    share = uv.uv_share(air_mass=solar.relative_air_mass(cosine), clearness=sun / outside)
    return np.asarray(share * sun, dtype=float)


def typical_ghi_w_m2(year: ClimateYear) -> FloatArray:
    """Global irradiance of the twelve typical days by solar hour, W/m², shape (12, 24)."""
    return np.array(
        [
            1000.0 * kwh * solar.typical_day_shape(lat_deg=year.place.lat, day_of_year=day)
            for kwh, day in zip(year.ghi_kwh_m2_day, solar.TYPICAL_DAYS, strict=True)
        ]
    )


def uv_mj_m2(year: ClimateYear) -> FloatArray:
    """Ultraviolet (295-385 nm) per month, MJ/m², on the horizontal; shape (12,).

    From the source's own hours where `year.uv_mj_m2` holds their sums, else from one typical day a month.
    """
    if year.uv_mj_m2:
        return np.array(year.uv_mj_m2)
    days = solar.TYPICAL_DAYS[:, None]
    cosine = solar.cos_zenith(lat_deg=year.place.lat, day_of_year=days, solar_hour=solar.MID_HOURS[None, :])
    rays = uv_w_m2(ghi_w_m2=typical_ghi_w_m2(year), cos_zenith=cosine, day_of_year=days)
    return np.asarray(rays.sum(axis=1) * JOULES_MJ_PER_WH * solar.MONTH_DAYS, dtype=float)


def wet_hours(year: ClimateYear) -> FloatArray:
    """Hours of wetness per month (relative humidity above 80 % and air above 0 °C, ISO 9223); shape (12,).

    From the source's own hours where it has them. Else each hour of the mean day (sinusoid of temperature, constant
    vapour pressure) is the middle of a normal spread of humidity and of temperature, taken as independent. Against nine
    hourly files the year then lies within a quarter, mostly below.
    """
    if year.wet_hours:
        return np.array(year.wet_hours)
    hours = solar.MID_HOURS[None, :]
    mean = np.array(year.air_c)[:, None]
    swing = 0.5 * np.array(year.diurnal_range_k)[:, None]
    air = mean + swing * np.cos(2.0 * np.pi * (hours - value("day.warmest_hour")) / 24.0)
    saturation = panel.saturation_pressure_hpa(air)
    # The vapour pressure whose humidity, averaged over the day, is the month's mean.
    vapour = np.array(year.rh_pct)[:, None] / (1.0 / saturation).mean(axis=1, keepdims=True)
    humid = np.minimum(vapour / saturation, 100.0)
    wet = normal.cdf((humid - climate_value("wet.rh_limit")) / climate_value("wet.rh_sd"))
    thawed = normal.cdf(air / climate_value("wet.air_sd_k"))
    return np.asarray((wet * thawed).sum(axis=1) * solar.MONTH_DAYS, dtype=float)


def sunshine_fraction(ghi_kwh_m2_day: ArrayLike, *, lat_deg: float) -> tuple[float, ...]:
    """Monthly sunshine n/N, 0 to 1, from irradiation: the Angström-Prescott form turned round; 0 in the polar night."""
    h0 = solar.monthly_h0_kwh_m2_day(lat_deg)
    clearness = np.divide(np.asarray(ghi_kwh_m2_day, dtype=float), h0, out=np.zeros(12), where=h0 > 0.05)
    share = np.clip((clearness - value("solar.angstrom_a")) / value("solar.angstrom_b"), 0.0, 1.0)
    return tuple(float(part) for part in share)


def frost_days(year: ClimateYear) -> FloatArray:
    """Days per month whose minimum lies below 0 °C; shape (12,). From hours where the source has them."""
    if year.frost_days:
        return np.array(year.frost_days)
    night = np.array(year.air_c) - 0.5 * np.array(year.diurnal_range_k)
    return np.asarray(normal.cdf(-night / climate_value("frost.minimum_sd_k")) * solar.MONTH_DAYS, dtype=float)


def evaporation_mm(year: ClimateYear) -> FloatArray:
    """Potential evapotranspiration per month, mm: `0.0023 (T + 17.8) sqrt(range) Ra` (FAO-56, equation 52)."""
    outside_mm = solar.monthly_h0_kwh_m2_day(year.place.lat) * 3.6 * MM_PER_MJ_M2
    air, swing = np.array(year.air_c), np.maximum(np.array(year.diurnal_range_k), 0.0)
    per_day = 0.0023 * np.maximum(air + 17.8, 0.0) * np.sqrt(swing) * outside_mm
    return np.asarray(per_day * solar.MONTH_DAYS, dtype=float)


def aridity_index(year: ClimateYear) -> float:
    """Yearly rain over potential evapotranspiration; infinite where nothing evaporates."""
    evaporated = float(evaporation_mm(year).sum())
    return float(sum(year.rain_mm)) / evaporated if evaporated > 0.0 else math.inf


def aridity_class(index: float) -> str:
    """Word for an aridity index: hyper-arid to humid; limits 0.05, 0.2, 0.5, 0.65."""
    return _class_of(index, ARIDITY_CLASSES)


def chloride_mg_m2_day(sea_distance_km: float) -> Band:
    """Chloride deposited from the sea, mg per m² and day: `1 + 300 exp(-x/0.15) + 30 exp(-x/10)`, 10-90 % range.

    Judgement, held against depositions published for islands and coasts (published values lie within a factor of two
    of the middle beyond 400 m). Salt from roads is not in it.

    Raises:
        ValueError: a negative distance.
    """
    if not sea_distance_km >= 0.0:
        raise ValueError(f"sea_distance_km is {sea_distance_km}; give a distance of 0 or more.")
    middle = climate_value("chloride.inland")
    for part in ("surf", "haze"):
        reach = climate_value(f"chloride.{part}_km")
        middle += climate_value(f"chloride.{part}") * math.exp(-sea_distance_km / reach)
    width = math.exp(P90 * climate_value("chloride.ln_sd"))
    return Band(middle / width, middle, middle * width)
