"""What a person at the desk may do with a message of the outbox: send it again, or stop it. Each is on record."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final

from django.db import transaction

from lifecycle import journal
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import Message, MessageState, Studio
from lifecycle.reminders import approval, letters
from lifecycle.reminders.sweep import STALE_AFTER

MAY_RETRY: Final = (MessageState.FAILED, MessageState.STOPPED)
# An unconfirmed one is settled by a receipt or the clock first: whether it left must stay known for a later retry.
MAY_STOP: Final = (MessageState.WAITING, MessageState.READY, MessageState.RETRY)


def _message(studio: Studio, message_id: int) -> Message:
    rows = Message.objects.of(studio).select_related("studio", "customer__studio")
    message: Message | None = rows.filter(pk=message_id).first()
    if message is None:
        raise NotFoundHere(f"There is no message {message_id} in this studio.")
    return message


def may_have_left(message: Message) -> bool:
    """Whether the provider has, or may have, this message: then sending it again is a resend, of which there is one."""
    return bool(message.resends or message.provider_id or message.receipts.exists())


def retry(*, studio: Studio, message_id: int, actor: str, at: datetime) -> Message:
    """Put a failed or stopped message back to be sent, if what it says still holds.

    Raises:
        NotFoundHere: this studio has no such message.
        DomainError: it is neither failed nor stopped, too old, no longer true, or was handed over twice already.
    """
    with transaction.atomic():
        message = _message(studio, message_id)
        if message.state not in MAY_RETRY:
            raise DomainError(
                f"This message is {message.get_state_display()}; only one that failed or was stopped is tried again."
            )
        if at - message.written_at >= STALE_AFTER:
            raise DomainError(
                f"This message was written more than {STALE_AFTER.days} days ago. Its words are too old to be true; "
                "phone, or wait for the next notice."
            )
        left = may_have_left(message)
        if message.resends:
            raise DomainError(
                "This message was sent again once already and may have arrived. Phone the customer instead."
            )
        verdict = letters.look([message], at=at).verdict(message)
        if isinstance(verdict, letters.Stop):
            raise DomainError(f"What it says no longer holds: {verdict.reason}")
        before = {"state": message.state, "attempts": message.attempts, "error": message.error}
        fields: dict[str, Any] = {
            # What the owner was to see first is still to be seen.
            "state": MessageState.WAITING if message.approval_for else MessageState.READY,
            "state_at": at, "attempts": 0, "next_try_at": None, "claim": None, "lease_until": None,
            "error": approval.words_of(message.approval_for), "resends": int(left),
        }  # fmt: skip
        if not Message.objects.filter(pk=message.pk, state=before["state"], resends=message.resends).update(**fields):
            raise DomainError("Somebody else was quicker. Load the page again.")
        journal.record(
            studio=studio, actor=actor, at=at, verb="message to be sent again", subject="message",
            subject_id=message.pk, uid=str(message.uid), before=before, resend=left,
        )  # fmt: skip
    message.refresh_from_db()
    return message


def stop(*, studio: Studio, message_id: int, actor: str, at: datetime) -> Message:
    """Stop a message that waits. One that may have left is failed, not stopped: nobody can say it did not arrive.

    Raises:
        NotFoundHere: this studio has no such message.
        DomainError: it is on its way, with the provider, or settled already.
    """
    with transaction.atomic():
        message = _message(studio, message_id)
        if message.state not in MAY_STOP:
            raise DomainError(f"This message is {message.get_state_display()}; it can no longer be stopped.")
        doubt = may_have_left(message)
        fields: dict[str, Any] = {
            "state": MessageState.FAILED if doubt else MessageState.STOPPED,
            "error": "Stopped by hand; it may have arrived, it is not sent again." if doubt else "Stopped by hand.",
            "state_at": at, "claim": None, "lease_until": None, "next_try_at": None,
        }  # fmt: skip
        # A deliverer that had it in its batch finds its mark gone and leaves it; one that has begun was quicker.
        if not Message.objects.filter(pk=message.pk, state=message.state).update(**fields):
            raise DomainError("It is on its way just now. Load the page again.")
        journal.record(
            studio=studio, actor=actor, at=at, verb="message failed" if doubt else "message stopped", subject="message",
            subject_id=message.pk, uid=str(message.uid), by_hand=True,
        )  # fmt: skip
    message.refresh_from_db()
    return message
