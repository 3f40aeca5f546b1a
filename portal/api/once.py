"""A deed is done once for each Idempotency-Key; whoever asks again gets the first answer."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from django.db import transaction
from django.http import HttpResponse
from django.utils import timezone
from ninja import Header

from lifecycle.connect import repeats
from lifecycle.errors import DomainError

from . import problems
from .bearer import TokenRequest
from .problems import Problem

HEADER: Final = "Idempotency-Key"
WHERE: Final = f"header.{HEADER}"
KEY: Final = Header(
    ..., alias=HEADER, min_length=1, max_length=200, pattern=r"^[!-~]+$",
    description="A value of your own, new for each deed, such as a UUID. For 24 hours the same request with the same "
    "key is done once and answered alike.",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Made:
    """What a deed made: its id and address, and what else its answer says."""

    id: int
    href: str
    more: dict[str, Any] = field(default_factory=dict)


class _TakenOverError(Exception):
    """Our lease ran out and somebody else does the deed; ours is rolled back."""


def once(request: TokenRequest, key: str, work: Callable[[datetime], Made]) -> HttpResponse:
    """Do `work(at)` in the transaction that keeps its answer, or answer as the first time.

    Raises:
        Problem: the key stands for another request, or the deed is under way.
    """
    at = timezone.now()
    try:
        begun = repeats.begin(bearer=request.auth, key=key.strip('"'), request=_request_text(request), at=at)
    except repeats.KeyReused as error:
        raise Problem("key-reused", error.message, where=WHERE) from error
    except repeats.InProgress as error:
        raise _under_way(error.message, error.wait_s) from error
    if isinstance(begun, repeats.Kept):
        answer = _answer(begun.status, begun.body, begun.location)
        answer["Idempotency-Replayed"] = "true"
        return answer
    return _done(begun, work, at)


def _done(claim: repeats.Claim, work: Callable[[datetime], Made], at: datetime) -> HttpResponse:
    try:
        with transaction.atomic():
            made = work(at)
            body = json.dumps({"id": made.id, "href": made.href, **made.more}, ensure_ascii=False)
            if not repeats.finish(claim, status=201, body=body, location=made.href):
                raise _TakenOverError
        return _answer(201, body, made.href)
    except DomainError as error:
        refused = problems.answer(problems.of_domain(error))
        repeats.finish(claim, status=refused.status_code, body=refused.content.decode())
        return refused
    except _TakenOverError as error:
        raise _under_way("Another try of the same request has taken this one over.", 1) from error
    except BaseException:
        repeats.drop(claim)
        raise


def _under_way(detail: str, wait_s: int) -> Problem:
    return Problem("in-progress", detail, where=WHERE, headers={"Retry-After": str(wait_s)})


def _answer(status: int, body: str, location: str) -> HttpResponse:
    kind = problems.MEDIA_TYPE if status >= 400 else "application/json; charset=utf-8"
    answer = HttpResponse(body, status=status, content_type=kind)
    if location:
        answer["Location"] = location
    return answer


def _request_text(request: TokenRequest) -> str:
    """Method, address and body; the body without the spaces and the order that JSON leaves free."""
    body = json.dumps(json.loads(request.body), sort_keys=True, separators=(",", ":"))
    return f"{request.method} {request.get_full_path()}\n{body}"
