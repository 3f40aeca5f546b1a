"""Our own picture scale of beading: drops on a surface, from a sheet of water to tight round beads.

Each picture is drawn from geometry: caps of a sphere of the same three volumes at the middle contact angle of its score
(`lifecycle.wear.drop`), seen from the side, and their wetted circles seen from above. At the lowest score the drops
have run together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from lifecycle.wear.drop import SCORES, Cap, cap, middle_angle_deg, score_range_deg

from .svg import el, join, number

WIDTH: Final = 120
GROUND: Final = 27.0
ABOVE_Y: Final = 49.0
SCALE: Final = 22.0  # px for the cube root of the largest drop's volume
VOLUMES: Final = (0.3, 1.0, 0.5)
FLATTEN: Final = 0.42  # the circles below are seen at a slant
RUN_TOGETHER: Final = 0


@dataclass(frozen=True, slots=True)
class BeadingOption:
    """One score with its words and its picture."""

    score: int
    title: str
    says: str
    picture: SafeString


@dataclass(frozen=True, slots=True)
class BeadingScale:
    """Radio buttons with pictures: `parts/beading_scale.html`. `chosen` None: not looked at."""

    name: str
    legend: str
    options: tuple[BeadingOption, ...]
    chosen: int | None = None
    error: str = ""
    described_by: str = ""


def _profile(place: float, shape: Cap, angle_deg: float) -> SafeString:
    """The outline of a drop from the side: an arc that meets the ground at the contact angle."""
    base, radius = shape.base * SCALE, shape.radius * SCALE
    arc = f"A{number(radius)} {number(radius)} 0 {int(angle_deg > 90)} 1 {number(place + base)} {number(GROUND)}"
    return el("path", d=f"M{number(place - base)} {number(GROUND)}{arc}z", class_="water")


def _from_above(place: float, shape: Cap, angle_deg: float) -> SafeString:
    reach = (shape.radius if angle_deg > 90 else shape.base) * SCALE
    return el("ellipse", cx=place, cy=ABOVE_Y, rx=reach, ry=reach * FLATTEN, class_="water")


def beading_picture(score: int) -> SafeString:
    """Drops at the middle contact angle of a score. Decorative: the words beside it say the same."""
    angle = middle_angle_deg(score)
    volumes = (sum(VOLUMES),) if score == RUN_TOGETHER else VOLUMES
    shapes = [cap(volume=volume, angle_deg=angle) for volume in volumes]
    reaches = [(shape.radius if angle > 90 else shape.base) * SCALE for shape in shapes]
    gap = min((WIDTH - 8 - 2 * sum(reaches)) / max(len(shapes) - 1, 1), 12.0)
    left = (WIDTH - 2 * sum(reaches) - gap * (len(shapes) - 1)) / 2
    parts = [el("path", d=f"M2 {number(GROUND)}H{WIDTH - 2}", class_="ground")]
    for shape, reach in zip(shapes, reaches, strict=True):
        parts += [_profile(left + reach, shape, angle), _from_above(left + reach, shape, angle)]
        left += 2 * reach + gap
    return el("svg", join(parts), class_="beads", viewBox=f"0 0 {WIDTH} 64", aria_hidden="true", focusable="false")


def _words() -> dict[int, tuple[str, str]]:
    return {
        0: (_("wets out"), _("Water lies as a sheet; no beads.")),
        1: (_("flat"), _("Wide, flat drops that hardly hold together.")),
        2: (_("low"), _("Low drops, flatter than half a ball.")),
        3: (_("half round"), _("Drops like half a ball.")),
        4: (_("round"), _("Round beads that begin to close below.")),
        5: (_("tight"), _("Tight, tall beads that stand on a small foot.")),
    }


def _angles(score: int) -> str:
    low, high = (math.floor(angle) for angle in score_range_deg(score))
    if score == SCORES[0]:
        return _("Below %(high)s°.") % {"high": high}
    if score == SCORES[-1]:
        return _("Above %(low)s°.") % {"low": low}
    return f"{low}–{high}°."


def beading_scale(
    name: str, *, legend: str = "", chosen: int | None = None, error: str = "", described_by: str = ""
) -> BeadingScale:
    """The scale as a field of a form.

    Args:
        name: of the field; it sends "0" to "5", or "" where nothing was looked at.
        legend: the question; empty: "How does water bead?".
    """
    words = _words()
    options = tuple(
        BeadingOption(score, words[score][0], f"{words[score][1]} {_angles(score)}", beading_picture(score))
        for score in SCORES
    )
    return BeadingScale(name, legend or _("How does water bead?"), options, chosen, error, described_by)
