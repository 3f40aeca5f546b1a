"""Degradation that is measured and not only seen to have ended: processes, pseudo lives, and growth to a plateau.

Increments X of a degradation over steps of time dt, independent of each other (Meeker & Escobar 1998, chapter 13;
Lawless & Crowder 2004 for the gamma and Wang & Xu 2010 for the inverse Gaussian process, both from memory):

| process | increment over dt | first passage of a limit |
|---|---|---|
| Wiener | N(mu dt, sigma2 dt) | inverse Gaussian, mean limit / mu |
| gamma | Gamma(shape rate x dt, scale) | P(T <= t) = P(X(t) >= limit), never falls |
| inverse Gaussian | IG(mean mu dt, shape eta dt^2) | the same, never falls |

scipy is imported where it is used.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.wear.reliability import fit_line
from lifecycle.wear.types import FloatArray


def pseudo_life(*, hours: ArrayLike, degradation: ArrayLike, limit: float) -> float:
    """Hours at which a straight line through one unit's degradation (free intercept) reaches a limit.

    Raises:
        ValueError: fewer than three read-outs, or a degradation that does not grow.
    """
    line = fit_line(hours, degradation)
    if line.slope <= 0:
        raise ValueError(f"the degradation does not grow (slope {line.slope:.3g}); no end can be told.")
    return (limit - line.intercept) / line.slope


def _steps(increments: ArrayLike, hours: ArrayLike) -> tuple[FloatArray, FloatArray]:
    grown, step = np.broadcast_arrays(np.asarray(increments, dtype=float), np.asarray(hours, dtype=float))
    if grown.size < 2 or not np.all(step > 0):
        raise ValueError("a process needs two increments or more, each over a time above 0.")
    return grown.ravel(), step.ravel()


@dataclass(frozen=True, slots=True)
class WienerProcess:
    """`drift` and `variance` per hour."""

    drift: float
    variance: float
    log_likelihood: float

    def mean_first_passage(self, limit: float) -> float:
        """Mean hours until the limit is first reached."""
        return limit / self.drift

    def chance_past(self, hours: float, limit: float) -> float:
        """P(the limit was reached by `hours`): the inverse Gaussian first passage."""
        from scipy.special import log_ndtr, ndtr

        spread = math.sqrt(self.variance * hours)
        beyond = float(log_ndtr(-(limit + self.drift * hours) / spread))
        mirrored = math.exp(2.0 * self.drift * limit / self.variance + beyond)
        return float(ndtr((self.drift * hours - limit) / spread)) + mirrored


def fit_wiener(increments: ArrayLike, *, hours: ArrayLike) -> WienerProcess:
    """Maximum likelihood in closed form. `hours` is the time of each increment (or of all).

    Raises:
        ValueError: fewer than two increments, or a time not above 0.
    """
    grown, step = _steps(increments, hours)
    drift = float(grown.sum() / step.sum())
    variance = float(np.mean((grown - drift * step) ** 2 / step))
    ln = -0.5 * np.sum(np.log(2.0 * math.pi * variance * step) + (grown - drift * step) ** 2 / (variance * step))
    return WienerProcess(drift, variance, float(ln))


@dataclass(frozen=True, slots=True)
class GammaProcess:
    """`shape_rate` per hour, `scale` in the unit of the degradation."""

    shape_rate: float
    scale: float
    log_likelihood: float

    def chance_past(self, hours: float, limit: float) -> float:
        """P(degradation >= limit) at `hours`."""
        from scipy.special import gammaincc

        return float(gammaincc(self.shape_rate * hours, limit / self.scale))

    def median_hours(self, limit: float) -> float:
        """Hours by which half of the units have reached the limit."""
        return _half_way(self, limit, start=limit / (self.shape_rate * self.scale))


@dataclass(frozen=True, slots=True)
class InverseGaussianProcess:
    """`drift` per hour, `eta` per hour squared."""

    drift: float
    eta: float
    log_likelihood: float

    def chance_past(self, hours: float, limit: float) -> float:
        """P(degradation >= limit) at `hours`."""
        from scipy.stats import invgauss

        mean, shape = self.drift * hours, self.eta * hours * hours
        return float(invgauss.sf(limit, mean / shape, scale=shape))

    def median_hours(self, limit: float) -> float:
        """Hours by which half of the units have reached the limit."""
        return _half_way(self, limit, start=limit / self.drift)


def _half_way(process: GammaProcess | InverseGaussianProcess, limit: float, *, start: float) -> float:
    from scipy.optimize import brentq

    return float(brentq(lambda hours: process.chance_past(hours, limit) - 0.5, 0.01 * start, 5.0 * start, xtol=1e-6))


def _rising(grown: FloatArray, name: str) -> None:
    if not np.all(grown > 0):
        raise ValueError(f"a {name} process never falls; {int(np.sum(grown <= 0))} increments are not above 0.")


def fit_gamma(increments: ArrayLike, *, hours: ArrayLike) -> GammaProcess:
    """Maximum likelihood: the scale follows from the mean, one equation is left for the shape.

    Raises:
        ValueError: an increment not above 0, fewer than two, or a time not above 0.
    """
    from scipy.optimize import brentq
    from scipy.special import digamma, gammaln

    grown, step = _steps(increments, hours)
    _rising(grown, "gamma")
    mean_rate = float(grown.sum() / step.sum())

    def slope(ln_rate: float) -> float:
        rate = math.exp(ln_rate)
        scale = mean_rate / rate
        return float(step @ (np.log(grown) - math.log(scale) - digamma(rate * step)))

    middle = math.log(1.0 / float(np.mean(step)))
    rate = math.exp(brentq(slope, middle - 15.0, middle + 15.0, xtol=1e-13))
    scale = mean_rate / rate
    shape = rate * step
    ln = np.sum((shape - 1.0) * np.log(grown) - grown / scale - shape * math.log(scale) - gammaln(shape))
    return GammaProcess(rate, scale, float(ln))


def fit_inverse_gaussian(increments: ArrayLike, *, hours: ArrayLike) -> InverseGaussianProcess:
    """Maximum likelihood in closed form.

    Raises:
        ValueError: an increment not above 0, fewer than two, or a time not above 0.
    """
    grown, step = _steps(increments, hours)
    _rising(grown, "inverse Gaussian")
    drift = float(grown.sum() / step.sum())
    off = (grown - drift * step) ** 2 / (drift**2 * grown)
    eta = float(grown.size / np.sum(off))
    ln = 0.5 * np.sum(np.log(eta * step**2 / (2.0 * math.pi * grown**3)) - eta * off)
    return InverseGaussianProcess(drift, eta, float(ln))


@dataclass(frozen=True, slots=True)
class Growth:
    """Damage `plateau (1 - exp(-(dose / dose_scale)^shape))`.

    `plateau` is None where the data do not show one: damage still grows at the highest dose, and any plateau from there
    on fits as well. `rmse` is that of the best fit inside `cap`.
    """

    plateau: float | None
    dose_scale: float | None
    shape: float
    rmse: float
    cap: float
    says: str


def growth_curve(dose: ArrayLike, *, plateau: float, dose_scale: float, shape: float) -> FloatArray:
    """Damage at a dose; 0 at dose 0."""
    ratio = np.maximum(np.asarray(dose, dtype=float), 0.0) / dose_scale
    return np.asarray(-plateau * np.expm1(-(ratio**shape)), dtype=float)


def fit_growth(dose: ArrayLike, damage: ArrayLike, *, cap: float) -> Growth:
    """Least squares of a growth to a plateau no higher than `cap`; says where no plateau can be told.

    Args:
        damage: growing from 0; its sign does not matter.

    Raises:
        ValueError: fewer than five points, or `cap` not above the largest damage.
    """
    from scipy.optimize import least_squares

    at, seen = np.asarray(dose, dtype=float), np.abs(np.asarray(damage, dtype=float))
    if len(at) < 5 or not cap > float(seen.max()):
        raise ValueError(f"a growth needs five points and a cap above the largest damage ({seen.max():.3g}).")

    def left(parameters: FloatArray) -> FloatArray:
        plateau, scale, shape = np.exp(parameters)
        return np.asarray(growth_curve(at, plateau=plateau, dose_scale=scale, shape=shape) - seen, dtype=float)

    top, reach, low = float(seen.max()), float(at.max()), math.log(1e-3)
    bounds = ([math.log(0.5 * top), low, math.log(0.05)], [math.log(cap), math.log(1e4 * reach), math.log(20.0)])
    starts: Sequence[tuple[float, float, float]] = [
        (plateau, scale * reach, shape)
        for plateau in (1.1 * top, 0.9 * cap)
        for scale in (0.3, 3.0)
        for shape in (0.9, 1.5)
    ]
    starts = [(min(max(plateau, 0.6 * top), 0.95 * cap), scale, shape) for plateau, scale, shape in starts]
    fits = [least_squares(left, np.log(start), bounds=bounds, xtol=1e-14, ftol=1e-14, gtol=1e-14) for start in starts]
    best = min(fits, key=lambda fit: float(fit.cost))
    plateau, scale, shape = (float(one) for one in np.exp(best.x))
    rmse = math.sqrt(2.0 * float(best.cost) / len(at))
    if plateau > 0.99 * cap:
        says = f"No plateau can be told: damage still grows at the highest dose, {reach:.3g}."
        return Growth(None, None, shape, rmse, cap, says)
    return Growth(plateau, scale, shape, rmse, cap, f"Damage levels off at {plateau:.3g}.")
