"""Stress by mechanism and month: rates against worked values, properties, and the expert's worked sum of two habits."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.climate.class_table import climate_of_class
from lifecycle.wear import exposure, usage
from lifecycle.wear.exposure import MECHANISMS, Sky, combine, monthly_doses
from lifecycle.wear.solar import MONTH_DAYS
from lifecycle.wear.types import FloatArray, HabitPeriod, Mechanism, Place

INLAND = Place(49.52, 8.55, 96.0, 400_000.0)
CLIMATE = climate_of_class("Cfb", INLAND)
YEAR = MONTH_DAYS / MONTH_DAYS.sum()
REFERENCE = HabitPeriod(date(2024, 1, 1), None, "mixed", 15_000.0, "two_bucket", 26.0)


def stress(habit: HabitPeriod = REFERENCE, *, orientation: str = "flat", colour: str = "mid", stored: bool = False,
           place: Place = INLAND) -> dict[Mechanism, FloatArray]:  # fmt: skip
    rows = combine(climate=CLIMATE, habit=habit, orientation=orientation, colour=colour, place=place, stored=stored)
    assert rows.shape == (7, 12)
    return dict(zip(MECHANISMS, rows, strict=True))


def yearly(row: FloatArray) -> float:
    return float(row @ YEAR)


@pytest.mark.parametrize(
    ("energy", "factors"),
    [
        (30.0, {0: 0.3303, 10: 0.5267, 40: 1.7855, 60: 3.5658, 80: 6.5848}),
        (50.0, {0: 0.1579, 10: 0.3435, 40: 2.6278, 60: 8.3227, 80: 23.1331}),
        (60.0, {0: 0.1091, 10: 0.2774, 40: 3.1879, 60: 12.7151, 80: 43.3591}),
    ],
)
def test_arrhenius_factors(energy: float, factors: dict[int, float]) -> None:
    """Factors over 25 °C, worked independently."""
    found = exposure.arrhenius(list(factors), activation_kj_mol=energy)
    assert found == pytest.approx(list(factors.values()), abs=6e-5)


def test_a_warm_ten_kelvin_are_those_of_fischer_and_ketola() -> None:
    """Fischer & Ketola 2004: 1.41 +- 0.23 per 10 K; also within the 1.24-1.45 worked from 4-7 kcal/mol."""
    ten = exposure.sunlight_rate(uv_w_m2=50.0, surface_c=np.array([30.0, 40.0, 50.0, 60.0]))
    assert np.all(np.abs(ten[1:] / ten[:-1] - 1.41) < 0.08)


def test_doubled_and_trebled_ultraviolet() -> None:
    """Schwarzschild with p = 0.64: 1.5583 and 2.0200."""
    rate = exposure.sunlight_rate(uv_w_m2=np.array([20.0, 40.0, 60.0]), surface_c=25.0)
    assert rate[1:] / rate[0] == pytest.approx([1.5583, 2.0200], abs=1e-4)


def test_hydrolysis_goes_with_the_square_of_humidity() -> None:
    """Pickett & Coyle 2013: rate proportional to the square of relative humidity."""
    rate = exposure.hydrolysis_rate(surface_rh_pct=np.array([50.0, 100.0]), surface_c=25.0)
    assert rate == pytest.approx([0.25, 1.0])


@given(st.floats(-30, 45), st.floats(0, 100), st.floats(0, 12), st.floats(0, 1))
@settings(max_examples=20)
def test_no_sunlight_dose_in_the_dark(air: float, humid: float, wind: float, cloud: float) -> None:
    doses = exposure.summed(exposure.hourly_rates(Sky(
        ghi_w_m2=np.zeros(3), air_c=air, rh_pct=humid, wind_ms=wind, cloud=cloud,
        cos_zenith=np.array([-0.5, 0.0, 0.4]), extraterrestrial_w_m2=1361.0,
    )))  # fmt: skip
    assert doses[0] == 0.0
    assert doses[2] > 0.0


@given(st.floats(50, 1000), st.floats(0.05, 1.0), st.floats(0, 10))
@settings(max_examples=20)
def test_more_sun_means_more_sunlight_and_heat(sun: float, cosine: float, wind: float) -> None:
    rates = exposure.hourly_rates(Sky(
        ghi_w_m2=np.array([sun, 1.1 * sun]), air_c=20.0, rh_pct=60.0, wind_ms=wind, cloud=0.3,
        cos_zenith=cosine, extraterrestrial_w_m2=1361.0,
    ))  # fmt: skip
    assert rates[0, 1] > rates[0, 0]
    assert rates[2, 1] > rates[2, 0]


def test_wet_hours_count_as_saturated() -> None:
    noon = Sky([300.0], [25.0], [40.0], [2.0], [0.5], cos_zenith=[0.6], extraterrestrial_w_m2=[1361.0])
    dry, half, wet = (exposure.summed(exposure.hourly_rates(replace(noon, wet=share)))[1] for share in (0.0, 0.5, 1.0))
    assert wet == pytest.approx(1.0)
    assert dry < half < wet
    assert half == pytest.approx((dry + wet) / 2.0)


def test_use_of_the_reference_duty_is_one() -> None:
    """The reference duty by definition: 26 neutral two-bucket washes, 15 000 km, no salt, no sea, few trees."""
    by_mechanism = stress()
    for mechanism in (Mechanism.WASH_CONTACT, Mechanism.WASH_CHEMISTRY, Mechanism.ROAD, Mechanism.CONTAMINATION):
        assert by_mechanism[mechanism] == pytest.approx(np.ones(12)), mechanism
    assert exposure.reference_stress() == pytest.approx(np.ones((7, 12)))


def test_worked_sum_before_and_after_a_move() -> None:
    """An expert's worked sum (judgement): garage nights, 10 000 km: U .85, C 1, A 1, K .8, R .72 of mixed parking; then
    street, 400 m from the sea, soft-cloth tunnel monthly, 15 000 km: U 1.3, C .76, A 1.08, K 2.35, R 1."""
    mixed = yearly(stress()[Mechanism.SUNLIGHT])
    garaged = stress(replace(REFERENCE, parking="garage_nights", km_per_year=10_000.0))
    moved = stress(
        replace(REFERENCE, parking="street", wash_method="soft_cloth_tunnel", washes_per_year=12.0),
        place=replace(INLAND, sea_distance_m=400.0),
    )
    for found, (u, c, a, k, r) in ((garaged, (0.85, 1.0, 1.0, 0.8, 0.72)), (moved, (1.3, 0.76, 1.08, 2.35, 1.0))):
        assert yearly(found[Mechanism.SUNLIGHT]) / mixed == pytest.approx(u, rel=0.01)
        assert yearly(found[Mechanism.WASH_CHEMISTRY]) == pytest.approx(c, rel=0.01)
        assert yearly(found[Mechanism.WASH_CONTACT]) == pytest.approx(a, rel=0.01)
        assert yearly(found[Mechanism.CONTAMINATION]) == pytest.approx(k, rel=0.01)
        assert yearly(found[Mechanism.ROAD]) == pytest.approx(r, rel=0.01)


@pytest.mark.parametrize(
    ("parking", "over_mixed"),
    [("garage", 0.4), ("garage_nights", 0.85), ("carport", 0.6), ("street", 1.3), ("under_trees", 1.05)],
)
def test_sunlight_by_parking(parking: str, over_mixed: float) -> None:
    """Common practice, no source: sunlight over that of mixed parking."""
    found = yearly(stress(replace(REFERENCE, parking=parking))[Mechanism.SUNLIGHT])
    assert found / yearly(stress()[Mechanism.SUNLIGHT]) == pytest.approx(over_mixed, rel=0.1)


@pytest.mark.parametrize(("colour", "over_mid"), [("white", 0.85), ("light", 0.92), ("dark", 1.1), ("black", 1.2)])
def test_sunlight_by_colour(colour: str, over_mid: float) -> None:
    """An expert's factors (judgement) for sun and heat together; the physics for sunlight lies within 7 %."""
    found = yearly(stress(colour=colour)[Mechanism.SUNLIGHT]) / yearly(stress()[Mechanism.SUNLIGHT])
    assert found == pytest.approx(over_mid, rel=0.07)


