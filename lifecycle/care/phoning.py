"""Whom the desk is to phone: customers whose address bounced for good or whose mail was complained about."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db import transaction
from django.db.models.functions import Lower

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.errors import DomainError
from lifecycle.models import Customer, JournalEntry, Studio, Suppression

PHONED: Final = "customer phoned"
SUBJECT: Final = "suppression"
WHY: Final = {
    "bounced": "the address does not exist or takes no mail",
    "rejected": "the mail provider does not write to this address",
    "complained": "a mail was reported as unwanted; ask how they want to be told, and do not press",
}
MOST: Final = 50


@dataclass(frozen=True, slots=True)
class PhoneTask:
    """One call to make. `phone` is "" where none is on record."""

    suppression_id: int
    customer_id: int
    customer: str
    phone: str
    email: str
    why: str
    since: datetime


def to_phone(studio: Studio) -> tuple[PhoneTask, ...]:
    """The calls that are still to be made, oldest first, at most 50. Three queries at most.

    A task ends when it is marked as done, the address is let in again, or the customer got another address.
    """
    rows = Suppression.objects.of(studio).filter(lifted_at=None, why__in=WHY).exclude(email="")
    done = JournalEntry.objects.of(studio).filter(verb=PHONED, subject=SUBJECT).values("subject_id")
    open_rows = {row.email.lower(): row for row in rows.exclude(pk__in=done).order_by("at", "pk")}
    if not open_rows:
        return ()
    people = Customer.objects.of(studio).filter(erased_at=None).annotate(low=Lower("email")).filter(low__in=open_rows)
    tasks = [
        PhoneTask(row.pk, person.pk, person.name, person.phone, row.email, WHY[row.why], row.at)
        for person in people.order_by("name", "pk")
        for row in (open_rows[person.email.lower()],)
    ]
    return tuple(sorted(tasks, key=lambda task: (task.since, task.suppression_id))[:MOST])


def mark_phoned(*, studio: Studio, suppression_id: int, actor: str, at: datetime) -> None:
    """Take a call off the list. The address stays shut.

    Raises:
        NotFoundHere: this studio has no such address.
        DomainError: there is no call to make about it, or it was made already.
    """
    with transaction.atomic():
        row = one(Suppression, studio, suppression_id, lock=True)  # of two clicks one is recorded
        if row.lifted_at is not None or row.why not in WHY:
            raise DomainError("There is no call to make about this address any more.")
        if JournalEntry.objects.of(studio).filter(verb=PHONED, subject=SUBJECT, subject_id=row.pk).exists():
            raise DomainError("This call is marked as made already.")
        journal.record(studio=studio, actor=actor, at=at, verb=PHONED, subject=SUBJECT, subject_id=row.pk)
