"""The surfaces that a body usually has, with how each lies and what it is made of (common practice, no source).

A start for the record, so that nobody types twenty lines; each surface can be changed afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

BODIES: Final = ("saloon", "estate", "hatch", "suv", "van", "pickup", "roadster", "coupe")


@dataclass(frozen=True, slots=True)
class SurfacePreset:
    """`usual`: most studios put something on it, so a form ticks it beforehand."""

    code: str
    orientation: str
    substrate: str
    usual: bool


def _preset(code: str, orientation: str, substrate: str, *, usual: bool = False) -> SurfacePreset:
    return SurfacePreset(code, orientation, substrate, usual)


BONNET: Final = _preset("bonnet", "flat", "steel", usual=True)
ROOF: Final = _preset("roof", "flat", "steel", usual=True)
BOOT: Final = _preset("boot", "flat", "steel", usual=True)
TAILGATE: Final = _preset("tailgate", "rear", "steel", usual=True)
BED: Final = _preset("bed", "flat", "steel")
SOFT_TOP: Final = _preset("soft_top", "flat", "textile", usual=True)
HARD_ROOF: Final = _preset("roof", "flat", "steel")
SIDES: Final = (
    _preset("front_wings", "side", "steel", usual=True),
    _preset("doors_left", "side", "steel", usual=True),
    _preset("doors_right", "side", "steel", usual=True),
)
REAR_WINGS: Final = _preset("rear_wings", "side", "steel", usual=True)
PANELS: Final = (_preset("side_panel_left", "side", "steel"), _preset("side_panel_right", "side", "steel"))
LOW: Final = (
    _preset("sills", "sill", "steel", usual=True),
    _preset("front_bumper", "front", "plastic", usual=True),
    _preset("rear_bumper", "rear", "plastic", usual=True),
)
WINDSCREEN: Final = _preset("windscreen", "screen", "glass", usual=True)
SIDE_GLASS: Final = _preset("side_glass", "side", "glass")
REAR_GLASS: Final = _preset("rear_glass", "rear", "glass")
PARTS: Final = (
    _preset("headlamps", "front", "plastic"),
    _preset("wheels", "wheel", "aluminium", usual=True),
    _preset("trim", "side", "plastic"),
    _preset("leather", "inside", "leather"),
    _preset("interior", "inside", "textile"),
    _preset("engine_bay", "inside", "plastic"),
)
TOP: Final = {
    "saloon": (ROOF, BOOT),
    "estate": (ROOF, TAILGATE),
    "hatch": (ROOF, TAILGATE),
    "suv": (ROOF, TAILGATE),
    "van": (ROOF, TAILGATE),
    "pickup": (ROOF, BED, TAILGATE),
    "roadster": (SOFT_TOP, HARD_ROOF, BOOT),
    "coupe": (ROOF, BOOT),
}


def presets_of(body: str) -> tuple[SurfacePreset, ...]:
    """The usual surfaces of a body, from the front to the parts; those of a saloon where the word is not known."""
    flanks = PANELS if body == "van" else (REAR_WINGS,)
    glass = (WINDSCREEN, SIDE_GLASS, REAR_GLASS)
    return (BONNET, *TOP.get(body, TOP["saloon"]), *SIDES, *flanks, *LOW, *glass, *PARTS)
