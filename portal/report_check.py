"""The public page behind a report's QR code: is it still what was sealed? No name, no plate, no finding's text."""

from __future__ import annotations

from typing import Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from lifecycle.care.reports.reads import public_check
from lifecycle.errors import NotFoundHere
from portal.access.registry import access
from portal.limits import too_often

# A check reads every photo's file: enough for people, not for a machine that tries addresses. Judgement.
PER_MINUTE: Final = 30


@access("public")
@never_cache
@require_safe
def report_check(request: HttpRequest, token: str) -> HttpResponse:
    """Check one report anew and say what differs."""
    if too_often(request, "report-check", per_minute=PER_MINUTE):
        return render(request, "report/wait.html", status=429)
    try:
        found = public_check(token)
    except NotFoundHere:
        return render(request, "report/unknown.html", status=404)
    return render(request, "report/check.html", {"check": found})
