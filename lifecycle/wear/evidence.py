"""What somebody saw, and what it says about the vehicle's rate: an exact grid on ln kappa, no chance involved.

The life consumed at a reading is `kappa S / L`, so every observation is a likelihood of kappa alone. Readings count by
how clean the surface was: each log likelihood is multiplied by a weight (decontaminated 1, washed 0.5, dirty little, a
customer's own look a quarter at most), and away from a decontamination also by what the expected clogging leaves to
see.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from lifecycle.wear import normal
from lifecycle.wear.chemistry import Angles
from lifecycle.wear.degradation import Rate, angle_at
from lifecycle.wear.figures import wear_value
from lifecycle.wear.types import FloatArray, ReadingInput

GRID_POINTS = 801
FLOOR = 1e-12
SAYS_LITTLE = 0.1
SCORES = (0, 1, 2, 3, 4, 5)
Likelihood = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True)
class Seen:
    """One reading laid on a layer's clock: `consumed_at_median` is D on that day for kappa = 1, `clogging` the expected
    level on that day. `glossy` says that the surface's gloss means something (paint with a clear coat)."""

    reading: ReadingInput
    consumed_at_median: float
    angles: Angles | None
    clogging: float = 0.0
    glossy: bool = True


@dataclass(frozen=True, slots=True)
class Posterior:
    """The vehicle's rate after its readings. `used` counts those that said something, `weight` sums what they count."""

    rate: Rate
    ln_mean: float
    ln_sd: float
    prior_ln_sd: float
    used: int
    weight: float = 0.0

    @property
    def kappa_median(self) -> float:
        """Median rate: above 1 the vehicle wears faster than its habits and climate tell."""
        return math.exp(self.rate.ln_quantile(0.5))


def normal_log_likelihood(expected: FloatArray, *, seen: float, sd: float) -> FloatArray:
    """ln of the normal density of `seen` around each expected value, up to a constant."""
    return np.asarray(-0.5 * ((seen - expected) / sd) ** 2, dtype=float)


def score_chances(angle_deg: FloatArray, *, sd_deg: float) -> FloatArray:
    """Chance of each beading score 0 to 5 at an angle, shape (6, n): ordered probit with cuts 70/80/90/98/105
    degrees."""
    cuts = np.array([wear_value(f"cut.{number}") for number in range(1, 6)])
    below = normal.cdf((cuts[:, None] - np.atleast_1d(angle_deg)[None, :]) / sd_deg)
    edges = np.vstack([np.zeros_like(below[:1]), below, np.ones_like(below[:1])])
    return np.asarray(np.diff(edges, axis=0), dtype=float)


def weight_of(seen: Seen) -> float:
    """How much a reading counts, 0 to 1."""
    reading = seen.reading
    weight = wear_value(f"evidence.weight.{reading.clean_state}")
    if reading.by == "customer":
        most = wear_value("evidence.weight.customer")
        weight = min(weight, most) if reading.clean_state != "dirty" else weight * most
    if reading.clean_state != "decontaminated" and reading.works is not True:
        weight *= 1.0 - seen.clogging
    return weight


def _angle_terms(reading: ReadingInput) -> tuple[float, float, float]:
    """(bias of an angle, sd of a measured angle, sd behind a beading score), degrees."""
    drops = max(reading.drops, 1)
    measured = math.hypot(wear_value("evidence.operator_sd"), wear_value("evidence.drop_sd") / math.sqrt(drops))
    scored = wear_value("evidence.score_sd")
    bias = 0.0
    if reading.clean_state != "decontaminated":
        bias, measured = wear_value("evidence.dirty_bias"), wear_value("evidence.dirty_sd")
        scored = math.hypot(scored, measured)
    if reading.by == "customer":
        scored = max(scored, wear_value("evidence.customer_sd"))
    return bias, measured, scored


