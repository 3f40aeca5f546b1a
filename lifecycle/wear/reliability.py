"""Fits of lives that nobody saw end: censored Weibull and lognormal lives, accelerated lives, plots and lines.

Log-location-scale models `ln t = location + scale z` with z of the smallest extreme value (Weibull) or the standard
normal (lognormal) distribution, fitted by maximum likelihood to any mixture of exact, right-, left- and interval-
censored lives (Meeker & Escobar 1998, chapters 7, 8 and 19; NIST/SEMATECH e-Handbook, section 8.4). For the bench and
for whoever studies a product's tests; the forecasts themselves do not need them. scipy is imported where it is used.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.wear import normal
from lifecycle.wear.types import FloatArray

FAMILIES = ("weibull", "lognormal")
BOLTZMANN_EV_K = 8.617e-5
ZERO_C_IN_K = 273.16
"""Constants as NIST/SEMATECH uses them, so that its examples come out."""
_FLOOR = 1e-300


@dataclass(frozen=True, slots=True)
class Lives:
    """Lives known between `lower` and `upper`: equal where the end was seen, `upper` infinite where it has not come,
    `lower` 0 where it had come before the first look."""

    lower: FloatArray
    upper: FloatArray

    def __post_init__(self) -> None:
        lower, upper = np.asarray(self.lower), np.asarray(self.upper)
        sound = lower.shape == upper.shape and lower.ndim == 1 and lower.size > 0
        if not sound or not np.all((lower >= 0) & (upper >= lower) & (upper > 0)) or np.any(np.isinf(lower)):
            raise ValueError("Lives need lower and upper of one length, 0 <= lower <= upper and upper above 0.")

    @property
    def ends(self) -> int:
        """How many are known to have ended."""
        return int(np.sum(np.isfinite(self.upper)))


def lives(
    *, ended: Sequence[float] = (), alive: Sequence[float] = (), between: Sequence[tuple[float, float]] = ()
) -> Lives:
    """Lives from ends that were seen, from ages still alive, and from (works, failed) pairs of ages.

    Raises:
        ValueError: no life at all, or an age below 0.
    """
    lower = np.array([*ended, *alive, *(low for low, _ in between)], dtype=float)
    upper = np.array([*ended, *(math.inf for _ in alive), *(high for _, high in between)], dtype=float)
    return Lives(lower, upper)


@dataclass(frozen=True, slots=True)
class LifeFit:
    """A fitted log-location-scale model: `ln t = coefficients . x + scale z`.

    `covariance` is that of (coefficients, ln scale) by the observed information. `log_likelihood` is in the unit of the
    lives (densities per unit of time, not of ln time).
    """

    family: str
    coefficients: tuple[float, ...]
    scale: float
    covariance: FloatArray
    log_likelihood: float
    ends: int
    lives: int

    @property
    def location(self) -> float:
        """The first coefficient: the location, or the intercept."""
        return self.coefficients[0]

    @property
    def parameters(self) -> int:
        """How many were fitted."""
        return len(self.coefficients) + 1

    @property
    def aic(self) -> float:
        """Akaike's criterion."""
        return 2.0 * self.parameters - 2.0 * self.log_likelihood

    @property
    def standard_errors(self) -> tuple[float, ...]:
        """Of the coefficients, then of ln scale."""
        return tuple(float(one) for one in np.sqrt(np.diag(self.covariance)))

    @property
    def weibull_shape(self) -> float:
        """beta of `F(t) = 1 - exp(-(t / eta)^beta)`."""
        return 1.0 / self.scale

    @property
    def weibull_scale(self) -> float:
        """eta, in the unit of the lives (without a covariate)."""
        return math.exp(self.location)

    def wald(self, *, chance: float = 0.95) -> dict[str, tuple[float, float]]:
        """Wald intervals on the log scale: of exp(location) and of 1 / scale (eta and beta of a Weibull)."""
        z = normal.quantile(0.5 + chance / 2.0)
        ln_scale, errors = math.log(self.scale), self.standard_errors
        return {
            "exp_location": (math.exp(self.location - z * errors[0]), math.exp(self.location + z * errors[0])),
            "inverse_scale": (math.exp(-ln_scale - z * errors[-1]), math.exp(-ln_scale + z * errors[-1])),
        }

    def quantile(self, chance: float, *covariates: float) -> float:
        """Life that `chance` do not exceed, at given covariates."""
        centre = float(np.dot(self.coefficients, (1.0, *covariates)))
        z = normal.quantile(chance) if self.family == "lognormal" else math.log(-math.log1p(-chance))
        return math.exp(centre + self.scale * z)


def _ln_density(z: FloatArray, family: str) -> FloatArray:
    if family == "lognormal":
        return np.asarray(-0.5 * z * z - 0.5 * math.log(2.0 * math.pi), dtype=float)
    return np.asarray(z - np.exp(np.minimum(z, 700.0)), dtype=float)


