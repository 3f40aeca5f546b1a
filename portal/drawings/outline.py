"""The outline of a vehicle seen from above, nose to the left, from a few lengths per body. Our own simple shape.

Lengths are shares of the drawing's length, widths shares of half the body's width. The flanks are folded out a
little, so that doors and sills can be seen; a plan, not a portrait.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

Point = tuple[float, float]

LENGTH: Final = 324.0
X0: Final = 8.0
MIDDLE: Final = 86.0
HALF: Final = 60.0


@dataclass(frozen=True, slots=True)
class Body:
    """Where along the vehicle each part ends, from the nose (0) to the tail (1).

    `roof_end` to `rear_glass` is the rear window; `rear_glass` to `tail` the boot, bed or tailgate. `open_bed` for
    a bed behind the cabin, `doors` the number on each side.
    """

    bonnet: float
    screen: float
    roof_end: float
    rear_glass: float
    tail: float = 0.95
    doors: int = 2
    open_bed: bool = False
    width: float = 1.0


BODIES: Final = {
    "saloon": Body(0.30, 0.43, 0.68, 0.80),
    "estate": Body(0.28, 0.40, 0.86, 0.92),
    "hatch": Body(0.28, 0.41, 0.80, 0.89),
    "suv": Body(0.27, 0.38, 0.85, 0.92, width=1.08),
    "van": Body(0.15, 0.27, 0.92, 0.95, tail=0.97, width=1.1),
    "pickup": Body(0.26, 0.36, 0.57, 0.61, open_bed=True, width=1.06),
    "roadster": Body(0.38, 0.49, 0.66, 0.74, doors=1, width=0.96),
    "coupe": Body(0.33, 0.47, 0.68, 0.83, doors=1),
}
NOSE: Final = 0.055
# Where the outline bends: towards the nose and the tail.
BENDS: Final = (0.008, 0.02, 0.04, 0.07, 0.11, 0.17, 0.90, 0.94, 0.965, 0.985, 0.995)


def body_of(name: str) -> Body:
    """The lengths of a body; words that nobody has drawn yet get the saloon's, with a few spellings understood."""
    word = name.lower().replace("-", "").replace("_", "").replace(" ", "").replace("é", "e")
    for known, body in BODIES.items():
        if known in word:
            return body
    if any(part in word for part in ("cabrio", "convertible", "spider")):
        return BODIES["roadster"]
    if "wagon" in word or "kombi" in word:
        return BODIES["estate"]
    return BODIES["saloon"]


def half_width(share: float, body: Body) -> float:
    """Half the body's width at a share of its length: full in the middle, drawn in towards nose and tail."""
    front, rear = 0.17, 0.11
    drawn_in = 0.0
    if share < front:
        drawn_in = 0.16 * (1 - share / front) ** 2 + 0.26 * (1 - share / front) ** 9
    elif share > 1 - rear:
        back = 1 - (1 - share) / rear
        drawn_in = 0.10 * back**2 + 0.16 * back**8
    return HALF * body.width * (1 - drawn_in)


def _at(share: float, across: float, body: Body) -> Point:
    return X0 + LENGTH * share, MIDDLE + across * half_width(share, body)


def strip(start: float, end: float, inner: tuple[float, float], outer: tuple[float, float], body: Body) -> list[Point]:
    """A piece between two stations along the vehicle and two lines across it, each from its start to its end value.

    `inner` and `outer` are shares of the half width, negative for the right-hand side (above, nose to the left).
    """
    bends = [share for share in BENDS if start < share < end]
    along = [start, *bends, end]
    slope = [(x - start) / (end - start) for x in along]
    first = [_at(x, inner[0] + (inner[1] - inner[0]) * t, body) for x, t in zip(along, slope, strict=True)]
    second = [_at(x, outer[0] + (outer[1] - outer[0]) * t, body) for x, t in zip(along, slope, strict=True)]
    return first + second[::-1]


def regions(body: Body) -> dict[str, list[list[Point]]]:
    """Every region that can be drawn, by name, each as one or more outlines."""
    b = body
    both = lambda start, end, edge: strip(start, end, (-edge[0], -edge[1]), edge, b)  # noqa: E731
    front_door = b.screen - 0.02
    cabin_end = b.roof_end + (0.02 if not b.open_bed else 0.04)
    split = (front_door + cabin_end) / 2 + 0.01 if b.doors == 2 else cabin_end
    side: dict[str, list[list[Point]]] = {}
    for name, sign in (("left", 1.0), ("right", -1.0)):
        across = lambda start, end, inner, outer, s=sign: strip(  # noqa: E731
            start, end, (inner[0] * s, inner[1] * s), (outer[0] * s, outer[1] * s), b
        )
        side[f"front_wing_{name}"] = [across(NOSE, front_door, (0.70, 0.72), (1.0, 1.0))]
        side[f"front_door_{name}"] = [across(front_door, split, (0.77, 0.77), (1.0, 1.0))]
        if b.doors == 2:
            side[f"rear_door_{name}"] = [across(split, cabin_end, (0.77, 0.77), (1.0, 1.0))]
        side[f"rear_wing_{name}"] = [across(cabin_end, b.tail, (0.77, 0.72), (1.0, 1.0))]
        side[f"sill_{name}"] = [across(0.27, 0.72, (1.05, 1.05), (1.15, 1.15))]
        side[f"side_glass_{name}"] = [across(b.screen - 0.05, b.roof_end + 0.03, (0.60, 0.58), (0.74, 0.74))]
        side[f"headlamp_{name}"] = [across(0.025, 0.085, (0.55, 0.62), (0.86, 0.93))]
        side[f"wheels_{name}"] = [across(start, start + 0.13, (1.05, 1.05), (1.24, 1.24)) for start in (0.115, 0.735)]
    return {
        "front_bumper": [both(0.0, NOSE, (1.0, 1.0))],
        "bonnet": [both(NOSE, b.bonnet, (0.68, 0.70))],
        "windscreen": [both(b.bonnet, b.screen, (0.70, 0.57))],
        "roof": [both(b.screen, b.roof_end, (0.57, 0.55))],
        "rear_glass": [both(b.roof_end, b.rear_glass, (0.55, 0.70))],
        "boot": [both(b.rear_glass, b.tail, (0.70, 0.70))],
        "rear_bumper": [both(b.tail, 1.0, (1.0, 1.0))],
        **side,
    }


def silhouette(body: Body) -> list[Point]:
    """The whole body's outline."""
    return strip(0.0, 1.0, (-1.0, -1.0), (1.0, 1.0), body)
