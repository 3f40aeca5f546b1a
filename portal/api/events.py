"""Washes and other events of a vehicle."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Literal

from django.http import HttpResponse
from ninja import Query, Router
from pydantic import Field

from lifecycle.care import record
from lifecycle.care.record import STUDIO_EVENT_KINDS
from lifecycle.connect import reads as facts
from lifecycle.connect.reads import still_here

from . import shapes
from .answers import deeds, reads
from .bearer import TokenRequest, needs
from .once import KEY, Made, once

router = Router(tags=["events"])


class NewEvent(shapes.Closed):
    """A wash or something that happened; without a surface, to the whole vehicle. A correction, a repaint or a swapped
    part needs its surface and ends the coats on it."""

    kind: Literal[STUDIO_EVENT_KINDS]  # type: ignore[valid-type]
    on: shapes.Day = Field(..., description="Not in the future.")
    surface_id: shapes.BodyId | None = None
    by: Literal["studio", "customer"] = "studio"
    dwell_h: shapes.Number | None = Field(None, ge=0, le=10_000, description="How long it lay there, hours.")
    air_c: shapes.Number | None = Field(None, ge=-60, le=60, description="°C")
    note: shapes.Line = shapes.line(300)


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


@router.post("/vehicles/{vehicle_id}/events", response=deeds(), **needs("write:events"))
def record_event(request: TokenRequest, vehicle_id: shapes.Id, body: NewEvent, key: str = KEY) -> HttpResponse:
    """Record a wash or something that happened; the next round of the worker counts it."""
    told = body.model_dump()

    def work(at: datetime) -> Made:
        member = request.auth.member
        still_here(member.studio, vehicle_id)
        event = record.record_event(studio=member.studio, vehicle_id=vehicle_id, **told, actor=member.actor, at=at)
        return Made(event.pk, f"/api/v1/vehicles/{vehicle_id}/events")

    return once(request, key, work)
