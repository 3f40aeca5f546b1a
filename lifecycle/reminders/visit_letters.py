"""Answer a customer about a visit and write it to them in the same transaction.

The person asked for the visit or has it booked, and the mail says only what became of it. One that has not left yet is
stopped where the visit has changed again.
"""

from __future__ import annotations

import uuid
from datetime import datetime, time
from typing import Any, Final

from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import formats, translation
from django.utils.translation import gettext

from lifecycle.care import answering, visits
from lifecycle.care.rules import TASKS
from lifecycle.models import Customer, Purpose, Studio, Visit, VisitState
from lifecycle.reminders import approval, wordings
from lifecycle.reminders.asked_for import Told, barred, freeze
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

WHAT: Final = ("confirmed", "moved", "offered", "declined", "kept", "cancelled")
Answered = Told[Visit]


def confirm(
    *, studio: Studio, visit_id: int, actor: str, at: datetime, batch: uuid.UUID | None = None, **given: Any
) -> Answered:
    """`answering.confirm`, and the mail.

    Args:
        batch: the run of many that it is one of, whose mails the owner sees first.

    Raises:
        NotFoundHere, DomainError: as there.
    """
    with transaction.atomic():
        before = Visit.objects.filter(studio=studio, pk=visit_id, state=VisitState.BOOKED).exists()
        visit = answering.confirm(studio=studio, visit_id=visit_id, actor=actor, at=at, **given)
        return _tell(visit, "moved" if before else "confirmed", actor=actor, at=at, batch=batch)


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
            return Told(visit, None, "its day is over")
        return _tell(visit, "cancelled", actor=actor, at=at)


def when_words(day: Any, starts: time | None) -> str:
    """ "4 May 2026, 09:00", or the day alone where no time is set."""
    said = day_words(day)
    return f"{said}, {formats.time_format(starts, 'H:i')}" if starts is not None else said


def _tell(visit: Visit, what: str, *, actor: str, at: datetime, batch: uuid.UUID | None = None) -> Answered:
    customer = visit.customer
    why = barred(visit.studio, customer)
    if customer is None or why:
        return Told(visit, None, why)
    uid = uuid.uuid4()
    message = freeze(
        compose(visit, customer, what, uid=uid), customer, uid=uid,
        about={"visit": visit, "visit_sequence": visit.sequence} | (approval.held(batch) if batch is not None else {}),
        noted={"vehicle_id": visit.vehicle_id, "visit": visit.pk}, actor=actor, at=at,
    )  # fmt: skip
    return Told(visit, message, message.error)


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
