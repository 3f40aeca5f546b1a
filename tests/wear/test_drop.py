"""The cap of a drop against textbook geometry, and the angles behind the beading scores."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lifecycle.wear.drop import SCORES, cap, middle_angle_deg, score_range_deg


def test_half_a_ball_a_whole_ball_and_a_sheet() -> None:
    """Volume of a ball 4/3 pi r^3; a cap of any angle has the volume of its slices."""
    assert cap(volume=2 / 3 * math.pi, angle_deg=90).radius == pytest.approx(1)
    assert cap(volume=2 / 3 * math.pi, angle_deg=90).height == pytest.approx(1)
    ball = cap(volume=4 / 3 * math.pi, angle_deg=180)
    assert (ball.radius, ball.base, ball.height) == pytest.approx((1, 0, 2))
    for angle in (20.0, 75.0, 112.0):
        drop = cap(volume=1, angle_deg=angle)
        heights = np.linspace(0, drop.height, 20_001)
        centre = drop.height - drop.radius
        slices = np.pi * (drop.radius**2 - (heights - centre) ** 2)
        assert float(np.trapezoid(slices, heights)) == pytest.approx(1, rel=1e-6)
        assert drop.base == pytest.approx(math.sqrt(drop.radius**2 - centre**2))


def test_the_scores_cover_the_angles_without_a_gap_and_drops_rise_with_them() -> None:
    ranges = [score_range_deg(score) for score in SCORES]
    assert [low for low, _ in ranges] == [0, 70, 80, 90, 98, 105]  # the cuts of the evidence model
    assert [high for _, high in ranges[:-1]] == [low for low, _ in ranges[1:]]
    heights = [cap(volume=1, angle_deg=middle_angle_deg(score)).height for score in SCORES]
    assert heights == sorted(heights)
    with pytest.raises(ValueError, match="no beading score"):
        score_range_deg(6)
    with pytest.raises(ValueError, match="cannot be drawn"):
        cap(volume=1, angle_deg=0)
