"""Until when fresh layers are left alone: keep dry, no wash, no chemicals, fully cured, as ranges. Reads only.

For the studio's page and the keeper's; the times are those of `cure_rules`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from lifecycle.care.cure_rules import REFERENCE_C, rests
from lifecycle.care.sheets import sheet_of
from lifecycle.care.stack_rules import SHEET
from lifecycle.care.tongue.names import layer_name, surface_name
from lifecycle.climate.store import rows_at
from lifecycle.models import Habits, Layer, Studio, Vehicle
from lifecycle.wear.types import Place

# Nothing cures for longer, not even in the cold.
LOOK_BACK: Final = timedelta(days=200)


@dataclass(frozen=True, slots=True)
class CureStep:
    """`earliest` to `latest`: between these days the step ends; `over` when the later one is past.

    `by_sheet`: the product's data sheet says so, else common practice.
    """

    step: str
    words: str
    earliest: date
    latest: date
    by_sheet: bool
    source: str
    over: bool


@dataclass(frozen=True, slots=True)
class FreshLayer:
    """Layers of one product that went on on one day, with what is left undone until when."""

    layer: str
    product: str
    surfaces: tuple[str, ...]
    applied: date
    air_c: float | None
    slower: bool
    steps: tuple[CureStep, ...]


def air_by_month(vehicle: Vehicle) -> tuple[float, ...]:
    """Mean air temperature of the twelve months where the vehicle lives, °C; () where no climate is at hand."""
    home = Habits.objects.filter(vehicle=vehicle, end=None).exclude(lat=None).first()
    stand = home if home is not None else vehicle.site
    if stand.lat is None or stand.lon is None:
        return ()
    rows = rows_at(Place(lat=stand.lat, lon=stand.lon, height_m=stand.height_m))
    return tuple(rows[0].months.get("air_c", ())) if rows else ()


def cure_calendar(*, studio: Studio, vehicle_id: int, today: date) -> tuple[FreshLayer, ...]:
    """What is still in cure on a vehicle of a studio, newest first; empty where nothing is. Constant queries.

    A layer that has ended, or of which every step is over, is left out. A vehicle of another studio has none.
    """
    rows = list(
        Layer.objects.of(studio)
        .filter(surface__vehicle=vehicle_id, ended=None, applied__lte=today, applied__gt=today - LOOK_BACK)
        .select_related("product", "surface").order_by("-applied", "id")
    )  # fmt: skip
    vehicle = Vehicle.objects.of(studio).filter(pk=vehicle_id).select_related("site").first()
    if not rows or vehicle is None:
        return ()
    air = air_by_month(vehicle)
    groups: dict[tuple[date, str, int | None], list[Layer]] = {}
    for row in rows:
        groups.setdefault((row.applied, row.kind, row.product_id), []).append(row)
    made = []
    for (applied, kind, _product), layers in groups.items():
        air_c = air[applied.month - 1] if air else None
        steps = []
        for rest in rests(kind, air_c=REFERENCE_C if air_c is None else air_c, sheet=sheet_of(layers[0].product)):
            earliest, latest = rest.until(applied)
            steps.append(
                CureStep(
                    step=rest.step, words=rest.words, earliest=earliest, latest=latest, by_sheet=rest.mark == SHEET,
                    source=rest.source, over=latest <= today,
                )
            )  # fmt: skip
        if not all(step.over for step in steps):
            made.append(
                FreshLayer(
                    layer=layer_name(kind),
                    product=layers[0].product.name if layers[0].product is not None else "",
                    surfaces=tuple(surface_name(layer.surface.code) for layer in layers), applied=applied, air_c=air_c,
                    slower=air_c is not None and air_c < REFERENCE_C, steps=tuple(steps),
                )
            )  # fmt: skip
    return tuple(made)
