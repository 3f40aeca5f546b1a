"""The public page behind a report's QR code: is it still what was sealed? No name, no plate, no finding's text."""

from __future__ import annotations

import time
from typing import Final

from allauth.account.adapter import get_adapter
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from lifecycle.care.reports.reads import public_check
from lifecycle.errors import NotFoundHere
from portal.access.registry import access

# A check reads every photo's file: enough for people, not for a machine that tries addresses. Judgement.
PER_MINUTE: Final = 30


def _too_often(request: HttpRequest) -> bool:
    """Count this address's checks of the present minute. The count may lose one under load; it is no lock."""
    key = f"report-check:{get_adapter().get_client_ip(request)}:{int(time.time() // 60)}"
    cache.add(key, 0, 120)
    try:
        return int(cache.incr(key)) > PER_MINUTE
    except ValueError:  # thrown out of the cache meanwhile
        return False


@access("public")
@never_cache
@require_safe
def report_check(request: HttpRequest, token: str) -> HttpResponse:
    """Check one report anew and say what differs."""
    if _too_often(request):
        return render(request, "report/wait.html", status=429)
    try:
        found = public_check(token)
    except NotFoundHere:
        return render(request, "report/unknown.html", status=404)
    return render(request, "report/check.html", {"check": found})
