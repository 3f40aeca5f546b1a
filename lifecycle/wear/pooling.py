"""Partial pooling on grids: the engine behind `durability`, which tells the model and its sources.

Histories in, for every site a posterior over (ln sigma, ln median) out. Grids are laid wide first and then around what
was found, so that two vehicles and two thousand are summed equally well.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lifecycle.wear import normal
from lifecycle.wear.types import FloatArray, Mark

MU_POINTS = 121
SIGMA_POINTS = 25
PASSES = 4
WIDE = 6.0
FLOOR = 1e-300
FAMILIES = ("lognormal", "weibull")
LN_LN_2 = math.log(math.log(2.0))


@dataclass(frozen=True, slots=True)
class History:
    """What is known of the end of one layer, in months at the reference duty since its application.

    It worked at `alive_months` (0: nobody looked) and had ended by `failed_months` (None: it still worked). `touched`:
    a polish or a top-up came between, so that the looks speak of something else; such histories are left out.
    """

    vehicle: str
    alive_months: float
    failed_months: float | None = None
    weight: float = 1.0
    touched: bool = False

    def __post_init__(self) -> None:
        end = math.inf if self.failed_months is None else self.failed_months
        if not (0.0 <= self.alive_months < end and 0.0 < self.weight <= 1.0):
            raise ValueError(
                f"{self.vehicle}: alive at {self.alive_months} and failed by {self.failed_months} months, weight "
                f"{self.weight}; write 0 <= alive < failed (None: still works) and a weight above 0, at most 1."
            )

    @property
    def says_nothing(self) -> bool:
        """Whether nobody has looked yet."""
        return self.alive_months == 0.0 and self.failed_months is None


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed of a product before its histories: see the module text. `mark` is that of the label's life."""

    median_months: float
    between_sd: float
    product_sd: float
    site_sd: float
    between_sd_ln: float
    family: str = "lognormal"
    mark: Mark = Mark.COMMON_PRACTICE

    def __post_init__(self) -> None:
        sds = (self.between_sd, self.product_sd, self.site_sd, self.between_sd_ln)
        if not (self.median_months > 0 and min(sds) > 0):
            raise ValueError(f"median_months is {self.median_months} and the spreads are {sds}; write all above 0.")
        if self.family not in FAMILIES:
            raise ValueError(f"family is {self.family!r}; use one of {', '.join(FAMILIES)}.")

    @property
    def site_median_sd(self) -> float:
        """sd of ln of one site's median before its histories."""
        return math.hypot(self.product_sd, self.site_sd)


def below_of(z: FloatArray, family: str) -> FloatArray:
    """Chance of a life below its quantile; z is ln of it less ln median, over the scale."""
    if family == "lognormal":
        return normal.cdf(z)
    return np.asarray(-np.expm1(-np.exp(np.minimum(z, 50.0) + LN_LN_2)), dtype=float)


def above_of(z: FloatArray, family: str) -> FloatArray:
    if family == "lognormal":
        return normal.cdf(-z)
    return np.asarray(np.exp(-np.exp(np.minimum(z, 50.0) + LN_LN_2)), dtype=float)


@dataclass(frozen=True, slots=True)
class Grid:
    """Points of ln median and of ln sigma."""

    mu: FloatArray
    ln_sigma: FloatArray


def chance_of(history: History, grid: Grid, family: str) -> FloatArray:
    """Chance of what was seen, shape (sigma, mu)."""
    sigma = np.exp(grid.ln_sigma)[:, None]
    above = np.ones((len(grid.ln_sigma), len(grid.mu)))
    if history.alive_months > 0.0:
        above = above_of((math.log(history.alive_months) - grid.mu[None, :]) / sigma, family)
    if history.failed_months is None:
        return above
    z = (math.log(history.failed_months) - grid.mu[None, :]) / sigma
    # The smaller tail of the two keeps its digits.
    return np.maximum(np.where(z > 0.0, above - above_of(z, family), below_of(z, family) - (1.0 - above)), 0.0)


def used_of(histories: Sequence[History]) -> list[tuple[History, float]]:
    """Histories that say something, with their weight; the surfaces of one vehicle share the weight of one."""
    told = [one for one in histories if not one.touched and not one.says_nothing]
    told.sort(key=lambda one: (one.vehicle, one.alive_months, one.failed_months or math.inf, one.weight))
    surfaces = Counter(one.vehicle for one in told)
    return [(one, one.weight / surfaces[one.vehicle]) for one in told]


