"""Where the sun stands and how much of it arrives: geometry, monthly sums, the course of a typical day. numpy only.

Latitudes beyond the polar circles are fine: the day is then 0 or 24 hours long.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.wear.marks import value
from lifecycle.wear.types import FloatArray

SOLAR_CONSTANT_W_M2 = 1361.1
MONTH_DAYS = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
# Day of the year whose declination is nearest to the month's mean (Klein 1977, Solar Energy 19, 325).
TYPICAL_DAYS = np.array([17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344], dtype=float)
MID_HOURS = np.arange(24) + 0.5


def declination_rad(day_of_year: ArrayLike) -> FloatArray:
    """Declination of the sun, radians (Spencer 1971), within 0.3 degrees; fractional days too, 1 = 1 January."""
    turn = 2.0 * np.pi * (np.asarray(day_of_year, dtype=float) - 1.0) / 365.0
    series = 0.006918 - 0.399912 * np.cos(turn) + 0.070257 * np.sin(turn) - 0.006758 * np.cos(2 * turn)
    series += 0.000907 * np.sin(2 * turn) - 0.002697 * np.cos(3 * turn) + 0.00148 * np.sin(3 * turn)
    return np.asarray(series, dtype=float)


def equation_of_time_min(day_of_year: ArrayLike) -> FloatArray:
    """Solar time minus mean solar time, minutes (Spencer 1971), within half a minute."""
    turn = 2.0 * np.pi * (np.asarray(day_of_year, dtype=float) - 1.0) / 365.0
    series = 0.0000075 + 0.001868 * np.cos(turn) - 0.032077 * np.sin(turn)
    series += -0.014615 * np.cos(2 * turn) - 0.040849 * np.sin(2 * turn)
    return np.asarray(229.18 * series, dtype=float)


def cos_zenith(*, lat_deg: ArrayLike, day_of_year: ArrayLike, solar_hour: ArrayLike) -> FloatArray:
    """Cosine of the sun's zenith angle, not refracted; negative at night. `solar_hour` 12 is true noon."""
    lat, dec = np.radians(np.asarray(lat_deg, dtype=float)), declination_rad(day_of_year)
    hour_angle = np.radians(15.0 * (np.asarray(solar_hour, dtype=float) - 12.0))
    return np.asarray(np.sin(lat) * np.sin(dec) + np.cos(lat) * np.cos(dec) * np.cos(hour_angle), dtype=float)


def cos_zenith_at_clock(
    *, lat_deg: float, lon_deg: float, day_of_year: ArrayLike, clock_hour: ArrayLike, utc_offset_h: float
) -> FloatArray:
    """Like `cos_zenith` for local standard time (`utc_offset_h` east positive); give mid-hours for hourly means."""
    day, hour = np.asarray(day_of_year, dtype=float), np.asarray(clock_hour, dtype=float)
    exact_day = day + (hour - utc_offset_h - 12.0) / 24.0
    at = solar_hour(lon_deg=lon_deg, day_of_year=day, clock_hour=hour, utc_offset_h=utc_offset_h)
    return cos_zenith(lat_deg=lat_deg, day_of_year=exact_day, solar_hour=at)


def solar_hour(*, lon_deg: float, day_of_year: ArrayLike, clock_hour: ArrayLike, utc_offset_h: float) -> FloatArray:
    """True solar time, h, of local standard time."""
    day, hour = np.asarray(day_of_year, dtype=float), np.asarray(clock_hour, dtype=float)
    exact_day = day + (hour - utc_offset_h - 12.0) / 24.0
    return np.asarray(hour + lon_deg / 15.0 - utc_offset_h + equation_of_time_min(exact_day) / 60.0, dtype=float)


def azimuth_deg(*, lat_deg: ArrayLike, day_of_year: ArrayLike, solar_hour: ArrayLike) -> FloatArray:
    """Azimuth of the sun, degrees clockwise from north, 0 to 360."""
    lat, dec = np.radians(np.asarray(lat_deg, dtype=float)), declination_rad(day_of_year)
    turn = np.radians(15.0 * (np.asarray(solar_hour, dtype=float) - 12.0))
    west = np.arctan2(np.sin(turn), np.cos(turn) * np.sin(lat) - np.tan(dec) * np.cos(lat))
    return np.asarray((np.degrees(west) + 180.0) % 360.0, dtype=float)