def test_upright_surfaces_get_about_half_the_ultraviolet() -> None:
    """Published: flat surfaces get about double the yearly dose of upright ones; with p = 0.64 that is 0.64 of the
    wear, less what the cooler panel saves."""
    ratio = yearly(stress(orientation="side")[Mechanism.SUNLIGHT]) / yearly(stress()[Mechanism.SUNLIGHT])
    assert 0.5 < ratio < 0.5**0.64 + 0.05


def test_salt_wears_in_its_season_only() -> None:
    plain, salted = stress(), stress(replace(REFERENCE, road_salt="heavy"))
    season = np.array([month in (11, 12, 1, 2, 3) for month in range(1, 13)])
    for mechanism, factor in ((Mechanism.ROAD, 1.4), (Mechanism.CONTAMINATION, 1.6)):
        assert salted[mechanism][season] == pytest.approx(factor * plain[mechanism][season])
        assert salted[mechanism][~season] == pytest.approx(plain[mechanism][~season])
    south = stress(replace(REFERENCE, road_salt="heavy"), place=Place(-45.0, 170.0))
    assert south[Mechanism.ROAD] == pytest.approx(np.where(np.isin(np.arange(1, 13), (5, 6, 7, 8, 9)), 1.4, 1.0))


def test_high_ph_is_not_counted_twice() -> None:
    """pH 11-13 touch-free: 3 to 3.5 times the chemistry (judgement), whatever is ticked as pH beside it."""
    found = {
        ph: yearly(stress(replace(REFERENCE, wash_method="touch_free_high_ph", wash_ph=ph))[Mechanism.WASH_CHEMISTRY])
        for ph in ("neutral", "alkaline", "acid", "unknown")
    }
    assert all(3.0 <= factor <= 3.5 for factor in found.values())
    by_hand = [usage.chemistry_factor(replace(REFERENCE, wash_ph=ph)) for ph in ("neutral", "unknown", "alkaline")]
    assert by_hand == sorted(by_hand)
    assert by_hand[0] == 1.0


