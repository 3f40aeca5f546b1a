"""Droppings on paint: dwell and temperature, always a range."""

from __future__ import annotations

import pytest

from lifecycle.wear.etching import etch_chance, temperature_factor


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
