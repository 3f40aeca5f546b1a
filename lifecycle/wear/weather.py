"""Hours of weather, where a climate source has them, beside the twelve months that every source gives."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.wear import solar
from lifecycle.wear.doses import Sky
from lifecycle.wear.types import ClimateYear, FloatArray

HOURS_A_YEAR = 8760


class ByTheClock:
    """The sun over hours that are told by standard time, at their middle."""

    __slots__ = ()
    lat: float
    lon: float
    utc_offset_h: float
    day_of_year: FloatArray
    hour: FloatArray

    def cos_zenith(self) -> FloatArray:
        """Cosine of the sun's zenith angle at the middle of each hour."""
        return solar.cos_zenith_at_clock(
            lat_deg=self.lat,
            lon_deg=self.lon,
            day_of_year=self.day_of_year,
            clock_hour=self.hour,
            utc_offset_h=self.utc_offset_h,
        )


@dataclass(frozen=True, slots=True, eq=False)
class HourlyWeather(ByTheClock):
    """8760 hours of a year without leap day, by standard time. Compared and hashed by identity.

    Attributes:
        lat, lon: degrees.  utc_offset_h: of the standard time.  day_of_year: 1 to 365.  hour: middle of the hour, h.
        ghi_w_m2: global horizontal irradiance, hourly mean.  air_c: °C.  rh_pct: %.  wind_ms: at 10 m.
        cloud: share of the sky, 0 to 1.  rain_mm: per hour, None where the source has none.
    """

    lat: float
    lon: float
    utc_offset_h: float
    day_of_year: FloatArray
    hour: FloatArray
    ghi_w_m2: FloatArray
    air_c: FloatArray
    rh_pct: FloatArray
    wind_ms: FloatArray
    cloud: FloatArray
    rain_mm: FloatArray | None = None

    def __post_init__(self) -> None:
        for field in fields(self)[3:]:
            hours = getattr(self, field.name)
            if hours is not None and (hours.shape != (HOURS_A_YEAR,) or not np.isfinite(hours).all()):
                raise ValueError(f"{field.name}: give {HOURS_A_YEAR} finite figures, one for each hour of the year.")

    def sky(self, *, wet: ArrayLike = 0.0) -> Sky:
        """What a surface in the open meets hour by hour; `wet` as in `Sky`."""
        return Sky(
            ghi_w_m2=self.ghi_w_m2,
            air_c=self.air_c,
            rh_pct=self.rh_pct,
            wind_ms=self.wind_ms,
            cloud=self.cloud,
            cos_zenith=self.cos_zenith(),
            extraterrestrial_w_m2=solar.extraterrestrial_normal_w_m2(self.day_of_year),
            wet=wet,
        )

    def solar_hour(self) -> FloatArray:
        """True solar time of the middle of each hour, h."""
        return solar.solar_hour(
            lon_deg=self.lon, day_of_year=self.day_of_year, clock_hour=self.hour, utc_offset_h=self.utc_offset_h
        )

    def month(self) -> np.ndarray[tuple[int, ...], np.dtype[np.intp]]:
        """Calendar month of each hour, 0 is January."""
        ends = np.cumsum(np.where(solar.MONTH_DAYS == 28.25, 28, solar.MONTH_DAYS))
        return np.asarray(np.searchsorted(ends, self.day_of_year, side="left"), dtype=np.intp)


@dataclass(frozen=True, slots=True)
class HourlyClimate(ClimateYear):
    """Twelve months with the hours behind them: exposure is then summed over the hours, not over typical days.

    It is kept and shown as the `ClimateYear` that it is; the hours themselves are never stored with a forecast.
    """

    hours: HourlyWeather | None = None


def with_hours(year: ClimateYear, hours: HourlyWeather) -> HourlyClimate:
    """The same twelve months, with their hours."""
    return HourlyClimate(**{field.name: getattr(year, field.name) for field in fields(ClimateYear)}, hours=hours)


class HasHours(Protocol):
    """What a reader of weather files gives; see `HourlyWeather`."""

    @property
    def lat(self) -> float: ...
    @property
    def lon(self) -> float: ...
    @property
    def utc_offset_h(self) -> float: ...
    @property
    def day_of_year(self) -> FloatArray: ...
    @property
    def hour(self) -> FloatArray: ...
    @property
    def ghi_w_m2(self) -> FloatArray: ...
    @property
    def air_c(self) -> FloatArray: ...
    @property
    def rh_pct(self) -> FloatArray: ...
    @property
    def wind_ms(self) -> FloatArray: ...
    @property
    def cloud(self) -> FloatArray: ...


def weather_of(read: HasHours) -> HourlyWeather:
    """The hours of a weather file. Its hourly rain is left out: files differ in unit and completeness, so rain is
    spread over the month's rain days, as at the reference place.

    Raises:
        ValueError: not 8760 finite hours.
    """
    names = [field.name for field in fields(HourlyWeather) if field.name != "rain_mm"]
    return HourlyWeather(**{name: getattr(read, name) for name in names})
