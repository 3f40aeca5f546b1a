"""Washes and other events of a vehicle."""

from __future__ import annotations

from typing import Any

from ninja import Query, Router
from pydantic import Field

from lifecycle.connect import reads as facts

from . import shapes
from .answers import reads
from .bearer import TokenRequest, needs

router = Router(tags=["events"])


class Wanted(shapes.Paging):
    """Which events."""

    since: shapes.Day | None = Field(None, description="Only from this day on.")


@router.get(
    "/vehicles/{vehicle_id}/events", response=reads(shapes.EventList, of_one=True), **needs("read:events", Wanted)
)
def list_events(request: TokenRequest, vehicle_id: shapes.Id, wanted: Query[Wanted]) -> dict[str, Any]:
    """What happened to a vehicle, oldest first."""
    page = facts.events(
        request.auth.member.studio, vehicle_id, since=wanted.since, page=wanted.page, per_page=wanted.per_page
    )
    return shapes.listing(page)
