"""Gloss against Fresnel's equations and ISO 2813, worked independently."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.wear.figures import figure
from lifecycle.wear.optics import (
    GEOMETRIES,
    GLASS_INDEX,
    best_geometry,
    fresnel_reflectance,
    gloss_units,
    roughness_of_gloss_nm,
)


def test_black_glass_of_the_gloss_standard() -> None:
    """ISO 2813: black glass of n 1.567 is 100 GU; it mirrors 0.04908, 0.10006 and 0.61915 at 20, 60, 85 degrees."""
    mirrored = fresnel_reflectance(GLASS_INDEX, angle_deg=GEOMETRIES)
    assert mirrored == pytest.approx([0.04908, 0.10006, 0.61915], abs=5.1e-6)
    assert [float(gloss_units(GLASS_INDEX, angle_deg=angle)) for angle in GEOMETRIES] == pytest.approx([100.0] * 3)


@pytest.mark.parametrize(("index", "gloss"), [(1.50, (82.0, 89.1, 99.0)), (1.54, (92.7, 95.7, 99.6))])
def test_ideal_clear_coats(index: float, gloss: tuple[float, ...]) -> None:
    """Smooth clear coats of n 1.50 and 1.54 in GU at 20, 60 and 85 degrees, worked independently."""
    assert [float(gloss_units(index, angle_deg=angle)) for angle in GEOMETRIES] == pytest.approx(gloss, abs=0.051)


@pytest.mark.parametrize(
    ("angle", "gloss"), [(20.0, (82.0, 78.3, 68.2, 54.2, 25.9)), (60.0, (89.1, 88.0, 84.6, 79.3, 64.3))]
)
def test_fine_roughness(angle: float, gloss: tuple[float, ...]) -> None:
    """Rq 0, 10, 20, 30, 50 nm on n 1.50 at 550 nm, worked independently: 20 degrees sees micro-mar first."""
    found = gloss_units(1.5, angle_deg=angle, roughness_nm=[0, 10, 20, 30, 50])
    assert found == pytest.approx(gloss, abs=0.051)


def test_new_gloss_of_the_evidence_lies_between_the_ideal_coats() -> None:
    """The model's 20 degree gloss of cared-for paint lies between smooth coats of n 1.50 and 1.54."""
    low, high = (float(gloss_units(index)) for index in (1.50, 1.54))
    assert low <= figure("evidence.gloss_new").value <= high


def test_normal_incidence_and_grazing() -> None:
    """Fresnel by hand: ((n - 1) / (n + 1))^2 = 4 % for n 1.5 straight on, all of it at 90 degrees, nothing for n 1."""
    assert fresnel_reflectance(1.5, angle_deg=0.0) == pytest.approx(0.04)
    assert fresnel_reflectance(1.5, angle_deg=90.0) == pytest.approx(1.0)
    assert fresnel_reflectance(1.0, angle_deg=45.0) == pytest.approx(0.0)


@given(st.floats(1.3, 2.0), st.floats(0.0, 88.0), st.floats(0.0, 50.0), st.floats(0.0, 50.0))
@settings(max_examples=10)
def test_rougher_is_duller_and_denser_mirrors_more(index: float, angle: float, one: float, other: float) -> None:
    smooth, rough = sorted((one, other))
    gloss = gloss_units(index, angle_deg=angle, roughness_nm=[smooth, rough])
    assert gloss[0] >= gloss[1] >= 0.0
    assert 0.0 < fresnel_reflectance(index, angle_deg=angle) < 1.0


@given(st.floats(1.0, 50.0))
@settings(max_examples=10)
def test_roughness_comes_back_from_gloss(rough: float) -> None:
    gloss = float(gloss_units(1.5, roughness_nm=rough))
    assert roughness_of_gloss_nm(gloss, smooth_gu=float(gloss_units(1.5))) == pytest.approx(rough, rel=1e-6)
    assert roughness_of_gloss_nm(90.0, smooth_gu=82.0) == 0.0


def test_which_angle_to_measure_at() -> None:
    """ASTM D523 (summary): 20 degrees above 70 GU at 60, 85 degrees below 10 GU."""
    assert [best_geometry(gloss) for gloss in (89.0, 70.0, 40.0, 10.0, 5.0)] == [20.0, 60.0, 60.0, 60.0, 85.0]


@pytest.mark.parametrize(("index", "angle"), [(0.9, 20.0), (np.nan, 20.0), (1.5, 91.0), (1.5, -1.0)])
def test_impossible_optics_are_refused(index: float, angle: float) -> None:
    with pytest.raises(ValueError, match="refractive index of 1 or more"):
        fresnel_reflectance(index, angle_deg=angle)


def test_negative_roughness_and_gloss_are_refused() -> None:
    with pytest.raises(ValueError, match="0 or more"):
        gloss_units(1.5, roughness_nm=-1.0)
    with pytest.raises(ValueError, match="above 0"):
        roughness_of_gloss_nm(0.0, smooth_gu=82.0)
