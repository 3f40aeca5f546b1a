"""How sure the forecast is: the parts of the spread of ln life, joined as independent, and two ways to carry them on.

Exact where it is: rate, habits and climate are lognormal and act as one factor on the clock, so their product is
lognormal and every quantile of life is one lookup (`degradation.Clock`). The parameters of the sunlight dose (power p
and activation energy Ea, correlation -0.6) act on one of seven summands; there the closed form is of first order
(`parameter_spread`). `drawn_months` draws every part from a seeded generator instead, without any of these shortcuts;
tests hold the two against each other.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.wear import normal, panel, solar, uv
from lifecycle.wear.degradation import DAYS_PER_MONTH, Life
from lifecycle.wear.figures import wear_value
from lifecycle.wear.marks import TABLES, active, value
from lifecycle.wear.types import ClimateYear, FloatArray, HabitPeriod

SPREAD = TABLES / "spread.csv"
_SURFACE = re.compile(r"surfaces\[(\d+)\]")
_ASSUMED_KEYS = ("colour", "sea_distance_m", "finish", "storage")
HABIT_SOURCES = ("asked", "reported", "defaulted")
CLIMATE_WORDS = ("close", "fair", "rough")
PART_WORDS = {
    "kind": "how much vehicles of one kind differ",
    "habits": "how the vehicle is used",
    "climate": "the climate of the place",
    "parameters": "how light and heat add up",
    "assumed": "what nobody has told",
    "extra": "what was seen or lies beneath",
}
_GAS_CONSTANT_KJ = 8.314462618e-3
_REFERENCE_KELVIN = 298.15


def spread_value(key: str) -> float:
    """A figure of `tables/spread.csv`.

    Raises:
        KeyError: no such key.
    """
    return value(key, path=SPREAD)


@dataclass(frozen=True, slots=True)
class Spread:
    """Parts of the spread of ln life (sd of ln each), independent of each other."""

    kind: float
    habits: float = 0.0
    climate: float = 0.0
    parameters: float = 0.0
    assumed: float = 0.0
    extra: float = 0.0

    def parts(self) -> dict[str, float]:
        """sd of ln life by part."""
        return {name: getattr(self, name) for name in PART_WORDS}

    @property
    def ln_sd(self) -> float:
        """sd of ln life of all parts together."""
        return math.hypot(*self.parts().values())

    def shares(self) -> tuple[tuple[str, float], ...]:
        """(part, its share of the variance), largest first; shares sum to 1."""
        variance = self.ln_sd**2 or 1.0
        made = [(name, sd * sd / variance) for name, sd in self.parts().items()]
        return tuple(sorted(made, key=lambda one: -one[1]))

    @property
    def says(self) -> str:
        """One sentence on where the range comes from: what makes up the most of it, and what asking could narrow."""
        (first, share), (second, _) = self.shares()[:2]
        return (
            f"Most of the range ({round(share * 20) * 5} % of its variance) comes from {PART_WORDS[first]}, "
            f"then from {PART_WORDS[second]}."
        )


def assumed_spread(assumed: Iterable[str], *, surface_index: int) -> float:
    """Spread (sd of ln) from fields that nobody gave, named as "path: value".

    Fields of another surface do not count; fields of the habits count through `habit_spread`.
    """
    variance = 0.0
    for entry in assumed:
        path = entry.split(":", 1)[0].strip()
        surface = _SURFACE.match(path)
        if surface is not None and int(surface.group(1)) != surface_index:
            continue
        if path.startswith("habits[") and not path.endswith((".source", ".from")):
            continue
        name = path.rsplit(".", 1)[-1]
        variance += wear_value(f"assumed.{name if name in _ASSUMED_KEYS else 'other'}") ** 2
    return math.sqrt(variance)


def habit_spread(habits: Sequence[tuple[HabitPeriod, float]]) -> float:
    """Spread from who told the habits, averaged over (period, days) in variance; each defaulted field adds its own."""
    days = sum(weight for _, weight in habits)
    if days <= 0:
        return wear_value("spread.habit.defaulted")
    variance = 0.0
    for habit, weight in habits:
        source = habit.source if habit.source in HABIT_SOURCES else "defaulted"
        own = wear_value(f"spread.habit.{source}") ** 2 + len(habit.defaulted) * wear_value("assumed.habits") ** 2
        variance += own * weight / days
    return math.sqrt(variance)


def climate_spread(error_word: str) -> float:
    """Spread from the climate source; an unknown word counts as "rough"."""
    return wear_value(f"spread.climate.{error_word if error_word in CLIMATE_WORDS else 'rough'}")


def duty_spread(mean_duty: float) -> tuple[float, str]:
    """Spread from the parameters away from the reference duty, and a note where the duty lies outside their range."""
    inside = wear_value("spread.away") * abs(math.log(max(mean_duty, 1e-3)))
    if wear_value("rate.least") <= mean_duty <= wear_value("rate.most"):
        return inside, ""
    kind = "milder" if mean_duty < 1 else "harsher"
    return math.hypot(inside, wear_value("spread.outside")), f"The duty is {kind} than the tables cover: wider range."


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """Change of ln X_U (sunlight stress over the reference) per unit of p (`by_power`) and per kJ/mol of Ea
    (`by_energy`)."""

    by_power: float
    by_energy: float


def dose_moments(*, uv_w_m2: ArrayLike, surface_c: ArrayLike, hours: ArrayLike = 1.0) -> tuple[float, float]:
    """Means of ln(I / 50 W/m²) and of -(1/R)(1/T - 1/298.15), mol/kJ, each weighted by the sunlight dose.

    They are the derivatives of ln E_U by p and by Ea, for `E_U = sum_h (I / 50)^p exp(-Ea/R (1/T - 1/298.15))`.

    Raises:
        ValueError: no hour has any sun.
    """
    light, kelvin, count = np.broadcast_arrays(
        np.asarray(uv_w_m2, dtype=float) / value("dose.uv_scale"),
        np.asarray(surface_c, dtype=float) + panel.ZERO_C_IN_K,
        np.asarray(hours, dtype=float),
    )
    day = light > 0.0
    if not np.any(day):
        raise ValueError("uv_w_m2 has no hour with sun; sunlight parameters have nothing to act on.")
    ln_light = np.log(light[day])
    warmth = -(1.0 / kelvin[day] - 1.0 / _REFERENCE_KELVIN) / _GAS_CONSTANT_KJ
    dose = count[day] * np.exp(value("dose.uv_power") * ln_light + value("dose.ea_sunlight") * warmth)
    return float(dose @ ln_light / dose.sum()), float(dose @ warmth / dose.sum())


def sunlit_hours(
    climate: ClimateYear, *, colour: str = "mid", sun_share: float = 1.0
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(ultraviolet W/m², panel °C, hours a year) of the typical day of each month in the open, shape (12, 24).

    `sun_share` is the ultraviolet on the surface over that on a flat one. For sensitivities only: the doses themselves
    come from `exposure`.
    """
    days = solar.TYPICAL_DAYS
    shape = np.array([solar.typical_day_shape(lat_deg=climate.place.lat, day_of_year=float(day)) for day in days])
    ghi = 1000.0 * np.array(climate.ghi_kwh_m2_day)[:, None] * shape
    cosine = solar.cos_zenith(lat_deg=climate.place.lat, day_of_year=days[:, None], solar_hour=solar.MID_HOURS[None, :])
    outside = solar.extraterrestrial_normal_w_m2(days)[:, None] * np.maximum(cosine, math.cos(math.radians(87.0)))
    course = np.cos(2.0 * np.pi * (solar.MID_HOURS - value("day.warmest_hour")) / 24.0)
    surface = panel.panel_temperature_c(
        air_c=np.array(climate.air_c)[:, None] + 0.5 * np.array(climate.diurnal_range_k)[:, None] * course,
        irradiance_w_m2=ghi * sun_share,
        wind_ms=np.array(climate.wind_ms)[:, None],
        cloud=1.0 - np.clip(np.array(climate.sunshine_fraction), 0.0, 1.0)[:, None],
        absorptance=panel.absorptance(colour),
        sky_view=sun_share,
    )
    share = uv.uv_share(air_mass=solar.relative_air_mass(cosine), clearness=ghi / outside)
    return ghi * share * sun_share, surface, np.repeat(solar.MONTH_DAYS[:, None], 24, axis=1)


