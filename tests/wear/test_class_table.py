"""The embedded climate table: hemispheres, height, relatives. The map itself is tested with the other oracles."""

from __future__ import annotations

import numpy as np
import pytest

from lifecycle.climate.class_table import QUANTITIES, RELATIVES, class_table, climate_of_class
from lifecycle.climate.source import ClimateError
from lifecycle.wear.solar import MONTH_DAYS
from lifecycle.wear.types import Place


def test_every_class_has_twelve_plausible_months() -> None:
    table = class_table()
    assert len(table) == 26
    limits = {
        "t_sea_level_c": (-55, 45), "rh_pct": (10, 100), "rain_mm": (0, 800), "rain_days": (0, 31),
        "sunshine_fraction": (0, 1), "diurnal_range_k": (2, 25),
    }  # fmt: skip
    for name, quantities in table.items():
        assert set(quantities) == set(QUANTITIES), name
        for quantity, months in quantities.items():
            low, high = limits[quantity]
            assert months.shape == (12,)
            assert np.all((months >= low) & (months <= high)), (name, quantity)


@pytest.mark.parametrize("height_m", [None, 0.0, 500.0, 2500.0])
def test_warmest_month_keeps_the_koppen_definition(height_m: float | None) -> None:
    """Köppen-Geiger (Kottek et al. 2006): ET warmest month below 10 °C, EF below 0; second letter a 22 or more, b to d
    less; A no month below 18. Highland classes (Cwb, ET) would break this at low height without the correction."""
    for name in [*class_table(), *RELATIVES]:
        climate = climate_of_class(name, Place(45.0, 10.0, height_m))
        warmest = max(climate.air_c)
        if name == "EF":
            assert warmest <= 0.0
        elif name == "ET":
            assert warmest <= 10.0
        elif name[0] in "CD":
            assert (warmest >= 22.0 - 1e-9) == (name[2] == "a") or warmest == pytest.approx(22.0), name
        elif name[0] == "A":
            assert warmest >= 18.0 - 1e-9
    assert "moved by" in climate_of_class("Cwb", Place(9.0, 38.7)).detail
    assert "moved by" not in climate_of_class("Cfb", Place(46.54, 8.5, 96.0)).detail


@pytest.mark.parametrize(
    ("koppen", "place", "kwh_m2", "within"),
    [
        ("Cfb", Place(49.52, 8.55, 96.0), 1182.9, 0.10),
        ("BWh", Place(33.45, -111.98, 337.0), 2115.1, 0.11),
        ("Am", Place(25.82, -80.30, 3.0), 1792.6, 0.10),
        ("Cfa", Place(36.10, -79.95, 270.0), 1566.2, 0.10),
    ],
)
def test_yearly_irradiation_against_weather_files(koppen: str, place: Place, kwh_m2: float, within: float) -> None:
    """Hourly reference years: Mannheim 1182.9, Phoenix (NSRDB) 2115.1, Miami TMY2 1792.6, Greensboro TMY3 1566.2."""
    climate = climate_of_class(koppen, place)
    assert np.array(climate.ghi_kwh_m2_day) @ MONTH_DAYS == pytest.approx(kwh_m2, rel=within)


def test_south_is_half_a_year_off() -> None:
    north, south = (climate_of_class("Csb", Place(lat, 18.4, 0.0)) for lat in (33.9, -33.9))
    assert south.air_c == north.air_c[6:] + north.air_c[:6]
    assert south.rain_days == north.rain_days[6:] + north.rain_days[:6]
    assert np.argmax(south.ghi_kwh_m2_day) in (0, 11)


def test_height_cools_by_six_kelvin_a_kilometre() -> None:
    """The table was brought to sea level with 6 K per km, so the same is taken off again."""
    low, high = (climate_of_class("BSk", Place(38.0, -2.0, height)) for height in (0.0, 700.0))
    assert np.array(low.air_c) - np.array(high.air_c) == pytest.approx(np.full(12, 4.2))


def test_rough_and_says_what_was_assumed() -> None:
    climate = climate_of_class("Cfb", Place(54.0, -3.0))
    assert climate.error_word == "rough"
    assert climate.koppen_class == "Cfb"
    assert "height is not known" in climate.detail
    assert "Wind is an assumed figure" in climate.detail
    assert hash(climate) == hash(climate_of_class("Cfb", Place(54.0, -3.0)))


@pytest.mark.parametrize(("missing", "relative"), sorted(RELATIVES.items()))
def test_classes_without_stations_take_a_relative_and_say_so(missing: str, relative: str) -> None:
    place = Place(60.0, 10.0, 0.0)
    found = climate_of_class(missing, place)
    near = climate_of_class(relative, place)
    assert (found.rh_pct, found.diurnal_range_k, found.rain_days) == (near.rh_pct, near.diurnal_range_k, near.rain_days)
    assert missing in found.detail
    assert relative in found.detail


def test_unknown_class_is_refused() -> None:
    with pytest.raises(ClimateError, match=r"'Xyz'.*climate file"):
        climate_of_class("Xyz", Place(0.0, 0.0))
