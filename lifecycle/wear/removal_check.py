"""What readings before and after a correction say of its removal, beside the estimate of its grade.

The mean of n readings has the standard uncertainty of their spread over the root of n together with the gauge's own
(worked example: spot sd 2.5, n = 5, gauge 1.0 gives 1.50 µm). The difference of two such means is known to about
2.1 µm, so a polish of 1 to 2 µm cannot be told from none: the ledger keeps the estimate, readings only check it. Both
are weighed by their precision, as a Kalman filter does with one reading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from lifecycle.wear import normal
from lifecycle.wear.clearcoat import reads_clear, spot_uncertainty_um
from lifecycle.wear.figures import figure
from lifecycle.wear.types import Band, Thickness

# One-sided 95 %: a removal below this many standard uncertainties may be nothing at all.
Z95 = 1.6449


@dataclass(frozen=True, slots=True)
class RemovalCheck:
    """`measured_um` and `weighed_um` as 10-50-90 % bands (a measured difference may be negative), `sd_um` the standard
    uncertainty of the difference, `least_seen_um` the smallest removal that these readings can tell from none."""

    estimate_um: Band
    measured_um: Band
    weighed_um: Band
    sd_um: float
    least_seen_um: float
    says: str


def weigh(*, mean: float, sd: float, seen: float, seen_sd: float) -> tuple[float, float]:
    """Mean and sd of a normal estimate after one normal reading, each weighed by its precision.

    Raises:
        ValueError: an sd of zero or less.
    """
    if sd <= 0 or seen_sd <= 0:
        raise ValueError(f"sd is {sd}, seen_sd is {seen_sd}; both must be above 0.")
    gain = sd**2 / (sd**2 + seen_sd**2)
    return mean + gain * (seen - mean), math.sqrt(1.0 - gain) * sd


def _band(mean: float, sd: float) -> Band:
    return Band(*(mean + z * sd for z in (-normal.Z90, 0.0, normal.Z90)))


def _says(measured: float, sd: float, least: float, estimate: Band) -> str:
    said = f"Measured {measured:+.1f} µm, give or take {normal.Z90 * sd:.1f}"
    if estimate.p90 < least:
        said += (
            f". These readings cannot see less than about {least:.1f} µm, so a removal of {estimate.p10:.1f} to "
            f"{estimate.p90:.1f} µm does not show: the ledger keeps the estimate"
        )
    if measured - estimate.p90 > normal.Z90 * sd:
        return f"{said}. That is more than the estimate allows: read again, and look for an edge or a repair."
    if estimate.p10 - measured > normal.Z90 * sd:
        return f"{said}. That is less than the estimate: was the same spot read, with the same gauge?"
    return f"{said}. It does not speak against the estimate."


def check_removal(before: Thickness, after: Thickness, *, stage: str, passes: int = 1) -> RemovalCheck:
    """Measured against estimated removal of one correction, µm.

    Raises:
        ValueError: no readings on one side, or one side reads the whole film and the other the clear coat alone.
    """
    if not before.values or not after.values:
        raise ValueError("readings are missing before or after; nothing can be compared.")
    if reads_clear(before) != reads_clear(after):
        raise ValueError("one side reads the whole film and the other the clear coat alone; they cannot be compared.")
    one = figure(f"removal.{stage}")
    mean, sd = passes * one.value, passes * (one.high - one.low) / (2.0 * normal.Z90)
    seen = float(np.mean(before.values) - np.mean(after.values))
    seen_sd = math.hypot(spot_uncertainty_um(before), spot_uncertainty_um(after))
    weighed, weighed_sd = weigh(mean=mean, sd=sd, seen=seen, seen_sd=seen_sd)
    estimate = _band(mean, sd)
    least = Z95 * seen_sd
    return RemovalCheck(
        estimate_um=estimate,
        measured_um=_band(seen, seen_sd),
        weighed_um=_clipped(_band(weighed, weighed_sd)),
        sd_um=seen_sd,
        least_seen_um=least,
        says=_says(seen, seen_sd, least, estimate),
    )


def _clipped(band: Band) -> Band:
    return Band(max(band.p10, 0.0), max(band.p50, 0.0), max(band.p90, 0.0))
