"""Layers of a vehicle."""

from __future__ import annotations

from typing import Any

from ninja import Query, Router
from pydantic import Field

from lifecycle.connect import reads as facts

from . import shapes
from .answers import reads
from .bearer import TokenRequest, needs

router = Router(tags=["layers"])


class Wanted(shapes.Paging):
    """Which layers."""

    ended: bool = Field(False, description="Also layers that are no longer there.")


@router.get(
    "/vehicles/{vehicle_id}/layers", response=reads(shapes.LayerList, of_one=True), **needs("read:layers", Wanted)
)
def list_layers(request: TokenRequest, vehicle_id: shapes.Id, wanted: Query[Wanted]) -> dict[str, Any]:
    """The layers of a vehicle, oldest first, each with its stage and range in the latest forecast."""
    page = facts.layers(
        request.auth.member.studio, vehicle_id, ended=wanted.ended, page=wanted.page, per_page=wanted.per_page
    )
    return shapes.listing(page)
