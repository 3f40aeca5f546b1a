"""One surface with everything on record about it: drawings on top, then one dated list with its evidence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from lifecycle.care.panel_reads import KINDS, FindingRef, PanelRecord, panel_record
from lifecycle.care.vehicle_reads import vehicle_for_studio
from lifecycle.errors import NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import ROLES_OF, access
from portal.drawings.finding_marks import Mark, draw_outline
from portal.drawings.page import surface_page
from portal.drawings.places import Spot, outline_point, words_of
from portal.drawings.removal_curve import whole_range

from .common import other_pages, page_number, studio_today

PER_PAGE = 100


@dataclass(frozen=True, slots=True)
class Seen:
    """A finding and where on the panel it lies, in words; "" where nobody said."""

    finding: FindingRef
    place: str


def _mark(finding: FindingRef, spot: Spot, body: str) -> Mark:
    """A finding on the panel's outline, wherever it was placed."""
    x, y = finding.x, finding.y
    if not finding.on_outline and x is not None and y is not None:
        x, y = outline_point(spot, body, x, y) or (None, None)
    return Mark(finding.number, finding.kind, spot.id, on_outline=True, x=x, y=y, ours=not finding.pre_existing)


def _seen(record: PanelRecord) -> dict[str, Any]:
    """The panel's outline with its findings, and those in words, newest first."""
    spot = Spot(record.surface_id, record.code, record.name, record.orientation, record.substrate)
    marks = [_mark(one, spot, record.body) for one in record.findings]
    seen = [
        Seen(one, words_of(spot, record.body, on_outline=one.on_outline, x=one.x, y=one.y))
        for one in reversed(record.findings)
    ]
    drawn = draw_outline(spot, marks, body=record.body, key="panel") if any(m.x is not None for m in marks) else None
    return {"outline": drawn, "seen": seen}


@access("member")
@require_GET
def panel(request: MemberRequest, vehicle_id: int, surface_id: int) -> HttpResponse:
    """A surface's record, all of it or one kind."""
    studio = request.member.studio
    try:
        record = panel_record(studio=studio, vehicle_id=vehicle_id, surface_id=surface_id, at=timezone.now())
        view = vehicle_for_studio(studio=studio, vehicle_id=vehicle_id, today=studio_today(request))
    except NotFoundHere as error:
        raise Http404 from error
    number, surface = next((n, s) for n, s in enumerate(view.surfaces, start=1) if s.id == surface_id)
    kind = request.GET.get("kind", "")
    entries = [one for one in record.entries if kind not in KINDS or one.kind == kind]
    pages = max(1, -(-len(entries) // PER_PAGE))
    page = min(page_number(request), pages)
    context = {
        "record": record,
        **_seen(record),
        "surface": surface_page(number, surface, view, first=True),
        "kind": kind if kind in KINDS else "",
        "entries": entries[(page - 1) * PER_PAGE : page * PER_PAGE],
        "number": page,
        "pages": pages,
        "more": other_pages(request),
        "one_steps": whole_range(record.paint.one_steps_left) if record.paint is not None else "",
        "full": whole_range(record.paint.full_left) if record.paint is not None else "",
        "may_record": request.member.role in ROLES_OF["technician"],
    }
    return render(request, "studio/panel.html", context)
