"""The one way to take messages for sending: an UPDATE that compares and sets, with a lease.

`SELECT … FOR UPDATE SKIP LOCKED` is silently ignored by SQLite, so it is not used: this UPDATE holds on every database.
Taking is in two steps. `take` puts our mark on waiting messages for the length of a lease; they stay waiting, so a
deliverer that dies loses nothing but time. `turn` puts one of them to "handing over" just before it is handed to the
provider, and the one before it on record: when a deliverer dies, two messages are in doubt afterwards at most, the one
that was on its way and the one that was to follow it.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import connection, transaction
from django.db.models import F, Q

from lifecycle import journal
from lifecycle.models import Message, MessageState

LEASE: Final = timedelta(minutes=10)
WAITING: Final = (MessageState.READY, MessageState.RETRY)
IN_DOUBT: Final = (MessageState.HANDING_OVER, MessageState.UNCONFIRMED)
CLAIM: Final = Message._meta.get_field("claim")


@dataclass(frozen=True, slots=True)
class Claim:
    """Our mark and the messages that carry it, oldest first."""

    token: uuid.UUID
    messages: tuple[Message, ...]


def _free(at: datetime) -> Q:
    return (
        Q(state__in=WAITING)
        & (Q(next_try_at=None) | Q(next_try_at__lte=at))
        & (Q(claim=None) | Q(lease_until=None) | Q(lease_until__lte=at))
    )


# How often a deliverer that lost a race looks again; somebody else is busy with the rest then.
RACES: Final = 20


def take(*, at: datetime, limit: int, lease: timedelta = LEASE) -> Claim:
    """Mark up to `limit` waiting messages as ours until `at` + `lease`. Nobody else gets them meanwhile."""
    token = uuid.uuid4()
    if limit <= 0:
        return Claim(token, ())
    free = Message.objects.filter(_free(at))
    for _ in range(RACES):
        ids = list(free.order_by("written_at", "pk").values_list("pk", flat=True)[:limit])
        if not ids:
            break
        # The condition stands in the UPDATE again: of two deliverers that saw the same ids one gets each row, and the
        # other looks once more for what is still free.
        if free.filter(pk__in=ids).update(claim=token, lease_until=at + lease):
            mine = Message.objects.filter(claim=token, state__in=WAITING).select_related("studio", "customer__studio")
            return Claim(token, tuple(mine.order_by("written_at", "pk")))
    return Claim(token, ())


@dataclass(frozen=True, slots=True)
class Taken:
    """A message that the provider has taken, which is not on record yet, and the provider's own id of it."""

    message: Message
    provider_id: str


def begin(message: Message, token: uuid.UUID, *, at: datetime) -> bool:
    """Turn one of our messages to "handing over". False: it is not ours or not waiting any more; leave it."""
    return turn(token, taken=None, begin=message, at=at)[1]


def turn(token: uuid.UUID, *, taken: Taken | None, begin: Message | None, at: datetime) -> tuple[bool, bool]:
    """Between two hand-overs: write that the provider has the one, with its journal entry, and begin the other. One
    transaction, and on PostgreSQL one question to the database, because this runs for every single message.

    Returns:
        Whether each was written. As with `settle`, what somebody else knew better stays.
    """
    if connection.vendor == "postgresql":
        return _turn_at_once(token, taken, begin, at)
    with transaction.atomic():
        known = taken is not None and bool(_run(*_accepting(taken, token, at)))
        if known and taken is not None:
            _run(*_noting(taken, at))
        return known, begin is not None and bool(_run(*_beginning(begin, token, at)))


Statement = tuple[str, list[Any]]


def _turn_at_once(token: uuid.UUID, taken: Taken | None, begin: Message | None, at: datetime) -> tuple[bool, bool]:
    parts: list[Statement] = []
    if taken is not None:
        accepting, noting = _accepting(taken, token, at), _noting(taken, at)
        parts.append((f"known AS ({accepting[0]} RETURNING id)", accepting[1]))
        parts.append((f"noted AS ({noting[0]} FROM known)", noting[1]))
    if begin is not None:
        beginning = _beginning(begin, token, at)
        parts.append((f"begun AS ({beginning[0]} RETURNING id)", beginning[1]))
    if not parts:
        return False, False
    asked = ["EXISTS (SELECT 1 FROM known)" if taken is not None else "false",
             "EXISTS (SELECT 1 FROM begun)" if begin is not None else "false"]  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute(
            f"WITH {', '.join(text for text, _ in parts)} SELECT {', '.join(asked)}",
            [value for _, values in parts for value in values],
        )
        known, begun = cursor.fetchone()
    return bool(known), bool(begun)


