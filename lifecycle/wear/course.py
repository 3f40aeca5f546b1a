"""Stress on one layer, day by day: weights, shielding by the layers above, single events, distance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from lifecycle.wear import degradation as deg
from lifecycle.wear.chemistry import Chemistry
from lifecycle.wear.degradation import DAYS_PER_MONTH, Life
from lifecycle.wear.etching import temperature_factor
from lifecycle.wear.figures import wear_value
from lifecycle.wear.marks import value
from lifecycle.wear.stack import LiveLayer, concerns
from lifecycle.wear.timeline import standing_share
from lifecycle.wear.types import EventInput, FloatArray, Mechanism, SurfaceInput

MECHANISMS = tuple(Mechanism)
HEAT = MECHANISMS.index(Mechanism.HEAT)
CONTACT = MECHANISMS.index(Mechanism.WASH_CONTACT)
AGENT = MECHANISMS.index(Mechanism.WASH_CHEMISTRY)
SOIL = MECHANISMS.index(Mechanism.CONTAMINATION)
SHARE_JUMPS = {"fallout": "jump.fallout", "overspray": "jump.overspray", "flood": "jump.flood"}
DROPPINGS = {"bird_dropping": "jump.dropping", "sap": "jump.sap"}
_EACH = np.ones(len(MECHANISMS))  # sums over seven columns are far quicker as a product


@dataclass(frozen=True, slots=True)
class Course:
    """Stress on one layer. `by_mechanism` is what each day and mechanism takes, in days of the reference duty, shape
    (days, 7); `stress` the cumulative sum in reference months (days + 1,), raised where the distance runs ahead."""

    live: LiveLayer
    chemistry: Chemistry
    life: Life
    by_mechanism: FloatArray
    stress: FloatArray

    @property
    def applied(self) -> date:
        """Day of application: day 0."""
        return self.live.layer.applied

    def mean_duty(self) -> float:
        """Mean weighted stress ratio over the first median life (at least a year, as far as the curve goes)."""
        span = min(len(self.by_mechanism), max(365, math.ceil(self.life.median_months * DAYS_PER_MONTH)))
        return float(self.by_mechanism[:span].sum() / span)

    def contact_years(self, day: int) -> float | None:
        """Wash contact up to a day of the layer's age, in years of the reference washing; None without a weight."""
        weight = self.chemistry.weights[CONTACT]
        return float(self.by_mechanism[:day, CONTACT].sum()) / weight / 365.25 if weight > 0.0 else None

    def shares(self, *, until: date) -> dict[Mechanism, float]:
        """What each mechanism has taken by a day (of the coming year for a layer applied that day), in reference
        days."""
        days = (until - self.applied).days
        used = self.by_mechanism[: days if days > 0 else 365].sum(axis=0)
        return {mechanism: float(part) for mechanism, part in zip(MECHANISMS, used, strict=True)}

    def function_on(self, day: date) -> float:
        """Median function left on a day (rate 1)."""
        index = min(max((day - self.applied).days, 0), len(self.stress) - 1)
        return float(deg.function_left(self.stress[index] / self.life.median_months))

    def shield(self, *, first: date, days: int) -> FloatArray:
        """Share of the load that this layer keeps from those below on `days` days from `first`, at its median."""
        ages = np.arange(days) + (first - self.applied).days
        index = np.clip(ages, 0, len(self.stress) - 1)
        left = deg.function_left(self.stress[index] / self.life.median_months)
        there = ages >= 0
        if self.live.ended is not None:
            there &= ages < (self.live.ended - self.applied).days
        return np.where(there, self.chemistry.shield * left, 0.0)


def home_ratios(home: str) -> FloatArray:
    """Stress of the car that the life tables speak of over the reference duty, shape (7,).

    The tables tell of cars in mixed parking, and of wheels, seats or side panes in their own place on the vehicle; the
    reference duty is a flat panel that always stands outdoors. Dividing by these ratios keeps shelter and place from
    counting twice: sunlight by the mixed share of daylight and by the share of ultraviolet of the orientation to the
    power of its dose, road and soil by their zones.
    """
    ratios = np.ones(len(MECHANISMS))
    sun = value(f"sun.{home}") ** value("dose.uv_power")
    ratios[MECHANISMS.index(Mechanism.SUNLIGHT)] = value("share_day.mixed") * sun
    ratios[MECHANISMS.index(Mechanism.HYDROLYSIS)] = wear_value("home.hydrolysis")
    ratios[HEAT] = wear_value("home.heat")
    ratios[MECHANISMS.index(Mechanism.ROAD)] = value(f"road_zone.{home if home in ('wheel', 'front') else 'other'}")
    ratios[SOIL] = standing_share(home)
    return ratios


