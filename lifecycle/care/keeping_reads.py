"""What the forms that keep the record true start from: one vehicle, its surfaces, its use, its keeper. Reads only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import reduce
from operator import or_
from typing import Any, Final

from django.db.models import Exists, OuterRef

from lifecycle.care.wording import spoken
from lifecycle.errors import NotFoundHere
from lifecycle.models import (
    CareEvent,
    Correction,
    CorrectionPanel,
    Finding,
    Habits,
    Keeper,
    Layer,
    Reading,
    Storage,
    Studio,
    Surface,
    Vehicle,
)
from lifecycle.wear.types import Place

# What can be on record for a surface.
RECORDS: Final = (Layer, Reading, Correction, CareEvent, Finding, CorrectionPanel)


@dataclass(frozen=True, slots=True)
class SurfaceFacts:
    """`used`: something is on record for it, so that it cannot be taken off."""

    id: int
    code: str
    name: str
    orientation: str
    substrate: str
    finish: str
    refinished_on: date | None
    used: bool


@dataclass(frozen=True, slots=True)
class HabitsFacts:
    """`place`: where it lives, if not at its site."""

    start: date
    parking: str
    km_per_year: float
    wash_method: str
    washes_per_year: float
    wash_ph: str
    road_salt: str
    trees_birds: int
    source: str
    place: Place | None


@dataclass(frozen=True, slots=True)
class StorageFacts:
    id: int
    start: date
    end: date | None


@dataclass(frozen=True, slots=True)
class Kept:
    """`habits`: the ones that hold, None where nobody has said; `storages`: newest first."""

    vehicle_id: int
    vehicle: str
    plate: str
    site_id: int
    site: str
    site_road_salt: str
    body: str
    size: str
    colour: str
    paint: str
    powertrain: str
    first_seen: date
    retired_on: date | None
    keeper_id: int | None
    keeper: str
    keeper_since: date | None
    surfaces: tuple[SurfaceFacts, ...]
    habits: HabitsFacts | None
    storages: tuple[StorageFacts, ...]


def retired_on(studio: Studio, vehicle_id: int) -> date | None:
    """The day on which a vehicle left for good; None while it is looked after here, or where there is none."""
    day: date | None = Vehicle.objects.filter(studio=studio, pk=vehicle_id).values_list("retired_on", flat=True).first()
    return day


def kept(studio: Studio, vehicle_id: int) -> Kept:
    """One vehicle as its forms need it, with a fixed number of queries.

    Raises:
        NotFoundHere: the vehicle is not of this studio.
    """
    vehicle = Vehicle.objects.filter(studio=studio, pk=vehicle_id).select_related("site").first()
    if vehicle is None:
        raise NotFoundHere(f"There is no vehicle {vehicle_id} in this studio.")
    keeper = Keeper.objects.filter(vehicle=vehicle, end=None).select_related("customer").first()
    return Kept(
        vehicle_id=vehicle.pk,
        vehicle=vehicle.description,
        plate=vehicle.plate,
        site_id=vehicle.site_id,
        site=vehicle.site.name,
        site_road_salt=vehicle.site.road_salt,
        body=vehicle.body,
        size=vehicle.size,
        colour=vehicle.colour,
        paint=vehicle.paint,
        powertrain=vehicle.powertrain,
        first_seen=vehicle.first_seen,
        retired_on=vehicle.retired_on,
        keeper_id=keeper.customer_id if keeper is not None else None,
        keeper=keeper.customer.name if keeper is not None else "",
        keeper_since=keeper.start if keeper is not None else None,
        surfaces=_surfaces(vehicle),
        habits=_habits(vehicle),
        storages=tuple(
            StorageFacts(row.pk, row.start, row.end)
            for row in Storage.objects.filter(vehicle=vehicle).order_by("-start")
        ),
    )


def _surfaces(vehicle: Vehicle) -> tuple[SurfaceFacts, ...]:
    recorded: list[Any] = [Exists(model.objects.filter(surface=OuterRef("pk"))) for model in RECORDS]
    there: Any = Surface.objects.filter(vehicle=vehicle, removed_on=None)
    rows: Any = there.annotate(used=reduce(or_, recorded)).order_by("id")
    return tuple(
        SurfaceFacts(
            id=row.pk, code=row.code, name=spoken(row.code), orientation=row.orientation, substrate=row.substrate,
            finish=row.finish, refinished_on=row.refinished_on,
            used=row.used,
        )
        for row in rows
    )  # fmt: skip


def _habits(vehicle: Vehicle) -> HabitsFacts | None:
    row = Habits.objects.filter(vehicle=vehicle, end=None).first()
    if row is None:
        return None
    place = None
    if row.lat is not None and row.lon is not None:
        place = Place(lat=row.lat, lon=row.lon, height_m=row.height_m, sea_distance_m=row.sea_distance_m)
    return HabitsFacts(
        start=row.start, parking=row.parking, km_per_year=row.km_per_year, wash_method=row.wash_method,
        washes_per_year=row.washes_per_year, wash_ph=row.wash_ph, road_salt=row.road_salt,
        trees_birds=row.trees_birds, source=row.source, place=place,
    )  # fmt: skip
