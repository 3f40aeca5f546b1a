"""What a look says of a layer, and what the forecast before it had said. Pure.

Only looks by the studio after a decontamination are taken: on a merely washed surface "no beading" says little (grime
hides a coat), so that only the good answers would be left of them.

| look | tired (function left under 50 %) | end of useful life |
|---|---|---|
| water angle, 3 degrees or more off the angle of that state | above: no, below: yes | above: no, below: yes |
| beading score, whose angles lie wholly on one side of that angle | above: no, below: yes | above: no, below: yes |
| still works | nothing | no |
| works no more | yes | yes |

Looks of one day that disagree say nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Final

from lifecycle.wear import degradation as deg
from lifecycle.wear import normal
from lifecycle.wear.chemistry import Angles
from lifecycle.wear.figures import wear_value
from lifecycle.wear.spread import spread_value
from lifecycle.wear.types import DateBand

TIRED, END = "tired", "end"
DAYS_PER_MONTH: Final = 30.4375
LEVELS: Final = (0.1, 0.5, 0.9)


@dataclass(frozen=True, slots=True)
class Look:
    """Readings of one surface on one day: (kind, value) of water angles, beading scores and "still works"."""

    readings: tuple[tuple[str, float], ...]


def angle_of(what: str, angles: Angles) -> float:
    """Water angle, degrees, at which a layer becomes tired or comes to its end."""
    if what == END:
        return angles.end
    consumed = deg.consumed_at_function(0.5)
    return float(deg.angle_at(consumed, new_deg=angles.new, end_deg=angles.end, bare_deg=angles.bare))


def _score_range(score: int) -> tuple[float, float]:
    """Angles between which a beading score stands, degrees."""
    cuts = [-math.inf, *(wear_value(f"cut.{number}") for number in range(1, 6)), math.inf]
    return cuts[score], cuts[score + 1]


def seen(what: str, look: Look, angles: Angles | None) -> bool | None:
    """Whether a look says that the state was reached (True), not yet (False), or nothing (None)."""
    said = {answer for reading in look.readings for answer in _answers(what, reading, angles)}
    return said.pop() if len(said) == 1 else None


def _answers(what: str, reading: tuple[str, float], angles: Angles | None) -> Iterable[bool]:
    kind, value = reading
    if kind == "works":
        if value < 0.5:
            yield True
        elif what == END:
            yield False
    if angles is None:
        return
    at = angle_of(what, angles)
    if kind == "contact_angle_deg" and abs(value - at) >= spread_value("look.angle_margin"):
        yield value < at
    if kind == "beading_score":
        low, high = _score_range(round(value))
        if low >= at or high <= at:
            yield high <= at


def chance_by(on: date, *, applied: date, band: DateBand) -> float:
    """The chance that a forecast gave to a state being reached by a day.

    The three days of the band are points of the distribution; between them, and beyond along the outer pieces, the
    normal score is linear in ln of the layer's age, as the forecasts themselves are (lognormal lives).
    """
    ages = [max((day - applied).days, 0.5) / DAYS_PER_MONTH for day in (band.p10, band.p50, band.p90)]
    at = math.log(max((on - applied).days, 0.5) / DAYS_PER_MONTH)
    xs, zs = [math.log(age) for age in ages], [normal.quantile(level) for level in LEVELS]
    if xs[0] == xs[2]:
        return 1.0 if at >= xs[0] else 0.0
    piece = 0 if at < xs[1] else 1
    if xs[piece + 1] == xs[piece]:
        piece = 1 - piece
    slope = (zs[piece + 1] - zs[piece]) / (xs[piece + 1] - xs[piece])
    score = zs[piece] + (at - xs[piece]) * slope
    return 0.5 * math.erfc(-score / math.sqrt(2.0))
