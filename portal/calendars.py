"""Calendars: the private address that a calendar program asks, and single visits as files."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Sequence
from typing import Final

from allauth.account.adapter import get_adapter
from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.http import http_date
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from lifecycle.care import feeds
from lifecycle.care.visit_reads import VisitView
from lifecycle.errors import NotFoundHere
from portal.access.registry import access

# Calendar programs ask a few times a day; more than this in a minute is no calendar. Judgement.
PER_MINUTE: Final = 30


def page_url(for_site: bool) -> str:
    """The page that an event points to."""
    return f"{settings.SITE_ADDRESS}{reverse('studio:bookings' if for_site else 'customer:visits')}"


def feed_url(token: str) -> str:
    """The full address of a feed."""
    return f"{settings.SITE_ADDRESS}{reverse('calendar', args=[token])}"


def calendar_answer(
    request: HttpRequest, visits: Sequence[VisitView], *, name: str, for_site: bool, language: str = "", title: str = ""
) -> HttpResponseBase:
    """A calendar file, or 304 where the asker has it already."""
    body = feeds.calendar_of(
        visits, name=title or (visits[0].studio if visits else ""), for_site=for_site,
        language=language or getattr(request, "LANGUAGE_CODE", "en"), url=lambda: page_url(for_site),
    )  # fmt: skip
    answer = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    answer["Content-Disposition"] = f'inline; filename="{name}"'
    answer["Cache-Control"] = "private, no-cache"
    answer["ETag"] = etag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    changed = max((int(visit.changed_at.timestamp()) for visit in visits), default=None)
    if changed is not None:
        answer["Last-Modified"] = http_date(changed)
    # The tag decides: a visit that leaves the calendar changes the file and no visit's time.
    return get_conditional_response(request, etag=etag, response=answer) or answer


def _too_often(request: HttpRequest) -> bool:
    key = f"calendar:{get_adapter().get_client_ip(request)}:{int(time.time() // 60)}"
    cache.add(key, 0, 120)
    try:
        return int(cache.incr(key)) > PER_MINUTE
    except ValueError:  # thrown out of the cache meanwhile
        return False


@access("public")
@require_safe
def calendar(request: HttpRequest, token: str) -> HttpResponseBase:
    """The calendar behind a private address; whoever has the address reads it."""
    if _too_often(request):
        return HttpResponse(
            _("Too many requests; try again in a minute.") + "\n", content_type="text/plain", status=429
        )
    try:
        held = feeds.contents(token, at=timezone.now())
    except NotFoundHere:
        return HttpResponse(_("There is no such calendar.") + "\n", content_type="text/plain", status=404)
    return calendar_answer(
        request, held.visits, name="visits.ics", for_site=held.for_site, language=held.language, title=held.name
    )
