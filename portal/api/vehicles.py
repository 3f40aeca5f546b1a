"""Vehicles: list, one."""

from __future__ import annotations

from typing import Any

from ninja import Query, Router
from pydantic import Field

from lifecycle.connect import reads as facts

from . import shapes
from .answers import reads
from .bearer import TokenRequest, needs

router = Router(tags=["vehicles"])


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
