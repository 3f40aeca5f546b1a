"""Who comes back: how often a customer comes, whether they still do, and what a visit is worth. No Django in here.

A history is a customer's first day and the days of the visits after it: `x` visits, the last one `last` after the
first day, seen until `age` after it.

BG/NBD (Fader, Hardie & Lee 2005, Marketing Science 24(2)): visits at a rate of one's own, Gamma(r, alpha) among
customers; after each visit one stays away for good with a chance of one's own, Beta(a, b).

BG/BB (Fader, Hardie & Shang 2010, Marketing Science 29(6)): opportunities that come round, here every half year; one
comes to each with a chance Beta(alpha, beta) and drops out before each with a chance Beta(gamma, delta).

What a visit is worth stands in `spend`.

The parameters are those under which the histories are likeliest; with a `Prior` those most probable, so that a studio
with ten customers leans on the prior and one with a thousand hardly does.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from lifecycle.wear.types import FloatArray

FourNumbers = tuple[float, float, float, float]
NEAR = 1e-7  # a at 1 is a removable singularity of the expectation


@dataclass(frozen=True, slots=True)
class Prior:
    """Four numbers that people can judge, each normal on its own scale.

    Attributes:
        means, sds: BG/NBD: ln of visits a unit of time, ln r, logit of the mean chance to stay away after a visit,
            ln (a + b). BG/BB: logit of the mean chance to come, ln (alpha + beta), logit of the mean chance to drop
            out, ln (gamma + delta).
    """

    means: FourNumbers
    sds: FourNumbers


def _logit(share: float) -> float:
    return math.log(share / (1.0 - share))


def _expit(value: float) -> float:
    return 1.0 / (1.0 + math.exp(-value))


# Judgement, in months: 1.2 visits a year, one in seven stays away after a visit; each may be off by half or more.
MONTHLY_PRIOR = Prior(
    (math.log(1.2 / 12.0), math.log(1.5), _logit(0.15), math.log(5.0)), (0.5, 0.5, 0.6, 0.6)
)  # fmt: skip
# Judgement, per half year: every second opportunity is taken, one in twelve drops out.
HALF_YEAR_PRIOR = Prior((_logit(0.5), math.log(3.0), _logit(0.08), math.log(6.0)), (0.6, 0.6, 0.6, 0.6))


@dataclass(frozen=True, slots=True)
class BgNbd:
    """Fitted parameters; times in the unit of the histories. `loglik`: of the histories, without the prior."""

    r: float
    alpha: float
    a: float
    b: float
    loglik: float

    def alive(self, x: FloatArray, last: FloatArray, age: FloatArray) -> FloatArray:
        """Chance that the customer still comes; 1 where there was no visit after the first day."""
        return np.asarray(1.0 / (1.0 + self._odds_gone(x, last, age)))

    def _odds_gone(self, x: FloatArray, last: FloatArray, age: FloatArray) -> FloatArray:
        safe = np.where(x > 0, self.b + x - 1.0, 1.0)
        log_odds = math.log(self.a) - np.log(np.maximum(safe, NEAR)) + (self.r + x) * np.log(
            (self.alpha + age) / (self.alpha + last)
        )  # fmt: skip
        return np.where(x > 0, np.exp(np.minimum(log_odds, 500.0)), 0.0)

    def expected(self, time: float) -> float:
        """Visits that a new customer makes in `time`, the first day not counted."""
        return float(self._bracket(np.array(0.0), np.array(0.0), time))

    def visits_ahead(self, time: float, x: FloatArray, last: FloatArray, age: FloatArray) -> FloatArray:
        """Visits expected in the `time` after `age`, given the history."""
        return np.asarray(self._bracket(x, age, time) / (1.0 + self._odds_gone(x, last, age)))

    def _bracket(self, x: FloatArray, age: FloatArray, time: float) -> FloatArray:
        """(a+b+x-1)/(a-1) [1 - (1-z)^(r+x) 2F1(r+x, b+x; a+b+x-1; z)], by Euler's transformation of 2F1, whose terms
        stay small however many visits there were."""
        from scipy.special import hyp2f1

        a = self.a if abs(self.a - 1.0) > NEAR else 1.0 + NEAR
        z = time / (self.alpha + age + time)
        top = a + self.b + x - 1.0
        series = hyp2f1(a + self.b - 1.0 - self.r, a - 1.0, top, z)
        return np.asarray(top / (a - 1.0) * (1.0 - (1.0 - z) ** (a - 1.0) * series))

    def comes(self, time: float, x: FloatArray, last: FloatArray, age: FloatArray) -> FloatArray:
        """Chance of at least one visit in the `time` after `age`."""
        stays = ((self.alpha + age) / (self.alpha + age + time)) ** (self.r + x)
        return np.asarray(self.alive(x, last, age) * (1.0 - stays))


def bgnbd_loglik(params: FourNumbers, x: FloatArray, last: FloatArray, age: FloatArray) -> FloatArray:
    """ln likelihood of each history under (r, alpha, a, b)."""
    from scipy.special import gammaln

    r, alpha, a, b = params
    rate = gammaln(r + x) - gammaln(r) + r * math.log(alpha)
    stay = gammaln(a + b) + gammaln(b + x) - gammaln(b) - gammaln(a + b + x)
    here = -(r + x) * np.log(alpha + age)
    behind = math.log(a) - np.log(np.maximum(b + x - 1.0, NEAR)) - (r + x) * np.log(alpha + last)
    return np.asarray(rate + stay + np.where(x > 0, np.logaddexp(here, behind), here))


def fit_bgnbd(x: FloatArray, last: FloatArray, age: FloatArray, *, prior: Prior | None = None) -> BgNbd:
    """The BG/NBD parameters of these histories.

    Raises:
        ValueError: a history that cannot be, or none at all and no prior.
    """
    _check(x, last, age, prior)

    def params(free: FloatArray) -> FourNumbers:
        rate, r, drop, weight = (float(one) for one in free)
        share, total = _expit(drop), math.exp(weight)
        return math.exp(r), math.exp(r - rate), share * total, (1.0 - share) * total

    visits_a_time = max(float(x.sum()), 0.5) / max(float(age.sum()), 1e-9)
    start = prior.means if prior else (math.log(visits_a_time), 0.0, _logit(0.2), math.log(3.0))
    (x1, last1, age1), counts = _alike(x, last, age)
    free = _most_likely(lambda at: float(bgnbd_loglik(params(at), x1, last1, age1) @ counts), start, prior)
    found = params(free)
    return BgNbd(*found, loglik=float(bgnbd_loglik(found, x1, last1, age1) @ counts))


@dataclass(frozen=True, slots=True)
class BgBb:
    """Fitted parameters; histories in whole opportunities. `loglik`: of the histories, without the prior."""

    alpha: float
    beta: float
    gamma: float
    delta: float
    loglik: float

    @property
    def _params(self) -> FourNumbers:
        return self.alpha, self.beta, self.gamma, self.delta

    def alive(self, x: FloatArray, last: FloatArray, age: FloatArray) -> FloatArray:
        """Chance that the customer is still there at the next opportunity."""
        return np.asarray(np.exp(self._log_there(x, age, 1.0, 0.0) - bgbb_loglik(self._params, x, last, age)))

    def _log_there(self, x: FloatArray, age: FloatArray, ahead: float, more: float) -> FloatArray:
        """ln chance of the history, of being there `ahead` opportunities on, and of taking `more` of them."""
        from scipy.special import betaln

        took = betaln(self.alpha + x + more, self.beta + age - x) - betaln(self.alpha, self.beta)
        return np.asarray(took + betaln(self.gamma, self.delta + age + ahead) - betaln(self.gamma, self.delta))

    def visits_ahead(self, time: int, x: FloatArray, last: FloatArray, age: FloatArray) -> FloatArray:
        """Visits expected at the next `time` opportunities, given the history."""
        known = bgbb_loglik(self._params, x, last, age)
        return np.asarray(sum(np.exp(self._log_there(x, age, float(n), 1.0) - known) for n in range(1, time + 1)))

    def comes(self, time: int, x: FloatArray, last: FloatArray, age: FloatArray) -> FloatArray:
        """Chance of at least one visit at the next `time` opportunities."""
        none = bgbb_loglik(self._params, x, last, age + time) - bgbb_loglik(self._params, x, last, age)
        return np.asarray(1.0 - np.exp(none))


def bgbb_loglik(params: FourNumbers, x: FloatArray, last: FloatArray, age: FloatArray) -> FloatArray:
    """ln likelihood of each history under (alpha, beta, gamma, delta)."""
    from scipy.special import betaln

    alpha, beta, gamma, delta = params
    scale = betaln(alpha, beta) + betaln(gamma, delta)
    total = betaln(alpha + x, beta + age - x) + betaln(gamma, delta + age)
    for missed in range(int((age - last).max(initial=0.0))):
        gone = betaln(alpha + x, beta + last - x + missed) + betaln(gamma + 1.0, delta + last + missed)
        total = np.where(missed < age - last, np.logaddexp(total, gone), total)
    return np.asarray(total - scale)


def fit_bgbb(x: FloatArray, last: FloatArray, age: FloatArray, *, prior: Prior | None = None) -> BgBb:
    """The BG/BB parameters of these histories.

    Raises:
        ValueError: a history that cannot be, or none at all and no prior.
    """
    _check(x, last, age, prior)
    if np.any(x > last):
        raise ValueError("More visits than opportunities up to the last one; count one visit an opportunity.")

    def params(free: FloatArray) -> FourNumbers:
        come, come_weight, drop, drop_weight = (float(one) for one in free)
        p, p_total, q, q_total = _expit(come), math.exp(come_weight), _expit(drop), math.exp(drop_weight)
        return p * p_total, (1.0 - p) * p_total, q * q_total, (1.0 - q) * q_total

    start = prior.means if prior else (0.0, math.log(2.0), _logit(0.2), math.log(3.0))
    (x1, last1, age1), counts = _alike(x, last, age)
    free = _most_likely(lambda at: float(bgbb_loglik(params(at), x1, last1, age1) @ counts), start, prior)
    found = params(free)
    return BgBb(*found, loglik=float(bgbb_loglik(found, x1, last1, age1) @ counts))


def _check(x: FloatArray, last: FloatArray, age: FloatArray, prior: Prior | None) -> None:
    if not len(x) == len(last) == len(age):
        raise ValueError(f"{len(x)} counts, {len(last)} last visits, {len(age)} ages: give one of each per history.")
    if len(x) == 0 and prior is None:
        raise ValueError("No history at all: give a prior.")
    if np.any((x < 0) | (last < 0) | (last > age) | ((x == 0) & (last > 0)) | ((x > 0) & (last <= 0))):
        raise ValueError("A history needs 0 <= last <= age, and a last visit above 0 where there are visits.")


def _alike(*columns: FloatArray) -> tuple[list[FloatArray], FloatArray]:
    """Each kind of history once, with how often it occurs."""
    rows, counts = np.unique(np.column_stack(columns).astype(float), axis=0, return_counts=True)
    return list(rows.T), counts.astype(float)


def _most_likely(loglik: Callable[[FloatArray], float], start: FourNumbers, prior: Prior | None) -> FloatArray:
    """Where the likelihood, times the prior, is highest. Deterministic: one start, no chance."""
    from scipy.optimize import minimize

    middle, sds = np.array(start), np.array(prior.sds if prior else (1.0, 1.0, 1.0, 1.0))
    weight = 1.0 if prior else 0.0

    def loss(z: FloatArray) -> float:
        # Beyond e^8 of its scale a parameter changes nothing any more; the wall keeps the search finite.
        return -loglik(middle + sds * np.clip(z, -8.0, 8.0)) + 0.5 * weight * float(z @ z) + _beyond(z)

    found = minimize(loss, np.zeros(4), method="L-BFGS-B", options={"maxiter": 300, "ftol": 1e-13, "gtol": 1e-7})
    return np.asarray(middle + sds * np.clip(found.x, -8.0, 8.0))


def _beyond(z: FloatArray) -> float:
    over = np.maximum(np.abs(z) - 8.0, 0.0)
    return float(over @ over)
