"""What may not be touched yet: fresh coats in cure, fresh film, fresh refinish."""

from __future__ import annotations

from datetime import date, timedelta

from lifecycle.care.facts import CERAMIC, FILM, CareFacts, SurfaceFacts
from lifecycle.care.tasks_table import interval

REFERENCE_CURE_C = 20.0


def cure_days(air_c: float) -> float:
    """Days until a ceramic coat bears chemicals and a booster, at a mean air temperature of `air_c` °C.

    The longer of the time without chemicals and of full cure, which takes half as long again for each 10 K below 20 °C
    (common practice, no source; intervals.csv).
    """
    colder = max(0.0, REFERENCE_CURE_C - air_c) / 10.0
    full = interval("cure.full_days") * (1.0 + interval("cure.cold_share_per_10k") * colder)
    return max(interval("cure.chemicals_days"), full)


def touchable_on(surface: SurfaceFacts, facts: CareFacts) -> date | None:
    """First day on which chemicals, boosters and further coats may go onto the surface; None where nothing is fresh."""
    bounds: list[date] = []
    for layer in surface.layers:
        if layer.kind in CERAMIC:
            air_c = facts.forecast.climate.air_c[layer.applied.month - 1]
            bounds.append(layer.applied + timedelta(days=round(cure_days(air_c))))
        elif layer.kind in FILM:
            bounds.append(layer.applied + timedelta(days=interval("cure.film_days")))
    given = surface.given
    if given is not None and given.finish in ("refinish", "touch_up") and given.refinished_on is not None:
        bounds.append(given.refinished_on + timedelta(days=interval("refinish.rest_days")))
    return max(bounds, default=None)