def sunlight_sensitivity(*, uv_w_m2: ArrayLike, surface_c: ArrayLike, hours: ArrayLike = 1.0) -> Sensitivity:
    """How ln X_U moves with p and Ea: the moments here less those of the reference place, where X_U is 1 whatever the
    parameters are."""
    light, warmth = dose_moments(uv_w_m2=uv_w_m2, surface_c=surface_c, hours=hours)
    return Sensitivity(
        by_power=light - spread_value("moment.reference_power"),
        by_energy=warmth - spread_value("moment.reference_energy"),
    )


def parameter_spread(sensitivity: Sensitivity, *, sunlight_share: float) -> float:
    """sd of ln life from p and Ea, to first order: `share sqrt(g' C g)` with their covariance C.

    p 0.64 +- 0.20 (Fischer & Ketola 2004), Ea 30 +- 12 kJ/mol, correlation -0.6 (Kempe 2020).

    Raises:
        ValueError: `sunlight_share` (of the whole weighted stress) outside 0 to 1.
    """
    if not 0.0 <= sunlight_share <= 1.0:
        raise ValueError(f"sunlight_share is {sunlight_share}; write a share between 0 and 1.")
    by_power = sensitivity.by_power * spread_value("dose.uv_power_sd")
    by_energy = sensitivity.by_energy * spread_value("dose.ea_sunlight_sd")
    cross = 2.0 * spread_value("dose.power_energy_correlation") * by_power * by_energy
    return sunlight_share * math.sqrt(max(by_power**2 + by_energy**2 + cross, 0.0))


