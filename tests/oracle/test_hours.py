"""Exposure from the hours of open weather files: the reference duty, computed figures, wetness and dew."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from pydantic import TypeAdapter

from lifecycle.wear import atmosphere, days, panel, solar
from lifecycle.wear.assessment import assess
from lifecycle.wear.chemistry import chemistry
from lifecycle.wear.dew import dew_yield_mm_h, has_dew
from lifecycle.wear.exposure import reference_doses
from lifecycle.wear.figures import wear_value
from lifecycle.wear.marks import value
from lifecycle.wear.types import ClimateYear, FloatArray, VehicleForecast
from tests.oracle.weather_files import hourly_climate, hours_of
from tests.wear.vehicles import layer, surface, vehicle

pytestmark = pytest.mark.oracle

DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def yearly(year: ClimateYear, orientation: str = "flat", parking: str = "street") -> FloatArray:
    return np.asarray(days.monthly_doses(year, orientation=orientation, parking=parking) @ DAYS)


def test_the_hours_of_the_reference_place_are_the_reference() -> None:
    """By definition of the reference duty: the flat mid-coloured panel in the open at Mannheim."""
    assert yearly(hourly_climate("mannheim")) == pytest.approx(reference_doses(), rel=2e-4)


def test_computed_figures_of_driven_surfaces() -> None:
    """`home.heat_*` and `home.air_*` as computed from the Mannheim file, `reference.rain_days` from its class."""
    year = hourly_climate("mannheim")
    assert yearly(year, "wheel", "mixed")[2] == pytest.approx(wear_value("home.heat_brakes"), rel=2e-3)
    assert yearly(year, "inside", "mixed")[2] == pytest.approx(wear_value("home.heat_engine"), rel=2e-3)
    mean, spread = np.mean(year.air_c), np.std(year.air_c)
    found = [wear_value("home.air_winter"), wear_value("home.air_summer")]
    assert found == pytest.approx([mean - spread, mean + spread], abs=0.06)
    assert sum(year.rain_days) == pytest.approx(value("reference.rain_days"), rel=0.01)
    two_seasons = np.mean([np.exp(-60 / 8.314462618e-3 * (1 / (air + 313.15) - 1 / 298.15)) for air in found])
    all_months = np.mean([np.exp(-60 / 8.314462618e-3 * (1 / (air + 313.15) - 1 / 298.15)) for air in year.air_c])
    assert two_seasons == pytest.approx(all_months, rel=0.01)


@pytest.mark.parametrize("kind", ["ceramic_mid", "sealant", "film_body"])
def test_the_reference_car_has_the_median_life_from_hours(kind: str) -> None:
    """Life tables speak of the reference duty: from the hours themselves the median life comes out within 3 %."""
    year = hourly_climate("mannheim")
    car = vehicle(surface(layer(kind, date(2025, 1, 1))), as_of=date(2025, 1, 1), place=year.place)
    forecast = assess(car, lambda place: year)
    life = forecast.surfaces[0].layers[0].renewal_months
    assert life is not None
    # A short-lived layer that starts in January meets winter only.
    assert life.p50 == pytest.approx(chemistry(kind).months.middle, rel=0.03 if kind != "sealant" else 0.10)


def test_hours_are_never_stored_with_a_forecast() -> None:
    year = hourly_climate("mannheim")
    car = vehicle(surface(layer("ceramic_mid", date(2025, 1, 1))), place=year.place)
    codec = TypeAdapter(VehicleForecast)
    plain = codec.dump_python(assess(car, lambda place: year), mode="json")
    assert "hours" not in plain["climate"]
    assert codec.validate_python(plain).climate.air_c == year.air_c


@pytest.mark.parametrize("place", ["mannheim", "phoenix", "miami", "anchorage"])
def test_typical_days_against_hours_for_every_orientation(place: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What is lost without hours: typical days over hours by orientation, within 12 % for sunlight, 6 % for
    hydrolysis and 30 % for heat (it grows towards shaded surfaces, which the factors were not set for)."""
    with_hours = hourly_climate(place)
    months = ClimateYear(**{name: getattr(with_hours, name) for name in ClimateYear.__slots__})
    for orientation in ("flat", "side", "screen", "wheel", "inside"):
        ratio = yearly(months, orientation) / yearly(with_hours, orientation)
        with capsys.disabled():
            print(f"\n{place} {orientation}: U {ratio[0]:.3f} H {ratio[1]:.3f} T {ratio[2]:.3f}", end="")
        assert np.all(np.abs(ratio - 1.0) < [0.12, 0.06, 0.30])


@pytest.mark.parametrize(
    ("name", "hours"), [("703165TY.csv", 2705), ("723170TYA.CSV", 3050)], ids=["Sand Point", "Greensboro"]
)
def test_time_of_wetness_of_packaged_files(name: str, hours: int) -> None:
    """ISO 9223 (RH > 80 %, T > 0 °C), counted independently in the files that pvlib ships; both are class t4."""
    year = hours_of(name)
    found = atmosphere.wetness_hours(rh_pct=year.rh_pct, air_c=year.air_c)
    assert found == pytest.approx(hours, abs=2)
    assert atmosphere.wetness_class(found) == "t4"


def test_time_of_wetness_at_mannheim_and_what_dew_adds(capsys: pytest.CaptureFixture[str]) -> None:
    """3308 h at Mannheim (t4), counted independently. Dew wets a flat panel in other hours too: published, that the
    standard's rule fails with radiative cooling. From memory: dew on some hundred nights a year in temperate Europe."""
    weather = hourly_climate("mannheim").hours
    assert weather is not None
    assert atmosphere.wetness_hours(rh_pct=weather.rh_pct, air_c=weather.air_c) == pytest.approx(3308, abs=2)
    sky = {"air_c": weather.air_c, "wind_ms": weather.wind_ms, "cloud": weather.cloud}
    cold = panel.panel_temperature_c(**sky, irradiance_w_m2=weather.ghi_w_m2)
    dewy = has_dew(surface_c=cold, air_c=weather.air_c, rh_pct=weather.rh_pct)
    humid = (weather.rh_pct > 80.0) & (weather.air_c > 0.0)
    per_year = dew_yield_mm_h(**sky, rh_pct=weather.rh_pct).sum()
    with capsys.disabled():
        print(
            f"\ndew on a flat panel: {dewy.sum()} h, {(dewy & ~humid).sum()} of them under 80 %; {per_year:.0f} mm",
            end="",
        )
    assert 400 < dewy.sum() < 2000
    assert (dewy & ~humid).sum() > 50
    assert np.mean(weather.cos_zenith()[dewy] > 0.1) < 0.15
    # Published yields of passive condensers in temperate Europe: about 5 to 40 mm a year (from memory).
    assert 3.0 < per_year < 60.0


@pytest.mark.parametrize(
    ("place", "category"), [("phoenix", ("C2",)), ("mannheim", ("C2", "C3")), ("miami", ("C3", "C4"))]
)
def test_corrosivity_of_places_has_the_order_that_everybody_knows(place: str, category: tuple[str, ...]) -> None:
    """ISO 9223 with assumed deposition (SO2 4, chloride 1 inland, 100 at the coast): desert lowest, wet coast most."""
    year = hourly_climate(place)
    weights = solar.MONTH_DAYS / solar.MONTH_DAYS.sum()
    found = atmosphere.first_year_loss(
        "steel", air_c=float(np.array(year.air_c) @ weights), rh_pct=float(np.array(year.rh_pct) @ weights),
        so2_mg_m2_day=4.0, chloride_mg_m2_day=100.0 if place == "miami" else 1.0,
    )  # fmt: skip
    assert found.category in category
