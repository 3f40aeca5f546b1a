"""The normal distribution without scipy: the web process asks for forecasts and should start quickly."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.wear.types import FloatArray

STANDARD = NormalDist()
Z90 = STANDARD.inv_cdf(0.9)


def cdf(z: ArrayLike) -> FloatArray:
    """Standard normal distribution function, elementwise (by `math.erf`, exact to double precision)."""
    scaled = np.asarray(z, dtype=float) * math.sqrt(0.5)
    erf = np.fromiter(map(math.erf, scaled.ravel().tolist()), dtype=float, count=scaled.size)
    return np.asarray(0.5 * (1.0 + erf.reshape(scaled.shape)), dtype=float)


def quantile(chance: float) -> float:
    """Standard normal quantile of a chance strictly between 0 and 1.

    Raises:
        statistics.StatisticsError: chance not inside (0, 1).
    """
    return STANDARD.inv_cdf(chance)


def lognormal_of_range(low: float, high: float) -> tuple[float, float]:
    """Median and sd of ln of the lognormal whose 10 % and 90 % points are `low` and `high` (0 < low <= high)."""
    return math.sqrt(low * high), math.log(high / low) / (2.0 * Z90)
