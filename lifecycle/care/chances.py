"""From a forecast to a date: by which day a layer has reached the end of its useful life with a given chance."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from lifecycle.care.tasks_table import interval
from lifecycle.wear.chemistry import UNKNOWN_KIND, chemistry
from lifecycle.wear.degradation import chance_past_end, months_after, renewal_date_at
from lifecycle.wear.types import LayerForecast

Window = tuple[date, date, date]  # earliest <= ideal <= latest


def _with_chances(layer: LayerForecast) -> LayerForecast | None:
    """The layer with `chance_dates`: its own, else the 10-50-90 % points of `renewal_on`; None without a forecast."""
    if layer.chance_dates:
        return layer
    if layer.renewal_on is None:
        return None
    band = layer.renewal_on
    return replace(layer, chance_dates=((0.1, band.p10), (0.5, band.p50), (0.9, band.p90)))


def cap_on(layer: LayerForecast, *, orientation: str) -> date | None:
    """The calendar cap: nothing is promised beyond the mild end of the life table, for a stored car no more than for a
    driven one. None for a layer of kind "unknown"."""
    if layer.kind == UNKNOWN_KIND:
        return None
    return months_after(layer.applied, chemistry(layer.kind).mild_for(orientation=orientation).high)


def chance_day(layer: LayerForecast, chance: float, *, orientation: str) -> date | None:
    """Day by which the layer has reached the end of its useful life (D = 1) with `chance` (0 to 1, both excluded).

    Between the points of the forecast a lognormal life is assumed. Never later than the calendar cap. None where there
    is no forecast.
    """
    known = _with_chances(layer)
    if known is None:
        return None
    day = max(renewal_date_at(known, chance=chance), layer.applied + timedelta(days=1))
    cap = cap_on(layer, orientation=orientation)
    return day if cap is None else min(day, cap)


def chance_by(layer: LayerForecast, on: date) -> float | None:
    """Chance that the layer has reached the end of its useful life by the day `on`; None where there is no forecast."""
    known = _with_chances(layer)
    return None if known is None else chance_past_end(known, on=on)


def wear_window(layer: LayerForecast, *, orientation: str) -> Window | None:
    """(opens, ideal, latest): chance 0.1, 0.2 and about even of having reached the end of useful life.

    The first two follow the house rule "a window opens when P(D >= 1 at the next visit) > 0.1, is ideal at 0.2"; the
    third is judgement (all three stand in intervals.csv). None where there is no forecast.
    """
    opens = chance_day(layer, interval("wear.chance_open"), orientation=orientation)
    ideal = chance_day(layer, interval("wear.chance_ideal"), orientation=orientation)
    latest = chance_day(layer, interval("wear.chance_latest"), orientation=orientation)
    if opens is None or ideal is None or latest is None:
        return None
    return opens, max(opens, ideal), max(opens, ideal, latest)
