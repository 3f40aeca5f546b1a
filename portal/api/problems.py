"""What went wrong, as RFC 9457 problem details: what (`detail`), where (`where`), and how to mend it (`how`)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, Final

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from ninja.errors import ValidationError

from lifecycle.errors import DomainError, NotFoundHere

MEDIA_TYPE: Final = "application/problem+json"
REALM: Final = 'Bearer realm="Sheenward"'
MOST_DETAILS: Final = 20


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of problem: its status, a title that never changes, and how it is mended."""

    code: str
    status: int
    title: str
    how: str


KINDS: Final[Mapping[str, Kind]] = {
    kind.code: kind
    for kind in (
        Kind("malformed", 400, "The request cannot be read", "Send JSON in UTF-8 with Content-Type application/json."),
        Kind("no-key", 400, "An Idempotency-Key is missing",
             "Send a header Idempotency-Key with a value of your own, a new one for each new deed."),
        Kind("no-token", 401, "No valid token",
             "Send the header Authorization: Bearer and a live token; members make tokens on the page Tokens."),
        Kind("scope", 403, "The token does not allow this",
             "Make a token with the scope that “where” names, on the page Tokens."),
        Kind("role", 403, "The member’s role does not allow this",
             "Ask a member whose role opens the same page, or the owner for another role."),
        Kind("not-found", 404, "Not here", "Look the id up in the list it came from."),
        Kind("method", 405, "The address does not take this method", "Use one of the methods in the header Allow."),
        Kind("in-progress", 409, "The same deed is still under way",
             "Wait for the seconds in Retry-After and send the same request with the same key."),
        Kind("too-large", 413, "The request is too large", "Send less in one request."),
        Kind("invalid", 422, "A value cannot be", "Change what “where” names and send it again."),
        Kind("refused", 422, "The record does not allow it",
             "Change what “where” names, or the record itself, and send it again with a new Idempotency-Key."),
        Kind("key-reused", 422, "The Idempotency-Key was used for another request",
             "Use a new key for a new deed; a key holds for 24 hours."),
        Kind("too-often", 429, "Too many requests", "Wait for the seconds in Retry-After."),
        Kind("broken", 500, "Something broke here",
             "Try again later with the same Idempotency-Key; if it stays, tell whoever runs this installation."),
    )
}  # fmt: skip
BY_STATUS: Final = {400: "malformed", 404: "not-found", 405: "method", 413: "too-large", 500: "broken"}


class Problem(Exception):
    """An answer that is a problem. `where`: the header, parameter or field that it is about."""

    def __init__(self, code: str, detail: str, *, where: str = "", headers: Mapping[str, str] | None = None) -> None:
        super().__init__(detail)
        self.kind = KINDS[code]
        self.detail = detail
        self.where = where
        self.headers = dict(headers or {})


def body_of(problem: Problem) -> dict[str, Any]:
    """The members of the problem document."""
    kind = problem.kind
    return {
        "type": f"{settings.SITE_ADDRESS}{reverse('studio:api_reference')}#problem-{kind.code}",
        "title": kind.title,
        "status": kind.status,
        "detail": problem.detail,
        "where": problem.where,
        "how": kind.how,
    }


def answer(problem: Problem) -> HttpResponse:
    """The response that carries a problem."""
    response = HttpResponse(
        json.dumps(body_of(problem), ensure_ascii=False), status=problem.kind.status, content_type=MEDIA_TYPE
    )
    for name, value in problem.headers.items():
        response[name] = value
    if problem.kind.status == HTTPStatus.UNAUTHORIZED:
        response["WWW-Authenticate"] = REALM
    return response


def of_domain(error: DomainError) -> Problem:
    """A verb's or a read's refusal as a problem."""
    if isinstance(error, NotFoundHere):
        return Problem("not-found", error.message, where=error.field)
    return Problem("refused", error.message, where=f"body.{error.field}" if error.field else "")


def of_validation(error: ValidationError) -> Problem:
    """Everything that is wrong with a request, in one problem; a missing key has a kind of its own."""
    if any(tuple(one.get("loc", ()))[-1:] == ("Idempotency-Key",) and one.get("type") == "missing"
           for one in error.errors):  # fmt: skip
        return Problem("no-key", "A deed needs a key, so that it is done once.", where="header.Idempotency-Key")
    places = [".".join(str(step) for step in _place(one)) for one in error.errors]
    told = [f"{place}: {one.get('msg', 'cannot be')}." for place, one in zip(places, error.errors, strict=True)]
    return Problem("invalid", " ".join(told[:MOST_DETAILS]), where=", ".join(dict.fromkeys(places[:MOST_DETAILS])))


def _place(one: Mapping[str, Any]) -> list[object]:
    """Where a value stands, as its sender knows it: without the name that our function gives to the whole body."""
    steps = list(one.get("loc", ()))
    return [steps[0], *steps[2:]] if steps[:1] == ["body"] and len(steps) > 1 else steps


def for_status(request: HttpRequest, response: Any) -> HttpResponse:
    """The problem in place of an answer that some other part gave as a page."""
    code = BY_STATUS.get(response.status_code, "broken" if response.status_code >= 500 else "malformed")
    detail = {
        "not-found": f"There is nothing at {request.path}.",
        "method": f"{request.method} is not taken at {request.path}.",
    }.get(code, KINDS[code].title + ".")
    made = answer(Problem(code, detail, where=request.path if code in ("not-found", "method") else ""))
    if response.has_header("Allow"):
        made["Allow"] = response["Allow"]
    return made