def test_stored_vehicle_still_ages_but_is_not_used() -> None:
    stored = stress(stored=True)
    for mechanism in (Mechanism.SUNLIGHT, Mechanism.WASH_CONTACT, Mechanism.WASH_CHEMISTRY, Mechanism.ROAD):
        assert np.all(stored[mechanism] == 0.0), mechanism
    for mechanism in (Mechanism.HEAT, Mechanism.HYDROLYSIS, Mechanism.CONTAMINATION):
        assert np.all(stored[mechanism] > 0.0), mechanism
    assert yearly(stored[Mechanism.HEAT]) < yearly(stress()[Mechanism.HEAT])


def test_low_and_leading_surfaces_take_more_of_the_road() -> None:
    """Judgement anchors: sills 1.6, front end 1.5, contamination at the rear 1.2."""
    assert yearly(stress(orientation="sill")[Mechanism.ROAD]) == pytest.approx(1.6)
    assert yearly(stress(orientation="front")[Mechanism.ROAD]) == pytest.approx(1.5)
    assert yearly(stress(orientation="rear")[Mechanism.CONTAMINATION]) == pytest.approx(1.2)


@given(st.floats(0, 100_000), st.floats(0, 100_000))
@settings(max_examples=30)
def test_more_kilometres_and_washes_never_wear_less(one: float, other: float) -> None:
    low, high = sorted((one, other))
    salted = np.zeros(12)
    road = [
        usage.road_factor(replace(REFERENCE, km_per_year=km), salted=salted, orientation="flat")[0]
        for km in (low, high)
    ]
    assert road[0] <= road[1] + 1e-12
    assert usage.washing_factor(low / 300.0) <= usage.washing_factor(high / 300.0) + 1e-12


@given(st.floats(0, 50_000), st.floats(0, 50_000))
@settings(max_examples=30)
def test_nearer_the_sea_is_never_cleaner(one: float, other: float) -> None:
    near, far = sorted((one, other))
    assert usage.sea_factor(near) >= usage.sea_factor(far) >= 1.0


def test_steps_of_the_duty_table_are_met() -> None:
    """Judgement tables: km 5k .42, 10k .72, 25k 1.5, 40k 2.2; washes 52 1.74, 12 .54, 6 .31, 2 .13."""
    salted = np.zeros(12)
    for km, factor in ((0, 0), (5_000, 0.42), (10_000, 0.72), (15_000, 1), (25_000, 1.5), (40_000, 2.2)):
        found = usage.road_factor(replace(REFERENCE, km_per_year=km), salted=salted, orientation="flat")
        assert found == pytest.approx(np.full(12, factor), abs=1e-9)
    for washes, factor in ((0, 0), (2, 0.13), (6, 0.31), (12, 0.54), (26, 1), (52, 1.74)):
        assert usage.washing_factor(washes) == pytest.approx(factor)


def test_southern_summer_is_in_january() -> None:
    cape = climate_of_class("Csb", Place(-33.9, 18.4, 30.0))
    doses = monthly_doses(cape)
    assert doses[0].argmax() in (0, 11)
    assert doses[2].argmin() in (5, 6, 7)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"parking": "barn"}, r"parking is 'barn'.*street"),
        ({"wash_method": "sandpaper"}, r"wash_method is 'sandpaper'.*two_bucket"),
        ({"wash_ph": "12"}, r"wash_ph is '12'.*neutral"),
        ({"road_salt": "lots"}, r"road_salt is 'lots'.*heavy"),
        ({"trees_birds": 4}, r"trees_birds is '4'.*3"),
        ({"km_per_year": -1.0}, r"km_per_year is -1"),
        ({"washes_per_year": float("nan")}, r"washes_per_year is nan"),
    ],
)
def test_unknown_habits_are_refused_by_name(change: dict[str, object], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        stress(replace(REFERENCE, **change))  # type: ignore[arg-type]


def test_unknown_orientation_is_refused() -> None:
    with pytest.raises(ValueError, match=r"orientation is 'underneath'.*sill"):
        stress(orientation="underneath")
