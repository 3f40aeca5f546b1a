"""The owner's outlook by month."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from ninja import Router

from lifecycle.outlook import sheet_reads
from lifecycle.outlook.revenue import SPLITS

from . import shapes
from .answers import reads
from .bearer import TokenRequest, needs

router = Router(tags=["outlook"])


def _money(band: Any) -> dict[str, str]:
    return {name: f"{getattr(band, name):.2f}" for name in ("p10", "p50", "p90")}


@router.get("/outlook", response=reads(shapes.Outlook), **needs("read:outlook"))
def outlook_months(request: TokenRequest) -> dict[str, Any]:
    """Care of the next twelve months as money, 10-50-90 %, by how sure it is: as it was last prepared, for all
    sites together. No months where nothing is prepared yet."""
    studio = request.auth.member.studio
    page = sheet_reads.page(studio)
    if page.sheet is None or page.as_of is None:
        return {
            "today": studio.day(timezone.now()), "prepared_at": None, "currency": studio.currency, "months": [],
            "left_out": ["everything: no outlook is prepared yet; it is prepared once a night"],
        }  # fmt: skip
    rows = [
        {"first": month.first, "hours": month.labour, "capacity_h": month.has.labour, "total": _money(month.total)}
        | {name: _money(getattr(month, name).money) for name in SPLITS}
        for month in page.sheet.months
    ]
    return {
        "today": page.as_of, "prepared_at": page.made_at, "currency": page.sheet.currency, "months": rows,
        "left_out": list(page.sheet.left_out),
    }  # fmt: skip
