"""Wash contact (A), wash chemistry (C), road (R) and contamination (K) as ratios to the reference use.

The reference: mixed parking, more than 5 km from the sea, few trees, no salt, 15 000 km and 26 neutral two-bucket hand
washes a year. All steps are judgement or common practice and stand in tables/parameters.csv; between the steps of
kilometres, washes and sea distance the logarithm is interpolated, so that no kilometre makes a jump.
"""

from __future__ import annotations

import numpy as np

from lifecycle.wear.marks import active, ladder, load_figures, value
from lifecycle.wear.types import FloatArray, HabitPeriod, Place

NORTHERN_SALT_MONTHS = (11, 12, 1, 2, 3)
SOUTHERN_SALT_MONTHS = (5, 6, 7, 8, 9)


def _log_interpolate(at: float, points: tuple[tuple[float, float], ...]) -> float:
    """Piecewise linear in (ln x, ln y), constant beyond both ends."""
    xs, ys = np.array(points).T
    return float(np.exp(np.interp(np.log(max(at, 1e-12)), np.log(xs), np.log(ys))))


def _log_extend(at: float, points: tuple[tuple[float, float], ...]) -> float:
    """Like `_log_interpolate`, proportional to zero below the first point, with the last slope beyond the last."""
    (first_x, first_y), (x1, y1), (x2, y2) = points[0], points[-2], points[-1]
    if at <= first_x:
        return first_y * at / first_x
    if at >= x2:
        return float(y2 * (at / x2) ** (np.log(y2 / y1) / np.log(x2 / x1)))
    return _log_interpolate(at, points)


def _ladder(prefix: str) -> tuple[tuple[float, float], ...]:
    """`marks.ladder`, kept with the figures that hold: it is asked for on every surface of every vehicle."""
    kept, key = active().derived, ("ladder", prefix)
    if key not in kept:
        kept[key] = ladder(prefix)
    points: tuple[tuple[float, float], ...] = kept[key]
    return points


def table_value(prefix: str, choice: str, *, field: str) -> float:
    """The figure `prefix.choice`.

    Raises:
        ValueError: no such choice; the message lists the known ones.
    """
    figures = load_figures()
    key = f"{prefix}.{choice}"
    if key not in figures:
        known = ", ".join(name.split(".", 1)[1] for name in figures if name.startswith(f"{prefix}."))
        raise ValueError(f"{field} is {choice!r}; use one of {known}.")
    return figures[key].value


def salt_months(*, lat_deg: float) -> FloatArray:
    """1.0 in the months with salt on the road (November-March; May-September in the south), else 0.0; January first."""
    months = NORTHERN_SALT_MONTHS if lat_deg >= 0 else SOUTHERN_SALT_MONTHS
    return np.array([1.0 if month in months else 0.0 for month in range(1, 13)])


def washing_factor(washes_per_year: float) -> float:
    """Wear by washing over that of 26 washes a year; 0 without washes."""
    return _log_extend(_not_negative(washes_per_year, "washes_per_year"), _ladder("washes"))


def contact_factor(habit: HabitPeriod) -> float:
    """A: method times number of washes."""
    method = table_value("contact", habit.wash_method, field="wash_method")
    return method * washing_factor(habit.washes_per_year)


def screen_contact(contact: FloatArray, *, km_per_year: float, rain_days: tuple[float, ...]) -> FloatArray:
    """A of a windscreen by month: partly washing, mostly wipers, which rub while it rains on the road.

    Wipers work with the distance driven and the rain days of the month; a rest (screenwash, drizzle, dry strokes) goes
    with distance alone. At 15 000 km a year and the rain of the reference place it is 1. All judgement.

    Args:
        contact: by washing, shape (12,).  rain_days: with 1 mm or more, by month.
    """
    usual = value("reference.rain_days") / 12.0
    dry = value("wiper.dry")
    strokes = (dry + (1.0 - dry) * np.array(rain_days) / usual) * _not_negative(km_per_year, "km_per_year") / 15000.0
    share = value("wiper.share")
    return np.asarray((1.0 - share) * contact + share * strokes, dtype=float)


def chemistry_factor(habit: HabitPeriod) -> float:
    """C: the stronger of what the method and what the pH says, times number of washes.

    A method's figure already contains its usual chemistry (a high-pH touch-free wash is alkaline by itself), so the two
    are never multiplied.
    """
    method = table_value("chemistry", habit.wash_method, field="wash_method")
    agent = table_value("ph", habit.wash_ph, field="wash_ph")
    return max(method, agent) * washing_factor(habit.washes_per_year)


def road_factor(habit: HabitPeriod, *, salted: FloatArray, orientation: str) -> FloatArray:
    """R by month: kilometres, road salt in its season, height and facing of the surface."""
    km = _log_extend(_not_negative(habit.km_per_year, "km_per_year"), _ladder("km"))
    salt = table_value("salt_road", habit.road_salt, field="road_salt")
    zone = value(f"road_zone.{orientation}" if orientation in ("sill", "wheel", "front") else "road_zone.other")
    return np.asarray(km * zone * (1.0 + (salt - 1.0) * salted), dtype=float)


def sea_factor(sea_distance_m: float | None) -> float:
    """Contamination by salt from the sea, 1 to 1.9; 1 where the distance is not known."""
    if sea_distance_m is None:
        return 1.0
    return _log_interpolate(_not_negative(sea_distance_m, "sea_distance_m"), _ladder("sea"))


def climate_soil_factor(koppen_class: str) -> float:
    """Contamination by the kind of climate: hot and humid, cold winters, dry summers; 1 for every other class."""
    if koppen_class.startswith("A"):
        return value("soil_climate.hot_humid")
    if koppen_class.startswith("D"):
        return value("soil_climate.cold_winters")
    return value("soil_climate.mediterranean" if koppen_class.startswith("Cs") else "soil_climate.other")


def dust_factor(koppen_class: str) -> float:
    """Wash contact is harsher where the dust is gritty (desert classes)."""
    return value("dust.desert") if koppen_class.startswith("BW") else 1.0


def contamination_factor(
    habit: HabitPeriod, *, place: Place, koppen_class: str, salted: FloatArray, orientation: str
) -> FloatArray:
    """K by month: parking, sea, trees and birds, washing, climate, salt in its season, facing of the surface."""
    steady = table_value("soil_parking", habit.parking, field="parking")
    steady *= table_value("trees", str(habit.trees_birds), field="trees_birds")
    steady *= sea_factor(place.sea_distance_m) * climate_soil_factor(koppen_class)
    washes = _not_negative(habit.washes_per_year, "washes_per_year")
    steady *= _log_interpolate(washes, _ladder("soiling"))
    salt = table_value("salt_soil", habit.road_salt, field="road_salt")
    zone = value("soil_zone.rear" if orientation == "rear" else "soil_zone.other")
    return np.asarray(steady * zone * (1.0 + (salt - 1.0) * salted), dtype=float)


def _not_negative(number: float, field: str) -> float:
    if not (number >= 0.0 and np.isfinite(number)):
        raise ValueError(f"{field} is {number}; give a number that is zero or more.")
    return float(number)
