"""What may not be touched yet: fresh coats in cure, fresh film, fresh refinish."""

from __future__ import annotations

from datetime import date, timedelta

from lifecycle.care.cure_rules import cured_days
from lifecycle.care.facts import CERAMIC, FILM, CareFacts, SurfaceFacts
from lifecycle.care.stack_rules import Sheet
from lifecycle.care.tasks_table import interval


def cure_days(air_c: float) -> float:
    """Days until a ceramic coat bears chemicals and a booster, at a mean air temperature of `air_c` °C (see
    `cure_rules`)."""
    return cured_days("ceramic_mid", air_c=air_c)


def touchable_on(surface: SurfaceFacts, facts: CareFacts) -> date | None:
    """First day on which chemicals, boosters and further coats may go onto the surface; None where nothing is fresh."""
    bounds: list[date] = []
    sheets = {one.key: one.cure_days for one in surface.given.layers} if surface.given else {}
    for layer in surface.layers:
        own = sheets.get(layer.key)
        if layer.kind in CERAMIC:
            air_c = facts.forecast.climate.air_c[layer.applied.month - 1]
            days = cured_days(layer.kind, air_c=air_c, sheet=Sheet(no_chemicals_days=own))
            bounds.append(layer.applied + timedelta(days=round(days)))
        elif layer.kind in FILM:
            days = cured_days(layer.kind, sheet=Sheet(no_wash_days=own))
            bounds.append(layer.applied + timedelta(days=round(days)))
    given = surface.given
    if given is not None and given.finish in ("refinish", "touch_up") and given.refinished_on is not None:
        bounds.append(given.refinished_on + timedelta(days=interval("refinish.rest_days")))
    return max(bounds, default=None)
