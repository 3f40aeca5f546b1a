"""What is said of a place's climate: wetness, salt, frost, evaporation, and where each figure comes from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lifecycle.climate import derived
from lifecycle.climate.class_table import class_table, latitude_shift_k, zonal_temperature_c
from lifecycle.climate.figures import FIGURES
from lifecycle.climate.gazetteer import cities, find_place
from lifecycle.climate.place_climate import origin, place_climate, worst_word
from lifecycle.climate.print_out import bars, climate_lines
from lifecycle.climate.source import ClimateError
from lifecycle.wear import atmosphere
from lifecycle.wear.marks import load_figures
from lifecycle.wear.types import ClimateYear, Mark, Place
from tests.wear.vehicles import TEMPERATE, climate

YEAR = climate(*TEMPERATE)


@pytest.mark.parametrize(
    ("hours", "name"),
    [(0, "t1"), (10, "t1"), (10.1, "t2"), (250, "t2"), (2500, "t3"), (2501, "t4"), (5500, "t4"), (5501, "t5")],
)
def test_wetness_classes(hours: float, name: str) -> None:
    """ISO 9223:1992: t1 to 10, t2 to 250, t3 to 2500, t4 to 5500 hours a year, t5 above."""
    assert atmosphere.wetness_class(hours) == name


@pytest.mark.parametrize(
    ("file", "hours", "name"),
    [("Miami", 2721, "t4"), ("Phoenix", 267, "t3"), ("Greensboro", 3050, "t4"), ("Sand Point", 2705, "t4")],
)
def test_wetness_classes_of_weather_files(file: str, hours: float, name: str) -> None:
    """Hours of wetness and classes worked independently from hourly files of the four places."""
    assert atmosphere.wetness_class(hours) == name, file


@pytest.mark.parametrize(("km", "mg"), [(0.0, 331.0), (0.4, 50.7), (1.0, 28.5), (10.0, 12.0), (50.0, 1.2)])
def test_chloride_by_distance(km: float, mg: float) -> None:
    """Values worked independently from Sd = 1 + 300 exp(-x/0.15) + 30 exp(-x/10), which is judgement."""
    band = derived.chloride_mg_m2_day(km)
    assert band.p50 == pytest.approx(mg, abs=0.5)
    assert band.p90 / band.p50 == pytest.approx(np.exp(1.2815516 * 0.7), rel=1e-6)
    assert band.p50 / band.p10 == pytest.approx(band.p90 / band.p50)


def test_chloride_ranges_hold_published_depositions() -> None:
    """Norfolk Island: 22.7-36.7 mg/m²d beyond 400 m and 50.9-1022.7 nearer; central Spain 0.55-1.4 mg/m²d."""
    beyond, near, inland = (derived.chloride_mg_m2_day(km) for km in (1.0, 0.05, 200.0))
    assert beyond.p10 < 22.7 < 36.7 < beyond.p90
    assert 50.9 < near.p50 < 1022.7
    assert inland.p10 <= 0.55 < 1.4 <= inland.p90
    with pytest.raises(ValueError, match="0 or more"):
        derived.chloride_mg_m2_day(-0.1)


@pytest.mark.parametrize(
    ("mg", "name"), [(3, "S0"), (3.1, "S1"), (60, "S1"), (300, "S2"), (1500, "S3"), (1501, "over S3")]
)
def test_chloride_classes(mg: float, name: str) -> None:
    """ISO 9223:1992: S0 to 3, S1 to 60, S2 to 300, S3 to 1500 mg/m² and day."""
    assert atmosphere.chloride_class(mg) == name


def test_evaporation_of_an_example() -> None:
    """FAO-56, example 20 (from memory): Lyon, 45.7 N, July, 14.8 to 26.6 °C, about 5.0 mm a day."""
    july = replace(YEAR, place=Place(45.72, 4.8), air_c=(20.7,) * 12, diurnal_range_k=(11.8,) * 12)
    assert derived.evaporation_mm(july)[6] / 31.0 == pytest.approx(5.0, abs=0.15)


@pytest.mark.parametrize(
    ("name", "lat", "words"),
    [("BWh", 25.0, {"hyper-arid", "arid"}), ("Cfb", 50.0, {"humid", "dry sub-humid"}), ("Af", 5.0, {"humid"}),
     ("BSk", 42.0, {"arid", "semi-arid"})],
)  # fmt: skip
def test_aridity_of_classes(name: str, lat: float, words: set[str]) -> None:
    """Köppen's desert, steppe and forest classes fall into the aridity words of the same sense (UNEP 1992)."""
    assert derived.aridity_class(derived.aridity_index(climate(name, Place(lat, 10.0, 100.0)))) in words


