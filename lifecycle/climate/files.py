"""Climate from a file: hourly EPW or TMY3 weather files, or a CSV of twelve months."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lifecycle.climate import derived
from lifecycle.climate.class_table import check_place, koppen_at
from lifecycle.climate.hours import HourlyYear, distance_km, monthly_from_hourly, word_for_distance
from lifecycle.climate.source import ClimateError
from lifecycle.wear.marks import value
from lifecycle.wear.types import ClimateYear, FloatArray, Place

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["MONTHLY_COLUMNS", "HourlyYear", "climate_from_file", "monthly_from_hourly", "place_of_file", "read_hourly"]

HOURS_A_YEAR = 8760
SUFFIXES = (".epw", ".tmy3", ".csv")
# Share of hours that may be missing and are filled by interpolation.
MISSING_SHARE = 0.02
_DAYS_BEFORE_MONTH = np.array([0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334])
_PLAUSIBLE = {"ghi": (0.0, 1500.0), "temp_air": (-90.0, 60.0), "relative_humidity": (0.0, 110.0), "wind_speed": (0, 60)}
_UNITS = {"ghi": "W/m²", "temp_air": "°C", "relative_humidity": "%", "wind_speed": "m/s"}
# Depth of rain, and the hours over which it was summed.
_RAIN_COLUMNS = (
    ("liquid_precipitation_depth", "liquid_precipitation_quantity"),
    ("Lprecip depth (mm)", "Lprecip quantity (hr)"),
)
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
# Columns that a file of twelve months may have instead: (column, factor, offset) to the unit above.
OTHER_UNITS = {
    "ghi_mj_m2_day": ("ghi_kwh_m2_day", 1.0 / 3.6, 0.0),
    "ghi_w_m2": ("ghi_kwh_m2_day", 0.024, 0.0),
    "air_k": ("air_c", 1.0, -273.15),
    "air_f": ("air_c", 5.0 / 9.0, -160.0 / 9.0),
    "diurnal_range_f": ("diurnal_range_k", 5.0 / 9.0, 0.0),
    "rain_inch": ("rain_mm", 25.4, 0.0),
    "wind_kmh": ("wind_ms", 1.0 / 3.6, 0.0),
    "wind_knots": ("wind_ms", 1852.0 / 3600.0, 0.0),
    "wind_mph": ("wind_ms", 0.44704, 0.0),
}
# What may be left out: wind is then assumed, sunshine worked out from the irradiation.
_OPTIONAL = ("wind_ms", "sunshine_fraction")
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


def climate_from_file(path: Path, place: Place) -> ClimateYear:
    """Twelve months of climate from an EPW, TMY3 or twelve-row CSV file.

    EPW files need not be UTF-8. A CSV that begins with the column "month" is read as twelve months: the columns of
    `MONTHLY_COLUMNS` in any order, each in the unit that its name ends with (`OTHER_UNITS` may stand instead); wind and
    sunshine may be left out. A line `# place: lat, lon, height` before it says where it holds. Any other CSV is read as
    TMY3. Rain that an hourly file does not have, or that cannot be believed, is taken from the class table.

    Raises:
        ClimateError: no such file, an unknown kind, or figures missing or out of range; the message says which.
    """
    text = _read_text(path)
    if path.suffix.lower() == ".csv":
        lines = _data_lines(text)
        if lines and lines[0].startswith("month,"):
            return _climate_from_months(lines, path.name, place, _place_line(text, path.name))
    return monthly_from_hourly(_parse_hourly(text, path), place, name=f"file {path.name}", source=f"file {path.name}")


def place_of_file(path: Path) -> Place | None:
    """Where a climate file holds, read from its head alone; None where it does not say.

    Raises:
        ClimateError: the file cannot be read, or what it says is not a place.
    """
    text = _read_text(path)
    cells = text.splitlines()[0].split(",") if text.strip() else []
    if path.suffix.lower() == ".epw" and len(cells) >= 10:
        return _place_from(cells[6], cells[7], cells[9], path.name)
    lines = _data_lines(text)
    if path.suffix.lower() == ".csv" and lines and lines[0].startswith("month,"):
        return _place_line(text, path.name)
    return _place_from(cells[4], cells[5], cells[6], path.name) if len(cells) >= 7 else None


def _place_from(lat: str, lon: str, height: str, name: str) -> Place:
    try:
        found = Place(float(lat), float(lon), float(height) if height.strip() else None)
    except ValueError as error:
        raise ClimateError(
            f"Climate file {name}: its place is {lat}, {lon}, {height}; write latitude, longitude and height in m."
        ) from error
    check_place(found)
    return found


def _data_lines(text: str) -> list[str]:
    return [line for line in text.splitlines() if line.strip() and not line.startswith("#")]


def _place_line(text: str, name: str) -> Place | None:
    for line in text.splitlines():
        if line.startswith("#") and line.lstrip("# ").lower().startswith("place:"):
            cells = [*line.split(":", 1)[1].split(","), ""]
            return _place_from(cells[0], cells[1], cells[2] if len(cells) > 2 else "", name)
    return None


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
    if kind not in SUFFIXES:
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
    leap = np.asarray((middle.month == 2) & (middle.day == 29))
    if len(data) == HOURS_A_YEAR:
        # pvlib stamps the hour 24:00 of 28 February in a leap year as 1 March 00:00, as if there were a 29th.
        middle = middle.where(~leap, middle - pd.Timedelta(days=1))
    else:
        data, middle = data[~leap], middle[~leap]
    if len(data) != HOURS_A_YEAR:
        raise ClimateError(f"Climate file {path.name} has {len(data)} hours; a whole year of {HOURS_A_YEAR} is needed.")
    return _hourly_year(data, middle, head, path.name)


def _hourly_year(data: pd.DataFrame, middle: pd.DatetimeIndex, head: dict[str, object], name: str) -> HourlyYear:
    columns = {column: _filled(data, column, name) for column in _PLAUSIBLE}
    cover = "total_sky_cover" if "total_sky_cover" in data else "TotCld (tenths)"
    rain_mm, rain_says = _rain(data)
    month = np.asarray(middle.month)
    day = _DAYS_BEFORE_MONTH[month - 1] + np.asarray(middle.day)
    years = sorted({int(year) for year in data["year"]}) if "year" in data else sorted({*map(int, middle.year)})
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
        rain_mm=rain_mm,
        rain_says=rain_says,
        period=f"months chosen from {years[0]} to {years[-1]}" if years[0] != years[-1] else f"as the year {years[0]}",
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


def _rain(data: pd.DataFrame) -> tuple[FloatArray | None, str]:
    """Hourly rain in mm, or None with the reason. A zero is not trusted: many files write it for "not measured"."""
    pair = next((pair for pair in _RAIN_COLUMNS if pair[0] in data), None)
    if pair is None:
        return None, "The file has no rain"
    depth = np.asarray(data[pair[0]], dtype=float)
    missing = ~((depth >= 0.0) & (depth < 900.0))
    if missing.mean() > MISSING_SHARE:
        return None, f"The file has rain in {int((~missing).sum())} of {depth.size} hours only"
    if not np.any(depth[~missing] > 0.0):
        return None, "The file has no rain in any hour, which no place is without"
    span = np.asarray(data[pair[1]], dtype=float) if pair[1] in data else np.ones(depth.size)
    if np.any(span[(depth > 0.0) & ~missing] > 1.0):
        return None, "The file's rain is summed over several hours that overlap"
    return np.where(missing, 0.0, depth), ""


def _column_of(name: str) -> tuple[str, float, float]:
    return OTHER_UNITS.get(name, (name, 1.0, 0.0))


def _check_columns(columns: tuple[str, ...], name: str) -> None:
    found = [_column_of(column)[0] for column in columns]
    wanted = [column for column in MONTHLY_COLUMNS if column not in found and column not in _OPTIONAL]
    unknown = [column for column in columns if _column_of(column)[0] not in MONTHLY_COLUMNS]
    twice = sorted({column for column in found if found.count(column) > 1})
    if wanted or unknown or twice:
        said = [f"{words} {', '.join(which)}" for words, which in
                (("missing", wanted), ("not known", unknown), ("twice", twice)) if which]  # fmt: skip
        raise ClimateError(
            f"Climate file {name}: {'; '.join(said)}. The first line names the columns with their units, for example "
            f"{','.join(MONTHLY_COLUMNS)}; other units: {', '.join(sorted(OTHER_UNITS))}."
        )


def _climate_from_months(lines: list[str], name: str, place: Place, of: Place | None) -> ClimateYear:
    rows = list(csv.DictReader(lines))
    columns = tuple(lines[0].strip().split(","))
    _check_columns(columns, name)
    if [row["month"] for row in rows] != [str(month) for month in range(1, 13)]:
        raise ClimateError(f"Climate file {name}: give twelve rows with month 1 to 12 in order; it has {len(rows)}.")
    months = {_column_of(column)[0]: tuple(_cell(row, column, name) for row in rows) for column in columns[1:]}
    at = of or place
    says = [f"Twelve months from {name}, taken as they stand."]
    if "wind_ms" not in months:
        months["wind_ms"] = (value("climate.wind_ms"),) * 12
        says.append("Wind is an assumed figure.")
    if "sunshine_fraction" not in months:
        months["sunshine_fraction"] = derived.sunshine_fraction(months["ghi_kwh_m2_day"], lat_deg=at.lat)
        says.append("Sunshine is worked out from the irradiation.")
    km = distance_km(of, place) if of is not None else None
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
        error_word="fair" if km is None else word_for_distance(km),
        detail=" ".join(says),
        koppen_class=koppen_at(at.lat, at.lon).koppen_class,
        distance_km=km,
    )


def _cell(row: dict[str, str], column: str, name: str) -> float:
    known, factor, offset = _column_of(column)
    low, high = _MONTHLY_RANGE[known]
    where = f"Climate file {name}, month {row['month']}: {column} is {row[column]!r}"
    try:
        number = float(row[column])
    except (TypeError, ValueError) as error:
        raise ClimateError(f"{where}; write a number from {low:g} to {high:g}.") from error
    if not low <= number * factor + offset <= high:
        ends = sorted((end - offset) / factor for end in (low, high))
        raise ClimateError(f"{where}; it has to lie in {ends[0]:g} to {ends[1]:g}.")
    return number * factor + offset
