"""Climate from a file: hourly EPW or TMY3 weather files, or a CSV of twelve months."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lifecycle.climate.class_table import climate_at, koppen_at
from lifecycle.climate.source import ClimateError
from lifecycle.wear import solar
from lifecycle.wear.marks import value
from lifecycle.wear.types import ClimateYear, FloatArray, Place

if TYPE_CHECKING:
    import pandas as pd

HOURS_A_YEAR = 8760
# Share of hours that may be missing and are filled by interpolation.
MISSING_SHARE = 0.02
# Place further away than this (degrees) from what the file says: the error word falls to "rough".
NEAR_DEGREES = 0.5
_DAYS_BEFORE_MONTH = np.array([0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334])
_PLAUSIBLE = {"ghi": (0.0, 1500.0), "temp_air": (-90.0, 60.0), "relative_humidity": (0.0, 110.0), "wind_speed": (0, 60)}
_UNITS = {"ghi": "W/m²", "temp_air": "°C", "relative_humidity": "%", "wind_speed": "m/s"}
MONTHLY_COLUMNS = (
    "month",
    "ghi_kwh_m2_day",
    "air_c",
    "diurnal_range_k",
    "rh_pct",
    "rain_mm",
    "rain_days",
    "wind_ms",
    "sunshine_fraction",
)
_MONTHLY_RANGE = {
    "ghi_kwh_m2_day": (0.0, 13.0),
    "air_c": (-70.0, 50.0),
    "diurnal_range_k": (0.0, 40.0),
    "rh_pct": (0.0, 100.0),
    "rain_mm": (0.0, 5000.0),
    "rain_days": (0.0, 31.0),
    "wind_ms": (0.0, 30.0),
    "sunshine_fraction": (0.0, 1.0),
}


@dataclass(frozen=True, slots=True, eq=False)
class HourlyYear:
    """8760 hours of a year without leap day, by standard time, each with its mean irradiance.

    `hour` is the middle of the hour, `cloud` the share of the sky; `rain_mm` is None where the file has no rain at all.
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

    def cos_zenith(self) -> FloatArray:
        """Cosine of the sun's zenith angle at the middle of each hour."""
        return solar.cos_zenith_at_clock(
            lat_deg=self.lat,
            lon_deg=self.lon,
            day_of_year=self.day_of_year,
            clock_hour=self.hour,
            utc_offset_h=self.utc_offset_h,
        )


def climate_from_file(path: Path, place: Place) -> ClimateYear:
    """Twelve months of climate from an EPW, TMY3 or twelve-row CSV file.

    EPW files need not be UTF-8. A CSV with the columns of `MONTHLY_COLUMNS` is read as twelve months, any other CSV as
    TMY3. Rain that an hourly file does not have, and its number of days, are taken from the class table.

    Raises:
        ClimateError: no such file, an unknown kind, or figures missing or out of range; the message says which.
    """
    text = _read_text(path)
    if path.suffix.lower() == ".csv":
        lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
        if lines and lines[0].startswith("month,"):
            return _climate_from_months(lines, path.name, place)
    return monthly_from_hourly(_parse_hourly(text, path), place, name=path.name)


def read_hourly(path: Path) -> HourlyYear:
    """An EPW or TMY3 file as hours.

    Raises:
        ClimateError: see `climate_from_file`.
    """
    return _parse_hourly(_read_text(path), path)


