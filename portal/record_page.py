"""A care record for a buyer: the page behind a shared link, its PDF, its sealed text, and the check of a copy.

Nothing here is indexed, leaks its address onwards, or waits in a shared cache.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Final

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone, translation
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from lifecycle.care.care_record.reads import LinkOver, Opened, check, open_link
from lifecycle.errors import NotFoundHere
from portal.access.registry import access
from portal.limits import too_often
from portal.records.page import page_of
from portal.records.pdf import make_pdf
from portal.records.words import INTRO, NOT_SAID
from portal.reports import qr

# A PDF costs a tenth of a second: enough for people, not for a machine. Judgement.
PER_MINUTE: Final = 30

View = Callable[..., HttpResponse]


def _apart(view: View) -> View:
    """Answer in the language that the address asks for, else the browser's; keep robots and referrers out."""

    @wraps(view)
    def inner(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        wanted = request.GET.get("language", "")
        language = wanted if wanted in dict(settings.LANGUAGES) else translation.get_language()
        with translation.override(language):
            answer = _answer(request, view, *args, **kwargs)
        answer["X-Robots-Tag"] = "noindex, nofollow, noarchive"
        answer["Referrer-Policy"] = "no-referrer"
        return answer

    return inner


def _answer(request: HttpRequest, view: View, *args: Any, **kwargs: Any) -> HttpResponse:
    if too_often(request, "care-record", per_minute=PER_MINUTE):
        return render(request, "report/wait.html", status=429)
    try:
        return view(request, *args, **kwargs)
    except LinkOver:
        return render(request, "record/over.html", status=410)
    except NotFoundHere:
        return render(request, "record/unknown.html", status=404)


def _opened(request: HttpRequest, token: str, *, count: bool) -> Opened:
    own = tuple(getattr(request, "customer_ids", ()))
    return open_link(token, at=timezone.now(), count=count and request.method == "GET", own=own)


def page_url(token: str) -> str:
    """The full address of the page behind a link."""
    return f"{settings.SITE_ADDRESS}{reverse('record', args=[token])}"


def check_url(code: str) -> str:
    """The full address of the page that checks a copy."""
    return f"{settings.SITE_ADDRESS}{reverse('record_check', args=[code])}"


@access("public")
@never_cache
@require_safe
@_apart
def record(request: HttpRequest, token: str) -> HttpResponse:
    """The record as it was issued, and whether a newer one exists."""
    found = _opened(request, token, count=True)
    context = {
        "found": found, "page": page_of(found.content), "token": token, "check_url": check_url(found.code),
        "qr": qr.inline_of(page_url(token)), "intro": INTRO, "not_said": NOT_SAID,
    }  # fmt: skip
    return render(request, "record/page.html", context)


@access("public")
@never_cache
@require_safe
@_apart
def record_pdf(request: HttpRequest, token: str) -> HttpResponse:
    """The same as a PDF."""
    found = _opened(request, token, count=False)
    made = make_pdf(found, page_url=page_url(token), check_url=check_url(found.code))
    answer = HttpResponse(made, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="care-record-{found.content["number"]}.pdf"'
    return answer


@access("public")
@never_cache
@require_safe
@_apart
def record_json(request: HttpRequest, token: str) -> HttpResponse:
    """The sealed text itself: the SHA-256 of this file is the digest on the page and the print."""
    found = _opened(request, token, count=False)
    answer = HttpResponse(found.text.encode(), content_type="application/json")
    answer["Content-Disposition"] = f'attachment; filename="care-record-{found.content["number"]}.json"'
    return answer


@access("public")
@never_cache
@require_safe
@_apart
def record_check(request: HttpRequest, code: str) -> HttpResponse:
    """What was issued under the code on a copy; works when the link has ended, and shows nothing of the record."""
    return render(request, "record/check.html", {"check": check(code)})
