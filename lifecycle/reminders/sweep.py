"""Sweep: no message stays for ever in a state that is not final. Every such state has a written limit and a resolver.

| state | limit | what happens then |
|---|---|---|
| waiting for approval | 14 days since it was written, or the end of its care window | stopped: nobody approved it |
| ready | 14 days since it was written | stopped: too old to be true |
| waiting to try again | 14 days since it was written | failed; an outage or a wrong password is waited out until then |
| handing over | the lease of its deliverer | unconfirmed: the deliverer died, nobody knows |
| unconfirmed | 6 hours without a receipt | one recorded resend with the same Message-ID; if that is used up, failed |
| accepted | none | final enough: many providers send no receipts; a receipt may still move it on |

The limits are judgement.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import transaction
from django.db.models import Q, Value
from django.db.models.functions import Concat

from lifecycle import journal
from lifecycle.models import FINAL_STATES, Message, MessageState

STALE_AFTER: Final = timedelta(days=14)
UNCONFIRMED_FOR: Final = timedelta(hours=6)
SETTLED_ENOUGH: Final = (*FINAL_STATES, MessageState.ACCEPTED)


def _stale(at: datetime) -> Q:
    return Q(written_at__lte=at - STALE_AFTER) & (Q(lease_until=None) | Q(lease_until__lte=at))


def _ready(at: datetime) -> int:
    rows = Q(state=MessageState.READY) & _stale(at)
    stopped = _move(
        rows & Q(resends=0), MessageState.STOPPED, at, "message stopped",
        error=f"It was not sent within {STALE_AFTER.days} days.",
    )  # fmt: skip
    return stopped + _move(
        rows & Q(resends=1), MessageState.FAILED, at, "message failed",
        error="The outcome of its hand-over is unknown, and it could not be sent again.",
    )  # fmt: skip


def _waiting(at: datetime) -> int:
    rows = Q(state=MessageState.WAITING)
    stopped = _move(
        rows & Q(reminder__due__latest__lt=at.date()), MessageState.STOPPED, at, "message stopped",
        error="Its care window ended before anybody approved it.",
    )  # fmt: skip
    return stopped + _move(
        rows & Q(written_at__lte=at - STALE_AFTER), MessageState.STOPPED, at, "message stopped",
        error=f"Nobody approved it within {STALE_AFTER.days} days.",
    )  # fmt: skip


def _retry(at: datetime) -> int:
    return _move(
        Q(state=MessageState.RETRY) & _stale(at), MessageState.FAILED, at, "message failed",
        error=Concat(Value(f"It could not be handed over within {STALE_AFTER.days} days. "), "error"),
    )  # fmt: skip


def _handing_over(at: datetime) -> int:
    return _move(
        Q(state=MessageState.HANDING_OVER, lease_until__lte=at), MessageState.UNCONFIRMED, at, "message unconfirmed",
        keep_claim=True, error="Its deliverer stopped in the middle; the provider may have it.",
    )  # fmt: skip


def _unconfirmed(at: datetime) -> int:
    late = Q(state=MessageState.UNCONFIRMED, state_at__lte=at - UNCONFIRMED_FOR)
    failed = _move(
        late & Q(resends=1), MessageState.FAILED, at, "message failed",
        error="The outcome is unknown: two hand-overs without an answer and no receipt.",
    )  # fmt: skip
    return failed + _move(
        late & Q(resends=0), MessageState.READY, at, "message to be sent again", resends=1, next_try_at=None,
        error="No receipt came; it is sent once more with the same Message-ID.",
    )  # fmt: skip


SWEEPERS: Final[Mapping[str, Callable[[datetime], int]]] = {
    MessageState.WAITING: _waiting,
    MessageState.HANDING_OVER: _handing_over,
    MessageState.UNCONFIRMED: _unconfirmed,
    MessageState.READY: _ready,
    MessageState.RETRY: _retry,
}


def _move(which: Q, state: MessageState, at: datetime, verb: str, *, keep_claim: bool = False, **fields: Any) -> int:
    """Move the messages one by one, each in a transaction with its journal entry. The condition is asked again in the
    UPDATE, so a deliverer or a receipt that was quicker wins."""
    claim = {} if keep_claim else {"claim": None, "lease_until": None}
    moved = 0
    for message in Message.objects.filter(which).select_related("studio").order_by("pk"):
        with transaction.atomic():
            if Message.objects.filter(which, pk=message.pk).update(state=state, state_at=at, **claim, **fields):
                moved += 1
                journal.record(
                    studio=message.studio, actor="cycle", at=at, verb=verb, subject="message", subject_id=message.pk,
                    uid=str(message.uid),
                )  # fmt: skip
    return moved


def sweep(*, at: datetime) -> Mapping[str, int]:
    """Resolve every message whose state has outlived its limit. Returns how many, by the state that they left."""
    return {str(state): sweeper(at) for state, sweeper in SWEEPERS.items()}
