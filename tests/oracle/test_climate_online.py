"""Recorded answers of two open climate services, read by the units that they name themselves."""

from __future__ import annotations

import copy
import gzip
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lifecycle.climate import online
from lifecycle.climate.source import ClimateError
from lifecycle.wear import solar
from lifecycle.wear.types import Place

pytestmark = pytest.mark.oracle

ONLINE = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "online"
FREIBURG, BRAZIL = Place(48.07, 7.92), Place(-21.26, -48.32)


def recorded(name: str) -> dict[str, Any]:
    path = ONLINE / name
    if not path.exists():
        pytest.skip(f"recorded answer {name} is not beside the checkout (../shared/data/online)")
    raw = path.read_bytes()
    answer: dict[str, Any] = json.loads(gzip.decompress(raw) if name.endswith(".gz") else raw)
    return answer


@pytest.fixture
def power_sun() -> dict[str, Any]:
    return recorded("nasa_power_climatology_48.07N_7.92E.json")


@pytest.fixture
def power_rain() -> dict[str, Any]:
    return recorded("nasa_power_climatology_21.26S_48.32W.json")


@pytest.fixture(scope="module")
def pvgis() -> dict[str, Any]:
    return recorded("tmy_45.000_8.000_2005_2023.json.gz")


def test_power_sunlight(power_sun) -> None:
    """The answer's own yearly mean is 3.32 kWh/m² a day; what it lacks comes from the class table and says so."""
    year = online.year_from_power(power_sun, FREIBURG)
    weights = solar.MONTH_DAYS / solar.MONTH_DAYS.sum()
    assert np.array(year.ghi_kwh_m2_day) @ weights == pytest.approx(3.32, abs=0.02)
    assert (year.source, year.period, year.koppen_class) == ("NASA POWER", "2001-2020", "Cfb")
    assert ("air_c", "class table", "rough") in year.parts
    assert not any(name == "ghi_kwh_m2_day" for name, _, _ in year.parts)
    assert year.error_word == "rough"  # no temperature in it
    assert 0.0 <= min(year.sunshine_fraction) < max(year.sunshine_fraction) < 0.7


@pytest.mark.parametrize(("unit", "factor"), [("MJ/m^2/day", 3.6), ("W/m^2", 1000.0 / 24.0), ("kWh/m^2/day", 1.0)])
def test_power_sunlight_by_its_own_unit(unit: str, factor: float, power_sun) -> None:
    """The same answer in another unit, figures turned accordingly, gives the same months."""
    other = copy.deepcopy(power_sun)
    other["parameters"]["ALLSKY_SFC_SW_DWN"]["units"] = unit
    months = other["properties"]["parameter"]["ALLSKY_SFC_SW_DWN"]
    for name in months:
        months[name] *= factor
    plain, turned = (online.year_from_power(answer, FREIBURG) for answer in (power_sun, other))
    assert turned.ghi_kwh_m2_day == pytest.approx(plain.ghi_kwh_m2_day)


def test_power_unit_alone_changes_the_figures(power_sun) -> None:
    """Only the unit field is changed: the months shrink by 3.6, so the unit is read and not assumed."""
    other = copy.deepcopy(power_sun)
    other["parameters"]["ALLSKY_SFC_SW_DWN"]["units"] = "MJ/m^2/day"
    plain, turned = (online.year_from_power(answer, FREIBURG) for answer in (power_sun, other))
    assert np.array(turned.ghi_kwh_m2_day) * 3.6 == pytest.approx(np.array(plain.ghi_kwh_m2_day))
    other["parameters"]["ALLSKY_SFC_SW_DWN"]["units"] = "Langley"
    with pytest.raises(ClimateError, match="'Langley', which is not known"):
        online.year_from_power(other, FREIBURG)


def test_power_temperature_in_kelvin(power_rain) -> None:
    other = copy.deepcopy(power_rain)
    other["parameters"]["T2M"]["units"] = "K"
    months = other["properties"]["parameter"]["T2M"]
    for name in months:
        months[name] += 273.15
    plain, turned = (online.year_from_power(answer, BRAZIL) for answer in (power_rain, other))
    assert turned.air_c == pytest.approx(plain.air_c)
    assert plain.air_c[0] == 24.15
    other["parameters"]["T2M"]["units"] = "C"
    with pytest.raises(ClimateError, match="T2M in C is missing or outside"):
        online.year_from_power(other, BRAZIL)


def test_power_rain_sum_is_over_twenty_years(power_rain) -> None:
    """PRECTOTCORR_SUM of the answer is 23487.89 mm: 1174 a year (São Paulo state has 1100-1500, from memory)."""
    year = online.year_from_power(power_rain, BRAZIL)
    assert sum(year.rain_mm) == pytest.approx(23487.89 / 20.0, rel=1e-3)
    assert year.rain_mm[0] == pytest.approx(4877.93 / 20.0)
    assert year.rain_mm[0] > year.rain_mm[6]  # wet summer of the south


