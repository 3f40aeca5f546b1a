"""Advice: how often it is taken up and the decisions behind each figure."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from lifecycle.outlook import acceptance_reads
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import bounded_int, other_pages, page_number


@access("owner")
@require_GET
def acceptance(request: MemberRequest) -> HttpResponse:
    """How often advice is taken up, per care, site and reason."""
    return render(request, "studio/acceptance.html", {"view": acceptance_reads.by_care(request.member.studio)})


@access("owner")
@require_GET
def decisions(request: MemberRequest) -> HttpResponse:
    """The decisions behind one figure."""
    page = acceptance_reads.decisions(
        request.member.studio,
        task=request.GET.get("task", "")[:40],
        site_id=bounded_int(request.GET.get("site", ""), low=0, high=2**31, default=0) or None,
        reason=request.GET["reason"][:20] if "reason" in request.GET else None,
        page=page_number(request),
    )
    return render(request, "studio/decisions.html", {"page": page, "more": other_pages(request)})
