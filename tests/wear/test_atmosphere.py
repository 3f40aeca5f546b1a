"""Corrosivity against ISO 9223 and 9224 as transcribed in open files, and values worked independently."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.wear import atmosphere
from lifecycle.wear.atmosphere import METALS, corrosivity, first_year_loss, long_term_factor


@pytest.mark.parametrize(
    ("air", "humid", "so2", "salt", "losses", "steel_category"),
    [
        (10.0, 75.0, 10.0, 10.0, (33.80, 1.396, 1.269, 0.229), "C3"),
        (12.4, 71.0, 4.0, 3.0, (16.67, 0.690, 0.740, 0.108), "C2"),
        (24.3, 73.0, 2.0, 100.0, (57.16, 3.600, 1.769, 1.229), "C4"),
        (21.9, 34.0, 2.0, 1.0, (3.39, 0.184, 0.120, 0.038), "C2"),
        (10.0, 84.0, 4.0, 60.0, (50.33, 1.959, 2.119, 0.383), "C4"),
        (24.7, 87.0, 6.0, 38.7, (58.23, 2.849, 2.556, 1.010), "C4"),
    ],
)
def test_first_year_of_iso_9223(
    air: float, humid: float, so2: float, salt: float, losses: tuple[float, ...], steel_category: str
) -> None:
    """The four dose-response equations of ISO 9223:2012 worked independently (copper and aluminium from memory)."""
    for metal, loss in zip(METALS, losses, strict=True):
        found = first_year_loss(metal, air_c=air, rh_pct=humid, so2_mg_m2_day=so2, chloride_mg_m2_day=salt)
        assert found.loss == pytest.approx(loss, rel=2e-3, abs=5.1e-4), metal
        assert found.low < found.loss < found.high
        assert found.outside == ()
        if metal == "steel":
            assert found.category == steel_category


def test_outside_the_range_of_the_fit_is_said() -> None:
    """ISO 9223:2012: T -17.1 to 28.7 °C, RH 34 to 93 %, SO2 0.7 to 150.4, chloride 0.4 to 760.5 mg/m² day."""
    found = first_year_loss("zinc", air_c=30.0, rh_pct=20.0, so2_mg_m2_day=0.1, chloride_mg_m2_day=2000.0)
    assert found.outside == ("air_c", "rh_pct", "so2_mg_m2_day", "chloride_mg_m2_day")


@pytest.mark.parametrize(
    ("metal", "edges"),
    [
        ("steel", (1.3, 25.0, 50.0, 80.0, 200.0, 700.0)),
        ("zinc", (0.1, 0.7, 2.1, 4.2, 8.4, 25.0)),
        ("copper", (0.1, 0.6, 1.3, 2.8, 5.6, 10.0)),
    ],
)
def test_category_edges_belong_to_the_lower_category(metal: str, edges: tuple[float, ...]) -> None:
    """Table 2 of ISO 9223:2012: "greater than the last, up to and including"."""
    for category, edge in zip(("C1", "C2", "C3", "C4", "C5", "CX"), edges, strict=True):
        assert corrosivity(metal, edge) == category
    following = ("C2", "C3", "C4", "C5", "CX", "beyond CX")
    for category, edge in zip(following, edges, strict=True):
        assert corrosivity(metal, edge * 1.0001) == category


def test_aluminium_has_no_edge_above_ten() -> None:
    """Table 2: aluminium negligible in C1, then 0.6, 2, 5, 10 g/m² a; all above is CX."""
    assert [corrosivity("aluminium", loss) for loss in (0.0, 0.6, 2.0, 5.0, 10.0, 10.1, 500.0)] == [
        "C1", "C2", "C3", "C4", "C5", "CX", "CX",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("metal", "column", "years", "factor"),
    [("steel", 0, 10, 3.334), ("zinc", 0, 5, 3.701), ("copper", 1, 20, 8.801), ("aluminium", 1, 100, 41.115),
     ("aluminium", 0, 30, 11.894)],
)  # fmt: skip
def test_table_of_iso_9224(metal: str, column: int, years: float, factor: float) -> None:
    """Cells of table 3 of ISO 9224:2012. The open copy stores 11.814 for aluminium B1 at 30 years, a repeat of a
    copper cell; 30^0.728 is 11.894."""
    exponent = atmosphere.EXPONENTS[metal][column]
    assert long_term_factor(years, exponent=exponent, linear_from_years=None) == pytest.approx(factor, abs=6e-4)


def test_after_twenty_years_the_rate_of_year_twenty_goes_on() -> None:
    """ISO 9224 beyond 20 years (from memory): 20^b + b 20^(b-1) (t - 20), worked by hand for steel B1 at 50 years."""
    b = 0.523
    by_hand = 20.0**b * (1.0 + b * 30.0 / 20.0)
    assert long_term_factor(50.0, exponent=b) == pytest.approx(by_hand)
    assert long_term_factor(50.0, exponent=b) > long_term_factor(50.0, exponent=b, linear_from_years=None)
    assert long_term_factor(20.0, exponent=b) == pytest.approx(long_term_factor(20.0 + 1e-9, exponent=b))


@pytest.mark.parametrize(
    ("years", "wet", "so2", "salt", "air", "loss"),
    [(1, 3800, 0, 0, -20, 13.4), (1, 3308, 4, 3, 12.4, 23.61), (1, 2721, 2, 100, 24.3, 35.58)],
)
def test_steel_of_klinesmith(years: float, wet: float, so2: float, salt: float, air: float, loss: float) -> None:
    """Klinesmith 2007, flat steel: the constant itself, then the Mannheim and Miami climates, worked independently."""
    found = atmosphere.steel_loss_um(years, wetness_h_year=wet, so2_ug_m3=so2, chloride_mg_m2_day=salt, air_c=air)
    assert found == pytest.approx(loss, abs=0.005)


def test_zinc_of_benarie_and_lipfert() -> None:
    """A = 4.8 + 0.53 (SO2 + Cl) and b = 1.55 - 0.142 pH, by hand: 15.4 g/m² in the first year, b 0.911 at pH 4.5."""
    rain = {"so2_mg_m2_day": 12.0, "chloride_mg_m2_day": 8.0, "rain_ph": 4.5}
    assert atmosphere.zinc_loss_g_m2(1.0, **rain) == pytest.approx(15.4)
    assert atmosphere.zinc_loss_g_m2(2.0, **rain) == pytest.approx(15.4 * 2.0**0.911)


@pytest.mark.parametrize(
    ("hours", "name"),
    [(0, "t1"), (10, "t1"), (250, "t2"), (267, "t3"), (2500, "t3"), (2705, "t4"), (3308, "t4"), (5500, "t4"),
     (5501, "t5")],
)  # fmt: skip
def test_wetness_classes(hours: float, name: str) -> None:
    """ISO 9223:1992 (t5 from memory); 267, 2705 and 3308 h are Phoenix, Sand Point and Mannheim."""
    assert atmosphere.wetness_class(hours) == name


def test_classes_of_salt_and_sulphur() -> None:
    """ISO 9223: chloride up to 3, 60, 300, 1500 (1992 edition), SO2 up to 4, 24, 80, 200 (2012 edition) mg/m² day."""
    assert [atmosphere.chloride_class(salt) for salt in (3.0, 3.1, 60.0, 300.0, 301.0)] == [
        "S0",
        "S1",
        "S1",
        "S2",
        "S3",
    ]
    assert [atmosphere.sulphur_class(so2) for so2 in (4.0, 24.0, 80.0, 80.1)] == ["P0", "P1", "P2", "P3"]


def test_wet_hours_are_humid_and_thawed() -> None:
    """ISO 9223: more than 80 % and above 0 °C; neither edge counts."""
    assert atmosphere.wetness_hours(rh_pct=[80.0, 80.1, 95.0, 95.0], air_c=[10.0, 10.0, 0.0, 0.1]) == 2


@given(st.sampled_from(METALS), st.floats(-15, 28), st.floats(35, 90), st.floats(1, 140), st.floats(1, 700))
@settings(max_examples=10)
def test_wetter_dirtier_and_saltier_air_never_corrodes_less(
    metal: str, air: float, humid: float, so2: float, salt: float
) -> None:
    here = {"air_c": air, "rh_pct": humid, "so2_mg_m2_day": so2, "chloride_mg_m2_day": salt}
    base = first_year_loss(metal, **here).loss
    for name in ("rh_pct", "so2_mg_m2_day", "chloride_mg_m2_day"):
        assert first_year_loss(metal, **{**here, name: here[name] * 1.03}).loss >= base


def test_wrong_input_is_refused() -> None:
    with pytest.raises(ValueError, match=r"metal is 'lead'.*zinc"):
        corrosivity("lead", 1.0)
    with pytest.raises(ValueError, match="chloride_mg_m2_day is -1"):
        first_year_loss("steel", air_c=10.0, rh_pct=70.0, so2_mg_m2_day=1.0, chloride_mg_m2_day=-1.0)
    with pytest.raises(ValueError, match="years is -1"):
        long_term_factor(-1.0, exponent=0.5)
    with pytest.raises(ValueError, match="loss is nan"):
        corrosivity("steel", float("nan"))
    with pytest.raises(ValueError, match="hours_a_year is -3"):
        atmosphere.wetness_class(-3.0)
