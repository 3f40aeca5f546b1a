"""Where an item of a package goes: a word for a group of surfaces, or the surfaces by their names. Pure."""

from __future__ import annotations

from collections.abc import Collection
from types import MappingProxyType
from typing import Final

from lifecycle.care.facts import BODY_SIDES, PAINTABLE

WHERE: Final = MappingProxyType(
    {
        "painted": "painted panels",
        "windscreen": "windscreen",
        "other_glass": "side and rear glass",
        "glass": "all glass",
        "wheels": "wheels",
        "trim": "plastic trim",
        "headlamps": "headlamps",
        "leather": "leather",
        "textile": "textile and soft top",
        "engine_bay": "engine bay",
        "codes": "the surfaces named",
    }
)
PARTS: Final = ("trim", "headlamp", "engine", "wheel")  # plastic and metal that is not paint


def goes_on(where: str, codes: Collection[str], *, code: str, orientation: str, substrate: str) -> bool:
    """Whether an item goes onto a surface.

    Args:
        where: a word of `WHERE`.  codes: the surfaces' codes for "codes", else without meaning.
        code, orientation, substrate: of the surface.

    Raises:
        ValueError: an unknown word.
    """
    if where not in WHERE:
        raise ValueError(f"where is {where!r}; use one of {', '.join(WHERE)}.")
    if where == "codes":
        return code in codes
    if where == "painted":
        part = any(word in code for word in PARTS)
        return substrate in PAINTABLE and orientation in BODY_SIDES and not part
    if where in ("windscreen", "other_glass", "glass"):
        screen = orientation == "screen"
        return substrate == "glass" and (where == "glass" or screen == (where == "windscreen"))
    if where in ("leather", "textile"):
        return substrate == where
    if where == "wheels":
        return orientation == "wheel"
    return {"trim": "trim", "headlamps": "headlamp", "engine_bay": "engine"}[where] in code
