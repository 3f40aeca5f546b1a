"""Wheels heated by brakes, engine bays by engines, windscreens rubbed by wipers: histories of their own."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.wear import exposure, usage
from lifecycle.wear.assessment import assess
from lifecycle.wear.doses import heat_rate
from lifecycle.wear.figures import wear_value
from lifecycle.wear.marks import value
from lifecycle.wear.running import Heat, heat_of, heat_ratio, phases
from lifecycle.wear.types import FloatArray, Mechanism, SurfaceInput
from tests.wear.vehicles import HOT_DRY, TEMPERATE, climate, habit, layer, source, surface, vehicle

HEAT = exposure.PHYSICAL.index(Mechanism.HEAT)
AIR = np.array([wear_value("home.air_winter"), wear_value("home.air_summer")] * 6)
DRIVEN = st.sampled_from([Heat.BRAKES, Heat.ENGINE])


def ratio(heat: Heat, *, km: float = 15000.0, powertrain: str = "combustion", parked: float = 1.0) -> FloatArray:
    per_day = np.full(12, parked * wear_value(f"home.heat_{heat}") / 365.25)
    return heat_ratio(parked_per_day=per_day, air_c=AIR, km_per_year=km, heat=heat, powertrain=powertrain)


@pytest.mark.parametrize("heat", [Heat.BRAKES, Heat.ENGINE])
def test_the_reference_use_changes_nothing(heat: Heat) -> None:
    """By definition: life tables speak of cars that are driven 15 000 km a year, so there the heat is the parked
    one."""
    parked = wear_value(f"home.heat_{heat}") / exposure.reference_doses()[HEAT]
    assert ratio(heat).mean() == pytest.approx(parked, rel=1e-9)


def test_the_hot_share_of_a_year_by_hand() -> None:
    """15 000 km at 40 km/h are 375 h; a bay 40 K over 12 °C air then takes 8.4 doses an hour, worked by hand from
    60 kJ/mol: exp(-60/R (1/325.15 - 1/298.15))."""
    by_hand = np.exp(-60.0 / 8.314462618e-3 * (1.0 / 325.15 - 1.0 / 298.15))
    assert float(heat_rate(surface_c=52.0)) == pytest.approx(by_hand)
    (driving, rise), (soak, _) = phases(Heat.ENGINE, powertrain="combustion")
    assert (driving * 15000.0, rise) == pytest.approx((375.0, 40.0))
    assert soak * 15000.0 == pytest.approx(1000.0)


@given(DRIVEN, st.floats(0, 60_000), st.floats(0, 60_000))
@settings(max_examples=10)
def test_more_kilometres_never_cool(heat: Heat, one: float, other: float) -> None:
    near, far = sorted((one, other))
    assert np.all(ratio(heat, km=far) >= ratio(heat, km=near) - 1e-12)


@pytest.mark.parametrize("heat", [Heat.BRAKES, Heat.ENGINE])
def test_motors_that_brake_or_stay_cool_spare_a_surface(heat: Heat) -> None:
    mild, middle, hot = (ratio(heat, powertrain=one).mean() for one in ("electric", "hybrid", "combustion"))
    assert mild < middle < hot


def test_a_van_that_never_stops_stays_finite() -> None:
    assert np.isfinite(ratio(Heat.ENGINE, km=5e6)).all()


def test_which_surfaces_are_heated_by_driving() -> None:
    usual = SurfaceInput(code="bonnet", orientation="flat", substrate="steel")
    assert heat_of(usual) is Heat.PARKED
    assert heat_of(replace(usual, code="wheels_winter", orientation="wheel")) is Heat.BRAKES
    assert heat_of(replace(usual, code="engine_bay", orientation="inside")) is Heat.ENGINE
    seats = replace(usual, code="seats", orientation="inside", layers=(layer("leather_guard", date(2025, 1, 1)),))
    assert heat_of(seats) is Heat.PARKED
    bay = replace(seats, code="bay", layers=(layer("engine_bay_coating", date(2025, 1, 1)),))
    assert heat_of(bay) is Heat.ENGINE


def test_unknown_powertrain_is_refused() -> None:
    with pytest.raises(ValueError, match=r"powertrain is 'steam'.*hybrid"):
        phases(Heat.ENGINE, powertrain="steam")


def renewal(kind: str, orientation: str, **changes: object) -> float:
    use = habit(km_per_year=float(changes.pop("km", 15000.0)))  # type: ignore[arg-type]
    part = surface(layer(kind, date(2025, 6, 1)), code="part", orientation=orientation, substrate="plastic")
    months = assess(vehicle(part, habits=(use,), **changes), source("Cfb")).surfaces[0].layers[0].renewal_months
    assert months is not None
    return months.p50


def test_an_engine_bay_lasts_longer_on_an_electric_vehicle_and_less_with_distance() -> None:
    usual = renewal("engine_bay_coating", "inside")
    assert renewal("engine_bay_coating", "inside", powertrain="electric") > 1.05 * usual
    assert renewal("engine_bay_coating", "inside", km=40000.0) < 0.9 * usual


def test_seats_do_not_know_the_engine() -> None:
    assert renewal("leather_coat", "inside", powertrain="electric") == renewal("leather_coat", "inside")


def test_wipers_work_with_distance_and_rain() -> None:
    """Judgement: 60 % of a windscreen's rubbing is wiping; at 15 000 km and the reference rain it is 1."""
    usual = (value("reference.rain_days") / 12.0,) * 12
    washing = np.ones(12)
    assert usage.screen_contact(washing, km_per_year=15000.0, rain_days=usual) == pytest.approx(washing)
    dry = usage.screen_contact(washing, km_per_year=15000.0, rain_days=(0.0,) * 12)
    far = usage.screen_contact(washing, km_per_year=30000.0, rain_days=usual)
    parked = usage.screen_contact(washing, km_per_year=0.0, rain_days=usual)
    assert dry[0] == pytest.approx(0.4 + 0.6 * 0.25)
    assert far[0] == pytest.approx(1.6)
    assert parked[0] == pytest.approx(0.4)


@pytest.mark.parametrize(("where", "orientation", "wiped"), [(TEMPERATE, "screen", True), (TEMPERATE, "side", False)])
def test_only_the_windscreen_is_wiped(where: tuple[str, object], orientation: str, wiped: bool) -> None:
    def contact(place: tuple[str, object]) -> float:
        year = climate(*place)  # type: ignore[arg-type]
        rows = exposure.combine(
            climate=replace(year, koppen_class="Cfb"), habit=habit(), orientation=orientation, colour="mid",
            place=year.place,
        )  # fmt: skip
        return float(rows[exposure.MECHANISMS.index(Mechanism.WASH_CONTACT)].mean())

    assert (contact(HOT_DRY) < 0.7 * contact(where)) is wiped