def log_likelihood(seen: Seen, consumed: FloatArray) -> FloatArray | None:
    """ln likelihood of a reading for each life consumed, unweighted; None where it says nothing about this layer."""
    reading, parts = seen.reading, list[FloatArray]()
    bias, measured_sd, score_sd = _angle_terms(reading)
    if seen.angles is not None and (reading.contact_angle_deg is not None or reading.beading_score is not None):
        angle = angle_at(consumed, new_deg=seen.angles.new, end_deg=seen.angles.end, bare_deg=seen.angles.bare) + bias
        if reading.contact_angle_deg is not None:
            parts.append(normal_log_likelihood(angle, seen=reading.contact_angle_deg, sd=measured_sd))
        if reading.beading_score is not None:
            chance = score_chances(angle, sd_deg=score_sd)[reading.beading_score]
            parts.append(np.log(np.maximum(chance, FLOOR)))
    if reading.gloss_gu is not None and seen.glossy and reading.clean_state != "dirty":
        gloss = wear_value("evidence.gloss_new") - wear_value("evidence.gloss_fall") * np.minimum(consumed, 2.0)
        parts.append(normal_log_likelihood(gloss, seen=reading.gloss_gu, sd=wear_value("evidence.gloss_sd")))
    if reading.works is not None:
        # A look has a soft edge: a layer a tenth before its end is at times called gone, and the other way round.
        past_end = normal.cdf((consumed - 1.0) / 0.1)
        parts.append(np.log(np.maximum(1.0 - past_end if reading.works else past_end, FLOOR)))
    return np.asarray(np.sum(parts, axis=0), dtype=float) if parts else None


def grid_posterior(*, prior_ln_sd: float, terms: Sequence[Likelihood], prior_ln_mean: float = 0.0) -> Posterior:
    """Posterior of ln kappa on a grid of six prior sds either way. `terms` map ln kappa to weighted ln likelihoods.

    Raises:
        ValueError: `prior_ln_sd` not above 0.
    """
    if not prior_ln_sd > 0:
        raise ValueError(f"prior_ln_sd is {prior_ln_sd}; write a spread above 0.")
    grid = prior_ln_mean + prior_ln_sd * np.linspace(-6.0, 6.0, GRID_POINTS)
    log_density = -0.5 * ((grid - prior_ln_mean) / prior_ln_sd) ** 2
    for term in terms:
        log_density = log_density + term(grid)
    density = np.exp(log_density - np.max(log_density))
    mass = 0.5 * (density[1:] + density[:-1])
    cumulative = np.concatenate(([0.0], np.cumsum(mass)))
    mean = float(np.sum(grid * density) / np.sum(density))
    sd = math.sqrt(float(np.sum((grid - mean) ** 2 * density) / np.sum(density)))
    return Posterior(Rate(grid, cumulative / cumulative[-1]), mean, sd, prior_ln_sd, len(terms))


def update(*, prior_ln_sd: float, seen: Sequence[Seen]) -> Posterior:
    """The rate after readings. Readings that say nothing about the layer are left out.

    Two sightings "still works" and then "has failed" make the interval between them; alone, the first is
    right-censored.
    """
    terms: list[Likelihood] = []
    total = 0.0
    for one in seen:
        weight = weight_of(one)
        if weight <= 0 or one.consumed_at_median <= 0 or log_likelihood(one, np.ones(1)) is None:
            continue

        def term(ln_kappa: FloatArray, one: Seen = one, weight: float = weight) -> FloatArray:
            return weight * np.asarray(log_likelihood(one, np.exp(ln_kappa) * one.consumed_at_median))

        terms.append(term)
        total += weight
    return replace(grid_posterior(prior_ln_sd=prior_ln_sd, terms=terms), weight=total)


def no_beading_without_decontamination(reading: ReadingInput) -> bool:
    """Whether a reading says "no beading" of a surface that was not decontaminated: clogged, wear unknown."""
    if reading.clean_state == "decontaminated":
        return False
    if reading.beading_score is not None:
        return reading.beading_score <= 1
    return reading.works is False


NUMBER_WORDS = ("no", "one", "two", "three", "four", "five", "six")


def evidence_sentence(posterior: Posterior) -> str:
    """One sentence on how readings moved the expected life, "" without readings."""
    if posterior.used == 0:
        return ""
    count = NUMBER_WORDS[posterior.used] if posterior.used < len(NUMBER_WORDS) else str(posterior.used)
    subject = f"{count.capitalize()} reading{'s' if posterior.used > 1 else ''}"
    if posterior.weight < SAYS_LITTLE:
        verb = "they say" if posterior.used > 1 else "it says"
        return f"{subject} of a surface that was not clean: {verb} little about wear."
    change = 1.0 / posterior.kappa_median - 1.0
    if abs(change) < 0.03:
        return f"{subject} agreed with the estimate and left the expected life as it was."
    mood = "longer" if change > 0 else "shorter"
    return (
        f"{subject} made the expected life about {max(round(abs(change) * 20) * 5, 5)} % {mood} than habits alone tell."
    )
