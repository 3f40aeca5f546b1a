"""Twelve months of climate for any place on land, without a network: the place's Köppen class and a table by class.

The table gives averages over stations of a class, wherever they lie. Sunlight is worked out for the place's own
latitude from the class's sunshine. Temperature is corrected for height, and for latitude by a part (half, in dry
classes a quarter) of what the zonal mean falls between the mean latitude of the class's stations and the place; the
class itself explains the rest. The coldest and the warmest month are held to what defines the class, since highland
stations brought down to sea level would otherwise make its lowlands too warm. Hence the error word "rough".
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

import numpy as np

from lifecycle.climate.figures import climate_value
from lifecycle.climate.koppen_map import KoppenCell, check_place, koppen_at
from lifecycle.climate.source import ClimateError
from lifecycle.wear import solar
from lifecycle.wear.marks import value
from lifecycle.wear.types import ClimateYear, FloatArray, Place

TABLE = Path(__file__).with_name("class_table.csv")
NAME = "class table"
QUANTITIES = ("t_sea_level_c", "rh_pct", "rain_mm", "rain_days", "sunshine_fraction", "diurnal_range_k")
# Classes with too few stations to average, and the class whose seasons are nearest to theirs.
RELATIVES = {"EF": "ET", "Csc": "Csb", "Cwc": "Cwb", "Dsd": "Dsc", "Dwd": "Dwc"}
__all__ = ["ClassTableSource", "KoppenCell", "check_place", "climate_at", "climate_of_class", "koppen_at"]


@lru_cache(maxsize=1)
def class_latitudes_deg() -> Mapping[str, float]:
    """Mean distance from the equator of the stations of each class, degrees."""
    with TABLE.open(encoding="utf-8", newline="") as lines:
        rows = csv.DictReader(line for line in lines if not line.startswith("#"))
        return {row["koppen_class"]: float(row["mean_abs_lat_deg"]) for row in rows}


@lru_cache(maxsize=1)
def class_table() -> Mapping[str, Mapping[str, FloatArray]]:
    """Twelve months of each quantity by Köppen class; index 0 is January in the north, July in the south."""
    table: dict[str, dict[str, FloatArray]] = {}
    with TABLE.open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(line for line in lines if not line.startswith("#")):
            months = np.array([float(row[f"m{month:02d}"]) for month in range(1, 13)])
            table.setdefault(row["koppen_class"], {})[row["quantity"]] = months
    return table


def climate_of_class(koppen_class: str, place: Place, *, detail: str = "") -> ClimateYear:
    """The table's climate of a class at a place.

    Raises:
        ClimateError: neither the class nor a relative stands in the table.
    """
    used = koppen_class if koppen_class in class_table() else RELATIVES.get(koppen_class, "")
    if not used:
        raise ClimateError(f"Köppen class {koppen_class!r} is not in {TABLE.name}; give a climate file instead.")
    says = [detail or f"Averages over weather stations of Köppen class {used}, WMO normals 1991-2020."]
    if used != koppen_class:
        says.append(f"Class {koppen_class} has too few stations; {used} is its nearest relative.")
    if place.height_m is None:
        says.append("The height is not known and taken as sea level.")
    shift = 0 if place.lat >= 0.0 else 6
    months = {name: np.roll(class_table()[used][name], shift) for name in QUANTITIES}
    air_c, shift_k = _local_temperature_c(koppen_class, used, months["t_sea_level_c"], place)
    if abs(shift_k) >= 0.5:
        says.append(
            f"Temperatures are moved by {shift_k:+.0f} K for the latitude and to what the definition of class "
            f"{koppen_class} asks."
        )
    says.append("Wind is an assumed figure.")
    sunshine = np.clip(months["sunshine_fraction"], 0.0, 1.0)
    ghi = solar.ghi_from_sunshine_kwh_m2_day(
        h0_kwh_m2_day=solar.monthly_h0_kwh_m2_day(place.lat), sunshine_fraction=sunshine
    )
    return ClimateYear(
        place=place,
        ghi_kwh_m2_day=tuple(ghi.tolist()),
        air_c=tuple(air_c.tolist()),
        diurnal_range_k=tuple(months["diurnal_range_k"].tolist()),
        rh_pct=tuple(np.clip(months["rh_pct"], 0.0, 100.0).tolist()),
        rain_mm=tuple(months["rain_mm"].tolist()),
        rain_days=tuple(months["rain_days"].tolist()),
        wind_ms=(value("climate.wind_ms"),) * 12,
        sunshine_fraction=tuple(sunshine.tolist()),
        source=NAME,
        error_word="rough",
        detail=" ".join(says),
        koppen_class=koppen_class,
        period="1991-2020",
        parts=(("wind_ms", "assumed", "unknown"),),
    )


def warmest_month_limits_c(koppen_class: str) -> tuple[float, float]:
    """What the definition of a Köppen class asks of the mean of its warmest month, °C, as (at least, at most)."""
    if koppen_class == "EF":
        return -60.0, 0.0
    if koppen_class == "ET":
        return 0.0, 10.0
    if koppen_class[0] in "CD":
        return (22.0, 40.0) if koppen_class[2] == "a" else (10.0, 22.0)
    return (18.0, 40.0) if koppen_class[0] == "A" else (10.0, 40.0)


def coldest_month_limits_c(koppen_class: str) -> tuple[float, float]:
    """What the definition of a Köppen class asks of the mean of its coldest month, °C, as (at least, at most).

    C above -3 and D at most -3 as Kottek et al. 2006 draw them; both are held with 3 K to spare, since other maps draw
    the line at 0.
    """
    if koppen_class[0] == "A":
        return 18.0, 40.0
    return (-3.0, 18.0) if koppen_class[0] == "C" else (-80.0, 0.0) if koppen_class[0] == "D" else (-80.0, 40.0)


def zonal_temperature_c(lat_deg: float) -> FloatArray:
    """Zonal mean of the sea-level temperature by month, °C, shape (12,), index 0 is the month after midwinter.

    `14.97 - 28.0 P2(x) + 15.5 x cos(season)` with x the sine of the distance from the equator and the season counted
    from midsummer plus a month (North, Cahalan & Coakley 1981, Rev. Geophys. 19, 91; northern hemisphere).
    """
    x = float(np.sin(np.radians(abs(lat_deg))))
    yearly = climate_value("zonal.mean_c") + climate_value("zonal.second_c") * (3.0 * x * x - 1.0) / 2.0
    season = -np.cos(2.0 * np.pi * (np.arange(12) - 0.5) / 12.0)
    return np.asarray(yearly + climate_value("zonal.season_c") * x * season, dtype=float)


def latitude_shift_k(class_used: str, lat_deg: float) -> FloatArray:
    """How much warmer a place is than its class's stations for its latitude, K by month, index 0 in midwinter.

    Judgement: half of what the zonal mean falls between the two; the class itself explains the rest. A quarter in the
    dry classes: under their clear summer skies land is warmer than the zonal mean of land and sea, up to 40 degrees.
    """
    share = climate_value("temperature.latitude_share" + ("_dry" if class_used[0] == "B" else ""))
    fall = zonal_temperature_c(lat_deg) - zonal_temperature_c(class_latitudes_deg()[class_used])
    return np.asarray(share * fall, dtype=float)


def _local_temperature_c(
    koppen_class: str, class_used: str, sea_level_c: FloatArray, place: Place
) -> tuple[FloatArray, float]:
    """Monthly means at the place, and their mean shift in K for its latitude and its class's definition.

    The warmest month has the last word: it defines the class's letter that matters for the wear of a coat.
    """
    cooled = sea_level_c - value("climate.lapse_k_km") * (place.height_m or 0.0) / 1000.0
    local = cooled + np.roll(latitude_shift_k(class_used, place.lat), 0 if place.lat >= 0.0 else 6)
    shift = 0.0
    for month, limits in ((local.min(), coldest_month_limits_c), (local.max(), warmest_month_limits_c)):
        low, high = limits(koppen_class)
        shift = float(np.clip(month + shift, low, high)) - float(month)
    return local + shift, float(np.mean(local + shift - cooled))


@lru_cache(maxsize=4096)
def climate_at(place: Place) -> ClimateYear:
    """Twelve months of climate at a place by its Köppen class; error word "rough".

    Raises:
        ClimateError: latitude or longitude out of range.
    """
    check_place(place)
    cell = koppen_at(place.lat, place.lon)
    detail = ""
    if cell.distance_km > 0.0:
        table_class = RELATIVES.get(cell.koppen_class, cell.koppen_class)
        detail = (
            f"The map shows water here; the nearest land, {cell.distance_km:.0f} km away, is of Köppen class "
            f"{cell.koppen_class}. Averages over weather stations of class {table_class}, WMO normals 1991-2020."
        )
    return climate_of_class(cell.koppen_class, place, detail=detail)


class ClassTableSource:
    """The built-in table as a `ClimateSource`; needs no network and always answers."""

    name = NAME
    online = False

    def climate(self, place: Place) -> ClimateYear:
        """See `climate_at`."""
        return climate_at(place)