def _ln_above(z: FloatArray, family: str) -> FloatArray:
    return normal.log_cdf(-z) if family == "lognormal" else np.asarray(-np.exp(np.minimum(z, 700.0)), dtype=float)


def _ln_between(low: FloatArray, high: FloatArray, family: str) -> FloatArray:
    """ln(S(low) - S(high)), from the tail that keeps its digits."""
    if family == "lognormal":
        flip = low + high > 0.0
        low, high = np.where(flip, -high, low), np.where(flip, -low, high)
        top, bottom = normal.log_cdf(high), normal.log_cdf(low)
    else:
        top, bottom = _ln_above(low, family), _ln_above(high, family)
    return np.asarray(top + np.log(np.maximum(-np.expm1(np.minimum(bottom - top, 0.0)), _FLOOR)), dtype=float)


def log_likelihood(data: Lives, *, location: ArrayLike, scale: float, family: str) -> float:
    """ln likelihood of lives at a location (one, or one each) and a scale of ln life."""
    centre = np.broadcast_to(np.asarray(location, dtype=float), data.lower.shape)
    with np.errstate(divide="ignore"):
        low, high = (np.log(data.lower) - centre) / scale, (np.log(data.upper) - centre) / scale
    exact, open_ = data.lower == data.upper, np.isinf(data.upper)
    started = data.lower == 0.0
    total = float(np.sum(_ln_density(low[exact], family) - np.log(scale * data.lower[exact])))
    total += float(np.sum(_ln_above(low[open_ & ~started], family)))
    inside = ~exact & ~open_
    first = np.where(started, -1e9, low)
    return total + float(np.sum(_ln_between(first[inside], high[inside], family)))


def hessian(function: Callable[[FloatArray], float], at: FloatArray) -> FloatArray:
    """Second derivatives by central differences with Richardson's extrapolation of two steps."""
    count = len(at)

    def plain(step: float) -> FloatArray:
        steps = step * np.maximum(np.abs(at), 1.0)
        made = np.empty((count, count))
        for i in range(count):
            for j in range(i + 1):
                a, b = np.zeros(count), np.zeros(count)
                a[i], b[j] = steps[i], steps[j]
                corners = function(at + a + b) - function(at + a - b) - function(at - a + b) + function(at - a - b)
                made[i, j] = made[j, i] = corners / (4.0 * steps[i] * steps[j])
        return made

    return np.asarray((4.0 * plain(1e-3) - plain(2e-3)) / 3.0, dtype=float)


def fit_lives(data: Lives, *, family: str = "weibull", covariates: Sequence[ArrayLike] = ()) -> LifeFit:
    """Maximum likelihood of censored lives, if need be with covariates of the location (an accelerated-life model).

    Args:
        covariates: one array each of the lives' length; the constant is added.

    Raises:
        ValueError: an unknown family, fewer ends than coefficients, or a fit that does not close.
    """
    from scipy.optimize import minimize

    if family not in FAMILIES:
        raise ValueError(f"family is {family!r}; use one of {', '.join(FAMILIES)}.")
    columns = [np.ones(len(data.lower)), *(np.asarray(one, dtype=float) for one in covariates)]
    if any(column.shape != data.lower.shape for column in columns):
        raise ValueError(f"each covariate needs {len(data.lower)} values, one for each life.")
    if data.ends < len(columns):
        raise ValueError(f"{data.ends} ends cannot carry {len(columns)} coefficients; watch longer or fit fewer.")
    design = np.column_stack(columns)
    # Covariates are centred and scaled for the search alone: a slope of 10 beside an intercept of -20 is steep terrain.
    shift = np.concatenate(([0.0], design[:, 1:].mean(axis=0)))
    width = np.concatenate(([1.0], np.maximum(design[:, 1:].std(axis=0), 1e-12)))
    scaled = (design - shift) / width
    known = np.where(
        np.isinf(data.upper), data.lower, np.where(data.lower > 0, np.sqrt(data.lower * data.upper), data.upper / 2)
    )
    guess, *_ = np.linalg.lstsq(scaled, np.log(known), rcond=None)

    def minus(parameters: FloatArray) -> float:
        centre, scale = scaled @ parameters[:-1], math.exp(min(max(float(parameters[-1]), -20.0), 20.0))
        return -log_likelihood(data, location=centre, scale=scale, family=family)

    start = np.append(guess, math.log(max(float(np.std(np.log(known) - scaled @ guess)), 0.1)))
    rough = minimize(minus, start, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-9, "maxiter": 20_000})
    best = _newton(minus, np.asarray(rough.x, dtype=float))
    information = hessian(minus, best)
    if not np.all(np.linalg.eigvalsh(information) > 0):
        raise ValueError("the likelihood has no inner maximum: too few ends to fit this model.")
    # Back to the given covariates: b_j / width_j, and the intercept without the shift.
    back = np.eye(len(best))
    back[range(1, len(columns)), range(1, len(columns))] = 1.0 / width[1:]
    back[0, 1 : len(columns)] = -shift[1:] / width[1:]
    given = back @ best
    return LifeFit(
        family=family,
        coefficients=tuple(float(one) for one in given[:-1]),
        scale=math.exp(float(best[-1])),
        covariance=back @ np.linalg.inv(information) @ back.T,
        log_likelihood=-minus(best),
        ends=data.ends,
        lives=len(data.lower),
    )


