"""Seal a report and write its copy to the keeper in the same transaction.

The person signed for the report a moment ago, and the mail only says where their own copy is. It is stopped where the
address has changed before it left.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation

from lifecycle.care import sealing
from lifecycle.care.reports.signature import Signature
from lifecycle.models import Customer, Keeper, Purpose, Report, Studio
from lifecycle.reminders import wordings
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

Sealed = Told[Report]


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


def _send(report: Report, customer: Customer | None, *, actor: str, at: datetime) -> Sealed:
    why = barred(report.studio, customer)
    if customer is None or why:
        return Told(report, None, why)
    uid = uuid.uuid4()
    message = freeze(
        compose(report, customer, uid=uid), customer, uid=uid, about={"report": report},
        noted={"vehicle_id": report.vehicle_id, "report": report.number}, actor=actor, at=at,
    )  # fmt: skip
    return Told(report, message)


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
