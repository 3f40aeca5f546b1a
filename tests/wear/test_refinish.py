"""Panels that were likely painted again, told from their neighbours (bounds are judgement)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from lifecycle.wear.assessment import assess
from lifecycle.wear.refinish import refinish_signs
from lifecycle.wear.stack import layers_of
from lifecycle.wear.types import SurfaceInput, Thickness
from tests.wear.vehicles import layer, source, surface, vehicle


def panel(code: str, mean: float, *, spread: float = 2.0, method: str = "magnetic", **changes: object) -> SurfaceInput:
    values = tuple(mean + step * spread for step in (-1.26, -0.63, 0.0, 0.63, 1.26))  # sd of the five: `spread`
    return surface(code=code, thickness=Thickness(values, method, on=date(2026, 2, 1)), **changes)


BODY = (panel("bonnet", 112), panel("roof", 105), panel("door_left", 116), panel("door_right", 118))


@pytest.mark.parametrize(
    ("mean", "spread", "word"),
    [(114, 2, ""), (135, 2, ""), (148, 2, "possible"), (114, 14, "possible"), (165, 2, "likely"), (148, 14, "likely"),
     (260, 40, "likely"), (86, 2, "thin")],
)  # fmt: skip
def test_a_panel_is_judged_by_how_far_and_how_unevenly_it_reads(mean: float, spread: float, word: str) -> None:
    sign = refinish_signs((*BODY, panel("wing", mean, spread=spread)))["wing"]
    assert sign.word == word
    assert sign.above_um == pytest.approx(mean - 114, abs=0.1)
    assert (sign.says == "") == (word == "")


def test_two_plants_apart_is_a_whole_car_not_a_panel() -> None:
    """Published: one model reads 114 to 140 µm from one plant and 157 to 216 from another; a whole car of either has
    no sign on it."""
    for base in (114, 165):
        car = tuple(panel(code, base + step) for code, step in (("bonnet", 0), ("roof", 8), ("wing", 16), ("door", 24)))
        assert {sign.word for sign in refinish_signs(car).values()} == {""}


def test_two_panels_are_too_few_to_say_which_is_the_odd_one() -> None:
    assert refinish_signs((panel("bonnet", 81), panel("roof", 112))) == {}
    assert refinish_signs((panel("bonnet", 81),)) == {}


def test_plastic_has_no_magnetic_reading_and_does_not_speak_for_its_neighbours() -> None:
    bumper = panel("bumper", 300, substrate="plastic")
    signs = refinish_signs((*BODY, bumper))
    assert "bumper" not in signs
    assert signs["bonnet"].word == ""
    read = refinish_signs((*BODY, panel("bumper", 190, substrate="plastic", method="ultrasonic")))
    assert read["bumper"].word == "likely"


def test_ultrasonic_readings_of_the_clear_coat_alone_are_not_compared() -> None:
    assert "wing" not in refinish_signs((*BODY, panel("wing", 42, method="ultrasonic")))


def test_film_on_a_panel_adds_its_thickness() -> None:
    """160 µm is the table's film (from memory); a product says its own."""
    for own, reads in ((None, 274), (180.0, 294)):
        film = layer("film_body", date(2025, 6, 1), thickness_um=own)
        bonnet = replace(panel("bonnet", reads), layers=(film,))
        car = (*BODY[1:], bonnet)
        stacks = {"bonnet": layers_of(bonnet, (), as_of=date(2026, 3, 1))}
        assert refinish_signs(car, stacks=stacks)["bonnet"].above_um == pytest.approx(-2, abs=0.1)
        assert refinish_signs(car)["bonnet"].word == "likely"


def test_film_that_was_put_on_after_the_reading_is_not_taken_off_it() -> None:
    bonnet = replace(panel("bonnet", 114), layers=(layer("film_body", date(2026, 2, 20)),))
    stacks = {"bonnet": layers_of(bonnet, (), as_of=date(2026, 3, 1))}
    assert refinish_signs((*BODY[1:], bonnet), stacks=stacks)["bonnet"].word == ""


def test_a_likely_refinish_has_no_budget_until_the_layers_are_read() -> None:
    car = vehicle(*BODY, panel("wing", 175))
    wing = assess(car, source("Cfb")).surfaces[4].clear_coat
    assert wing is not None
    assert wing.decision == "unknown"
    assert "above its neighbours: likely painted again; read the layers with ultrasound" in wing.why
    assert assess(car, source("Cfb")).surfaces[0].clear_coat.decision == "cut_and_refine_with_consent"
