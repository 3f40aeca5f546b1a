"""What a visit of a customer is worth: Gamma-Gamma where many came again and paid, else a median. No Django in here.

Gamma-Gamma (Fader, Hardie & Lee 2005, J. Marketing Research 42(4); Fader & Hardie 2013, "The Gamma-Gamma Model of
Monetary Value"): amounts of one customer vary with shape p; their means vary among customers with shape q and scale v.
It takes for granted that who comes often does not pay more or less a visit; `correlation` says how far that holds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from lifecycle.wear.types import FloatArray

# Judgement: under 30 customers with two paid visits or more the three parameters are too loose; the median stands in.
FEWEST_REPEATERS = 30


@dataclass(frozen=True, slots=True)
class GammaGamma:
    """Fitted parameters; amounts in the unit of the data."""

    p: float
    q: float
    v: float
    loglik: float

    @property
    def mean(self) -> float:
        """Mean amount of a visit over all customers; infinite where q <= 1."""
        return self.p * self.v / (self.q - 1.0) if self.q > 1.0 else math.inf

    def value(self, x: FloatArray, mean_paid: FloatArray) -> FloatArray:
        """Expected amount of a visit of customers who paid `mean_paid` on average over `x` visits (0: none yet)."""
        weight = self.p * x + self.q - 1.0
        return np.asarray(self.p * (self.v + x * mean_paid) / weight)


Three = tuple[float, float, float]


def gamma_gamma_loglik(params: Three, x: FloatArray, mean_paid: FloatArray) -> FloatArray:
    """ln likelihood of each customer's mean amount over `x` visits under (p, q, v)."""
    from scipy.special import gammaln

    p, q, v = params
    return np.asarray(
        gammaln(p * x + q) - gammaln(p * x) - gammaln(q) + q * math.log(v) + (p * x - 1.0) * np.log(mean_paid)
        + p * x * np.log(x) - (p * x + q) * np.log(x * mean_paid + v)
    )  # fmt: skip


def amounts_loglik(params: Three, x: FloatArray, mean_paid: FloatArray, mean_log: FloatArray) -> FloatArray:
    """ln likelihood of each customer's single amounts: the same model, told more. `mean_log`: mean of their logs."""
    from scipy.special import gammaln

    p, q, v = params
    return np.asarray(
        gammaln(p * x + q) - x * gammaln(p) - gammaln(q) + q * math.log(v) + (p - 1.0) * x * mean_log
        - (p * x + q) * np.log(x * mean_paid + v)
    )  # fmt: skip


def fit_gamma_gamma(x: FloatArray, mean_paid: FloatArray, mean_log: FloatArray | None = None) -> GammaGamma:
    """The Gamma-Gamma parameters of customers with `x` >= 1 paid visits of `mean_paid` > 0 on average.

    Args:
        mean_log: mean of the logs of the single amounts, where they are known. Means alone cannot tell one customer's
            spread from the spread among customers if all came equally often.

    Raises:
        ValueError: no customer, or a count or an amount that cannot be.
    """
    from scipy.optimize import minimize

    if len(x) == 0 or len(x) != len(mean_paid) or np.any(x < 1) or np.any(mean_paid <= 0):
        raise ValueError("Give customers with at least one paid visit each, and their mean amounts above 0.")
    scale = float(np.median(mean_paid))

    def loglik(params: Three, unit: float) -> float:
        if mean_log is None:
            return float(gamma_gamma_loglik(params, x, mean_paid / unit).sum())
        return float(amounts_loglik(params, x, mean_paid / unit, mean_log - math.log(unit)).sum())

    def loss(free: FloatArray) -> float:
        p, q, v = np.exp(np.clip(free, -8.0, 8.0))
        return -loglik((p, q, v), scale)

    found = minimize(
        loss, np.log([3.0, 3.0, 1.0]), method="L-BFGS-B", options={"maxiter": 500, "ftol": 1e-13, "gtol": 1e-7}
    )
    p, q, v = (float(one) for one in np.exp(np.clip(found.x, -8.0, 8.0)))
    return GammaGamma(p, q, v * scale, loglik=loglik((p, q, v * scale), 1.0))


def correlation(x: FloatArray, mean_paid: FloatArray) -> float:
    """Correlation of how often and how much; 0 where it cannot be told."""
    if len(x) < 3 or np.ptp(x) == 0 or np.ptp(mean_paid) == 0:
        return 0.0
    return float(np.corrcoef(x, mean_paid)[0, 1])
