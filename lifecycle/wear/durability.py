"""Durability learned here: the median life of a product at each site, from the studio's own inspections.

Nobody sees the day on which a layer ends. A look says that it still works (right-censored) or that it has ended since
the last look (interval-censored). Time is counted in months at the reference duty, so that a hard-used vehicle and a
spared one speak of the same life.

Model, for vehicle i at site s with a product of labelled median life L0:

    ln life_i ~ N(mu_s, sigma^2)                        (or Weibull with the same median and scale of ln)
    mu_s      ~ N(m, site_sd^2)                         how one site's hands and water move it
    m         ~ N(ln L0, product_sd^2)                  how far the label may be off
    ln sigma  ~ N(ln between_sd, between_sd_ln^2)       how much vehicles differ

Everything is summed over grids of m, mu_s and ln sigma that are laid twice, the second time around what the first
found: no chance, no iteration that could fail, the same answer on every machine. Partial pooling follows by itself: a
site with two vehicles leans on the label and on its sister sites, one with two hundred hardly does. Vehicles with
several surfaces count once: their histories share the weight of one.

References: normal-normal partial pooling and interval-censored likelihoods as in Meeker & Escobar 1998 (chapters 3, 7
and 14); residuals of Cox & Snell 1968 for the calibration.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from lifecycle.wear.degradation import Life
from lifecycle.wear.figures import wear_value
from lifecycle.wear.pooling import (
    FLOOR,
    Grid,
    History,
    Prior,
    Site,
    below_of,
    chance_of,
    fit_sites,
    moments,
    used_of,
)
from lifecycle.wear.spread import spread_value
from lifecycle.wear.types import Band, FloatArray, Mark

__all__ = ["Calibration", "History", "Learned", "Prior", "learn", "learn_sites", "leave_one_out", "prior_of"]


def prior_of(life: Life, *, family: str = "lognormal") -> Prior:
    """The prior around a product's life: the label's where the product has one, else the life table's."""
    return Prior(
        median_months=life.median_months,
        between_sd=max(life.ln_sd, wear_value("spread.floor")),
        product_sd=spread_value("durability.product_sd"),
        site_sd=spread_value("durability.site_sd"),
        between_sd_ln=spread_value("durability.between_sd_ln"),
        family=family,
        mark=life.mark,
    )


@dataclass(frozen=True, slots=True)
class Learned:
    """What a site's histories say of a product, in months at the reference duty.

    `median_months`: the median life and its 10-90 % range. `life_months`: the life of the next vehicle. `label_share`:
    how much of the prior's variance of ln median is left (1: nothing learned). `excluded` counts histories that a
    polish or a top-up spoilt.
    """

    vehicles: int
    ended: int
    excluded: int
    prior_median_months: float
    median_months: Band
    life_months: Band
    between_sd: float
    label_share: float
    mark: Mark
    says: str


@dataclass(frozen=True, slots=True)
class Calibration:
    """Each vehicle foretold from the others: `expected` ends so far (sum of Cox-Snell residuals) against those `seen`;
    mean ln score of what was seen, left out and by the label alone (higher is better)."""

    vehicles: int
    expected: float
    seen: float
    ln_score: float
    label_ln_score: float
    says: str


def _band(points: FloatArray, below: FloatArray) -> Band:
    return Band(*(float(np.exp(np.interp(chance, below, points))) for chance in (0.1, 0.5, 0.9)))


def _median_band(grid: Grid, posterior: FloatArray) -> Band:
    share = posterior.sum(axis=0)
    mass = 0.5 * (share[1:] + share[:-1])
    below = np.concatenate(([0.0], np.cumsum(mass)))
    return _band(grid.mu, below / below[-1])


def _life_band(grid: Grid, posterior: FloatArray, family: str) -> Band:
    """Life of the next vehicle: mu and sigma summed out, over every third point of mu (their step is then a third of an
    sd, more than fine enough for a smooth sum)."""
    mu, weights = grid.mu[::3], posterior[:, ::3] / posterior[:, ::3].sum()
    sigma = np.exp(grid.ln_sigma)
    reach = 8.0 * float(sigma @ weights.sum(axis=1))
    at = np.linspace(mu[0] - reach, mu[-1] + reach, 240)
    below = np.zeros_like(at)
    for one, own in zip(sigma, weights, strict=True):
        below += below_of((at[:, None] - mu[None, :]) / one, family) @ own
    return _band(at, np.maximum.accumulate(below))


