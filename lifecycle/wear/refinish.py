"""Was a panel painted again? What its readings say beside those of its neighbours.

A second coat of paint reads thicker than the panels beside it, and a blended repair reads unevenly. One car's panels
from the factory differ by less than two plants of one model do (published: 114 to 140 against 157 to 216 µm); the
bounds are judgement. The answer is a likelihood in words, never a verdict on a person or a contract.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from lifecycle.wear.clearcoat import GAUGES, film_over_um, reads_clear
from lifecycle.wear.figures import figure, wear_value
from lifecycle.wear.stack import PAINTED, LiveLayer
from lifecycle.wear.types import Mark, SurfaceInput

READ_LAYERS = "read the layers with ultrasound before anything is polished"


@dataclass(frozen=True, slots=True)
class RefinishSign:
    """What readings say of one panel. `word`: likely, possible, thin or "" (as its neighbours); `above_um` over the
    median of the others, negative below; `spread_um` sd of its own readings; `says` one sentence, "" without a sign."""

    code: str
    word: str
    above_um: float
    spread_um: float
    says: str
    mark: Mark = Mark.JUDGEMENT


def _paint_um(surface: SurfaceInput, stack: Sequence[LiveLayer]) -> tuple[float, float] | None:
    """Mean and sd of the whole paint, µm, without the film on it; None where the readings do not speak of it."""
    thickness = surface.thickness
    if thickness is None or not thickness.values or surface.substrate not in PAINTED:
        return None
    if surface.substrate not in GAUGES[thickness.method] or reads_clear(thickness) or min(thickness.values) <= 0:
        return None
    values = np.asarray(thickness.values, dtype=float)
    film = film_over_um(stack, on=thickness.on)
    return float(values.mean()) - (film.value if film else 0.0), float(values.std(ddof=1)) if len(values) > 1 else 0.0


def _sign(code: str, above: float, spread: float) -> RefinishSign:
    name, uneven = code.replace("_", " "), spread > wear_value("refinish.spread")
    likely, possible = wear_value("refinish.above"), wear_value("refinish.possible")
    beside = f"The {name} reads about {abs(above):.0f} µm {'above' if above >= 0 else 'below'} its neighbours"
    uneven_words = " and unevenly" if uneven else ""
    if above > likely or (above > possible and uneven):
        return RefinishSign(
            code, "likely", above, spread, f"{beside}{uneven_words}: likely painted again; {READ_LAYERS}."
        )
    if above > possible or uneven:
        says = f"{beside}{uneven_words}: it may have been painted again; ask, and {READ_LAYERS}."
        return RefinishSign(code, "possible", above, spread, says)
    if above < -wear_value("refinish.thin"):
        return RefinishSign(code, "thin", above, spread, f"{beside}: polished hard before, or another part.")
    return RefinishSign(code, "", above, spread, "")


def refinish_signs(
    surfaces: Sequence[SurfaceInput], *, stacks: Mapping[str, Sequence[LiveLayer]] | None = None
) -> dict[str, RefinishSign]:
    """A sign for each panel that can be compared with at least two others, by surface code.

    Left out: what a gauge cannot read (a magnetic or eddy probe on plastic), ultrasonic readings of the clear coat
    alone, surfaces without paint. A film on the paint on the day of the reading is taken off the reading.

    Args:
        stacks: layers by surface code, from `stack.layers_of`, to know the films.
    """
    read = {}
    for surface in surfaces:
        found = _paint_um(surface, (stacks or {}).get(surface.code, ()))
        if found is not None:
            read[surface.code] = found
    least = round(figure("refinish.others").value)
    signs = {}
    for code, (mean, spread) in read.items():
        others = [other for name, (other, _) in read.items() if name != code]
        if len(others) >= least:
            signs[code] = _sign(code, mean - float(np.median(others)), spread)
    return signs
