"""Answer a customer about a visit and write it to them in the same transaction.

The mail is no reminder: the person asked for the visit or has it booked, and the mail says only what became of it. So
it needs no consent to reminders; an address that bounced or complained is still not written to, and a mail that has not
left yet is stopped where the visit has changed again.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, time
from typing import Any, Final

from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import formats, translation
from django.utils.translation import gettext

from lifecycle import journal
from lifecycle.care import answering, visits
from lifecycle.care.rules import TASKS
from lifecycle.models import Customer, Message, MessageState, Purpose, Studio, Visit, VisitState
from lifecycle.reminders import wordings
from lifecycle.reminders.house import absolute
from lifecycle.reminders.render import (
    Rendered,
    choices_url,
    day_words,
    language_of,
    one_line,
    plain_headers,
    sender,
    unbroken,
    wrap,
)
from lifecycle.reminders.report_copy import suppressed

WHAT: Final = ("confirmed", "moved", "offered", "declined", "kept", "cancelled")
NO_CUSTOMER: Final = "no keeper is on record who may have it"
NO_ADDRESS: Final = "no e-mail address of the keeper is on record"
SUPPRESSED: Final = "the keeper's address bounced or complained; phone instead"


@dataclass(frozen=True, slots=True)
class Answered:
    """A visit after the answer, and the mail about it; `no_mail` says why there is none."""

    visit: Visit
    message: Message | None
    no_mail: str = ""


def confirm(*, studio: Studio, visit_id: int, actor: str, at: datetime, **given: Any) -> Answered:
    """`answering.confirm`, and the mail.

    Raises:
        NotFoundHere, DomainError: as there.
    """
    with transaction.atomic():
        before = Visit.objects.filter(studio=studio, pk=visit_id, state=VisitState.BOOKED).exists()
        visit = answering.confirm(studio=studio, visit_id=visit_id, actor=actor, at=at, **given)
        return _tell(visit, "moved" if before else "confirmed", actor=actor, at=at)


def offer_days(*, studio: Studio, visit_id: int, actor: str, at: datetime, **given: Any) -> Answered:
    """`answering.offer_days`, and the mail.

    Raises:
        NotFoundHere, DomainError: as there.
    """
    with transaction.atomic():
        visit = answering.offer_days(studio=studio, visit_id=visit_id, actor=actor, at=at, **given)
        return _tell(visit, "offered", actor=actor, at=at)


def decline(*, studio: Studio, visit_id: int, actor: str, at: datetime, **given: Any) -> Answered:
    """`answering.decline`, and the mail.

    Raises:
        NotFoundHere, DomainError: as there.
    """
    with transaction.atomic():
        visit = answering.decline(studio=studio, visit_id=visit_id, actor=actor, at=at, **given)
        return _tell(visit, "kept" if visit.state == VisitState.BOOKED else "declined", actor=actor, at=at)


def cancel(*, studio: Studio, visit_id: int, actor: str, at: datetime) -> Answered:
    """Cancel a coming visit from the studio's side, and the mail.

    Raises:
        NotFoundHere, DomainError: as `visits.settle`.
    """
    with transaction.atomic():
        visit = visits.settle(studio=studio, visit_id=visit_id, state=VisitState.CANCELLED, actor=actor, at=at)
        if visit.on < studio.day(at):
            return Answered(visit, None, "its day is over")
        return _tell(visit, "cancelled", actor=actor, at=at)


def when_words(day: Any, starts: time | None) -> str:
    """ "4 May 2026, 09:00", or the day alone where no time is set."""
    said = day_words(day)
    return f"{said}, {formats.time_format(starts, 'H:i')}" if starts is not None else said


def _tell(visit: Visit, what: str, *, actor: str, at: datetime) -> Answered:
    customer = visit.customer
    if customer is None or customer.erased_at is not None:
        return Answered(visit, None, NO_CUSTOMER)
    if not customer.email:
        return Answered(visit, None, NO_ADDRESS)
    if suppressed(visit.studio, customer.email):
        return Answered(visit, None, SUPPRESSED)
    return Answered(visit, _write(visit, customer, what, actor=actor, at=at))


def compose(
    visit: Visit, customer: Customer, what: str, *, uid: uuid.UUID, voice: wordings.Voice | None = None
) -> Rendered:
    """Render the mail about a visit, in the customer's language.

    Args:
        what: one of `WHAT`.
        voice: another language or words not kept yet, to see how they speak.
    """
    studio = visit.studio
    voice = voice or wordings.voice(studio, f"visit_{what}", language_of(customer))
    with translation.override(voice.language):
        told = {
            "day": when_words(visit.on, visit.starts), "vehicle": one_line(visit.vehicle.description),
            "plate": one_line(visit.vehicle.plate), "site": visit.site.name, "name": customer.name,
            "studio": studio.name,
        }  # fmt: skip
        offers = [datetime.fromisoformat(text) for text in visit.offered] if what == "offered" else []
        context = told | {
            "subject": one_line(voice.say("subject", told))[:200], "opening": voice.say("opening", told),
            "closing": voice.say("closing", told), "reason": voice.say("reason", told), "phone": unbroken(studio.phone),
            "tasks": [gettext(TASKS[task].title) for task in visit.tasks if task in TASKS],
            "offers": [when_words(one.date(), one.time()) for one in offers],
            "because": visit.reason if what != "confirmed" else "", "url": absolute(reverse("customer:visits")),
            "language": voice.language, "choices_url": choices_url(customer, Purpose.SERVICE),
        }  # fmt: skip
        text = wrap(render_to_string("mail/visit.txt", context))
        html = render_to_string("mail/visit.html", context)
    return Rendered(
        subject=str(context["subject"]), text=text, html=html, headers=plain_headers(uid=uid, studio=studio),
        from_email=sender(studio),
    )  # fmt: skip


def _write(visit: Visit, customer: Customer, what: str, *, actor: str, at: datetime) -> Message:
    uid, studio = uuid.uuid4(), visit.studio
    rendered = compose(visit, customer, what, uid=uid)
    message: Message = Message.objects.create(
        studio=studio, uid=uid, customer=customer, visit=visit, visit_sequence=visit.sequence, purpose=Purpose.SERVICE,
        to_email=customer.email, from_email=rendered.from_email, subject=rendered.subject, text=rendered.text,
        html=rendered.html, headers=rendered.headers, state=MessageState.READY, state_at=at, written_at=at,
    )  # fmt: skip
    journal.record(
        studio=studio, actor=actor, at=at, verb="message written", subject="message", subject_id=message.pk,
        vehicle_id=visit.vehicle_id, visit=visit.pk, uid=str(uid),
    )  # fmt: skip
    return message
