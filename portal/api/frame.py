"""Around every address of the API: no cookies, no caches, errors as problems, and where the rate limit stands."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from django.http import HttpRequest, HttpResponseBase

from lifecycle.connect.tokens import PER_MINUTE

from . import problems

ROOT: Final = "/api/"
MOST_BYTES: Final = 64_000


class ApiFrameMiddleware:
    """Takes cookies off the request before anything can look at them: a browser's session opens nothing here, so
    there is nothing for a foreign page to abuse."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if not request.path.startswith(ROOT):
            return self.get_response(request)
        request.META.pop("HTTP_COOKIE", None)
        request.COOKIES = {}
        announced = request.META.get("CONTENT_LENGTH") or "0"
        if announced.isdecimal() and int(announced[:18]) > MOST_BYTES:
            too_large = problems.Problem("too-large", f"The body is over {MOST_BYTES} bytes.", where="body")
            response: HttpResponseBase = problems.answer(too_large)
        else:
            response = self.get_response(request)
        if response.status_code >= 400 and response.headers.get("Content-Type") != problems.MEDIA_TYPE:
            response = problems.for_status(request, response)
        count = getattr(request, "api_count", None)
        if count is not None:
            # draft-ietf-httpapi-ratelimit-headers, structured fields: quota and window, what is left, seconds to go.
            response.headers["RateLimit-Policy"] = f'"minute";q={PER_MINUTE};w=60'
            response.headers["RateLimit"] = f'"minute";r={count.left};t={count.reset_s}'
        response.headers.setdefault("Cache-Control", "no-store")
        return response
