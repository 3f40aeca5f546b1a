"""The normal distribution without scipy: the web process asks for forecasts and should start quickly."""

from __future__ import annotations

import math
from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.wear.types import FloatArray

STANDARD = NormalDist()
Z90 = STANDARD.inv_cdf(0.9)
_EDGE = 37.0
_PER_UNIT = 64


@cache
def _nodes() -> tuple[FloatArray, FloatArray]:
    """Distribution function and density at the nodes -37, -37 + 1/64, ..., 37."""
    z = np.arange(-int(_EDGE) * _PER_UNIT, int(_EDGE) * _PER_UNIT + 1) / _PER_UNIT
    below = np.array([0.5 * math.erfc(-one * math.sqrt(0.5)) for one in z.tolist()])
    return below, np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)


def cdf(z: ArrayLike) -> FloatArray:
    """Standard normal distribution function, elementwise.

    Taylor's series of six terms around the nearest of 4 737 nodes: within 1e-15 everywhere, and within 1e-9 of itself
    in the lower tail down to -12 (the series' coefficients are the Hermite polynomials). 0 and 1 beyond 37.
    """
    given = np.asarray(z, dtype=float)
    at = np.clip(given, -_EDGE, _EDGE)
    nearest = np.rint(at * _PER_UNIT)
    node = nearest / _PER_UNIT
    step = at - node
    below, density = _nodes()
    index = (nearest + _EDGE * _PER_UNIT).astype(np.intp)
    square = node * node
    # Hermite polynomials 1 to 5 with their signs, over the factorials.
    terms = (
        (square * (square - 6.0) + 3.0) / 120.0,
        -node * (square - 3.0) / 24.0,
        (square - 1.0) / 6.0,
        -node / 2.0,
    )
    series = -node * (square * (square - 10.0) + 15.0) / 720.0
    for term in terms:
        series = term + step * series
    series = 1.0 + step * series
    return np.asarray(np.clip(below[index] + density[index] * step * series, 0.0, 1.0), dtype=float)


def log_cdf(z: ArrayLike) -> FloatArray:
    """ln of the standard normal distribution function, elementwise; Laplace's series below -15."""
    at = np.asarray(z, dtype=float)
    low = np.minimum(at, -15.0)
    inverse = 1.0 / (low * low)
    series = 1.0 - inverse * (1.0 - 3.0 * inverse * (1.0 - 5.0 * inverse * (1.0 - 7.0 * inverse)))
    tail = -0.5 * low * low - np.log(-low) - 0.5 * math.log(2.0 * math.pi) + np.log(series)
    return np.asarray(np.where(at < -15.0, tail, np.log(cdf(np.maximum(at, -15.0)))), dtype=float)


def quantile(chance: float) -> float:
    """Standard normal quantile of a chance strictly between 0 and 1.

    Raises:
        statistics.StatisticsError: chance not inside (0, 1).
    """
    return STANDARD.inv_cdf(chance)


def lognormal_of_range(low: float, high: float) -> tuple[float, float]:
    """Median and sd of ln of the lognormal whose 10 % and 90 % points are `low` and `high` (0 < low <= high)."""
    return math.sqrt(low * high), math.log(high / low) / (2.0 * Z90)


def conjugate(*, mean: float, sd: float, seen: float, seen_sd: float) -> tuple[float, float]:
    """Mean and sd of a normal N(mean, sd^2) after one normal observation of it (Kalman's update with one state).

    Raises:
        ValueError: an sd not above 0.
    """
    if not (sd > 0 and seen_sd > 0):
        raise ValueError(f"sd is {sd} and seen_sd {seen_sd}; write spreads above 0.")
    gain = sd * sd / (sd * sd + seen_sd * seen_sd)
    return mean + gain * (seen - mean), sd * math.sqrt(1.0 - gain)


def exgaussian_log_density(*, lacking: ArrayLike, sd: float, mean_loss: float) -> FloatArray:
    """ln density of `lacking = loss + noise`: an exponential loss of mean `mean_loss` and normal noise of sd `sd`.

    The exponentially modified normal: `f(y) = r exp(r^2 s^2 / 2 - r y) Phi(y / s - r s)` with r = 1 / mean_loss. With
    no loss at all it is the normal density.
    """
    y = np.asarray(lacking, dtype=float)
    if mean_loss < 1e-3 * sd:
        return np.asarray(-0.5 * (y / sd) ** 2 - math.log(sd * math.sqrt(2.0 * math.pi)), dtype=float)
    rate = 1.0 / mean_loss
    return np.asarray(math.log(rate) + 0.5 * (rate * sd) ** 2 - rate * y + log_cdf(y / sd - rate * sd), dtype=float)
