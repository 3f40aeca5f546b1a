"""The owner's outlook by month."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from ninja import Router

from lifecycle.outlook import reads as outlooks

from . import shapes
from .answers import reads
from .bearer import TokenRequest, needs

router = Router(tags=["outlook"])


def _money(band: Any) -> dict[str, str]:
    return {name: f"{getattr(band, name):.2f}" for name in ("p10", "p50", "p90")}


@router.get("/outlook", response=reads(shapes.Outlook), **needs("read:outlook"))
def outlook_months(request: TokenRequest) -> dict[str, Any]:
    """Care of the next twelve months as money, 10-50-90 %, by how sure it is."""
    studio = request.auth.member.studio
    view = outlooks.outlook(studio, today=studio.day(timezone.now()))
    rows = [
        {"first": month.first, "hours": month.hours, "capacity_h": month.capacity_h}
        | {name: _money(getattr(month, name)) for name in ("booked", "likely", "possible", "total")}
        for month in view.months
    ]
    return {"today": view.today, "currency": view.currency, "months": rows, "left_out": list(view.left_out)}