def _newton(function: Callable[[FloatArray], float], start: FloatArray) -> FloatArray:
    """A few Newton steps from near the minimum; a step that does not help is not taken."""
    at = start
    for _ in range(8):
        steps = 1e-4 * np.maximum(np.abs(at), 1.0)
        slope = np.array(
            [(function(at + step) - function(at - step)) / (2.0 * step.sum()) for step in np.diag(steps)], dtype=float
        )
        try:
            move = np.linalg.solve(hessian(function, at), slope)
        except np.linalg.LinAlgError:
            return at
        if not function(at - move) <= function(at) + 1e-12 or float(np.max(np.abs(move))) < 1e-10:
            return at
        at = at - move
    return at


@dataclass(frozen=True, slots=True)
class RatioTest:
    """Likelihood-ratio test of a smaller model inside a larger one."""

    statistic: float
    freedom: int
    chance: float


def likelihood_ratio(*, smaller: Sequence[LifeFit], larger: Sequence[LifeFit]) -> RatioTest:
    """Whether `larger` (for example one fit per temperature) says more than `smaller` (one joint fit)."""
    from scipy.stats import chi2

    statistic = 2.0 * (sum(one.log_likelihood for one in larger) - sum(one.log_likelihood for one in smaller))
    freedom = sum(one.parameters for one in larger) - sum(one.parameters for one in smaller)
    return RatioTest(statistic, freedom, float(chi2.sf(statistic, freedom)))


def inverse_temperature(celsius: ArrayLike) -> FloatArray:
    """1 / (k T) in 1/eV: the covariate whose coefficient is the activation energy in eV."""
    return np.asarray(1.0 / (BOLTZMANN_EV_K * (np.asarray(celsius, dtype=float) + ZERO_C_IN_K)), dtype=float)


@dataclass(frozen=True, slots=True)
class Line:
    """A line of y over x: `errors` are the standard errors of (intercept, slope), `residual_sd` on `freedom`
    degrees."""

    intercept: float
    slope: float
    errors: tuple[float, float]
    residual_sd: float
    freedom: int
    r_squared: float


def fit_line(x: ArrayLike, y: ArrayLike, *, weights: ArrayLike = 1.0) -> Line:
    """Least squares of one line, weighted where weights are given.

    Raises:
        ValueError: fewer than three points, all x alike, or a weight not above 0.
    """
    at, seen = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    count = np.broadcast_to(np.asarray(weights, dtype=float), at.shape)
    if len(at) < 3 or float(np.ptp(at)) == 0.0 or not np.all(count > 0):
        raise ValueError("a line needs three points, two different x and weights above 0.")
    total = float(count.sum())
    middle, height = float(count @ at) / total, float(count @ seen) / total
    spread = float(count @ (at - middle) ** 2)
    slope = float(count @ ((at - middle) * (seen - height))) / spread
    left = seen - height - slope * (at - middle)
    freedom = len(at) - 2
    sd = math.sqrt(float(count @ left**2) / freedom)
    errors = (sd * math.sqrt(1.0 / total + middle**2 / spread), sd / math.sqrt(spread))
    whole = float(count @ (seen - height) ** 2)
    unexplained = float(count @ left**2) / whole if whole > 0 else 0.0
    return Line(height - slope * middle, slope, errors, sd, freedom, 1.0 - unexplained)


def median_rank_line(*, ended: ArrayLike, of: int, family: str = "weibull") -> Line:
    """Probability plot of the first ends among `of` units that ran at least as long: plotting positions
    `(i - 0.3) / (n + 0.4)`; a Weibull has y = ln(-ln(1 - F)) over x = ln t, a lognormal y = ln t over x = Phi^-1(F)."""
    times = np.sort(np.asarray(ended, dtype=float))
    ranks = (np.arange(1, len(times) + 1) - 0.3) / (of + 0.4)
    if family == "weibull":
        return fit_line(np.log(times), np.log(-np.log1p(-ranks)))
    return fit_line(np.array([normal.quantile(float(rank)) for rank in ranks]), np.log(times))
