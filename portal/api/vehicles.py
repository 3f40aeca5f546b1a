"""Vehicles: list, one, a new one."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Literal

from django.http import HttpResponse
from ninja import Query, Router
from pydantic import Field

from lifecycle.care import register
from lifecycle.care.record import not_after
from lifecycle.care.surface_presets import BODIES
from lifecycle.connect import reads as facts
from lifecycle.wear.choices import COLOURS, PAINTS, POWERTRAINS, SIZES

from . import shapes
from .answers import deeds, reads
from .bearer import TokenRequest, needs
from .once import KEY, Made, once

router = Router(tags=["vehicles"])


class NewVehicle(shapes.Closed):
    """A vehicle to be put on record. `keeper_id`: the customer’s number, which stands in the address of their page."""

    site_id: shapes.BodyId
    keeper_id: shapes.BodyId
    plate: shapes.Line = shapes.line(20, least=1)
    description: shapes.Line = shapes.line(120, least=1, says="In plain words, such as “grey estate”.")
    body: Literal[BODIES]  # type: ignore[valid-type]
    size: Literal[SIZES]  # type: ignore[valid-type]
    colour: Literal[COLOURS]  # type: ignore[valid-type]
    paint: Literal[PAINTS] = "clear_coat"  # type: ignore[valid-type]
    powertrain: Literal[POWERTRAINS] = "combustion"  # type: ignore[valid-type]
    first_seen: shapes.Day = Field(..., description="Not in the future.")


class Wanted(shapes.Paging):
    """Which vehicles."""

    plate: shapes.Line = Field("", max_length=20, pattern=shapes.PRINTABLE, description="Plates that hold this text.")
    site: shapes.Id | None = Field(None, description="Only vehicles of this site.")


@router.get("/vehicles", response=reads(shapes.VehicleList), **needs("read:vehicles", Wanted))
def list_vehicles(request: TokenRequest, wanted: Query[Wanted]) -> dict[str, Any]:
    """Vehicles that are looked after here, by id."""
    page = facts.vehicles(
        request.auth.member.studio, plate=wanted.plate, site_id=wanted.site, page=wanted.page, per_page=wanted.per_page
    )
    return shapes.listing(page)


@router.get("/vehicles/{vehicle_id}", response=reads(shapes.WholeVehicle, of_one=True), **needs("read:vehicles"))
def one_vehicle(request: TokenRequest, vehicle_id: shapes.Id) -> facts.VehicleFacts:
    """One vehicle with its surfaces, also one that has left."""
    return facts.vehicle(request.auth.member.studio, vehicle_id)


@router.post("/vehicles", response=deeds(), **needs("write:vehicles"))
def register_vehicle(request: TokenRequest, body: NewVehicle, key: str = KEY) -> HttpResponse:
    """Put a vehicle and its keeper on record. Surfaces are added on its page."""
    told = body.model_dump()

    def work(at: datetime) -> Made:
        member = request.auth.member
        not_after("first_seen", body.first_seen, member.studio, at)
        vehicle = register.register_vehicle(studio=member.studio, **told, actor=member.actor, at=at)
        return Made(vehicle.pk, f"/api/v1/vehicles/{vehicle.pk}")

    return once(request, key, work)
