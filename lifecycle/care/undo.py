"""What work that ends coats found on its surface, so that a wrong entry can be taken back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, Final

from lifecycle.models import CareEvent, Layer, Surface

DAYS: Final = ("refinished_on", "part_since", "removed_on")


def as_before(surface: Surface, on: date) -> dict[str, Any]:
    """The finish, the days and the live coats of a surface before work of the day `on`, as JSON."""
    layers = Layer.objects.filter(surface=surface, ended=None, applied__lte=on).order_by("pk")
    days = {name: getattr(surface, name) for name in DAYS}
    return {
        "finish": surface.finish,
        "substrate": surface.substrate,
        "layers": list(layers.values_list("pk", flat=True)),
        **{name: day.isoformat() if day is not None else None for name, day in days.items()},
    }


def coats_back(*, surface: Surface, was: Mapping[str, Any], on: date, why: str) -> int:
    """Coats that work of the day `on` ended live again.

    They stay ended where something else was put on that surface since: what lies there now lies there without them.

    Returns:
        How many coats live again.
    """
    if not was:
        return 0
    since = Layer.objects.filter(surface=surface, applied__gte=on).exclude(pk__in=was["layers"])
    ended = Layer.objects.filter(pk__in=was["layers"], surface=surface, ended=on, ended_why=why)
    return 0 if since.exists() else ended.update(ended=None, ended_why="")


def restore(event: CareEvent) -> int:
    """Put the surface of an event back as it was before, and its coats that the event ended.

    Returns:
        How many coats live again.
    """
    surface, was = event.surface, event.before
    if surface is None or not was:
        return 0
    surface.finish, surface.substrate = was["finish"], was["substrate"]
    for name in DAYS:
        setattr(surface, name, date.fromisoformat(was[name]) if was[name] else None)
    surface.save(update_fields=["finish", "substrate", *DAYS])
    return coats_back(surface=surface, was=was, on=event.on, why=event.kind.replace("_", " "))
