"""Mails that one person's deed writes to one person: written in the transaction of their cause, or a reason why not.

They are no reminders: they need no consent to reminders, keep no quiet hours and are not stopped by unsubscribing from
them. An address that bounced or complained is still not written to.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Generic, TypeVar

from lifecycle import journal
from lifecycle.models import Customer, Message, MessageState, Purpose, Studio, Suppression
from lifecycle.reminders.render import Rendered

NO_KEEPER: Final = "no keeper is on record who may have it"
NO_ADDRESS: Final = "no e-mail address of the keeper is on record"
SUPPRESSED: Final = "the keeper's address bounced or complained; phone, or enter another one"

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Told(Generic[Row]):
    """What was done, and the mail about it. `no_mail`: why there is none, or it waits; "" where it is on its way."""

    row: Row
    message: Message | None
    no_mail: str = ""


def suppressed(studio: Studio, email: str) -> bool:
    """Whether an address must not be written to."""
    return Suppression.objects.filter(studio=studio, email__iexact=email, lifted_at=None).exists()


def barred(studio: Studio, customer: Customer | None) -> str:
    """Why nothing can be written to this person; "" where it can."""
    if customer is None or customer.erased_at is not None:
        return NO_KEEPER
    if not customer.email:
        return NO_ADDRESS
    return SUPPRESSED if suppressed(studio, customer.email) else ""


def freeze(
    rendered: Rendered,
    customer: Customer,
    *,
    uid: uuid.UUID,
    about: dict[str, Any],
    noted: dict[str, Any],
    actor: str,
    at: datetime,
    to_email: str = "",
) -> Message:
    """Write the message and its journal entry. The caller holds the transaction.

    Args:
        about: the fields of the message that say what it is about.
        noted: of the journal entry: `vehicle_id`, and what else it says.
        to_email: another address than the customer's.
    """
    studio = customer.studio
    message: Message = Message.objects.create(
        studio=studio, uid=uid, customer=customer, purpose=Purpose.SERVICE, to_email=to_email or customer.email,
        from_email=rendered.from_email, subject=rendered.subject, text=rendered.text, html=rendered.html,
        headers=rendered.headers, state_at=at, written_at=at, **{"state": MessageState.READY, **about},
    )  # fmt: skip
    journal.record(
        studio=studio, actor=actor, at=at, verb="message written", subject="message", subject_id=message.pk,
        uid=str(uid), **noted,
    )  # fmt: skip
    return message
