"""The owner's outlook as it was prepared: months, hours, weeks, the rows behind each figure, and the one action."""

from __future__ import annotations

from datetime import date
from functools import partial
from typing import Any, Final

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_POST

from lifecycle.errors import DomainError
from lifecycle.outlook import prepared, sheet_reads, spreading
from lifecycle.outlook.sheet import Sheet
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import bounded_int, other_pages, page_number, plain
from .life import or_404
from .range_chart import range_chart, week_chart

MOST: Final = 2**62
SPLITS: Final = ("booked", "likely", "possible")


def site_asked(request: MemberRequest) -> int | None:
    """The site that the address asks for; None for all."""
    return bounded_int(request.GET.get("site", ""), low=0, high=MOST, default=0) or None


def _chart(sheet: Sheet) -> Any:
    return range_chart([(row.first, {split: getattr(row, split).money for split in SPLITS}) for row in sheet.months])


@access("owner")
@require_GET
def outlook(request: MemberRequest) -> HttpResponse:
    """What comes back in the next twelve months, of one site or of all."""
    site_id = site_asked(request)
    page: Any = or_404(partial(sheet_reads.page, request.member.studio, site_id=site_id))
    context: dict[str, Any] = {"page": page, "rows_url": rows_url(site_id)}
    if page.sheet is not None:
        context |= {
            "sheet": page.sheet, "chart": _chart(page.sheet), "weeks": week_chart(page.sheet.weeks),
            "currency": page.sheet.currency, "months": (*page.sheet.months, page.sheet.year),
        }  # fmt: skip
    return render(request, "studio/outlook.html", context)


def rows_url(site_id: int | None) -> str:
    """The address of the rows behind a figure, ready for more of its query."""
    query = urlencode({"site": site_id}) + "&" if site_id else ""
    return f"{reverse('studio:outlook_rows')}?{query}"


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


@access("owner")
@require_GET
def outlook_rows(request: MemberRequest) -> HttpResponse:
    """The visits, windows and renewals behind one figure."""
    asked = request.GET
    month, week = asked.get("month", ""), asked.get("week", "")
    span = {"month": _day(f"{month}-01") if month else None, "week": _day(week) if week else None}
    wrong = bool(month) != (span["month"] is not None) or bool(week) != (span["week"] is not None)
    if wrong:
        raise Http404
    read = partial(
        sheet_reads.rows, request.member.studio, site_id=site_asked(request), number=page_number(request),
        split=asked.get("split", "") or sheet_reads.TOGETHER, **span,
    )  # fmt: skip
    found: Any = or_404(read)
    if found is None:
        raise Http404
    return render(request, "studio/outlook_rows.html", {"page": found, "more": other_pages(request)})


def _back(site_id: int | None) -> HttpResponse:
    query = f"?{urlencode({'site': site_id})}" if site_id else ""
    return redirect(reverse("studio:outlook") + query)


@access("owner")
@require_POST
def outlook_prepare(request: MemberRequest) -> HttpResponse:
    """Prepare the outlook again now."""
    rows = prepared.prepare_studio(studio=request.member.studio, actor=request.member.actor, at=timezone.now())
    messages.success(request, f"Prepared just now, from {rows} visits, windows and renewals.")
    return _back(bounded_int(request.POST.get("site", ""), low=0, high=MOST, default=0) or None)


@access("owner")
@require_POST
def outlook_spread(request: MemberRequest, site_id: int) -> HttpResponse:
    """Spread the invitations of a site over its days anew."""
    studio = request.member.studio
    verb = partial(
        spreading.spread_invitations, studio=studio, site_id=site_id, actor=request.member.actor, at=timezone.now()
    )  # fmt: skip
    try:
        entry: Any = or_404(verb)
    except DomainError as error:
        messages.error(request, plain(error))
        return _back(site_id)
    prepared.prepare_studio(studio=studio, actor=request.member.actor, at=timezone.now())
    return redirect("studio:outlook_spreading", entry.pk)


@access("owner")
@require_GET
def outlook_spreading(request: MemberRequest, spreading_id: int) -> HttpResponse:
    """What a spreading moved, and why."""
    found = or_404(partial(spreading.spreading, request.member.studio, spreading_id))
    return render(request, "studio/outlook_spreading.html", {"view": found})