@lru_cache(maxsize=1024)
def _sensitivity_at(climate: ClimateYear, colour: str, digest: str) -> Sensitivity:
    light, surface_c, hours = sunlit_hours(climate, colour=colour)
    return sunlight_sensitivity(uv_w_m2=light, surface_c=surface_c, hours=hours)


def parameter_spread_at(climate: ClimateYear, *, colour: str, sunlight_share: float) -> float:
    """`parameter_spread` for a panel in the open at a place; remembered per climate, colour and figures in force."""
    return parameter_spread(_sensitivity_at(climate, colour, active().digest), sunlight_share=sunlight_share)


def draw_parameters(*, draws: int, seed: int) -> tuple[FloatArray, FloatArray]:
    """Seeded draws of (p, Ea kJ/mol) from their bivariate normal."""
    generator = np.random.default_rng(seed)
    first, second = generator.standard_normal((2, draws))
    rho = spread_value("dose.power_energy_correlation")
    power = value("dose.uv_power") + spread_value("dose.uv_power_sd") * first
    tilted = rho * first + math.sqrt(1.0 - rho * rho) * second
    return power, value("dose.ea_sunlight") + spread_value("dose.ea_sunlight_sd") * tilted


@dataclass(frozen=True, slots=True)
class Draws:
    """Lives drawn one by one: months, and how much each draw counts (weights sum to 1)."""

    months: FloatArray
    weights: FloatArray

    def quantile(self, chance: float) -> float:
        """Months by which `chance` of the draws have ended."""
        order = np.argsort(self.months)
        below = np.cumsum(self.weights[order]) - 0.5 * self.weights[order]
        return float(np.interp(chance, below, self.months[order]))


def drawn_months(
    *,
    stress: FloatArray,
    life: Life,
    spread: Spread,
    draws: int,
    seed: int,
    sensitivity: Sensitivity | None = None,
    sunlight_share: float = 0.0,
    ln_weight: Callable[[FloatArray], FloatArray] | None = None,
) -> Draws:
    """Lives in months by seeded draws: each part of the spread on its own, p and Ea together.

    Args:
        stress: cumulative stress in reference months at the start of day 0, 1, 2 ... (see `degradation.Clock`).
        sensitivity, sunlight_share: given, p and Ea are drawn and act on the sunlight's share alone, instead of
            `spread.parameters` on the whole.
        ln_weight: ln likelihood of readings for an array of ln kappa (`evidence.log_posterior_term`).

    A life ends by stress or, at the same rank, by the calendar (the mild column).
    """
    generator = np.random.default_rng(seed)
    ln_kappa = np.zeros(draws)
    for name, sd in spread.parts().items():
        if sd > 0.0 and not (name == "parameters" and sensitivity is not None):
            ln_kappa += sd * generator.standard_normal(draws)
    if sensitivity is not None:
        power, energy = draw_parameters(draws=draws, seed=seed + 1)
        moved = sensitivity.by_power * (power - value("dose.uv_power"))
        moved += sensitivity.by_energy * (energy - value("dose.ea_sunlight"))
        ln_kappa += np.log(1.0 - sunlight_share + sunlight_share * np.exp(moved))
    weights = np.full(draws, 1.0 / draws)
    if ln_weight is not None:
        told = ln_weight(ln_kappa)
        weights = np.exp(told - told.max())
        weights /= weights.sum()
    order = np.argsort(-ln_kappa)
    ln_kappa, weights = ln_kappa[order], weights[order]
    rank = np.cumsum(weights) - 0.5 * weights
    z = np.linspace(-6.0, 6.0, 4801)
    calendar = life.mild_months * np.exp(life.mild_ln_sd * np.interp(rank, normal.cdf(z), z))
    days = np.interp(life.median_months * np.exp(-ln_kappa), stress, np.arange(len(stress)), right=math.inf)
    return Draws(np.minimum(days / DAYS_PER_MONTH, calendar), weights)
