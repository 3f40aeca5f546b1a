"""Open hourly weather files beside the checkout, each unpacked and parsed once; a test skips where a file is absent."""

from __future__ import annotations

import atexit
import gzip
import shutil
import tempfile
from functools import cache
from pathlib import Path

import pytest

from lifecycle.climate.files import HourlyYear, monthly_from_hourly, read_hourly
from lifecycle.wear.types import Place
from lifecycle.wear.weather import HourlyClimate, weather_of, with_hours

WEATHER = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "weather"
FILES = {
    "mannheim": "ladybug_mannheim.epw",
    "phoenix": "AZ-Phoenix_Sky_Harbor_Intl_Ap.tmy3",
    "miami": "FL-Miami_Intl_Ap.tmy3",
    "anchorage": "USA_AK_Anchorage-Merrill.Field.702735_TMY3.epw",
    "pittsburgh": "USA_PA_Pittsburgh-Allegheny.County.AP.725205_TMY3.epw",
}


@cache
def _folder() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="weather-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


@cache
def unpacked(place: str) -> Path:
    """Path of an unpacked weather file, or of one that the pvlib wheel brings."""
    import pvlib

    if place not in FILES:
        return Path(pvlib.__file__).with_name("data") / place
    packed = WEATHER / f"{FILES[place]}.gz"
    if not packed.exists():
        pytest.skip(f"open weather file {packed.name} is not beside the checkout (../shared/data/weather)")
    target = _folder() / FILES[place]
    target.write_bytes(gzip.decompress(packed.read_bytes()))
    return target


@cache
def hours_of(place: str) -> HourlyYear:
    """The hours of a weather file."""
    return read_hourly(unpacked(place))


@cache
def hourly_climate(place: str) -> HourlyClimate:
    """The file's twelve months with its hours."""
    year = hours_of(place)
    return with_hours(monthly_from_hourly(year, Place(year.lat, year.lon), name=place), weather_of(year))
