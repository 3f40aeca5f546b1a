"""Which layers came out of a batch: where they are, who keeps the vehicle, who put them on. Reads only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Prefetch

from lifecycle.models import Keeper, Layer, Studio

LONGEST_BATCH = 40
MOST_NAMES = 20


@dataclass(frozen=True, slots=True)
class RecallRow:
    """One layer of a batch. `ended`: None where it is there now. Keeper's words are empty where nobody keeps it."""

    vehicle_id: int
    plate: str
    vehicle: str
    retired: bool
    surface: str
    product: str
    kind: str
    batch: str
    applied: date
    applicator: str
    ended: date | None
    ended_why: str
    keeper: str
    keeper_id: int | None
    email: str
    phone: str


@dataclass(frozen=True, slots=True)
class Recall:
    """`live` and `ended` layers of a batch; `like`: other batches whose name holds the text."""

    batch: str
    live: tuple[RecallRow, ...]
    ended: tuple[RecallRow, ...]
    like: tuple[str, ...]

    @property
    def vehicles(self) -> int:
        """On how many vehicles the batch is now."""
        return len({row.vehicle_id for row in self.live})


def _row(layer: Layer, *, contacts: bool) -> RecallRow:
    vehicle: Any = layer.surface.vehicle
    keeper = next(iter(vehicle.keepers_now), None)
    customer = keeper.customer if keeper is not None else None
    return RecallRow(
        vehicle_id=vehicle.pk, plate=vehicle.plate, vehicle=vehicle.description,
        retired=vehicle.retired_on is not None, surface=str(layer.surface),
        product=str(layer.product) if layer.product is not None else "", kind=layer.kind.replace("_", " "),
        batch=layer.batch, applied=layer.applied,
        applicator=str(layer.applicator) if layer.applicator is not None else "", ended=layer.ended,
        ended_why=layer.ended_why, keeper=customer.name if customer else "",
        keeper_id=customer.pk if customer and contacts else None,
        email=customer.email if customer and contacts else "",
        phone=customer.phone if customer and contacts else "",
    )  # fmt: skip


def recall(studio: Studio, batch: str, *, contacts: bool) -> Recall:
    """Every layer of a batch in a studio, by plate; the case of letters does not count. Constant queries.

    Not cut to a page: a recall has to show all. An empty text finds nothing.

    Args:
        contacts: whether the person may see how keepers are reached.
    """
    text = batch.strip()[:LONGEST_BATCH]
    if not text:
        return Recall("", (), (), ())
    keepers = Keeper.objects.filter(end=None).select_related("customer")
    rows = [
        _row(layer, contacts=contacts)
        for layer in Layer.objects.of(studio).filter(batch__iexact=text)
        .select_related("surface__vehicle", "product", "applicator__user")
        .prefetch_related(Prefetch("surface__vehicle__keepers", queryset=keepers, to_attr="keepers_now"))
        .order_by("surface__vehicle__plate", "surface_id", "id")
    ]  # fmt: skip
    named = Layer.objects.of(studio).filter(batch__icontains=text).exclude(batch__iexact=text)
    like = named.order_by("batch").values_list("batch", flat=True).distinct()[:MOST_NAMES]
    live = tuple(row for row in rows if row.ended is None)
    return Recall(text, live, tuple(row for row in rows if row.ended is not None), tuple(like))
