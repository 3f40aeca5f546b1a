"""The clock of one layer: from cumulative stress to life consumed, function left and days, each with its range.

Life consumed: `dD/dt = kappa / L * sum_m w_m X_m`, 0 when new, 1 where renewal becomes sensible. `kappa` is the rate of
this vehicle, lognormal with median 1, so with cumulative stress S(t) in reference months D reaches 1 where
`S(t) = L / kappa`: one sorted lookup per quantile (no simulation). Doses add over dated periods because
photodegradation follows total dose (published; see Duan et al. 2017 and the reciprocity review of NIST), so cutting a
period in two changes nothing.

Calendar. No forecast goes beyond the mild column of the life table, quantile by quantile: `D_u = max(kappa_u S / L,
(age / mild_u)^3)`. The power keeps ageing by the calendar out of sight until late (judgement).

Function left. `H = exp(-lambda D)`. The stage words say that "end" begins at 30 % function left, and D = 1 is the day
on which renewal is sensible, so one lambda serves every kind of layer: -ln 0.30. The water angle has a lambda of its
own (`angle_rate`): it is set so that the Cassie mixture meets the layer's end angle at D = 1, which for a coat of 112
degrees over paint of 76.5 leaves 38 % of the area active. Area and usefulness are not the same thing; the first is for
reading an angle, the second for the words.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache, lru_cache

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.wear import normal
from lifecycle.wear.chemistry import Chemistry, Range
from lifecycle.wear.figures import figure, wear_value
from lifecycle.wear.types import Band, DateBand, FloatArray, LayerForecast, Mark, Stage

DAYS_PER_MONTH = 365.25 / 12.0
BAND = (0.1, 0.5, 0.9)
CHANCES = (0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9)
FUNCTION_RATE = -math.log(wear_value("stage.function_at_end"))
STAGE_BOUNDS = ((0.75, Stage.FRESH), (0.50, Stage.SETTLED), (0.30, Stage.TIRED), (0.10, Stage.END))


@dataclass(frozen=True, slots=True)
class Life:
    """Life of one layer on one surface.

    `median_months` and `ln_sd` at the reference duty; `mild_months` and `mild_ln_sd` the calendar bound; `km` median
    distance for layers that wipers wear, else None; `mark` of the life figure.
    """

    median_months: float
    ln_sd: float
    mild_months: float
    mild_ln_sd: float
    km: float | None = None
    mark: Mark = Mark.COMMON_PRACTICE
    notes: tuple[str, ...] = ()

    def mild_quantile(self, chance: float) -> float:
        """Months by which `chance` of such layers have ended at the mildest duty."""
        return self.mild_months * math.exp(self.mild_ln_sd * _score(chance))

    def mild_quantiles(self, chances: Sequence[float]) -> FloatArray:
        """`mild_quantile` of each chance."""
        return np.array([self.mild_quantile(chance) for chance in chances])


@lru_cache(maxsize=256)
def _score(chance: float) -> float:
    """Standard normal quantile; the same few chances are asked for again and again."""
    return normal.quantile(chance)


@dataclass(frozen=True, slots=True)
class Rate:
    """Distribution of ln kappa: sorted points with their cumulative chance. A prior is the normal N(0, sd)."""

    ln_kappa: FloatArray
    chance: FloatArray

    def ln_quantile(self, chance: float) -> float:
        """ln kappa below which `chance` of vehicles lie."""
        return float(np.interp(chance, self.chance, self.ln_kappa))

    def ln_quantiles(self, chances: Sequence[float]) -> FloatArray:
        """`ln_quantile` of each chance."""
        return np.interp(chances, self.chance, self.ln_kappa)

    def chance_above(self, ln_kappa: ArrayLike) -> FloatArray:
        """Chance that ln kappa lies above the given values."""
        at = np.asarray(ln_kappa, dtype=float)
        return np.asarray(1.0 - np.interp(at, self.ln_kappa, self.chance, left=0.0, right=1.0), dtype=float)

    def sd(self) -> float:
        """Standard deviation of ln kappa."""
        mass, middle = np.diff(self.chance), 0.5 * (self.ln_kappa[1:] + self.ln_kappa[:-1])
        mean = float(np.sum(mass * middle) / np.sum(mass))
        return math.sqrt(max(float(np.sum(mass * (middle - mean) ** 2) / np.sum(mass)), 0.0))


def prior_rate(*, ln_sd: float) -> Rate:
    """The rate before any reading: lognormal, median exactly 1.

    Raises:
        ValueError: `ln_sd` not above 0.
    """
    if not ln_sd > 0:
        raise ValueError(f"ln_sd is {ln_sd}; write a spread above 0.")
    z, chance = _standard_points()
    return Rate(ln_kappa=z * ln_sd, chance=chance)


@cache
def _standard_points() -> tuple[FloatArray, FloatArray]:
    z = np.linspace(-5.0, 5.0, 1001)
    return z, normal.cdf(z)


def life_of(
    chemistry: Chemistry,
    *,
    orientation: str = "flat",
    finish: str = "factory",
    life_months: tuple[float, float] | None = None,
    life_mark: Mark = Mark.COMMON_PRACTICE,
) -> Life:
    """Life of a kind of layer on a surface, before the spread of habits and climate.

    `life_months` (10 % and 90 % points) of the product replaces the table, which moves the mild column in proportion.
    On refinish or touch-up layers last 0.6 to 0.85 as long (common practice, no source) and the band widens.

    Raises:
        ValueError: `life_months` not 0 < low <= high.
    """
    months = chemistry.months
    if life_months is not None:
        if not 0 < life_months[0] <= life_months[1]:
            raise ValueError(f"life_months is {life_months}; write 0 < low <= high.")
        months = Range(*life_months)
    scale, extra, notes = 1.0, 0.0, list[str]()
    if finish in ("refinish", "touch_up"):
        scale, extra = wear_value("life.refinish"), wear_value("spread.refinish")
        notes.append("On refinish a layer lasts 0.6 to 0.85 as long; the range is wider.")
    elif finish == "unknown":
        scale, extra = wear_value("life.finish_unknown"), wear_value("spread.finish_unknown")
        notes.append("Whether the paint is from the factory is not known; the range is wider.")
    median, table_sd = normal.lognormal_of_range(months.low, months.high)
    mild = chemistry.mild_for(orientation=orientation)
    mild_median, mild_sd = normal.lognormal_of_range(mild.low, mild.high)
    mild_scale = scale * median / chemistry.months.middle
    return Life(
        median_months=median * scale,
        ln_sd=math.hypot(max(table_sd, wear_value("spread.floor")), extra),
        mild_months=max(mild_median * mild_scale, median * scale),
        mild_ln_sd=max(mild_sd, 0.01),
        km=chemistry.km.middle * scale if chemistry.km else None,
        mark=chemistry.life_mark if life_months is None else life_mark,
        notes=tuple(notes),
    )


@dataclass(frozen=True, slots=True)
class Clock:
    """A layer's clock: `stress` is cumulative stress in reference months at the start of day 0, 1, 2 ... after
    `applied` (so `stress[0]` is 0), never falling; `rate` the distribution of kappa."""

    applied: date
    stress: FloatArray
    life: Life
    rate: Rate

    def day_index(self, on: date) -> int:
        """Days since application, held inside the curve."""
        return min(max((on - self.applied).days, 0), len(self.stress) - 1)

    def consumed_at(self, days: ArrayLike, chance: float) -> FloatArray:
        """Life consumed on days (indices) that `chance` of such layers do not exceed, 0 < chance < 1."""
        return np.asarray(self.consumed_by(days, (chance,))[0], dtype=float)

    def consumed_by(self, days: ArrayLike, chances: Sequence[float]) -> FloatArray:
        """`consumed_at` for each chance, shape (chances, *days)."""
        index = np.asarray(days, dtype=np.intp)
        column = (len(chances), *[1] * index.ndim)
        kappa = np.exp(self.rate.ln_quantiles(chances)).reshape(column)
        mild_days = self.life.mild_quantiles([1.0 - chance for chance in chances]).reshape(column) * DAYS_PER_MONTH
        calendar = (index / mild_days) ** wear_value("calendar.power")
        return np.asarray(np.maximum(kappa / self.life.median_months * self.stress[index], calendar), dtype=float)

    def months_until(self, consumed: float, chance: float) -> float:
        """Months after application at which `chance` of such layers have consumed `consumed` of their life."""
        return float(self.months_by(consumed, (chance,))[0])

    def months_by(self, consumed: float, chances: Sequence[float]) -> FloatArray:
        """`months_until` for each chance, shape (chances,)."""
        kappa = np.exp(self.rate.ln_quantiles([1.0 - chance for chance in chances]))
        by_calendar = self.life.mild_quantiles(chances) * math.pow(consumed, 1.0 / wear_value("calendar.power"))
        target = consumed * self.life.median_months / kappa
        after = np.searchsorted(self.stress, target, side="left")
        upper = np.minimum(after, len(self.stress) - 1)
        before = np.maximum(upper - 1, 0)
        step = self.stress[upper] - self.stress[before]
        part = np.where(step > 0, (target - self.stress[before]) / np.where(step > 0, step, 1.0), 0.0)
        by_stress = np.where(after < len(self.stress), (before + part) / DAYS_PER_MONTH, np.inf)
        return np.asarray(np.minimum(by_stress, by_calendar), dtype=float)

    def chance_past(self, day: int) -> float:
        """P(D >= 1) on a day."""
        stress = float(self.stress[day])
        by_stress = float(self.rate.chance_above(math.log(self.life.median_months / stress))) if stress > 0 else 0.0
        age = day / DAYS_PER_MONTH
        by_calendar = 0.0
        if age > 0:
            by_calendar = float(normal.cdf(math.log(age / self.life.mild_months) / self.life.mild_ln_sd))
        return max(by_stress, by_calendar)

    def consumed_band(self, on: date) -> Band:
        """Life consumed on a day."""
        day = self.day_index(on)
        return Band(*self.consumed_by(day, BAND).tolist())

    def months_band(self, consumed: float) -> Band:
        """Months until that much life is consumed."""
        return Band(*self.months_by(consumed, BAND).tolist())

    def date_band(self, consumed: float) -> DateBand:
        """Days on which that much life is consumed."""
        months = self.months_band(consumed)
        return DateBand(*(months_after(self.applied, value) for value in (months.p10, months.p50, months.p90)))

    def chance_dates(self) -> tuple[tuple[float, date], ...]:
        """(chance, day by which D has reached 1 with that chance), chance rising."""
        months = self.months_by(1.0, CHANCES).tolist()
        return tuple((chance, months_after(self.applied, one)) for chance, one in zip(CHANCES, months, strict=True))


def months_after(start: date, months: float) -> date:
    """The day `months` mean months of 30.4375 days after `start`."""
    return start + timedelta(days=round(months * DAYS_PER_MONTH))


def horizon_days(life: Life) -> int:
    """Days of stress that a clock needs: by then 95 % of layers have ended by the calendar alone."""
    return math.ceil(life.mild_quantile(0.95) * DAYS_PER_MONTH) + 2


def cumulate(daily: FloatArray) -> FloatArray:
    """Cumulative stress in reference months at the start of each day, from the weighted stress ratio of each day."""
    return np.concatenate(([0.0], np.cumsum(np.asarray(daily, dtype=float) / DAYS_PER_MONTH)))


def with_distance(stress: FloatArray, *, km: FloatArray, life: Life) -> FloatArray:
    """Cumulative stress that never falls behind the distance driven, for layers whose life is also told in km.

    `km` is cumulative, same length as `stress`. At the reference duty the months decide.
    """
    if life.km is None:
        return stress
    return np.maximum(stress, life.median_months * km / life.km)


def function_left(consumed: ArrayLike) -> FloatArray:
    """Function left, 1 to 0, from life consumed; 0.30 at D = 1 (see the module text)."""
    return np.asarray(np.exp(-FUNCTION_RATE * np.asarray(consumed, dtype=float)), dtype=float)


def consumed_at_function(left: float) -> float:
    """Life consumed at which `left` of the function remains, 0 < left <= 1."""
    return -math.log(left) / FUNCTION_RATE


def function_band(consumed: Band) -> Band:
    """Band of function left; the least consumed is the most left."""
    return Band(*(float(function_left(value)) for value in (consumed.p90, consumed.p50, consumed.p10)))


def stage_of(left: float) -> Stage:
    """Stage word of a function left: fresh above 0.75, settled above 0.50, tired above 0.30, end above 0.10, else
    gone."""
    for bound, stage in STAGE_BOUNDS:
        if left > bound:
            return stage
    return Stage.GONE


def cassie_angle(*, active: ArrayLike, new_deg: float, bare_deg: float) -> FloatArray:
    """Water contact angle, degrees, of a surface of which `active` (0 to 1) still carries the layer.

    `cos(theta) = H cos(theta_new) + (1 - H) cos(theta_bare)` (Cassie's mixture).
    """
    share = np.asarray(active, dtype=float)
    cosine = share * math.cos(math.radians(new_deg)) + (1.0 - share) * math.cos(math.radians(bare_deg))
    return np.asarray(np.degrees(np.arccos(cosine)), dtype=float)


def angle_rate(*, new_deg: float, end_deg: float, bare_deg: float) -> float:
    """lambda of the active area such that D = 1 shows the end angle.

    Raises:
        ValueError: angles do not rise from bare over end to new.
    """
    if not 0 < bare_deg < end_deg < new_deg < 180:
        raise ValueError(f"Angles must rise from bare ({bare_deg}) over end ({end_deg}) to new ({new_deg}).")
    cos_new, cos_end, cos_bare = (math.cos(math.radians(angle)) for angle in (new_deg, end_deg, bare_deg))
    return -math.log((cos_end - cos_bare) / (cos_new - cos_bare))


def angle_at(consumed: ArrayLike, *, new_deg: float, end_deg: float, bare_deg: float) -> FloatArray:
    """Water contact angle, degrees, at a life consumed."""
    rate = angle_rate(new_deg=new_deg, end_deg=end_deg, bare_deg=bare_deg)
    active = np.exp(-rate * np.asarray(consumed, dtype=float))
    return cassie_angle(active=active, new_deg=new_deg, bare_deg=bare_deg)


def _chance_line(layer: LayerForecast) -> tuple[FloatArray, FloatArray]:
    """(ln of months since application, normal score of the chance), both rising."""
    ages = [max((day - layer.applied).days, 0.5) / DAYS_PER_MONTH for _, day in layer.chance_dates]
    ln_age = np.maximum.accumulate(np.log(np.asarray(ages)) + 1e-9 * np.arange(len(ages)))
    return ln_age, np.array([normal.quantile(chance) for chance, _ in layer.chance_dates])


def _line(at: float, xs: FloatArray, ys: FloatArray) -> float:
    """Linear between the points, and along the outermost pieces beyond them."""
    if xs[0] <= at <= xs[-1]:
        return float(np.interp(at, xs, ys))
    first, last = (0, 1) if at < xs[0] else (-2, -1)
    rise = float(xs[last] - xs[first])
    return float(ys[last] + (at - xs[last]) * (ys[last] - ys[first]) / rise) if rise > 0 else float(ys[last])


def chance_past_end(layer: LayerForecast, *, on: date) -> float:
    """Chance that a layer has reached the end of its useful life (D >= 1) on a day, 0 to 1.

    Read from the forecast's `chance_dates`, on normal scores over the logarithm of age.

    Raises:
        ValueError: the layer has no forecast (kind "unknown").
    """
    if not layer.chance_dates:
        raise ValueError(f"{layer.key}: no forecast is given for a layer of kind {layer.kind!r}.")
    if on <= layer.applied:
        return 0.0
    ln_age, score = _chance_line(layer)
    return float(normal.cdf(_line(math.log((on - layer.applied).days / DAYS_PER_MONTH), ln_age, score)))


def renewal_date_at(layer: LayerForecast, *, chance: float) -> date:
    """Day by which a layer has reached the end of its useful life with this chance, 0 < chance < 1.

    Raises:
        ValueError: the layer has no forecast, or the chance is not inside (0, 1).
    """
    if not layer.chance_dates:
        raise ValueError(f"{layer.key}: no forecast is given for a layer of kind {layer.kind!r}.")
    if not 0 < chance < 1:
        raise ValueError(f"chance is {chance}; write a number between 0 and 1.")
    ln_age, score = _chance_line(layer)
    months = math.exp(min(_line(normal.quantile(chance), score, ln_age), math.log(1200.0)))
    return months_after(layer.applied, months)


def spread_marks() -> tuple[Mark, ...]:
    """Marks of the figures behind every band."""
    return (figure("spread.floor").mark, figure("spread.habit.asked").mark)
