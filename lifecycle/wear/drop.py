"""A drop of water on a surface as a cap of a sphere, and the contact angles behind the beading scores.

A small drop (below about 10 µl) is hardly flattened by its weight and stands as a spherical cap that meets the surface
at the contact angle (textbook geometry, from memory). The scores 0 to 5 are cut at 70/80/90/98/105 degrees (`cut.*`
of the wear table). The lowest score reaches down to a full wetting of 0 degrees, the highest up to 119: the steepest
that a smooth surface of close-packed CF3 groups shows (Nishino et al., Langmuir 15, 1999; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from lifecycle.wear.figures import wear_value

SCORES: Final = (0, 1, 2, 3, 4, 5)
STEEPEST_DEG: Final = 119.0


@dataclass(frozen=True, slots=True)
class Cap:
    """A spherical cap: radius of the sphere, of the wetted circle, and height, all in the cube root of the volume's
    unit."""

    radius: float
    base: float
    height: float


def score_range_deg(score: int) -> tuple[float, float]:
    """The contact angles, degrees, that a beading score stands for.

    Raises:
        ValueError: no score from 0 to 5.
    """
    if score not in SCORES:
        raise ValueError(f"{score} is no beading score; scores go from 0 to 5.")
    low = 0.0 if score == 0 else wear_value(f"cut.{score}")
    return low, STEEPEST_DEG if score == SCORES[-1] else wear_value(f"cut.{score + 1}")


def middle_angle_deg(score: int) -> float:
    """The middle of a score's contact angles, degrees."""
    low, high = score_range_deg(score)
    return (low + high) / 2.0


def cap(*, volume: float, angle_deg: float) -> Cap:
    """The spherical cap of a volume at a contact angle: `V = pi R^3 (2 + cos a)(1 - cos a)^2 / 3`.

    Raises:
        ValueError: volume not above 0, or an angle outside 0 (excluded) to 180 degrees.
    """
    if not volume > 0 or not 0 < angle_deg <= 180:
        raise ValueError(f"a cap of volume {volume} at {angle_deg} degrees cannot be drawn.")
    cosine = math.cos(math.radians(angle_deg))
    radius = (3.0 * volume / (math.pi * (2.0 + cosine) * (1.0 - cosine) ** 2)) ** (1.0 / 3.0)
    return Cap(radius, radius * math.sin(math.radians(angle_deg)), radius * (1.0 - cosine))
