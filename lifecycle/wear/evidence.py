"""What somebody saw, and what it says about the vehicle's rate: an exact grid on ln kappa, no chance involved.

The life consumed at a reading is `kappa S / L`, so every observation is a likelihood of kappa alone. Readings count by
how clean the surface was: each log likelihood is multiplied by a weight (decontaminated 1, washed 0.5, dirty little, a
customer's own look a quarter at most), and away from a decontamination also by what the expected clogging leaves to
see.

| reading | likelihood of the life consumed D |
|---|---|
| contact angle | normal around the Cassie angle of D, sd 3 degrees for five drops; sd 8 and 5 lower where not clean |
| beading score 0-5, a customer's water test | ordered probit on the same angle, cuts 70/80/90/98/105 degrees |
| gloss at 20 degrees | fall of the layer, and fine scratches as a loss of their own: exponentially modified normal |
| still works | P(end not yet reached): right-censored |
| still works, later failed | P(end between the two): interval-censored |

Readings enter as a sum in a fixed order, so the order in which they were noted changes nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from lifecycle.wear import normal
from lifecycle.wear.chemistry import Angles
from lifecycle.wear.degradation import Rate, angle_at
from lifecycle.wear.figures import wear_value
from lifecycle.wear.spread import spread_value
from lifecycle.wear.types import FloatArray, ReadingInput

GRID_POINTS = 801
FLOOR = 1e-12
SAYS_LITTLE = 0.1
SCORES = (0, 1, 2, 3, 4, 5)
Likelihood = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True)
class Seen:
    """One reading laid on a layer's clock.

    `consumed_at_median` is D on that day for kappa = 1, `clogging` the expected level on that day. `glossy` says that
    the surface's gloss means something (paint with a clear coat); `contact_years` how much wash contact it has had
    since application, in years of the reference duty (None: not known), which is what dulls it beside the layer.
    """

    reading: ReadingInput
    consumed_at_median: float
    angles: Angles | None
    clogging: float = 0.0
    glossy: bool = True
    contact_years: float | None = None


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

    @property
    def life_change(self) -> float:
        """Change of the median life by the readings, as a share: 0.3 is 30 % longer."""
        return 1.0 / self.kappa_median - 1.0

    @property
    def narrowing(self) -> float:
        """Share of the prior's spread of ln life that the readings took away; negative where they disagree."""
        return 1.0 - self.ln_sd / self.prior_ln_sd


@dataclass(frozen=True, slots=True)
class Contribution:
    """What one reading would say if it were the only one: the change of the median life as a share."""

    on: date
    by: str
    weight: float
    life_change: float
    says: str


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


def gloss_log_likelihood(consumed: FloatArray, *, gloss_gu: float, contact_years: float | None = None) -> FloatArray:
    """ln likelihood of a 20 degree gloss for each life consumed.

    A shiny panel rules out a worn layer; a dull one may only be scratched. The gloss is what the layer leaves minus an
    exponential loss by fine scratches, whose mean grows with `contact_years` (years of the reference washing; None: a
    mean for unknown washing).
    """
    left = wear_value("evidence.gloss_new") - wear_value("evidence.gloss_fall") * np.minimum(consumed, 2.0)
    scratches = spread_value("gloss.mar_unknown")
    if contact_years is not None:
        scratches = spread_value("gloss.mar_per_year") * contact_years
    return normal.exgaussian_log_density(lacking=left - gloss_gu, sd=spread_value("gloss.sd"), mean_loss=scratches)


def _value_parts(seen: Seen, consumed: FloatArray) -> list[FloatArray]:
    """ln likelihoods of what was measured: angle, score, gloss."""
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
        parts.append(gloss_log_likelihood(consumed, gloss_gu=reading.gloss_gu, contact_years=seen.contact_years))
    return parts


def _past_end(consumed: FloatArray, *, edge: float | None = None) -> FloatArray:
    """Chance that a look calls a layer gone: a soft edge, a layer a tenth before its end is at times called gone, and
    the other way round."""
    return normal.cdf((consumed - 1.0) / (spread_value("look.edge") if edge is None else edge))


def _works_part(consumed: FloatArray, *, works: bool) -> FloatArray:
    gone = _past_end(consumed)
    return np.asarray(np.log(np.maximum(1.0 - gone if works else gone, FLOOR)), dtype=float)


def interval_log_likelihood(*, alive: FloatArray, failed: FloatArray, edge: float | None = None) -> FloatArray:
    """ln of the chance that the end came between two looks, from the life consumed at the one that said "works" and at
    the later one that said "failed". Both looks share one soft edge (`edge`, in life consumed; None: the table's)."""
    between = _past_end(failed, edge=edge) - _past_end(alive, edge=edge)
    return np.asarray(np.log(np.maximum(between, FLOOR)), dtype=float)


def log_likelihood(seen: Seen, consumed: FloatArray) -> FloatArray | None:
    """ln likelihood of a reading for each life consumed, unweighted; None where it says nothing about this layer."""
    parts = _value_parts(seen, consumed)
    if seen.reading.works is not None:
        parts.append(_works_part(consumed, works=seen.reading.works))
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


def _in_order(seen: Sequence[Seen]) -> list[Seen]:
    """Those that say something, in one order whatever the order they were given in."""
    told = [one for one in seen if one.consumed_at_median > 0 and weight_of(one) > 0]
    told = [one for one in told if log_likelihood(one, np.ones(1)) is not None]
    return sorted(told, key=lambda one: (one.consumed_at_median, repr(one)))


