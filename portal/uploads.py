"""Requests that are too large or too many in one are refused with words, before anything of them is kept."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.core.exceptions import RequestDataTooBig, TooManyFieldsSent, TooManyFilesSent
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.utils import translation

from lifecycle.care.tongue.speak import say


class RequestSizeMiddleware:
    """Looks at the announced length first: a body that is too long is not read."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        announced = request.META.get("CONTENT_LENGTH") or "0"
        if announced.isdecimal() and int(announced[:18]) > settings.REQUEST_MOST_BYTES:
            said = f"This form with its files is {int(announced[:18]) / 1e6:.0f} MB; "
            said += f"{settings.REQUEST_MOST_BYTES / 1e6:.0f} MB at most can be sent at once."
            # Nobody has looked yet who is asking, so the page speaks the browser's language.
            with translation.override(translation.get_language_from_request(request)):
                return too_large(request, said)
        return self.get_response(request)


def too_large(request: HttpRequest, what: str) -> HttpResponse:
    """The page that says what was too much; nothing was kept."""
    return render(request, "413.html", {"what": say(what)}, status=413)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's own limits in words; every other bad request as before."""
    if isinstance(exception, TooManyFilesSent):
        return too_large(request, f"More than {settings.DATA_UPLOAD_MAX_NUMBER_FILES} files came at once.")
    if isinstance(exception, RequestDataTooBig):
        return too_large(request, f"The text is more than {settings.DATA_UPLOAD_MAX_MEMORY_SIZE / 1e6:.1f} MB.")
    if isinstance(exception, TooManyFieldsSent):
        return too_large(request, f"More than {settings.DATA_UPLOAD_MAX_NUMBER_FIELDS} fields came at once.")
    return render(request, "400.html", status=400)
