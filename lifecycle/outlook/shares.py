"""The chance that care falls between two days, by the same triangle that the simulation draws from. Pure."""

from __future__ import annotations

from datetime import date


def triangle_below(x: float, *, start: float, peak: float, end: float) -> float:
    """P(X <= x) of a triangular distribution; a step where start and end are one.

    Source: the distribution's own formula, e.g. NIST/SEMATECH e-Handbook of Statistical Methods; scipy.stats.triang is
    the oracle of the tests.
    """
    if x >= end:
        return 1.0
    if x <= start:
        return 0.0
    if x < peak:
        return (x - start) ** 2 / ((end - start) * (peak - start))
    return 1.0 - (end - x) ** 2 / ((end - start) * (end - peak))


def chance_between(*, earliest: date, ideal: date, latest: date, today: date, first: date, end: date) -> float:
    """Chance that the day falls on `first` or later and before `end`; days before `today` count as today."""
    start, peak, last = (max(day, today).toordinal() for day in (earliest, ideal, latest))
    # A drawn moment is rounded to the nearest day.
    before = triangle_below(first.toordinal() - 0.5, start=start, peak=peak, end=last)
    return triangle_below(end.toordinal() - 0.5, start=start, peak=peak, end=last) - before