def sunset_hour_angle_rad(*, lat_deg: ArrayLike, day_of_year: ArrayLike) -> FloatArray:
    """Hour angle of sunset, radians: 0 in the polar night, pi in the polar day."""
    lat = np.radians(np.asarray(lat_deg, dtype=float))
    cosine = -np.tan(lat) * np.tan(declination_rad(day_of_year))
    return np.asarray(np.arccos(np.clip(cosine, -1.0, 1.0)), dtype=float)


def extraterrestrial_normal_w_m2(day_of_year: ArrayLike) -> FloatArray:
    """Irradiance outside the atmosphere on a plane facing the sun, W/m² (distance factor of FAO-56, equation 23)."""
    distance = 1.0 + 0.033 * np.cos(2.0 * np.pi * np.asarray(day_of_year, dtype=float) / 365.0)
    return np.asarray(SOLAR_CONSTANT_W_M2 * distance, dtype=float)


def extraterrestrial_kwh_m2_day(*, lat_deg: ArrayLike, day_of_year: ArrayLike) -> FloatArray:
    """Horizontal irradiation outside the atmosphere, kWh per m² and day (FAO-56, equation 21)."""
    lat, dec = np.radians(np.asarray(lat_deg, dtype=float)), declination_rad(day_of_year)
    sunset = sunset_hour_angle_rad(lat_deg=lat_deg, day_of_year=day_of_year)
    angles = sunset * np.sin(lat) * np.sin(dec) + np.cos(lat) * np.cos(dec) * np.sin(sunset)
    return np.asarray(24.0 / np.pi * extraterrestrial_normal_w_m2(day_of_year) * angles / 1000.0, dtype=float)


def ghi_from_sunshine_kwh_m2_day(*, h0_kwh_m2_day: ArrayLike, sunshine_fraction: ArrayLike) -> FloatArray:
    """Global horizontal irradiation, kWh per m² and day: `H0 (0.19 + 0.585 n/N)` (Angström-Prescott).

    The coefficients are judgement; FAO-56 (equation 35) gives 0.25 and 0.50 where nothing is known, which is 6 % more
    at n/N = 0.4 and the same at n/N = 0.7. `sunshine_fraction` is held to 0 to 1.
    """
    share = np.clip(np.asarray(sunshine_fraction, dtype=float), 0.0, 1.0)
    clearness = value("solar.angstrom_a") + value("solar.angstrom_b") * share
    return np.asarray(np.asarray(h0_kwh_m2_day, dtype=float) * clearness, dtype=float)


def monthly_h0_kwh_m2_day(lat_deg: float) -> FloatArray:
    """Extraterrestrial irradiation of the twelve typical days, kWh per m² and day."""
    return extraterrestrial_kwh_m2_day(lat_deg=lat_deg, day_of_year=TYPICAL_DAYS)


def typical_day_shape(*, lat_deg: float, day_of_year: float) -> FloatArray:
    """Share of a day's global irradiation in each of the 24 solar hours (mid-hour), summing to 1.

    Collares-Pereira & Rabl 1979 (Solar Energy 22, 155): `(a + b cos w)` times the extraterrestrial course, `a` and `b`
    from the sunset hour angle. All zeros in the polar night.
    """
    course = np.maximum(cos_zenith(lat_deg=lat_deg, day_of_year=day_of_year, solar_hour=MID_HOURS), 0.0)
    sunset = float(sunset_hour_angle_rad(lat_deg=lat_deg, day_of_year=day_of_year))
    a = 0.409 + 0.5016 * np.sin(sunset - np.pi / 3.0)
    b = 0.6609 - 0.4767 * np.sin(sunset - np.pi / 3.0)
    course = course * np.maximum(a + b * np.cos(np.radians(15.0 * (MID_HOURS - 12.0))), 0.0)
    total = float(course.sum())
    return course / total if total > 0.0 else np.zeros(24)


def relative_air_mass(cosine_zenith: ArrayLike) -> FloatArray:
    """Relative optical air mass (Kasten & Young 1989, Appl. Opt. 28, 4735); the sun is held above 3 degrees."""
    zenith = np.degrees(np.arccos(np.clip(np.asarray(cosine_zenith, dtype=float), np.cos(np.radians(87.0)), 1.0)))
    return np.asarray(1.0 / (np.cos(np.radians(zenith)) + 0.50572 * (96.07995 - zenith) ** -1.6364), dtype=float)