def _read_text(path: Path) -> str:
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise ClimateError(f"Climate file {path.name} cannot be read: {error.strerror}. Check the path.") from error
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _parse_hourly(text: str, path: Path) -> HourlyYear:
    from pvlib import iotools

    kind = path.suffix.lower()
    if kind not in (".epw", ".tmy3", ".csv"):
        raise ClimateError(f"Climate file {path.name}: kind {kind!r} is not known; give .epw, .tmy3 or .csv.")
    try:
        if kind == ".epw":
            data, head = iotools.read_epw(io.StringIO(text))
        else:
            data, head = iotools.read_tmy3(io.StringIO(text), map_variables=True)
    except (ValueError, KeyError, IndexError, TypeError) as error:
        raise ClimateError(
            f"Climate file {path.name} is not a whole {'EPW' if kind == '.epw' else 'TMY3'} file ({error}). "
            f"A CSV of twelve months starts with the line {','.join(MONTHLY_COLUMNS)}."
        ) from error
    # Both formats stamp the hour that ends; pvlib moves EPW's to the start of the hour and leaves TMY3's.
    import pandas as pd

    middle = data.index + pd.Timedelta(minutes=30 if kind == ".epw" else -30)
    keep = ~((middle.month == 2) & (middle.day == 29))
    data, middle = data[keep], middle[keep]
    if len(data) != HOURS_A_YEAR:
        raise ClimateError(f"Climate file {path.name} has {len(data)} hours; a whole year of {HOURS_A_YEAR} is needed.")
    return _hourly_year(data, middle, head, path.name)


def _hourly_year(data: pd.DataFrame, middle: pd.DatetimeIndex, head: dict[str, object], name: str) -> HourlyYear:
    columns = {column: _filled(data, column, name) for column in _PLAUSIBLE}
    cover = "total_sky_cover" if "total_sky_cover" in data else "TotCld (tenths)"
    rain = "liquid_precipitation_depth" if "liquid_precipitation_depth" in data else "Lprecip depth (mm)"
    month = np.asarray(middle.month)
    day = _DAYS_BEFORE_MONTH[month - 1] + np.asarray(middle.day)
    return HourlyYear(
        lat=float(str(head["latitude"])),
        lon=float(str(head["longitude"])),
        height_m=float(str(head["altitude"])),
        utc_offset_h=float(str(head["TZ"])),
        month=month.astype(float),
        day_of_year=day.astype(float),
        hour=np.asarray(middle.hour + middle.minute / 60.0, dtype=float),
        ghi_w_m2=columns["ghi"],
        air_c=columns["temp_air"],
        rh_pct=np.minimum(columns["relative_humidity"], 100.0),
        wind_ms=columns["wind_speed"],
        cloud=_cloud(data, cover),
        rain_mm=_rain(data, rain),
    )


def _filled(data: pd.DataFrame, column: str, name: str) -> FloatArray:
    if column not in data:
        raise ClimateError(f"Climate file {name} has no column {column}.")
    low, high = _PLAUSIBLE[column]
    figures = np.asarray(data[column], dtype=float)
    wrong = ~((figures >= low) & (figures <= high))
    if wrong.mean() > MISSING_SHARE:
        raise ClimateError(
            f"Climate file {name}: {column} is missing or outside {low:g} to {high:g} {_UNITS[column]} in "
            f"{int(wrong.sum())} of {figures.size} hours; use a complete file."
        )
    hours = np.arange(figures.size)
    return np.asarray(np.interp(hours, hours[~wrong], figures[~wrong]), dtype=float)


def _cloud(data: pd.DataFrame, column: str) -> FloatArray:
    tenths = np.asarray(data[column], dtype=float) if column in data else np.full(len(data), np.nan)
    known = (tenths >= 0.0) & (tenths <= 10.0)
    # Without an observed cover half a sky is the least wrong guess.
    return np.asarray(np.where(known, tenths, 5.0) / 10.0, dtype=float)


def _rain(data: pd.DataFrame, column: str) -> FloatArray | None:
    if column not in data:
        return None
    depth = np.asarray(data[column], dtype=float)
    depth = np.where((depth >= 0.0) & (depth < 400.0), depth, 0.0)
    return depth if depth.sum() > 0.0 else None