def _interval(told: Sequence[Seen]) -> tuple[Seen, Seen] | None:
    """The last "still works" and the first "failed" after it; None where there is no such pair, or where looks
    contradict each other (each then speaks for itself)."""
    alive = [one for one in told if one.reading.works is True]
    failed = [one for one in told if one.reading.works is False]
    if not alive or not failed or alive[-1].consumed_at_median >= failed[0].consumed_at_median:
        return None
    return alive[-1], failed[0]


def log_posterior_term(seen: Sequence[Seen], ln_kappa: FloatArray) -> FloatArray:
    """Sum of the weighted ln likelihoods of all readings for each ln kappa.

    A pair "still works", then "failed" counts as one interval at the lower of its two weights; what the other weighs
    more, it says alone.
    """
    return _ordered_term(_in_order(seen), ln_kappa)


def _ordered_term(told: Sequence[Seen], ln_kappa: FloatArray) -> FloatArray:
    kappa = np.exp(ln_kappa)
    pair, total = _interval(told), np.zeros_like(ln_kappa)
    shared = min(weight_of(one) for one in pair) if pair else 0.0
    if pair:
        alive, failed = (one.consumed_at_median * kappa for one in pair)
        total = total + shared * interval_log_likelihood(alive=alive, failed=failed)
    for one in told:
        consumed, weight = one.consumed_at_median * kappa, weight_of(one)
        for part in _value_parts(one, consumed):
            total = total + weight * part
        if one.reading.works is not None:
            left = weight - (shared if pair and any(one is other for other in pair) else 0.0)
            if left > 0:
                total = total + left * _works_part(consumed, works=one.reading.works)
    return total


def update(*, prior_ln_sd: float, seen: Sequence[Seen]) -> Posterior:
    """The rate after readings. Readings that say nothing about the layer are left out."""
    told = _in_order(seen)
    terms = [lambda ln_kappa: _ordered_term(told, ln_kappa)] if told else []
    after = grid_posterior(prior_ln_sd=prior_ln_sd, terms=terms)
    return replace(after, used=len(told), weight=sum(weight_of(one) for one in told))


def no_beading_without_decontamination(reading: ReadingInput) -> bool:
    """Whether a reading says "no beading" of a surface that was not decontaminated: clogged, wear unknown."""
    if reading.clean_state == "decontaminated":
        return False
    if reading.beading_score is not None:
        return reading.beading_score <= 1
    return reading.works is False


NUMBER_WORDS = ("no", "one", "two", "three", "four", "five", "six")


def _percent(share: float) -> int:
    """A share in words to the nearest 5 %, at least 5."""
    return max(round(abs(share) * 20) * 5, 5)


def evidence_sentence(posterior: Posterior) -> str:
    """One sentence on how readings moved the expected life, "" without readings."""
    if posterior.used == 0:
        return ""
    count = NUMBER_WORDS[posterior.used] if posterior.used < len(NUMBER_WORDS) else str(posterior.used)
    subject = f"{count.capitalize()} reading{'s' if posterior.used > 1 else ''}"
    if posterior.weight < SAYS_LITTLE:
        verb = "they say" if posterior.used > 1 else "it says"
        return f"{subject} of a surface that was not clean: {verb} little about wear."
    narrower = f", and the range about {_percent(posterior.narrowing)} % narrower" if posterior.narrowing > 0.1 else ""
    change = posterior.life_change
    if abs(change) < 0.03:
        kept = f"{subject} agreed with the estimate and left the expected life as it was"
        return f"{kept}{narrower.replace(', and', '; it made' if posterior.used == 1 else '; they made')}."
    mood = "longer" if change > 0 else "shorter"
    return f"{subject} made the expected life about {_percent(change)} % {mood} than habits alone tell{narrower}."


def _seen_words(reading: ReadingInput) -> str:
    said = []
    if reading.contact_angle_deg is not None:
        said.append(f"water contact angle {reading.contact_angle_deg:.0f}°")
    if reading.beading_score is not None:
        said.append(f"beading score {reading.beading_score} of 5")
    if reading.gloss_gu is not None:
        said.append(f"gloss {reading.gloss_gu:.0f} GU")
    if reading.works is not None:
        said.append("still works" if reading.works else "no longer works")
    return ", ".join(said)


def contributions(*, prior_ln_sd: float, seen: Sequence[Seen]) -> tuple[Contribution, ...]:
    """What each reading would say alone, by date: for the person who asks why the estimate moved.

    The parts do not add up to the whole: readings that agree share what they say.
    """
    made = []
    for one in sorted(_in_order(seen), key=lambda one: one.reading.on):
        change = update(prior_ln_sd=prior_ln_sd, seen=[one]).life_change
        moved = "leave the expected life as it is"
        if abs(change) >= 0.03:
            moved = f"make the expected life about {_percent(change)} % {'longer' if change > 0 else 'shorter'}"
        reading, who = one.reading, "the customer" if one.reading.by == "customer" else "the studio"
        says = f"{_seen_words(reading)}, {reading.clean_state}, seen by {who}: alone it would {moved}."
        made.append(Contribution(reading.on, reading.by, weight_of(one), change, says[0].upper() + says[1:]))
    return tuple(made)
