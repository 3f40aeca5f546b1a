"""The same deed asked for twice is done once: its answer is kept for a day under the key that its sender gave it.

The claim is committed before the work, the answer in the transaction of the work. So a process that dies leaves
neither work nor answer, and whoever comes after the lease may take the claim over. As draft-ietf-httpapi-idempotency-
key-header has it: the same request is answered alike, another one under the same key and one still under way refused.
"""

from __future__ import annotations

import hashlib
import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db import IntegrityError, transaction

from lifecycle.connect.tokens import Bearer
from lifecycle.errors import DomainError
from lifecycle.models import ApiAnswer

KEPT: Final = timedelta(hours=24)
LEASE: Final = timedelta(seconds=60)


@dataclass(frozen=True, slots=True)
class Kept:
    """The answer of the first time."""

    status: int
    body: str
    location: str


@dataclass(frozen=True, slots=True)
class Claim:
    """Ours to do."""

    row_id: int
    token: uuid.UUID


class KeyReused(DomainError):
    """The key was used for another request."""


class InProgress(DomainError):
    """The same request is being worked on."""

    def __init__(self, wait_s: int) -> None:
        super().__init__("The same request with the same key is being worked on.")
        self.wait_s = wait_s


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def begin(*, bearer: Bearer, key: str, request: str, at: datetime) -> Kept | Claim:
    """Claim a deed, or get the answer that it had.

    Args:
        key: as its sender gave it.  request: all that makes it this deed: method, address and body.

    Raises:
        KeyReused: the key stands for another request.
        InProgress: somebody has the claim.
    """
    token, wanted = uuid.uuid4(), _digest(request)
    place = {"token_id": bearer.token_id, "key_digest": _digest(key)}
    ApiAnswer.objects.filter(**place, made_at__lte=at - KEPT).delete()
    try:
        with transaction.atomic():
            row = ApiAnswer.objects.create(
                studio=bearer.member.studio, **place, request_digest=wanted, claim=token, lease_until=at + LEASE,
                made_at=at,
            )  # fmt: skip
        return Claim(row.pk, token)
    except IntegrityError:  # asked before, or just now beside us
        known = ApiAnswer.objects.filter(**place).first()
    if known is None:
        raise InProgress(1)
    if known.request_digest != wanted:
        raise KeyReused("The key stands for another request: its method, address or body differ.")
    if known.status is not None:
        return Kept(known.status, known.body, known.location)
    stale = ApiAnswer.objects.filter(pk=known.pk, status=None, lease_until__lte=at)
    if stale.update(claim=token, lease_until=at + LEASE):
        return Claim(known.pk, token)
    raise InProgress(max(1, int((known.lease_until - at).total_seconds())))


def finish(claim: Claim, *, status: int, body: str, location: str = "") -> bool:
    """Keep the answer; within the transaction of the work. False: somebody else has taken the claim over, so the
    work must be rolled back."""
    mine = ApiAnswer.objects.filter(pk=claim.row_id, claim=claim.token, status=None)
    return bool(mine.update(status=status, body=body, location=location, claim=None, lease_until=None))


def drop(claim: Claim) -> None:
    """Let go of a deed that broke: it may be tried again under the same key."""
    ApiAnswer.objects.filter(pk=claim.row_id, claim=claim.token, status=None).delete()


def sweep(*, at: datetime) -> int:
    """Delete answers older than a day; returns how many."""
    return int(ApiAnswer.objects.filter(made_at__lte=at - KEPT).delete()[0])
