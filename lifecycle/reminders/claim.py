"""The one way to take messages for sending: an UPDATE that compares and sets, with a lease.

`SELECT … FOR UPDATE SKIP LOCKED` is silently ignored by SQLite, so it is not used: this UPDATE holds on every database.
Taking is in two steps. `take` puts our mark on waiting messages for the length of a lease; they stay waiting, so a
deliverer that dies loses nothing but time. `begin` turns one of them to "handing over" just before it is handed to the
provider; only the one that was really on its way when a deliverer died is in doubt afterwards.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import connection
from django.db.models import Q

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


def begin(message: Message, token: uuid.UUID, *, at: datetime, lease: timedelta = LEASE) -> bool:
    """Turn one of our messages to "handing over". False: it is not ours or not waiting any more; leave it."""
    return _update(
        "UPDATE lifecycle_message SET state = %s, state_at = %s, lease_until = %s, attempts = attempts + 1, error = '' "
        "WHERE id = %s AND claim = %s AND state IN (%s, %s)",
        [MessageState.HANDING_OVER, at, at + lease, message.pk, token, *WAITING],
    )


def accept(message: Message, token: uuid.UUID, *, at: datetime, provider_id: str) -> bool:
    """`settle` for what the provider has taken, which is what nearly every hand-over comes to."""
    return _update(
        "UPDATE lifecycle_message SET state = %s, state_at = %s, claim = NULL, lease_until = NULL, next_try_at = NULL, "
        "error = '', provider_id = CASE WHEN %s = '' THEN provider_id ELSE %s END "
        "WHERE id = %s AND claim = %s AND state IN (%s, %s)",
        [MessageState.ACCEPTED, at, provider_id, provider_id, message.pk, token, *IN_DOUBT],
    )


def _update(statement: str, values: Sequence[Any]) -> bool:
    """Run an UPDATE of one row, written out: Django takes longer to put it into words than the database to do it, and
    these two run for every single message. True: the row was changed."""
    ready = [
        connection.ops.adapt_datetimefield_value(one) if isinstance(one, datetime)
        else CLAIM.get_db_prep_value(one, connection) if isinstance(one, uuid.UUID)
        else str(one) if isinstance(one, MessageState) else one
        for one in values
    ]  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute(statement, ready)
        return bool(cursor.rowcount)


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
