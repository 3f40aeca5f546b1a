"""Stop writing to somebody: the signed link in every mail, and what it does."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext

from lifecycle import journal
from lifecycle.care.register import set_consent
from lifecycle.models import Consent, Customer, Message, MessageState, Purpose
from lifecycle.reminders.links import UNSUBSCRIBE, open_link, sign

WAITING = (MessageState.WAITING, MessageState.READY, MessageState.RETRY)


@dataclass(frozen=True, slots=True)
class Choice:
    """What a link is about. Nothing in here says who the person is."""

    customer_id: int
    purpose: str
    purpose_label: str
    studio_name: str


def make_token(*, customer_id: int, purpose: str) -> str:
    """A signed token for the link of one mail. It never expires: a mail may be opened years later."""
    return sign(use=UNSUBSCRIBE, customer_id=customer_id, purpose=purpose)


def _choice(customer: Customer, purpose: str) -> Choice:
    return Choice(
        customer_id=customer.pk,
        purpose=purpose,
        purpose_label=gettext(str(Purpose(purpose).label)),
        studio_name=customer.studio.name,
    )


def read_token(token: str) -> Choice:
    """Say what a link is about, and change nothing (mail scanners open links).

    Raises:
        NotFoundHere: the token is not ours, was changed, or its person is no longer on record.
    """
    return _choice(*open_link(token, use=UNSUBSCRIBE))


def withdraw(
    *, customer: Customer, purpose: str, how: str, wording: str, actor: str, at: datetime, since: datetime | None = None
) -> bool:
    """Record the withdrawal of a consent and stop what waits to be sent for that purpose, in one transaction.

    Args:
        since: when the person said so, if that was before `at` (a late report of a provider). A consent given after it
            stays in force.

    Returns:
        Whether a withdrawal was written; False where it is withdrawn already or was given afresh since.
    """
    with transaction.atomic():
        # What somebody signed, asked or offered for is no reminder: a copy, an answer about a visit, an offer.
        stopped = Message.objects.filter(
            customer=customer, purpose=purpose, state__in=WAITING, resends=0, report=None, visit=None, handover=None
        )
        latest = Consent.objects.filter(customer=customer, purpose=purpose).order_by("-at", "-id").first()
        if latest is not None and latest.given and since is not None and latest.at > since:
            return False
        stopped.update(
            state=MessageState.STOPPED, state_at=at, claim=None, lease_until=None, error="Consent was withdrawn."
        )
        if latest is not None and not latest.given:
            return False
        set_consent(
            studio=customer.studio, customer_id=customer.pk, purpose=purpose, given=False, how=how, wording=wording,
            actor=actor, at=at,
        )  # fmt: skip
    return True


def unsubscribe(*, token: str, at: datetime) -> Choice:
    """Do what the link says, at once: a withdrawal in the record, and nothing that waits is sent. Again does no harm.

    Raises:
        NotFoundHere: as `read_token`.
    """
    customer, purpose = open_link(token, use=UNSUBSCRIBE)
    actor = f"customer:{customer.pk}"
    with transaction.atomic():
        written = withdraw(
            customer=customer,
            purpose=purpose,
            how="link in a mail",
            wording=f"Stop sending me {Purpose(purpose).label}.",
            actor=actor,
            at=at,
        )
        if written:
            journal.record(
                studio=customer.studio, actor=actor, at=at, verb="unsubscribed", subject="customer",
                subject_id=customer.pk, purpose=purpose,
            )  # fmt: skip
    return _choice(customer, purpose)
