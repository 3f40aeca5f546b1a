"""Receipts: what the provider says became of a message. They come early, twice, out of order, or for nobody we know.

A receipt is stored once (unique per provider and event) and moves its message forward only: accepted < delivered <
bounced < complained. What would move it back is kept and changes nothing.
"""

from __future__ import annotations

import logging
import re
import uuid
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Final

from django.db import IntegrityError, transaction

from lifecycle import journal
from lifecycle.models import EarlyReceipt, Message, MessageState, Purpose, Receipt, Suppression
from lifecycle.reminders.unsubscribe import withdraw

log = logging.getLogger(__name__)

ACCEPTED: Final = "accepted"
DEFERRED: Final = "deferred"
DELIVERED: Final = "delivered"
BOUNCED: Final = "bounced"
SOFT_BOUNCED: Final = "soft_bounced"
REJECTED: Final = "rejected"
FAILED: Final = "failed"
COMPLAINED: Final = "complained"
UNSUBSCRIBED: Final = "unsubscribed"
KINDS: Final = (
    ACCEPTED, DEFERRED, DELIVERED, BOUNCED, SOFT_BOUNCED, REJECTED, FAILED, COMPLAINED, UNSUBSCRIBED,
)  # fmt: skip

_OPEN: Final = (
    MessageState.READY, MessageState.RETRY, MessageState.HANDING_OVER, MessageState.UNCONFIRMED,
)  # fmt: skip
_GUESSED: Final = (MessageState.FAILED, MessageState.STOPPED)  # our own word; a receipt knows better
# kind -> (state that it leads to, states that it may leave)
MOVES: Final[Mapping[str, tuple[MessageState, tuple[MessageState, ...]]]] = {
    ACCEPTED: (MessageState.ACCEPTED, _OPEN),
    DELIVERED: (MessageState.DELIVERED, (*_OPEN, *_GUESSED, MessageState.ACCEPTED)),
    REJECTED: (MessageState.FAILED, (*_OPEN, MessageState.ACCEPTED)),
    FAILED: (MessageState.FAILED, (*_OPEN, MessageState.ACCEPTED)),
    SOFT_BOUNCED: (MessageState.BOUNCED, (*_OPEN, *_GUESSED, MessageState.ACCEPTED, MessageState.DELIVERED)),
    BOUNCED: (MessageState.BOUNCED, (*_OPEN, *_GUESSED, MessageState.ACCEPTED, MessageState.DELIVERED)),
    COMPLAINED: (
        MessageState.COMPLAINED,
        (*_OPEN, *_GUESSED, MessageState.ACCEPTED, MessageState.DELIVERED, MessageState.BOUNCED),
    ),
}
# How long an event waits for the message that it speaks of; providers post within minutes. Judgement.
EARLY_FOR: Final = timedelta(days=1)
SUPPRESS: Final = (BOUNCED, REJECTED, COMPLAINED)
_SOFT_WORDS: Final = ("softbounce", "soft", "transient")


def is_soft_bounce(*, answer: str, said: str) -> bool:
    """Whether a bounce is about now (mailbox full, greylisting), not about the address.

    Args:
        answer: the receiving server's answer. A status of class 4 is a persistent transient failure (RFC 3463, 2).
        said: the provider's own words for the type of the bounce.
    """
    if any(word in _SOFT_WORDS for word in re.split(r"[^a-z]+", said.lower())):
        return True
    found = re.search(r"\b([245])\.\d{1,3}\.\d{1,3}\b", answer) or re.match(r"\s*([245])\d\d\b", answer)
    return found is not None and found.group(1) == "4"


def _find(uid: str, provider_id: str) -> Message | None:
    rows = Message.objects.select_related("customer", "customer__studio")
    try:
        found: Message | None = rows.filter(uid=uuid.UUID(uid)).first()
    except ValueError:
        found = None
    if found is None and provider_id:
        found = rows.filter(provider_id=provider_id).first()
    return found


