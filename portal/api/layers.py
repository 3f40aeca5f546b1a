"""Layers of a vehicle."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Literal

from django.http import HttpResponse
from ninja import Query, Router
from pydantic import Field

from lifecycle.care import layering
from lifecycle.care.stack_rules import PREPS, Conditions
from lifecycle.connect import reads as facts
from lifecycle.connect.reads import still_here
from lifecycle.wear.choices import LAYER_KINDS

from . import shapes
from .answers import deeds, reads
from .bearer import TokenRequest, needs
from .once import KEY, Made, once

router = Router(tags=["layers"])


class NewLayer(shapes.Closed):
    """A layer on one surface. What a rule forbids is recorded only with a written reason in `override_reason`."""

    surface_id: shapes.BodyId
    kind: Literal[LAYER_KINDS]  # type: ignore[valid-type]
    applied: shapes.Day = Field(..., description="Not in the future.")
    product_id: shapes.BodyId | None = None
    coats: int = Field(1, ge=1, le=12, strict=True)
    batch: shapes.Line = shapes.line(40)
    applicator_id: shapes.BodyId | None = Field(None, description="The member who put it on.")
    prep: list[Literal[tuple(PREPS)]] = Field([], max_length=len(PREPS))  # type: ignore[misc]
    air_c: shapes.Number | None = Field(None, ge=-30, le=60, description="°C")
    surface_c: shapes.Number | None = Field(None, ge=-30, le=90, description="°C")
    rh_pct: shapes.Number | None = Field(None, ge=0, le=100, description="%")
    coat_gap_h: shapes.Number | None = Field(None, ge=0, le=720, description="Longest time between two coats, hours.")
    override_reason: shapes.Line = shapes.line(500)


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


@router.post("/vehicles/{vehicle_id}/layers", response=deeds(shapes.MadeLayer), **needs("write:layers"))
def record_layer(request: TokenRequest, vehicle_id: shapes.Id, body: NewLayer, key: str = KEY) -> HttpResponse:
    """Record a layer, checked against the air, the panel, the stack below and the data sheet as on the page."""
    told = body.model_dump()
    now = Conditions(**{name: told.pop(name) for name in ("air_c", "surface_c", "rh_pct", "coat_gap_h")})

    def work(at: datetime) -> Made:
        member = request.auth.member
        still_here(member.studio, vehicle_id)
        (checked,) = layering.check_layer(
            studio=member.studio, vehicle_id=vehicle_id, surface_ids=[body.surface_id], kind=body.kind,
            applied=body.applied, product_id=body.product_id, coats=body.coats, prep=body.prep, now=now,
        )  # fmt: skip
        layer = layering.record_layer(studio=member.studio, **told, now=now, actor=member.actor, at=at)
        told_of = [{"code": one.code, "says": one.says} for one in checked.findings if one not in checked.blocked]
        return Made(layer.pk, f"/api/v1/vehicles/{vehicle_id}/layers", {"warnings": told_of})

    return once(request, key, work)
