"""The one way to take messages for sending: an UPDATE that compares and sets, with a lease.

`SELECT … FOR UPDATE SKIP LOCKED` is silently ignored by SQLite, so it is not used: this UPDATE holds on every database.
Taking is in two steps. `take` puts our mark on waiting messages for the length of a lease; they stay waiting, so a
deliverer that dies loses nothing but time. `begin` turns one of them to "handing over" just before it is handed to the
provider; only the one that was really on its way when a deliverer died is in doubt afterwards.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from django.db.models import F, Q

from lifecycle.models import Message, MessageState

LEASE: Final = timedelta(minutes=10)
WAITING: Final = (MessageState.READY, MessageState.RETRY)


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


def take(*, at: datetime, limit: int, lease: timedelta = LEASE) -> Claim:
    """Mark up to `limit` waiting messages as ours until `at` + `lease`. Nobody else gets them meanwhile."""
    token = uuid.uuid4()
    ids = list(Message.objects.filter(_free(at)).order_by("written_at", "pk").values_list("pk", flat=True)[:limit])
    if not ids:
        return Claim(token, ())
    # The condition stands in the UPDATE again: of two deliverers that saw the same ids one gets each row.
    Message.objects.filter(_free(at), pk__in=ids).update(claim=token, lease_until=at + lease)
    mine = Message.objects.filter(claim=token, state__in=WAITING).select_related("studio", "customer__studio")
    return Claim(token, tuple(mine.order_by("written_at", "pk")))


def begin(message: Message, token: uuid.UUID, *, at: datetime, lease: timedelta = LEASE) -> bool:
    """Turn one of our messages to "handing over". False: it is not ours or not waiting any more; leave it."""
    return bool(
        Message.objects.filter(pk=message.pk, claim=token, state__in=WAITING).update(
            state=MessageState.HANDING_OVER, state_at=at, lease_until=at + lease, attempts=F("attempts") + 1, error=""
        )
    )


def settle(message: Message, token: uuid.UUID, *, state: MessageState, at: datetime, **fields: Any) -> bool:
    """Write the outcome of a hand-over that is ours, and let go of it.

    It may have been called unconfirmed meanwhile, because the lease ran out: knowing beats not knowing. A receipt that
    was quicker stays. False: nothing was written.
    """
    doubt = (MessageState.HANDING_OVER, MessageState.UNCONFIRMED)
    return bool(
        Message.objects.filter(pk=message.pk, claim=token, state__in=doubt).update(
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