def take(
    *,
    provider: str,
    event_id: str,
    uid: str,
    kind: str,
    occurred_at: datetime,
    detail: str,
    at: datetime,
    provider_id: str = "",
) -> Receipt | None:
    """Keep one event and let it move its message, in one transaction.

    Args:
        uid: our id of the message, from the metadata; anything that is not one finds nothing.
        kind: one of `KINDS`.
        provider_id: the provider's id of the message, for events that lost our metadata.

    Returns:
        The new receipt; None where this event is kept already, or speaks of no message of ours (logged). One that
        knows the provider's id alone waits a day for the message that will carry it; `settle` lets it act then.

    Raises:
        ValueError: there is no such kind.
    """
    if kind not in KINDS:
        raise ValueError(f"kind is {kind!r}; use one of {', '.join(KINDS)}.")
    message = _find(uid, provider_id)
    if message is None and provider_id and not uid:
        # The answer to our hand-over, which holds this id, may not be written yet.
        EarlyReceipt.objects.bulk_create(
            [
                EarlyReceipt(
                    provider=provider[:40], event_id=event_id[:200], provider_id=provider_id[:200], kind=kind,
                    occurred_at=occurred_at, received_at=at,
                )
            ],
            ignore_conflicts=True,
        )  # fmt: skip
        return None
    if message is None:
        log.warning("A receipt (%s, %s) of %s is about no message of ours.", kind, event_id, provider)
        return None
    try:
        with transaction.atomic():
            receipt: Receipt = Receipt.objects.create(
                studio=message.studio, provider=provider[:40], event_id=event_id[:200], message=message, kind=kind,
                occurred_at=occurred_at, received_at=at, detail=detail[:300],
            )  # fmt: skip
            _apply(receipt, message, at)
    except IntegrityError:
        if Receipt.objects.filter(provider=provider[:40], event_id=event_id[:200]).exists():
            return None
        raise
    return receipt


def settle(*, at: datetime) -> dict[str, int]:
    """Let every kept receipt act that has not: its message could have been moved by it and stands behind it.

    Returns:
        Counts: receipts applied by their kind; early (events that have found their message).
    """
    counts: dict[str, int] = {}
    if found := _take_early(at):
        counts["early"] = found
    for kind, (state, leaves) in MOVES.items():
        rows = Receipt.objects.filter(kind=kind, message__state__in=[one for one in leaves if one != state])
        for receipt in rows.select_related("message__customer__studio").order_by("occurred_at", "id"):
            with transaction.atomic():
                if _apply(receipt, receipt.message, at):
                    counts[kind] = counts.get(kind, 0) + 1
    return counts


def _take_early(at: datetime) -> int:
    """Take the events whose message carries the provider's id by now; forget those that nobody claimed."""
    known = Message.objects.exclude(provider_id="").values("provider_id")
    found = 0
    for row in EarlyReceipt.objects.filter(provider_id__in=known):
        with transaction.atomic():
            take(
                provider=row.provider, event_id=row.event_id, uid="", provider_id=row.provider_id, kind=row.kind,
                occurred_at=row.occurred_at, detail="", at=at,
            )  # fmt: skip
            row.delete()
        found += 1
    EarlyReceipt.objects.filter(received_at__lte=at - EARLY_FOR).delete()
    return found


def _apply(receipt: Receipt, message: Message, at: datetime) -> bool:
    """Move the message if this is a step forward, and do what follows from the event. True: the message moved."""
    kind = receipt.kind
    moved = False
    if kind in MOVES:
        state, leaves = MOVES[kind]
        moved = bool(
            Message.objects.filter(pk=message.pk, state__in=leaves)
            .exclude(state=state)
            .update(
                state=state,
                state_at=at,
                claim=None,
                lease_until=None,
                next_try_at=None,
                error="" if state in (MessageState.ACCEPTED, MessageState.DELIVERED) else receipt.detail or kind,
            )
        )
    if kind in SUPPRESS:
        suppress(message=message, why=kind, at=at)
    if kind in (COMPLAINED, UNSUBSCRIBED):
        for purpose in Purpose.values if kind == COMPLAINED else [message.purpose]:
            withdraw(
                customer=message.customer, purpose=purpose, how=f"told by the mail provider: {kind}",
                wording="The mail provider passed it on.", actor="provider", at=at, since=receipt.occurred_at,
            )  # fmt: skip
    if moved:
        journal.record(
            studio=message.studio, actor="provider", at=at, verb=f"message {MOVES[kind][0]}", subject="message",
            subject_id=message.pk, receipt=receipt.pk,
        )  # fmt: skip
    return moved


def suppress(*, message: Message, why: str, at: datetime) -> bool:
    """Write no more to the address of this message. False where it is suppressed already, or erased since."""
    if not message.to_email:
        return False
    try:
        with transaction.atomic():
            row = Suppression.objects.create(studio=message.studio, email=message.to_email, why=why[:20], at=at)
            journal.record(
                studio=message.studio, actor="provider", at=at, verb="address suppressed", subject="customer",
                subject_id=message.customer_id, why=why, suppression=row.pk,
            )  # fmt: skip
    except IntegrityError:
        return False
    return True
