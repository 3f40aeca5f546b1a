"""Care that is due."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from ninja import Query, Router
from pydantic import Field

from lifecycle.connect import reads as facts

from . import shapes
from .answers import reads
from .bearer import TokenRequest, needs

router = Router(tags=["due"])


class Wanted(shapes.Paging):
    """Which care windows."""

    vehicle: shapes.Id | None = Field(None, description="Only of this vehicle.")
    site: shapes.Id | None = Field(None, description="Only of vehicles of this site.")
    when: shapes.When = Field("all", description="now: open today; soon: opens within 30 days; all.")


@router.get("/due", response=reads(shapes.DueList), **needs("read:due", Wanted))
def list_due(request: TokenRequest, wanted: Query[Wanted]) -> dict[str, Any]:
    """Live care windows, soonest end first."""
    studio = request.auth.member.studio
    page = facts.dues(
        studio, today=studio.day(timezone.now()), vehicle_id=wanted.vehicle, site_id=wanted.site, when=wanted.when,
        page=wanted.page, per_page=wanted.per_page,
    )  # fmt: skip
    return shapes.listing(page)
