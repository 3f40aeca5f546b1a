"""One box over the studio's record."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from lifecycle.care import search as finder
from portal.access.people import MemberRequest
from portal.access.registry import ROLES_OF, access

from .common import search_text


@access("member")
@require_GET
def search(request: MemberRequest) -> HttpResponse:
    """What a text finds, grouped by sort; keepers for those who see customers."""
    customers = request.member.role in ROLES_OF["desk"]
    text = search_text(request).replace("\x00", "")
    found = finder.search(studio=request.member.studio, text=text, customers=customers)
    return render(request, "studio/search.html", {"found": found, "q": text, "customers": customers})
