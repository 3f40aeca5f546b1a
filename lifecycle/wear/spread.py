"""How sure the forecast is: the parts of the spread of ln life, joined as independent."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence

from lifecycle.wear.figures import wear_value
from lifecycle.wear.types import HabitPeriod

_SURFACE = re.compile(r"surfaces\[(\d+)\]")
_ASSUMED_KEYS = ("colour", "sea_distance_m", "finish", "storage")
HABIT_SOURCES = ("asked", "reported", "defaulted")
CLIMATE_WORDS = ("close", "fair", "rough")


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