def _beginning(message: Message, token: uuid.UUID, at: datetime) -> Statement:
    return (
        "UPDATE lifecycle_message SET state = %s, state_at = %s, lease_until = %s, attempts = attempts + 1, error = '' "
        "WHERE id = %s AND claim = %s AND state IN (%s, %s)",
        _ready([MessageState.HANDING_OVER, at, at + LEASE, message.pk, token, *WAITING]),
    )


def _accepting(taken: Taken, token: uuid.UUID, at: datetime) -> Statement:
    """`settle` for what the provider has taken, which is what nearly every hand-over comes to."""
    return (
        "UPDATE lifecycle_message SET state = %s, state_at = %s, claim = NULL, lease_until = NULL, next_try_at = NULL, "
        "error = '', provider_id = CASE WHEN %s = '' THEN provider_id ELSE %s END "
        "WHERE id = %s AND claim = %s AND state IN (%s, %s)",
        _ready([MessageState.ACCEPTED, at, taken.provider_id, taken.provider_id, taken.message.pk, token, *IN_DOUBT]),
    )


def _noting(taken: Taken, at: datetime) -> Statement:
    return journal.insert_statement(
        studio_id=taken.message.studio_id, actor="cycle", at=at, verb="message accepted", subject="message",
        subject_id=taken.message.pk, uid=str(taken.message.uid), provider_id=taken.provider_id,
    )  # fmt: skip


def _ready(values: Sequence[Any]) -> list[Any]:
    """Values as the database wants them. The statements are written out: Django takes longer to put them into words than
    the database to do them."""
    return [
        connection.ops.adapt_datetimefield_value(one) if isinstance(one, datetime)
        else CLAIM.get_db_prep_value(one, connection) if isinstance(one, uuid.UUID)
        else str(one) if isinstance(one, MessageState) else one
        for one in values
    ]  # fmt: skip


def _run(statement: str, values: Sequence[Any]) -> int:
    """Run a statement; returns the number of rows that it changed."""
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return int(cursor.rowcount)


def take_back(message: Message, token: uuid.UUID, *, at: datetime, **fields: Any) -> bool:
    """Undo `begin` for a message that was never handed over: it waits as before, and no try was used up."""
    changes = {"state": message.state, "next_try_at": message.next_try_at, "error": message.error, **fields}
    return settle(message, token, at=at, attempts=F("attempts") - 1, **changes)


def settle(message: Message, token: uuid.UUID, *, state: MessageState, at: datetime, **fields: Any) -> bool:
    """Write the outcome of a hand-over that is ours, and let go of it.

    It may have been called unconfirmed meanwhile, because the lease ran out: knowing beats not knowing. A receipt that
    was quicker stays. False: nothing was written.
    """
    return bool(
        Message.objects.filter(pk=message.pk, claim=token, state__in=IN_DOUBT).update(
            **{"state": state, "state_at": at, "claim": None, "lease_until": None, "next_try_at": None, **fields}
        )
    )


def put_back(message: Message, token: uuid.UUID, *, at: datetime, **fields: Any) -> bool:
    """Let go of a message of ours that was not handed over, with what is to be written on it."""
    changes: Mapping[str, Any] = {"claim": None, "lease_until": None, **fields}
    if "state" in changes:
        changes = {**changes, "state_at": at}
    return bool(Message.objects.filter(pk=message.pk, claim=token, state__in=WAITING).update(**changes))


def hold(*, at: datetime, until: datetime) -> int:
    """Let none of the messages that wait for anybody be taken before `until`: the provider asked for it."""
    sooner = Q(next_try_at=None) | Q(next_try_at__lt=until)
    return int(Message.objects.filter(_free(at) & sooner).update(next_try_at=until))