def monthly_from_hourly(hourly: HourlyYear, place: Place, *, name: str) -> ClimateYear:
    """The twelve months of an hourly year. The file's own latitude and longitude hold where it speaks of the sun."""
    at = Place(hourly.lat, hourly.lon, hourly.height_m, place.sea_distance_m)
    numbers = range(1, 13)
    by_day = hourly.air_c.reshape(365, 24)
    day_month = hourly.month.reshape(365, 24)[:, 12]
    ghi = np.array([hourly.ghi_w_m2[hourly.month == m].mean() * 0.024 for m in numbers])
    h0 = solar.monthly_h0_kwh_m2_day(at.lat)
    clearness = np.divide(ghi, h0, out=np.zeros(12), where=h0 > 0.05)
    sunshine = np.clip((clearness - value("solar.angstrom_a")) / value("solar.angstrom_b"), 0.0, 1.0)
    says = [f"Hourly file {name} of {hourly.lat:.2f}, {hourly.lon:.2f}; sunshine is worked out from its irradiation."]
    if hourly.rain_mm is None:
        normals = climate_at(at)
        rain_mm, rain_days = normals.rain_mm, normals.rain_days
        says.append(f"The file has no rain; that of Köppen class {normals.koppen_class} is taken.")
    else:
        daily = hourly.rain_mm.reshape(365, 24).sum(axis=1)
        rain_mm = tuple(float(daily[day_month == m].sum()) for m in numbers)
        rain_days = tuple(float((daily[day_month == m] >= 1.0).sum()) for m in numbers)
    near = max(abs(place.lat - hourly.lat), abs(place.lon - hourly.lon)) <= NEAR_DEGREES
    if not near:
        says.append(f"The vehicle stands at {place.lat:.2f}, {place.lon:.2f}, which is not near.")
    return ClimateYear(
        place=at,
        ghi_kwh_m2_day=tuple(ghi.tolist()),
        air_c=tuple(float(hourly.air_c[hourly.month == m].mean()) for m in numbers),
        diurnal_range_k=tuple(float(np.ptp(by_day[day_month == m], axis=1).mean()) for m in numbers),
        rh_pct=tuple(float(hourly.rh_pct[hourly.month == m].mean()) for m in numbers),
        rain_mm=rain_mm,
        rain_days=rain_days,
        wind_ms=tuple(float(hourly.wind_ms[hourly.month == m].mean()) for m in numbers),
        sunshine_fraction=tuple(sunshine.tolist()),
        source=f"file {name}",
        error_word="close" if near else "rough",
        detail=" ".join(says),
        koppen_class=koppen_at(at.lat, at.lon).koppen_class,
    )


def _climate_from_months(lines: list[str], name: str, place: Place) -> ClimateYear:
    rows = list(csv.DictReader(lines))
    columns = tuple(rows[0]) if rows else ()
    if tuple(columns) != MONTHLY_COLUMNS:
        raise ClimateError(f"Climate file {name}: the first line has to be {','.join(MONTHLY_COLUMNS)}.")
    if [row["month"] for row in rows] != [str(month) for month in range(1, 13)]:
        raise ClimateError(f"Climate file {name}: give twelve rows with month 1 to 12 in order; it has {len(rows)}.")
    months = {column: tuple(_cell(row, column, name) for row in rows) for column in MONTHLY_COLUMNS[1:]}
    return ClimateYear(
        place=place,
        ghi_kwh_m2_day=months["ghi_kwh_m2_day"],
        air_c=months["air_c"],
        diurnal_range_k=months["diurnal_range_k"],
        rh_pct=months["rh_pct"],
        rain_mm=months["rain_mm"],
        rain_days=months["rain_days"],
        wind_ms=months["wind_ms"],
        sunshine_fraction=months["sunshine_fraction"],
        source=f"file {name}",
        error_word="fair",
        detail=f"Twelve months from {name}, taken as they stand.",
        koppen_class=koppen_at(place.lat, place.lon).koppen_class,
    )


def _cell(row: dict[str, str], column: str, name: str) -> float:
    low, high = _MONTHLY_RANGE[column]
    where = f"Climate file {name}, month {row['month']}: {column} is {row[column]!r}"
    try:
        number = float(row[column])
    except (TypeError, ValueError) as error:
        raise ClimateError(f"{where}; write a number from {low:g} to {high:g}.") from error
    if not low <= number <= high:
        raise ClimateError(f"{where}; it has to lie in {low:g} to {high:g}.")
    return number