def test_frost_and_wetness_follow_cold_and_damp() -> None:
    colder = replace(YEAR, air_c=tuple(month - 3.0 for month in YEAR.air_c))
    damper = replace(YEAR, rh_pct=tuple(min(month + 5.0, 100.0) for month in YEAR.rh_pct))
    assert np.all(derived.frost_days(colder) >= derived.frost_days(YEAR))
    assert derived.frost_days(colder).sum() > derived.frost_days(YEAR).sum() + 5
    assert np.all(derived.wet_hours(damper) > derived.wet_hours(YEAR))
    frozen = replace(YEAR, air_c=(-30.0,) * 12)
    assert derived.wet_hours(frozen).sum() < 1.0
    assert derived.frost_days(frozen) == pytest.approx([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], abs=0.01)


def test_hours_of_the_source_win_over_the_estimate() -> None:
    counted = replace(YEAR, wet_hours=(100.0,) * 12, uv_mj_m2=(9.0,) * 12, frost_days=(2.0,) * 12)
    said = place_climate(counted)
    assert said.quantity("wet_hours").year == 1200.0
    assert said.quantity("uv_mj_m2").year == 108.0
    assert said.wetness_class == "t3"
    assert said.quantity("wet_hours").source == "hours of class table"
    assert "worked out from the months" in place_climate(YEAR).quantity("wet_hours").source


def test_every_quantity_says_where_it_comes_from() -> None:
    said = place_climate(YEAR)
    assert len(said.quantities) == 10
    for quantity in said.quantities:
        assert len(quantity.months) == 12
        assert quantity.source
        assert quantity.error_word in ("close", "fair", "rough", "unknown")
    wind = said.quantity("wind_ms")
    assert (wind.mark, wind.error_word, wind.source) == (Mark.JUDGEMENT, "unknown", "assumed")
    assert said.quantity("air_c").mark is Mark.COMPUTED
    with pytest.raises(KeyError):
        said.quantity("mood")


def test_parts_speak_for_themselves() -> None:
    year = replace(YEAR, source="file a.epw", error_word="close", parts=(("rain", "class table", "rough"),))
    assert origin(year, "rain_days") == ("class table", "rough", Mark.COMPUTED)
    assert origin(year, "air_c") == ("file a.epw", "close", Mark.PUBLISHED)
    said = place_climate(year)
    assert said.aridity_word == "rough"
    assert said.quantity("frost_days").error_word == "fair"  # from months, never better
    assert worst_word(("close", "fair")) == "fair"
    assert worst_word(("close", "no such word")) == "unknown"


def test_sea_given_map_or_unknown() -> None:
    away = replace(YEAR, place=Place(49.5, 8.5, 97.0))
    assert place_climate(away).chloride is None
    by_map = place_climate(away, map_sea_km=400.0)
    assert (by_map.sea_km, by_map.chloride_class) == (400.0, "S0")
    coast = place_climate(away, map_sea_km=3.0)
    assert (coast.sea_km, coast.chloride) == (None, None)
    assert "cannot say how near" in coast.sea_says
    given = place_climate(replace(away, place=Place(49.5, 8.5, 97.0, 300.0)), map_sea_km=400.0)
    assert (given.sea_km, given.sea_says, given.chloride_class) == (0.3, "given", "S2")


def test_salt_season_needs_frost() -> None:
    assert place_climate(climate("Af", Place(3.0, 101.0, 0.0))).salt_months == (False,) * 12
    cold = place_climate(climate("Dfb", Place(59.3, 18.0, 20.0))).salt_months
    assert [month + 1 for month, on in enumerate(cold) if on] == [1, 2, 3, 11, 12]
    south = place_climate(climate("Dfb", Place(-46.0, 170.0, 600.0))).salt_months
    assert south[6]
    assert not south[0]


