"""Which climate sources are in use, in the order of their worth, and how each is asked.

SHEENWARD_CLIMATE_SOURCES names them, for example "files,pvgis,power,table". The default is "table": nothing leaves the
machine. The table itself is always there as the last.

| name | what | needs |
|---|---|---|
| files | weather files (EPW, TMY3, twelve-row CSV) in a folder, the nearest within 150 km | SHEENWARD_CLIMATE_FOLDER |
| pvgis | PVGIS typical year: hours; Europe, Africa, most of Asia and the Americas | network |
| power | NASA POWER climatology: twelve months, everywhere | network |
| table | the built-in table by climate class | nothing |
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from lifecycle.climate import online, web
from lifecycle.climate.class_table import NAME as TABLE_NAME
from lifecycle.climate.class_table import ClassTableSource
from lifecycle.climate.files import SUFFIXES, climate_from_file, place_of_file
from lifecycle.climate.hours import FAIR_KM, distance_km
from lifecycle.climate.source import ClimateError, ClimateSource
from lifecycle.wear.types import ClimateYear, Place

POWER_ADDRESS = "https://power.larc.nasa.gov/api/temporal/climatology/point"
PVGIS_ADDRESS = "https://re.jrc.ec.europa.eu/api/v5_3/tmy"
ORDER = ("files", "pvgis", "power", "table")
ERROR_WORDS = ("close", "fair", "rough", "unknown")


Fetch = Callable[[str, dict[str, str]], dict[str, Any]]


class FileSource:
    """The nearest weather file of a folder, within 150 km."""

    name = "weather file"
    online = False

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def climate(self, place: Place) -> ClimateYear:
        """See `lifecycle.climate.files.climate_from_file`.

        Raises:
            ClimateError: no file that says a place within reach, or the nearest one cannot be read.
        """
        near: list[tuple[float, Path]] = []
        for path in sorted(self.folder.glob("*")) if self.folder.is_dir() else ():
            if path.suffix.lower() in SUFFIXES and (at := place_of_file(path)) is not None:
                near.append((distance_km(place, at), path))
        if not near or min(near)[0] > FAIR_KM:
            raise ClimateError(f"No weather file in {self.folder.name}/ speaks of a place within {FAIR_KM:.0f} km.")
        return climate_from_file(min(near)[1], place)


class PowerSource:
    """NASA POWER climatology over HTTP."""

    name = online.POWER
    online = True

    def __init__(self, address: str = POWER_ADDRESS, fetch: Fetch = web.get_json) -> None:
        self.address, self.fetch = address, fetch

    def climate(self, place: Place) -> ClimateYear:
        """See `lifecycle.climate.online.year_from_power`.

        Raises:
            ClimateError: no answer, or one that is not understood.
        """
        query = {
            "parameters": "ALLSKY_SFC_SW_DWN,T2M,RH2M,WS10M,PRECTOTCORR", "community": "RE", "format": "JSON",
            "latitude": f"{place.lat:.2f}", "longitude": f"{place.lon:.2f}",
        }  # fmt: skip
        return online.year_from_power(self.fetch(self.address, query), place)


class PvgisSource:
    """PVGIS typical meteorological year over HTTP."""

    name = online.PVGIS
    online = True

    def __init__(self, address: str = PVGIS_ADDRESS, fetch: Fetch = web.get_json) -> None:
        self.address, self.fetch = address, fetch

    def climate(self, place: Place) -> ClimateYear:
        """See `lifecycle.climate.online.year_from_pvgis`.

        Raises:
            ClimateError: no answer (the service covers no seas and not every country), or one not understood.
        """
        query = {"lat": f"{place.lat:.3f}", "lon": f"{place.lon:.3f}", "outputformat": "json"}
        return online.year_from_pvgis(self.fetch(self.address, query), place)


def enabled(env: Mapping[str, str] = os.environ) -> tuple[ClimateSource, ...]:
    """The sources in use, best first; the class table is always the last.

    Raises:
        ClimateError: a name that is not known.
    """
    named = [name.strip() for name in env.get("SHEENWARD_CLIMATE_SOURCES", "table").split(",") if name.strip()]
    unknown = [name for name in named if name not in ORDER]
    if unknown:
        raise ClimateError(
            f"SHEENWARD_CLIMATE_SOURCES names {', '.join(unknown)}; write names of {', '.join(ORDER)} with commas."
        )
    made: dict[str, Callable[[], ClimateSource]] = {
        "files": lambda: FileSource(Path(env.get("SHEENWARD_CLIMATE_FOLDER", "var/climate"))),
        "pvgis": lambda: PvgisSource(env.get("SHEENWARD_PVGIS_ADDRESS", PVGIS_ADDRESS)),
        "power": lambda: PowerSource(env.get("SHEENWARD_POWER_ADDRESS", POWER_ADDRESS)),
        "table": ClassTableSource,
    }
    return tuple(made[name]() for name in ORDER if name in named or name == "table")


def rank_of(year: ClimateYear) -> int:
    """Which of several answers for a place is used: the better error word first, then the order of sources."""
    word = ERROR_WORDS.index(year.error_word) if year.error_word in ERROR_WORDS else len(ERROR_WORDS)
    names = (online.PVGIS, online.POWER, TABLE_NAME)
    return 10 * word + (names.index(year.source) + 1 if year.source in names else 0)
