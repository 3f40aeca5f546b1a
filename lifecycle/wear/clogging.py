"""Clogging: the second state of a surface, reversible where wear is not.

A film of traffic grime, minerals and silicone hides how a layer behaves. It grows with contamination,
`dc/dt = r K (1 - c)`, and a proper decontamination takes 70 to 95 % of it away (common practice). Repellency is lost
together with the cementing of dirt, and roughness from removable deposits without chemical change is published (16
months of industrial exposure of an automotive clear coat), so "no beading" on a dirty surface says little about wear.
"""

from __future__ import annotations

import math
from datetime import date

import numpy as np

from lifecycle.wear import normal
from lifecycle.wear.degradation import DAYS_PER_MONTH
from lifecycle.wear.figures import figure, wear_value
from lifecycle.wear.types import Band, FloatArray


def cleaned(level: float, *, removed: float) -> float:
    """Clogging after a decontamination that takes away the share `removed` (0 to 1)."""
    return level * (1.0 - removed)


def _course(contamination: FloatArray, cleanings: tuple[int, ...], *, rate: float, removed: float) -> float:
    level, since = 0.0, 0
    edges = [(day, removed) for day in sorted(cleanings)] + [(len(contamination), 0.0)]
    for day, taken in edges:
        grown = rate * float(np.sum(contamination[since:day])) / DAYS_PER_MONTH
        level = cleaned(1.0 - (1.0 - level) * math.exp(-grown), removed=taken)
        since = day
    return level


def clogging_band(*, contamination: FloatArray, cleanings: tuple[int, ...] = ()) -> Band:
    """Clogging (0 clean, 1 fully clogged) at the end of the days given.

    Args:
        contamination: stress ratio K of each day since the surface was last known to be clean (application of the first
            layer, repaint), shape (days,).
        cleanings: indices of the days on which it was decontaminated, before that day's growth counts.

    The band joins the spread of the growth with the range of what a decontamination removes.
    """
    removed, sd = figure("clog.removed"), wear_value("clog.rate_sd")
    inside = tuple(sorted({day for day in cleanings if 0 <= day <= len(contamination)}))
    corners = zip((-normal.Z90, 0.0, normal.Z90), (removed.high, removed.value, removed.low), strict=True)
    base = wear_value("clog.rate")
    return Band(*(_course(contamination, inside, rate=base * math.exp(z * sd), removed=take) for z, take in corners))


def chance_that_behaviour_returns(*, function_left: Band, clogging: Band) -> Band:
    """Chance that one decontamination brings useful behaviour back: what is left of the function, seen through what is
    left of the grime, is above the middle between a quarter (re-coat talk) and a half (a top-up is enough).

    Args:
        function_left: today's band of the layer.  clogging: today's band.

    The band takes a decontamination that removes 70, 85 and 95 % (common practice); the chance is normal in ln of the
    life consumed, fitted to the layer's band.
    """
    removed = figure("clog.removed")
    worn = Band(*(-math.log(max(left, 1e-9)) for left in (function_left.p90, function_left.p50, function_left.p10)))
    sd = max(math.log(max(worn.p90, 1e-9) / max(worn.p10, 1e-9)) / (2.0 * normal.Z90), 0.05)
    chances = []
    for share, level in ((removed.low, clogging.p90), (removed.value, clogging.p50), (removed.high, clogging.p10)):
        needed = wear_value("clog.useful") / max(1.0 - cleaned(level, removed=share), 1e-6)
        bound = -math.log(min(needed, 1.0 - 1e-9))
        chances.append(float(normal.cdf(math.log(bound / max(worn.p50, 1e-9)) / sd)))
    return Band(*sorted(chances))


def months_until_due(*, contamination_mean: float) -> float:
    """Months from a clean surface until clogging reaches the level at which a decontamination is due, at a steady K."""
    if contamination_mean <= 0:
        return math.inf
    return -math.log(1.0 - wear_value("clog.due")) / (wear_value("clog.rate") * contamination_mean)


def last_cleaning(days: tuple[date, ...], *, on: date) -> date | None:
    """The last decontamination on or before a day."""
    past = [day for day in days if day <= on]
    return max(past) if past else None
