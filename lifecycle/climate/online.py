"""Answers of two open climate services, read by the unit fields that they bring: NASA POWER and PVGIS TMY."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from lifecycle.climate import derived
from lifecycle.climate.class_table import climate_at
from lifecycle.climate.figures import climate_value
from lifecycle.climate.hours import HourlyYear, distance_km, monthly_from_hourly
from lifecycle.climate.source import ClimateError
from lifecycle.wear import solar
from lifecycle.wear.marks import value
from lifecycle.wear.types import ClimateYear, FloatArray, Place

POWER, PVGIS = "NASA POWER", "PVGIS TMY"
MONTHS = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")
# Unit as the service writes it (lower case, without spaces) -> (factor, offset) to ours.
UNITS: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "ghi_kwh_m2_day": {
        "kw-hr/m^2/day": (1.0, 0.0), "kwh/m^2/day": (1.0, 0.0), "kwh/m2/day": (1.0, 0.0),
        "mj/m^2/day": (1.0 / 3.6, 0.0), "mj/m2/day": (1.0 / 3.6, 0.0), "w/m^2": (0.024, 0.0), "w/m2": (0.024, 0.0),
    },
    "air_c": {
        "c": (1.0, 0.0), "degreecelsius": (1.0, 0.0), "k": (1.0, -273.15), "kelvin": (1.0, -273.15),
        "f": (5.0 / 9.0, -160.0 / 9.0),
    },
    "rh_pct": {"%": (1.0, 0.0), "1": (100.0, 0.0), "fraction": (100.0, 0.0)},
    "wind_ms": {"m/s": (1.0, 0.0), "km/h": (1.0 / 3.6, 0.0)},
    "rain_mm_day": {"mm/day": (1.0, 0.0), "mmday-1": (1.0, 0.0), "mm/hr": (24.0, 0.0), "kg/m^2/s": (86_400.0, 0.0)},
    "rain_mm": {"mm": (1.0, 0.0), "cm": (10.0, 0.0), "in": (25.4, 0.0)},
    "ghi_w_m2": {"w/m2": (1.0, 0.0), "w/m^2": (1.0, 0.0), "kw/m2": (1000.0, 0.0)},
}  # fmt: skip
_PLAUSIBLE = {
    "ghi_kwh_m2_day": (0.0, 13.0), "air_c": (-75.0, 50.0), "rh_pct": (0.0, 105.0), "wind_ms": (0.0, 40.0),
    "rain_mm_day": (0.0, 80.0), "rain_mm": (0.0, 100_000.0), "ghi_w_m2": (-10.0, 1500.0),
}  # fmt: skip
POWER_PARAMETERS = {
    "ALLSKY_SFC_SW_DWN": "ghi_kwh_m2_day", "T2M": "air_c", "RH2M": "rh_pct", "WS10M": "wind_ms",
    "PRECTOTCORR": "rain_mm_day", "PRECTOTCORR_SUM": "rain_mm",
}  # fmt: skip
PVGIS_COLUMNS = {"G(h)": "ghi_w_m2", "T2m": "air_c", "RH": "rh_pct", "WS10m": "wind_ms"}
TITLES = {
    "ghi_kwh_m2_day": "sunlight",
    "air_c": "temperature",
    "diurnal_range_k": "daily range",
    "rh_pct": "humidity",
    "rain_mm": "rain",
    "rain_days": "rain days",
    "wind_ms": "wind",
    "sunshine_fraction": "sunshine",
}
_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_SPAN = re.compile(r"(?:19|20)\d\d")


def convert(figures: FloatArray, *, quantity: str, unit: str, of: str) -> FloatArray:
    """Figures in our unit, by the unit that the answer itself names.

    Raises:
        ClimateError: a unit that is not known, or figures outside what can be; the message names the answer's field.
    """
    known = UNITS[quantity]
    name = re.sub(r"\s", "", unit).lower()
    if name not in known:
        raise ClimateError(f"{of} comes in the unit {unit!r}, which is not known; known are {', '.join(known)}.")
    factor, offset = known[name]
    low, high = _PLAUSIBLE[quantity]
    ours = figures * factor + offset
    if not np.all((ours >= low) & (ours <= high)):
        raise ClimateError(f"{of} in {unit} is missing or outside what can be ({low:g} to {high:g}, converted).")
    return np.asarray(ours, dtype=float)


def _field(answer: Any, path: str, source: str) -> Any:
    for name in path.split("."):
        if not isinstance(answer, Mapping) or name not in answer:
            raise ClimateError(f"The answer of {source} has no field {path}; the service may have changed.")
        answer = answer[name]
    return answer


def _numbers(cells: list[Any], of: str) -> FloatArray:
    try:
        return np.array([float(cell) for cell in cells])
    except (TypeError, ValueError) as error:
        raise ClimateError(f"{of} is not a list of numbers.") from error


def years_of(span: str) -> tuple[int, int] | None:
    """First and last year named in a sentence, or None."""
    found = [int(year) for year in _SPAN.findall(span)]
    return (found[0], found[-1]) if len(found) >= 2 and found[0] <= found[-1] else None


def _power_months(answer: Mapping[str, Any]) -> dict[str, FloatArray]:
    """The quantities that the answer holds whole, by our names, in our units."""
    given = _field(answer, "properties.parameter", POWER)
    fill = float(_field(answer, "header.fill_value", POWER))
    found = {}
    for code, quantity in POWER_PARAMETERS.items():
        if code not in given:
            continue
        of = f"{POWER}: {code}"
        cells = _numbers([_field(given[code], month, of) for month in MONTHS], of)
        if np.any(cells == fill):
            continue
        unit = str(_field(answer, f"parameters.{code}.units", of))
        found[quantity] = convert(cells, quantity=quantity, unit=unit, of=of)
    return found


def _power_rain(found: dict[str, FloatArray], span: tuple[int, int] | None, normals: ClimateYear) -> FloatArray | None:
    """Rain in mm a month. `PRECTOTCORR_SUM` is a sum over all the years of the climatology, not of one."""
    if "rain_mm_day" in found:
        rain = found["rain_mm_day"] * solar.MONTH_DAYS
    elif "rain_mm" in found and span is not None:
        rain = found["rain_mm"] / (span[1] - span[0] + 1)
    else:
        return None
    usual, trust = max(sum(normals.rain_mm), 1.0), climate_value("rain.trust_factor")
    return rain if usual / trust <= rain.sum() <= usual * trust else None


def year_from_power(answer: Mapping[str, Any], place: Place) -> ClimateYear:
    """Twelve months from an answer of the POWER climatology; what it does not hold comes from the class table.

    Temperature is brought from the height of the grid cell to the place's, where that is known.

    Raises:
        ClimateError: fields or units that are not known, or neither irradiation nor temperature in it.
    """
    cell = _numbers(list(_field(answer, "geometry.coordinates", POWER)), f"{POWER}: coordinates")
    at = Place(float(cell[1]), float(cell[0]), float(cell[2]) if cell.size > 2 else None)
    normals = climate_at(place)
    found = _power_months(answer)
    span = years_of(str(_field(answer, "header.range", POWER)))
    rain = _power_rain(found, span, normals)
    if rain is not None:
        found["rain_mm"] = rain
    else:
        found.pop("rain_mm", None)
    if "ghi_kwh_m2_day" not in found and "air_c" not in found:
        raise ClimateError(f"The answer of {POWER} holds neither irradiation nor temperature for this place.")
    says = [f"Satellite and reanalysis means of the grid cell at {at.lat:.2f}, {at.lon:.2f}."]
    if "air_c" in found and place.height_m is not None and at.height_m is not None:
        rise_km = (place.height_m - at.height_m) / 1000.0
        found["air_c"] = found["air_c"] - value("climate.lapse_k_km") * rise_km
        if abs(rise_km) >= 0.05:
            says.append(f"Temperature is brought from {at.height_m:.0f} m to {place.height_m:.0f} m.")
    if "ghi_kwh_m2_day" in found:
        found["sunshine_fraction"] = np.array(derived.sunshine_fraction(found["ghi_kwh_m2_day"], lat_deg=place.lat))
    missing = [name for name in TITLES if name not in found]
    said_missing = ", ".join(TITLES[name] for name in missing)
    says.append(f"Not in its answer and taken from the class table: {said_missing}.")
    months = {name: tuple(found[name].tolist()) if name in found else getattr(normals, name) for name in TITLES}
    assumed = {name: (said, word) for name, said, word in normals.parts}
    # The word of the whole is that of its weakest main quantity: it widens the band of the forecast.
    whole = all(name in found for name in ("ghi_kwh_m2_day", "air_c", "rh_pct"))
    return ClimateYear(
        place=place, **months, source=POWER, error_word="fair" if whole else "rough", detail=" ".join(says),
        koppen_class=normals.koppen_class, period=f"{span[0]}-{span[1]}" if span else "",
        distance_km=distance_km(place, at),
        parts=tuple((name, *assumed.get(name, (normals.source, normals.error_word))) for name in missing),
    )  # fmt: skip


def _pvgis_columns(answer: Mapping[str, Any]) -> dict[str, FloatArray]:
    rows = _field(answer, "outputs.tmy_hourly", PVGIS)
    if not isinstance(rows, list) or len(rows) != 8760:
        raise ClimateError(f"The answer of {PVGIS} has not 8760 hours; ask for a whole typical year.")
    units = _field(answer, "meta.outputs.tmy_hourly.variables", PVGIS)
    found = {}
    for code, quantity in PVGIS_COLUMNS.items():
        of = f"{PVGIS}: {code}"
        cells = _numbers([row.get(code) if isinstance(row, Mapping) else None for row in rows], of)
        found[quantity] = convert(cells, quantity=quantity, unit=str(_field(units, f"{code}.units", of)), of=of)
    return found


def hours_from_pvgis(answer: Mapping[str, Any]) -> HourlyYear:
    """The 8760 hours of a PVGIS typical year, moved from UTC to the place's own standard hours.

    Raises:
        ClimateError: fields, units or hours that are not as they should be.
    """
    where = _field(answer, "inputs.location", PVGIS)
    lat, lon, height, late = _numbers(
        [_field(where, name, PVGIS) for name in ("latitude", "longitude", "elevation", "irradiance_time_offset")],
        f"{PVGIS}: location",
    )
    found = _pvgis_columns(answer)
    months = [int(str(row["time(UTC)"])[4:6]) for row in answer["outputs"]["tmy_hourly"]]
    if any(months.count(month) != 24 * days for month, days in zip(range(1, 13), _DAYS, strict=True)):
        raise ClimateError(f"{PVGIS}: the hours do not make up twelve whole months.")
    offset = int(np.round(lon / 15.0))
    hours = np.arange(8760)
    day = hours // 24
    rolled = {name: np.roll(figures, offset) for name, figures in found.items()}
    weather = _field(answer, "inputs.meteo_data", PVGIS)
    return HourlyYear(
        lat=float(lat), lon=float(lon), height_m=float(height), utc_offset_h=float(offset),
        month=np.repeat(np.arange(1, 13), np.array(_DAYS) * 24).astype(float), day_of_year=(day + 1).astype(float),
        # The irradiance is of one moment in the hour, not its mean.
        hour=(hours % 24 + float(late)).astype(float),
        ghi_w_m2=np.maximum(rolled["ghi_w_m2"], 0.0), air_c=rolled["air_c"], rh_pct=np.minimum(rolled["rh_pct"], 100.0),
        wind_ms=rolled["wind_ms"], cloud=np.full(8760, 0.5), rain_mm=None, rain_says=f"{PVGIS} has no rain",
        period=f"months chosen from {weather.get('year_min', '?')} to {weather.get('year_max', '?')}",
    )  # fmt: skip


def year_from_pvgis(answer: Mapping[str, Any], place: Place) -> ClimateYear:
    """Twelve months from a PVGIS typical year; rain comes from the class table. See `hours_from_pvgis`."""
    year = monthly_from_hourly(hours_from_pvgis(answer), place, name="typical year", source=PVGIS)
    # Satellite sunlight and gridded weather: better than a far file, not as good as a near one.
    return replace(year, error_word="fair" if year.error_word == "close" else year.error_word)