def test_power_rain_by_the_day_goes_before_the_sum(power_rain) -> None:
    other = copy.deepcopy(power_rain)
    other["properties"]["parameter"]["PRECTOTCORR"] = dict.fromkeys(online.MONTHS, 4.0)
    other["parameters"]["PRECTOTCORR"] = {"units": "mm/day"}
    assert online.year_from_power(other, BRAZIL).rain_mm[0] == pytest.approx(124.0)
    other["parameters"]["PRECTOTCORR"]["units"] = "mm/hr"
    # 96 mm a day cannot be.
    with pytest.raises(ClimateError, match="PRECTOTCORR in mm/hr"):
        online.year_from_power(other, BRAZIL)


def test_power_rain_without_its_years_is_not_taken(power_rain) -> None:
    other = copy.deepcopy(power_rain)
    other["header"]["range"] = "a climatology"
    assert ("rain_mm", "class table", "rough") in online.year_from_power(other, BRAZIL).parts


def test_power_temperature_is_brought_to_the_height_of_the_place(power_rain) -> None:
    """The grid cell lies at 612 m: a place at 112 m is 3 K warmer (6 K per km)."""
    low = online.year_from_power(power_rain, Place(-21.26, -48.32, 111.97))
    assert np.array(low.air_c) - np.array(online.year_from_power(power_rain, BRAZIL).air_c) == pytest.approx(3.0)
    assert "from 612 m to 112 m" in low.detail


def test_power_fill_value_is_missing(power_rain) -> None:
    other = copy.deepcopy(power_rain)
    other["properties"]["parameter"]["T2M"]["MAY"] = -999.0
    with pytest.raises(ClimateError, match="neither irradiation nor temperature"):
        online.year_from_power(other, BRAZIL)


@pytest.mark.parametrize("broken", [{}, {"properties": {"parameter": {}}}, {"properties": 3}])
def test_power_answer_that_is_none(broken: dict[str, Any]) -> None:
    with pytest.raises(ClimateError, match="has no field"):
        online.year_from_power(broken, FREIBURG)


def test_pvgis_typical_year(pvgis) -> None:
    """45 N 8 E, Piedmont: 1300-1600 kWh/m² (from memory) and a summer more than 18 K above the winter."""
    year = online.year_from_pvgis(pvgis, Place(45.0, 8.0))
    assert 1300.0 < np.array(year.ghi_kwh_m2_day) @ solar.MONTH_DAYS < 1600.0
    assert max(year.air_c) - min(year.air_c) > 18.0
    assert (year.source, year.error_word, year.period) == ("PVGIS TMY", "fair", "months chosen from 2005 to 2023")
    assert ("rain", "class table", "rough") in year.parts
    assert year.place.height_m == 250.0
    assert 3000 < sum(year.wet_hours) < 5000


def test_pvgis_hours_are_local(pvgis) -> None:
    """Noon by the sun lies at 12:28 of the zone at 8 E on average; the brightest hour is one of 12 and 13."""
    hours = online.hours_from_pvgis(pvgis)
    assert hours.utc_offset_h == 1.0
    by_hour = hours.ghi_w_m2.reshape(365, 24).mean(axis=0)
    assert int(np.argmax(by_hour)) in (12, 13)
    dark = hours.cos_zenith() < -0.1
    assert hours.ghi_w_m2[dark].max() == 0.0


@pytest.mark.parametrize(
    ("code", "unit", "factor", "offset"),
    [("T2m", "K", 1.0, 273.15), ("G(h)", "kW/m2", 0.001, 0.0), ("WS10m", "km/h", 3.6, 0.0)],
)
def test_pvgis_by_its_own_units(code: str, unit: str, factor: float, offset: float, pvgis) -> None:
    other = copy.deepcopy(pvgis)
    other["meta"]["outputs"]["tmy_hourly"]["variables"][code]["units"] = unit
    for row in other["outputs"]["tmy_hourly"]:
        row[code] = row[code] * factor + offset
    plain, turned = (online.year_from_pvgis(answer, Place(45.0, 8.0)) for answer in (pvgis, other))
    for name in ("ghi_kwh_m2_day", "air_c", "wind_ms", "wet_hours"):
        assert getattr(turned, name) == pytest.approx(getattr(plain, name))


def test_pvgis_cut_short_is_refused(pvgis) -> None:
    other = {**pvgis, "outputs": {**pvgis["outputs"], "tmy_hourly": pvgis["outputs"]["tmy_hourly"][:100]}}
    with pytest.raises(ClimateError, match="has not 8760 hours"):
        online.year_from_pvgis(other, Place(45.0, 8.0))
    hole = copy.deepcopy(pvgis)
    hole["outputs"]["tmy_hourly"][7]["RH"] = None
    with pytest.raises(ClimateError, match="RH is not a list of numbers"):
        online.year_from_pvgis(hole, Place(45.0, 8.0))
