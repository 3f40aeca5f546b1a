"""Which language a page speaks: the customer's own once signed in, before that the one of the door's switch or of the
browser. The studio's pages are English."""

from __future__ import annotations

from typing import Final

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import translation
from django.utils.translation import get_supported_language_variant
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from lifecycle.care.tongue import measures

from .paths import own_path
from .registry import access

# Addresses that only members have a use for; a library's words there would be half in one language.
FOR_MEMBERS: Final = ("/studio/", "/account/password/", "/account/2fa/", "/account/inactive/")
OF_MEMBERS: Final = "en"
A_YEAR_S: Final = 365 * 24 * 60 * 60


def known_language(wanted: str) -> str:
    """The page language that fits a wish like "de" or "de-AT"; "" where none does."""
    try:
        return get_supported_language_variant(wanted) if wanted else ""
    except LookupError:
        return ""


def speak(request: HttpRequest, languages: tuple[str, ...], *, units: str = "metric") -> None:
    """Turn on the language and the units of this request's page.

    Args:
        languages: those on record of the customer whose page it is, theirs first; () for nobody's.
        units: those that the customer thinks in.
    """
    theirs = next((found for wish in languages if (found := known_language(wish))), "")
    at_work = request.member is not None and request.path.startswith("/studio/")
    measures.activate("metric" if at_work else units)
    if at_work or (not languages and (request.member is not None or request.path.startswith(FOR_MEMBERS))):
        theirs = OF_MEMBERS
    if theirs:
        translation.activate(theirs)
        request.LANGUAGE_CODE = theirs


@access("public")
@require_POST
@never_cache
def switch(request: HttpRequest) -> HttpResponse:
    """The door's switch: kept in a cookie of this browser, and back to where it was pressed."""
    answer = redirect(own_path(request.POST.get("next")) or "/")
    language = known_language(request.POST.get("language", "")[:12])
    if language:
        answer.set_cookie(
            settings.LANGUAGE_COOKIE_NAME, language, max_age=A_YEAR_S, secure=settings.SESSION_COOKIE_SECURE,
            httponly=True, samesite="Lax",
        )  # fmt: skip
    return answer