def event_days(event: EventInput, *, chemistry: Chemistry, life: Life) -> FloatArray:
    """What one event takes from a layer, by mechanism, in days of the reference duty, shape (7,).

    Decontamination: the contact of three neutral hand washes and the chemistry of two. Droppings and sap:
    `jump.dropping (dwell / 24 h) exp(-Ea/R (1/T_s - 1/313 K))` of a life, with Ea `etch.ea` and the surface `jump.rise`
    over the reported air, no more than `jump.dropping_most`. Fallout, overspray and flood: a share of a life. All
    engineering defaults; that dwell and heat drive etching is published.
    """
    taken = np.zeros(len(MECHANISMS))
    if event.kind == "decontamination":
        per_wash = 12.0 * DAYS_PER_MONTH / wear_value("jump.washes")
        taken[CONTACT] = wear_value("jump.decontamination_contact") * chemistry.weights[CONTACT] * per_wash
        taken[AGENT] = wear_value("jump.decontamination_chemistry") * chemistry.weights[AGENT] * per_wash
    elif event.kind in SHARE_JUMPS:
        taken[SOIL] = wear_value(SHARE_JUMPS[event.kind]) * life.median_months * DAYS_PER_MONTH
    elif event.kind in DROPPINGS:
        dwell = wear_value("etch.dwell_default") if event.dwell_h is None else event.dwell_h
        air_c = wear_value("jump.air_default") if event.air_c is None else event.air_c
        warm = temperature_factor(air_c + wear_value("jump.rise"), activation_kj_mol=wear_value("etch.ea"))
        share = min(wear_value(DROPPINGS[event.kind]) * dwell / 24.0 * warm, wear_value("jump.dropping_most"))
        taken[SOIL] = share * life.median_months * DAYS_PER_MONTH
    return taken


def bounded(weighted: FloatArray) -> FloatArray:
    """Weighted stress of each day, held at `rate.most` in all; shape (days, 7)."""
    total, most = weighted @ _EACH, wear_value("rate.most")
    if not np.any(total > most):
        return weighted
    scale = np.where(total > most, most / np.maximum(total, most), 1.0)
    return np.asarray(weighted * scale[:, None], dtype=float)


def layer_course(
    live: LiveLayer,
    *,
    life: Life,
    chemistry: Chemistry,
    surface: SurfaceInput,
    daily: FloatArray,
    km: FloatArray,
    events: Sequence[EventInput] = (),
    above: Sequence[Course] = (),
) -> Course:
    """Lay a layer's stress over the days from its application on.

    Args:
        daily: stress ratios from the day of application on, shape (days, 7).  km: distance of each of these days.
        above: courses of the layers on top: the top takes the load, what reaches below is `1 - function x shield`.
            Heat passes. A top-up never resets what lies under it.
    """
    days = len(daily)
    through = np.ones(days)
    for top in above:
        through *= 1.0 - top.shield(first=live.layer.applied, days=days)
    taken = daily * (chemistry.weight_array() / home_ratios(chemistry.home))
    if above:
        heat = taken[:, HEAT].copy()
        taken *= through[:, None]
        taken[:, HEAT] = heat
    taken = bounded(taken)
    for event in events:
        day = (event.on - live.layer.applied).days
        if 0 < day < days and concerns(event, surface):
            taken[day] += event_days(event, chemistry=chemistry, life=life) * through[day]
    driven = np.concatenate(([0.0], np.cumsum(km)))
    stress = deg.with_distance(deg.cumulate(taken @ _EACH), km=driven, life=life)
    return Course(live=live, chemistry=chemistry, life=life, by_mechanism=taken, stress=stress)
