"""Seal a report and write its copy to the keeper in the same transaction.

The copy is no reminder: the person signed for the report a moment ago, and the mail only says where their own copy is.
So it needs no consent to reminders, keeps no quiet hours and is not stopped by unsubscribing from them; an address that
bounced or complained is still not written to, and the mail is stopped where the address has changed before it left.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation

from lifecycle import journal
from lifecycle.care import sealing
from lifecycle.care.reports.signature import Signature
from lifecycle.models import Customer, Keeper, Message, MessageState, Purpose, Report, Studio, Suppression
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

NO_ADDRESS: Final = "no e-mail address of the keeper is on record"
NO_KEEPER: Final = "no keeper is on record who may have it"
SUPPRESSED: Final = "the keeper's address bounced or complained; give a new one first"


@dataclass(frozen=True, slots=True)
class Sealed:
    """A sealed report and its copy; `no_copy` says why there is none."""

    report: Report
    message: Message | None
    no_copy: str = ""


def seal_and_send(
    *, studio: Studio, inspection_id: int, member_id: int, seen: str, signature: Signature, actor: str, at: datetime
) -> Sealed:
    """Seal the report of an inspection and write the keeper's copy.

    Raises:
        NotFoundHere, DomainError: as `sealing.seal_report`.
    """
    with transaction.atomic():
        report = sealing.seal_report(
            studio=studio, inspection_id=inspection_id, member_id=member_id, seen=seen, signature=signature,
            actor=actor, at=at,
        )  # fmt: skip
        return _send(report, sealing.keeper_at(report.inspection, at), actor=actor, at=at)


def add_and_send(
    *, studio: Studio, report_id: int, text: str, findings: Sequence[int] = (), member_id: int, actor: str, at: datetime
) -> Sealed:
    """Seal an addendum and tell the person who signed the report, while they still keep the vehicle.

    Raises:
        NotFoundHere, DomainError: as `sealing.seal_addendum`.
    """
    with transaction.atomic():
        added = sealing.seal_addendum(
            studio=studio, report_id=report_id, text=text, findings=findings, member_id=member_id, actor=actor, at=at
        )
        party = getattr(added.of, "party", None)
        customer = party.customer if party is not None else None
        if (
            customer is not None
            and not Keeper.objects.filter(vehicle_id=added.vehicle_id, customer=customer, end=None).exists()
        ):
            customer = None
        return _send(added, customer, actor=actor, at=at)


def suppressed(studio: Studio, email: str) -> bool:
    """Whether an address must not be written to."""
    return Suppression.objects.filter(studio=studio, email__iexact=email, lifted_at=None).exists()


def _send(report: Report, customer: Customer | None, *, actor: str, at: datetime) -> Sealed:
    if customer is None:
        return Sealed(report, None, NO_KEEPER)
    if not customer.email:
        return Sealed(report, None, NO_ADDRESS)
    if suppressed(report.studio, customer.email):
        return Sealed(report, None, SUPPRESSED)
    return Sealed(report, _write(report, customer, actor=actor, at=at))


def compose(report: Report, customer: Customer, *, uid: uuid.UUID, voice: wordings.Voice | None = None) -> Rendered:
    """Render the mail with the copy of a report or of its addendum, in the customer's language.

    Args:
        voice: another language or words not kept yet, to see how they speak.
    """
    studio, first = report.studio, report.of or report
    voice = voice or wordings.voice(studio, "addendum" if report.of else "report", language_of(customer))
    with translation.override(voice.language):
        told = {
            "number": report.number, "of": first.number, "vehicle": one_line(report.vehicle.description),
            "studio": studio.name, "name": customer.name, "plate": one_line(report.vehicle.plate),
            "on": day_words(studio.day(report.sealed_at)),
        }  # fmt: skip
        context = told | {
            "subject": one_line(voice.say("subject", told))[:200], "opening": voice.say("opening", told),
            "closing": voice.say("closing", told), "reason": voice.say("reason", told), "phone": unbroken(studio.phone),
            "url": absolute(reverse("customer:report", args=[first.pk])),
            "check_url": absolute(reverse("report_check", args=[report.token])), "digest": report.digest,
            "language": voice.language, "choices_url": choices_url(customer, Purpose.SERVICE),
        }  # fmt: skip
        text = wrap(render_to_string("mail/report.txt", context))
        html = render_to_string("mail/report.html", context)
    return Rendered(
        subject=str(context["subject"]), text=text, html=html, headers=plain_headers(uid=uid, studio=studio),
        from_email=sender(studio),
    )  # fmt: skip


def _write(report: Report, customer: Customer, *, actor: str, at: datetime) -> Message:
    uid, studio = uuid.uuid4(), report.studio
    rendered = compose(report, customer, uid=uid)
    message: Message = Message.objects.create(
        studio=studio, uid=uid, customer=customer, report=report, purpose=Purpose.SERVICE, to_email=customer.email,
        from_email=rendered.from_email, subject=rendered.subject, text=rendered.text, html=rendered.html,
        headers=rendered.headers, state=MessageState.READY, state_at=at, written_at=at,
    )  # fmt: skip
    journal.record(
        studio=studio, actor=actor, at=at, verb="message written", subject="message", subject_id=message.pk,
        vehicle_id=report.vehicle_id, report=report.number, uid=str(uid),
    )  # fmt: skip
    return message