def _terms(used: Sequence[tuple[History, float]], grid: Grid, family: str) -> FloatArray:
    """Weighted ln likelihood of each history, shape (histories, sigma, mu)."""
    # Surfaces that were coated and looked at on the same days have one history.
    ln_chance: dict[tuple[float, float | None], FloatArray] = {}
    for one, _ in used:
        seen = (one.alive_months, one.failed_months)
        if seen not in ln_chance:
            ln_chance[seen] = np.log(np.maximum(chance_of(one, grid, family), FLOOR))
    made = [weight * ln_chance[one.alive_months, one.failed_months] for one, weight in used]
    return np.array(made).reshape(len(made), len(grid.ln_sigma), len(grid.mu))


def weights_of(log_density: FloatArray) -> FloatArray:
    dense = np.exp(log_density - log_density.max())
    return np.asarray(dense / dense.sum(), dtype=float)


@dataclass(frozen=True, slots=True)
class Site:
    """One site on its grid: terms of its histories, the message of product and sister sites, and the posterior."""

    grid: Grid
    terms: FloatArray
    message: FloatArray

    @property
    def posterior(self) -> FloatArray:
        return weights_of(self.message + self.terms.sum(axis=0))

    def without(self, histories: Sequence[int]) -> FloatArray:
        """Posterior without some histories."""
        return weights_of(self.message + self.terms.sum(axis=0) - self.terms[list(histories)].sum(axis=0))


def _times(a: FloatArray, b: FloatArray) -> FloatArray:
    """Matrix product without threads: of matrices this small, waking them costs more than the work."""
    return np.asarray(np.einsum("ij,jk->ik", a, b), dtype=float)


def _messages(likelihoods: Sequence[FloatArray], grids: Sequence[Grid], prior: Prior) -> list[FloatArray]:
    """What the prior and the other sites say of each site's (sigma, mu), as ln."""
    label, ln_sigma = math.log(prior.median_months), grids[0].ln_sigma
    ln_sigma_prior = -0.5 * ((ln_sigma[:, None] - math.log(prior.between_sd)) / prior.between_sd_ln) ** 2
    if len(grids) == 1:
        return [ln_sigma_prior - 0.5 * ((grids[0].mu[None, :] - label) / prior.site_median_sd) ** 2]
    m = label + prior.product_sd * np.linspace(-WIDE, WIDE, 4 * MU_POINTS + 1)
    ln_prior = -0.5 * ((m - label) / prior.product_sd) ** 2
    kernels = [np.exp(-0.5 * ((grid.mu[:, None] - m[None, :]) / prior.site_sd) ** 2) for grid in grids]
    evidence = []
    for likelihood, kernel in zip(likelihoods, kernels, strict=True):
        top = likelihood.max()
        evidence.append(top + np.log(np.maximum(_times(np.exp(likelihood - top), kernel), FLOOR)))
    together = np.sum(evidence, axis=0) + ln_prior[None, :]
    made = []
    for own, kernel in zip(evidence, kernels, strict=True):
        rest = together - own
        message = np.log(np.maximum(_times(np.exp(rest - rest.max()), kernel.T), FLOOR))
        made.append(message + ln_sigma_prior)
    return made


def moments(points: FloatArray, weights: FloatArray) -> tuple[float, float]:
    mean = float(points @ weights)
    return mean, math.sqrt(max(float((points - mean) ** 2 @ weights), 0.0))


def _around(points: FloatArray, weights: FloatArray) -> FloatArray:
    """A grid of as many points around what was found: seven sds either way, and never less than two steps of the old
    grid, between whose points a sharp peak may hide."""
    middle, sd = moments(points, weights)
    reach = max(7.0 * sd, 2.0 * float(points[1] - points[0]))
    return np.asarray(middle + reach * np.linspace(-1.0, 1.0, len(points)), dtype=float)


def fit_sites(groups: Sequence[Sequence[tuple[History, float]]], prior: Prior) -> list[Site]:
    """All sites of one product on their grids: wide ones first, then drawn around what was found."""
    label, wide = math.log(prior.median_months), prior.site_median_sd
    ln_sigma = math.log(prior.between_sd) + prior.between_sd_ln * np.linspace(-4.0, 4.0, SIGMA_POINTS)
    grids = [Grid(label + wide * np.linspace(-WIDE, WIDE, MU_POINTS), ln_sigma) for _ in groups]
    sites: list[Site] = []
    for _ in range(PASSES):
        terms = [_terms(used, grid, prior.family) for used, grid in zip(groups, grids, strict=True)]
        messages = _messages([one.sum(axis=0) for one in terms], grids, prior)
        sites = [Site(*one) for one in zip(grids, terms, messages, strict=True)]
        # ln sigma is common; the last word on it is the same in every site's posterior.
        ln_sigma = _around(ln_sigma, sites[0].posterior.sum(axis=1))
        grids = [Grid(_around(site.grid.mu, site.posterior.sum(axis=0)), ln_sigma) for site in sites]
    return sites
