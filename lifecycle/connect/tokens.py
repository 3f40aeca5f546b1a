"""Tokens for programs: made by a member for themselves, shown once, ended by hand, by their day or with the member."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction
from django.db.models import F, Q

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.signin import MemberFacts
from lifecycle.connect import scopes as may
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import ApiToken, Member, Studio

PREFIX: Final = "shw_"  # so that a search for leaked secrets can find one
RANDOM_BYTES: Final = 32
LONGEST_DAYS: Final = 366
MOST_LIVE: Final = 20
# Judgement: two a second is plenty for a program that follows a studio, and no burden for one small machine.
PER_MINUTE: Final = 120


@dataclass(frozen=True, slots=True)
class MadeToken:
    """A new token; `secret` is known only now."""

    id: int
    secret: str


@dataclass(frozen=True, slots=True)
class Bearer:
    """Who asks through a token. `scopes`: what the token and the member's present role both allow."""

    token_id: int
    member: MemberFacts
    granted: frozenset[str]
    scopes: frozenset[str]


@dataclass(frozen=True, slots=True)
class Count:
    """Where a token stands in its minute: requests left, seconds until the next minute begins."""

    allowed: bool
    left: int
    reset_s: int


@dataclass(frozen=True, slots=True)
class TokenRow:
    """A token as its page shows it. `state`: "live", "ended" or "run out"; `narrowed`: scopes the role took away."""

    id: int
    name: str
    member_id: int
    member: str
    scopes: tuple[str, ...]
    narrowed: tuple[str, ...]
    made_at: datetime
    ends_at: datetime
    last_used: str
    state: str


def digest(secret: str) -> str:
    """SHA-256 of a token in hexadecimal."""
    return hashlib.sha256(secret.encode()).hexdigest()


def make_token(
    *, studio: Studio, member_id: int, name: str, scopes: Collection[str], days: int, actor: str, at: datetime
) -> MadeToken:
    """Make a token for a member.

    Args:
        scopes: words of `scopes.SCOPES` that the member's role allows.
        days: after how many days it ends by itself, 1 to 366.

    Raises:
        DomainError: no name, no or a wrong scope, days out of range, or too many live tokens.
        NotFoundHere: nobody who works in this studio.
    """
    called = name.strip()
    if not 0 < len(called) <= 60:
        raise DomainError("name: write 1 to 60 characters that say which program it is for.", field="name")
    if not 1 <= days <= LONGEST_DAYS:
        raise DomainError(f"days: {days} is not between 1 and {LONGEST_DAYS}.", field="days")
    if not scopes:
        raise DomainError("scopes: tick at least one thing that the program may do.", field="scopes")
    with transaction.atomic():
        member = one(Member, studio, member_id, lock=True)
        if member.ended_at is not None:
            raise NotFoundHere(f"Member {member_id} no longer works in this studio.")
        wrong = sorted(set(scopes) - may.effective(scopes, role=member.role))
        if wrong:
            raise DomainError(f"scopes: a {member.role} cannot give {', '.join(wrong)}.", field="scopes")
        live = ApiToken.objects.filter(member=member, ended_at=None, ends_at__gt=at)
        if live.count() >= MOST_LIVE:
            raise DomainError(f"name: {MOST_LIVE} tokens are live; end one that is no longer needed.", field="name")
        secret = PREFIX + secrets.token_urlsafe(RANDOM_BYTES)
        kept = [code for code in may.SCOPES if code in scopes]
        token: ApiToken = ApiToken.objects.create(
            studio=studio, member=member, name=called, digest=digest(secret), scopes=kept, made_at=at,
            ends_at=at + timedelta(days=days),
        )  # fmt: skip
        journal.record(
            studio=studio, actor=actor, at=at, verb="token made", subject="token", subject_id=token.pk,
            member=member.pk, scopes=kept, ends_at=token.ends_at,
        )  # fmt: skip
    return MadeToken(token.pk, secret)


def end_token(*, studio: Studio, token_id: int, member_id: int, everybodys: bool, actor: str, at: datetime) -> ApiToken:
    """End a token at once.

    Args:
        member_id: whose tokens may be ended.  everybodys: those of all members (the owner's right).

    Raises:
        DomainError: it has ended already.
        NotFoundHere: no such token of this studio, or of this member.
    """
    with transaction.atomic():
        token = one(ApiToken, studio, token_id, lock=True)
        if not everybodys and token.member_id != member_id:
            raise NotFoundHere(f"There is no token {token_id} of yours.")
        if token.ended_at is not None:
            raise DomainError("This token has ended already.")
        token.ended_at = at
        token.save(update_fields=["ended_at"])
        journal.record(
            studio=studio, actor=actor, at=at, verb="token ended", subject="token", subject_id=token.pk,
            member=token.member_id,
        )  # fmt: skip
    return token


def bearer_of(secret: str, *, at: datetime) -> Bearer | None:
    """Who stands behind a token, or None: unknown, ended, run out, or its member no longer works here. One query."""
    if not secret.startswith(PREFIX) or len(secret) > 100:
        return None
    token = (
        ApiToken.objects.filter(digest=digest(secret), ended_at=None, ends_at__gt=at)
        .filter(member__ended_at=None, member__user__is_active=True)
        .select_related("member__user", "studio")
        .first()
    )
    if token is None:
        return None
    member = token.member
    facts = MemberFacts(id=member.pk, studio=token.studio, role=member.role, name=str(member.user))
    granted = frozenset(token.scopes)
    return Bearer(token.pk, facts, granted, may.effective(granted, role=member.role))


def count(bearer: Bearer, *, at: datetime, most: int = PER_MINUTE) -> Count:
    """Count a request against the token's minute, and note the day it was used.

    One UPDATE that compares and sets: it holds across processes on every database.
    """
    minute, second = divmod(int(at.timestamp()), 60)
    row, today = ApiToken.objects.filter(pk=bearer.token_id), bearer.member.studio.day(at)
    reset_s = 60 - second
    if row.filter(~Q(minute=minute)).update(minute=minute, used=1, last_used_on=today):
        return Count(True, most - 1, reset_s)
    if row.filter(used__lt=most).update(used=F("used") + 1, last_used_on=today):
        used = row.values_list("used", flat=True).first() or most
        return Count(True, max(most - used, 0), reset_s)
    return Count(False, 0, reset_s)


def _row(token: ApiToken, at: datetime) -> TokenRow:
    member = token.member
    state = "ended" if token.ended_at is not None or member.ended_at is not None else "live"
    if state == "live" and token.ends_at <= at:
        state = "run out"
    allowed = may.effective(token.scopes, role=member.role)
    return TokenRow(
        id=token.pk, name=token.name, member_id=member.pk, member=str(member),
        scopes=tuple(code for code in token.scopes if code in allowed),
        narrowed=tuple(code for code in token.scopes if code not in allowed),
        made_at=token.made_at, ends_at=token.ends_at,
        last_used=f"{token.last_used_on:%Y-%m-%d}" if token.last_used_on else "", state=state,
    )  # fmt: skip


def tokens_of(studio: Studio, *, member_id: int | None, at: datetime, most: int = 200) -> tuple[TokenRow, ...]:
    """A member's tokens, or with None those of all; live ones first, the newest first. One query."""
    rows = ApiToken.objects.of(studio).select_related("member__user")
    if member_id is not None:
        rows = rows.filter(member=member_id)
    return tuple(sorted((_row(token, at) for token in rows[:most]), key=lambda row: row.state != "live"))
