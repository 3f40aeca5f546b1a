"""Droppings on paint: dwell and temperature, always a range."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.wear.chemistry import chemistry
from lifecycle.wear.course import SOIL, event_days
from lifecycle.wear.degradation import DAYS_PER_MONTH, life_of
from lifecycle.wear.etching import etch_chance, temperature_factor
from lifecycle.wear.figures import wear_value
from lifecycle.wear.types import EventInput


def test_thirty_hours_on_a_black_roof_in_heat_have_probably_etched() -> None:
    # Expert's range (judgement): half or more after 30 h at 34 °C, lower under three to six hours.
    long, short = (etch_chance(dwell_h=hours, air_c=34.0, colour="black") for hours in (30.0, 4.0))
    assert long.p50 >= 0.5
    assert short.p50 < 0.4
    assert short.p90 < long.p50
    assert long.p10 < long.p50 < long.p90


def test_hardly_anything_happens_in_the_cold() -> None:
    # A trade claim: aggressive above 32 °C, almost none below 4 °C.
    assert etch_chance(dwell_h=30.0, air_c=3.0, colour="white").p90 < 0.05


def test_longer_hotter_darker_and_barer_is_worse() -> None:
    usual = etch_chance(dwell_h=12.0, air_c=25.0, colour="mid").p50
    assert etch_chance(dwell_h=24.0, air_c=25.0, colour="mid").p50 > usual
    assert etch_chance(dwell_h=12.0, air_c=32.0, colour="mid").p50 > usual
    assert etch_chance(dwell_h=12.0, air_c=25.0, colour="black").p50 > usual
    assert etch_chance(dwell_h=12.0, air_c=25.0, colour="mid", function_left=1.0).p50 < usual


def test_temperature_factor() -> None:
    # Arrhenius, 60 kJ/mol over 25 °C: 3.1879 at 40 and 12.715 at 60 °C (computed independently); here over 40 °C.
    assert temperature_factor(60.0, activation_kj_mol=60.0) == pytest.approx(12.7151 / 3.1879, rel=1e-3)


def test_negative_hours_are_refused() -> None:
    with pytest.raises(ValueError, match="0 or more"):
        etch_chance(dwell_h=-1.0, air_c=20.0, colour="mid")


def test_a_dropping_answered_within_hours_is_another_matter() -> None:
    # Expert's scenario (judgement): black roof, 34 °C, 30 h: half or more; clearly lower under 3 to 6 h.
    by_hours = [etch_chance(dwell_h=hours, air_c=34.0, colour="black") for hours in (0.0, 3.0, 6.0, 30.0)]
    assert by_hours[0].p90 < 0.01
    assert by_hours[1].p50 < 0.3
    assert by_hours[2].p50 < 0.5 <= by_hours[3].p50
    assert by_hours[3].p90 < 1.0


def test_aggressive_above_32_and_almost_nothing_below_4() -> None:
    # A trade claim; with 60 to 80 kJ/mol the rate at 32 °C is 11 to 25 times that at 4 °C (Arrhenius, by hand).
    for energy, low, high in ((60.0, 10.0, 12.0), (80.0, 22.0, 26.0)):
        ratio = temperature_factor(32.0, activation_kj_mol=energy) / temperature_factor(4.0, activation_kj_mol=energy)
        assert low < ratio < high


@given(st.floats(0, 200), st.floats(0, 200), st.floats(-20, 45), st.floats(0, 1))
@settings(max_examples=10)
def test_a_longer_dwell_never_etches_less_and_the_range_is_ordered(
    one: float, other: float, air: float, left: float
) -> None:
    short, long = sorted((one, other))
    low, high = (etch_chance(dwell_h=hours, air_c=air, colour="dark", function_left=left) for hours in (short, long))
    for band in (low, high):
        assert 0.0 <= band.p10 <= band.p50 <= band.p90 <= 1.0
    assert low.p50 <= high.p50
    assert low.p90 <= high.p90


def consumed(dwell_h: float, air_c: float, kind: str = "bird_dropping") -> float:
    """Share of a life that one dropping takes from a mid ceramic."""
    kind_of = chemistry("ceramic_mid")
    life = life_of(kind_of)
    event = EventInput(on=date(2026, 6, 1), kind=kind, surface="roof", dwell_h=dwell_h, air_c=air_c)
    return float(event_days(event, chemistry=kind_of, life=life)[SOIL] / (life.median_months * DAYS_PER_MONTH))


def test_what_a_dropping_takes_from_the_layer() -> None:
    # Engineering default: 0.01 (dwell / 24 h) exp(-70/R (1/T_s - 1/313 K)); at a surface of 40 °C (air 30) a day takes
    # 1 % of a life, 12 h half of it, and ten kelvin more 2.3 times as much (by hand).
    assert consumed(24.0, 30.0) == pytest.approx(0.01, rel=1e-6)
    assert consumed(12.0, 30.0) == pytest.approx(0.005, rel=1e-6)
    assert consumed(24.0, 40.0) / consumed(24.0, 30.0) == pytest.approx(2.30, abs=0.01)
    assert consumed(24.0, 30.0, "sap") == pytest.approx(0.01, rel=1e-6)
    assert consumed(1e5, 40.0) == pytest.approx(wear_value("jump.dropping_most"))