def test_zonal_temperature() -> None:
    """North, Cahalan & Coakley 1981 (from memory): in the mean of the year 29 °C at the equator, -13 at the pole, the
    mean of the globe where 3 sin² is 1; the season is nothing at the equator and +-15.5 at the pole."""
    assert zonal_temperature_c(0.0) == pytest.approx(28.97)
    assert zonal_temperature_c(90.0).mean() == pytest.approx(-13.03)
    assert zonal_temperature_c(35.264).mean() == pytest.approx(14.97, abs=0.01)
    assert zonal_temperature_c(-35.264) == pytest.approx(zonal_temperature_c(35.264))
    assert np.ptp(zonal_temperature_c(90.0)) == pytest.approx(31.0, rel=0.04)


def test_coast_at_58_north_is_no_longer_as_warm_as_46() -> None:
    """Class Cfb at the south-west coast of Norway: July near 15 °C, January near 1.5 (from memory), not 20.5."""
    coast = climate("Cfb", Place(58.0, 6.0, 10.0))
    assert coast.air_c[6] == pytest.approx(15.5, abs=2.5)
    assert coast.air_c[0] == pytest.approx(1.5, abs=1.5)
    assert latitude_shift_k("Cfb", 46.54) == pytest.approx(np.zeros(12), abs=0.01)
    south = climate("Cfb", Place(-58.0, 6.0, 10.0))
    assert south.air_c == pytest.approx(coast.air_c[6:] + coast.air_c[:6])


def test_no_shift_at_the_mean_latitude_of_a_class() -> None:
    table = class_table()["Cfa"]["t_sea_level_c"]
    assert climate("Cfa", Place(35.69, -80.0, 0.0)).air_c == pytest.approx(table)


def test_figures_carry_their_marks() -> None:
    figures = load_figures(FIGURES)
    assert {figure.mark for figure in figures.values()} <= set(Mark)
    assert figures["temperature.latitude_share"].mark is Mark.JUDGEMENT


@pytest.mark.parametrize(
    ("text", "lat", "lon"),
    [("Berlin", 52.507, 13.146), ("berlin,  germany", 52.507, 13.146), ("58.1, 6.7", 58.1, 6.7),
     ("-33.9 18.4 20", -33.9, 18.4), ("33109", 25.76, -80.14), ("lima", -12.04, -77.03)],
)  # fmt: skip
def test_places_by_name_pin_and_zip(text: str, lat: float, lon: float) -> None:
    place = find_place(text).place
    assert (place.lat, place.lon) == pytest.approx((lat, lon), abs=0.01)
    assert place.height_m == (20.0 if text.endswith("20") else None)


@pytest.mark.parametrize(
    ("text", "says"),
    [("Atlantis", "not among the"), ("", "Give a city"), ("a", "fits"), ("95, 6", "latitude lies in"),
     ("99999", "Zip code")],
)  # fmt: skip
def test_places_that_are_none_say_how_to_go_on(text: str, says: str) -> None:
    with pytest.raises(ClimateError, match=says):
        find_place(text)


def test_wrong_rows_of_the_city_list_are_left_out() -> None:
    titles = [city.title for city in cities()]
    assert titles.count("Lima, Peru") == 1
    assert "Mount Ararat, Turkey" not in titles


def test_print_out_has_every_quantity_and_a_plot() -> None:
    said = "\n".join(climate_lines(place_climate(YEAR, map_sea_km=400.0), title="Here"))
    for word in ("Sunlight", "Ultraviolet", "Wet hours", "Frost days", "Wind", "judgement", "class t4", "chloride"):
        assert word in said
    assert bars((0.0, 1.0, 7.0)) == "▁▂█"
    assert bars((3.0,) * 4) == "▁▁▁▁"


def test_print_out_without_a_sea() -> None:
    year: ClimateYear = replace(YEAR, place=Place(49.5, 8.5))
    said = "\n".join(climate_lines(place_climate(year), title="Here"))
    assert "Sea salt: unknown" in said
    assert "height not known" in said
