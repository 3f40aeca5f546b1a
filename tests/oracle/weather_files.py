"""Open hourly weather files beside the checkout, as climates with hours; a test skips where a file is absent."""

from __future__ import annotations

import gzip
import tempfile
from functools import lru_cache
from pathlib import Path

import pytest

from lifecycle.climate.files import monthly_from_hourly, read_hourly
from lifecycle.wear.types import Place
from lifecycle.wear.weather import HourlyClimate, weather_of, with_hours

WEATHER = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "weather"
FILES = {
    "mannheim": "ladybug_mannheim.epw",
    "phoenix": "AZ-Phoenix_Sky_Harbor_Intl_Ap.tmy3",
    "miami": "FL-Miami_Intl_Ap.tmy3",
    "anchorage": "USA_AK_Anchorage-Merrill.Field.702735_TMY3.epw",
}


@lru_cache(maxsize=8)
def hourly_climate(place: str) -> HourlyClimate:
    """The file's twelve months with its hours."""
    packed = WEATHER / f"{FILES[place]}.gz"
    if not packed.exists():
        pytest.skip(f"open weather file {packed.name} is not beside the checkout (../shared/data/weather)")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / FILES[place]
        file.write_bytes(gzip.decompress(packed.read_bytes()))
        year = read_hourly(file)
    return with_hours(monthly_from_hourly(year, Place(year.lat, year.lon), name=place), weather_of(year))