def _says(found: Band, *, vehicles: int, ended: int, excluded: int, prior: Prior, share: float) -> str:
    label = f"{prior.median_months:.0f} months"
    now = f"{found.p50:.0f} months at the reference duty ({found.p10:.0f} to {found.p90:.0f})"
    if vehicles == 0:
        text = f"No vehicle here has told anything yet: {label} at the reference duty, as the label or the table says."
        if abs(math.log(found.p50 / prior.median_months)) > 0.03:
            text = f"No vehicle here has told anything yet; those of other sites make of the label's {label}: {now}."
    else:
        count = f"{vehicles} vehicle{'s' if vehicles > 1 else ''} here, {ended} of them at the end of this layer"
        if vehicles < spread_value("durability.few"):
            text = f"Only {count}, so take it as mostly the prior, {label} by the label or the table. Together: {now}."
        else:
            text = f"From {count}: {now}. The label or the table says {label} and counts for about {share * 100:.0f} %."
    if excluded:
        text += f" {excluded} left out because a polish or a top-up came between the looks."
    return text


def _learned(site: Site, histories: Sequence[History], prior: Prior) -> Learned:
    used = used_of(histories)
    vehicles = len({one.vehicle for one, _ in used})
    ended = len({one.vehicle for one, _ in used if one.failed_months is not None})
    excluded = sum(one.touched for one in histories)
    posterior = site.posterior
    _, sd = moments(site.grid.mu, posterior.sum(axis=0))
    ln_sigma, _ = moments(site.grid.ln_sigma, posterior.sum(axis=1))
    share = min((sd / prior.site_median_sd) ** 2, 1.0)
    median = _median_band(site.grid, posterior)
    enough = vehicles >= spread_value("durability.few")
    return Learned(
        vehicles=vehicles,
        ended=ended,
        excluded=excluded,
        prior_median_months=prior.median_months,
        median_months=median,
        life_months=_life_band(site.grid, posterior, prior.family),
        between_sd=math.exp(ln_sigma),
        label_share=share,
        mark=Mark.LEARNED_HERE if enough else prior.mark,
        says=_says(median, vehicles=vehicles, ended=ended, excluded=excluded, prior=prior, share=share),
    )


def learn_sites(sites: Mapping[str, Sequence[History]], *, prior: Prior) -> dict[str, Learned]:
    """One product at several sites that lend each other strength.

    Args:
        sites: histories by site, in months at the reference duty.
        prior: see `prior_of`.

    Raises:
        ValueError: no site.
    """
    if not sites:
        raise ValueError("sites is empty; give at least one site, if need be without histories.")
    fitted = fit_sites([used_of(histories) for histories in sites.values()], prior)
    return {
        name: _learned(site, histories, prior) for (name, histories), site in zip(sites.items(), fitted, strict=True)
    }


def learn(histories: Sequence[History], *, prior: Prior) -> Learned:
    """One product at one site."""
    return learn_sites({"here": histories}, prior=prior)["here"]


def _cox_snell(history: History, above: float, above_end: float) -> float:
    """Expected cumulative hazard spent: exactly 1 on average over vehicles that have ended, whatever the law of life.

    Still works: -ln S(alive). Ended between: the mean of an exponential variable on that interval.
    """
    low = -math.log(max(above, FLOOR))
    if history.failed_months is None:
        return low
    high = -math.log(max(above_end, FLOOR))
    if high - low < 1e-9:
        return low
    return low + 1.0 - (high - low) / math.expm1(high - low)


def leave_one_out(histories: Sequence[History], *, prior: Prior) -> Calibration:
    """Foretell each vehicle from all others of its site, and compare with what was seen.

    Raises:
        ValueError: no history says anything.
    """
    used = used_of(histories)
    if not used:
        raise ValueError("no history says anything: give at least one look at a layer that nobody polished since.")
    site = fit_sites([used], prior)[0]
    label_only = fit_sites([[]], prior)[0]
    expected, seen, score, label = 0.0, 0.0, 0.0, 0.0
    by_vehicle: dict[str, list[int]] = {}
    for index, (one, _) in enumerate(used):
        by_vehicle.setdefault(one.vehicle, []).append(index)
    for indices in by_vehicle.values():
        rest = site.without(indices)
        for index in indices:
            history, _ = used[index]
            part = 1.0 / len(indices)
            chance = chance_of(history, site.grid, prior.family)
            alive = chance_of(History(history.vehicle, history.alive_months), site.grid, prior.family)
            above = float((rest * alive).sum())
            expected += part * _cox_snell(history, above, above - float((rest * chance).sum()))
            seen += part * (history.failed_months is not None)
            score += part * math.log(max(float((rest * chance).sum()), FLOOR))
            by_label = chance_of(history, label_only.grid, prior.family)
            label += part * math.log(max(float((label_only.posterior * by_label).sum()), FLOOR))
    count = len(by_vehicle)
    # The surfaces of a vehicle share its weight, so that a vehicle may have ended in part.
    did = f"{seen:.0f}" if abs(seen - round(seen)) < 0.05 else f"{seen:.1f}"
    better = "better" if score > label else "no better"
    says = (
        f"Foretold from the other vehicles, {expected:.1f} of {count} should have come to their end; {did} did. "
        f"That is {better} than the label alone foretells."
    )
    return Calibration(count, expected, seen, score / count, label / count, says)
