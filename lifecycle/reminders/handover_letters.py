"""Offer a vehicle to a new keeper and write the mail with the link in the same transaction.

The mail is no reminder: the present keeper asked for it, and it is sent once. It names no person, and says nothing of
whether the address is known. An address that bounced or complained is not written to, which is not said either.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import date, datetime

from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _

from lifecycle.care import handover
from lifecycle.care.handover import Offered
from lifecycle.models import Message
from lifecycle.reminders.asked_for import freeze
from lifecycle.reminders.house import absolute
from lifecycle.reminders.render import Rendered, day_words, one_line, plain_headers, sender, unbroken, wrap


def offer(
    *, customer_ids: Iterable[int], vehicle_id: int, email: str, on: date, language: str, actor: str, at: datetime
) -> Message:
    """`handover.offer`, and the mail.

    Args:
        language: of the mail: the one in which the present keeper asked.

    Raises:
        NotFoundHere, DomainError: as there.
    """
    with transaction.atomic():
        made = handover.offer(customer_ids=customer_ids, vehicle_id=vehicle_id, email=email, on=on, actor=actor, at=at)
        uid, row = uuid.uuid4(), made.handover
        mail = compose(made, uid=uid, language=language)
        message = freeze(
            mail, row.customer, uid=uid, about={"handover": row}, to_email=row.to_email,
            noted={"vehicle_id": row.vehicle_id, "handover": row.pk}, actor=actor, at=at,
        )  # fmt: skip
    return message


def compose(made: Offered, *, uid: uuid.UUID, language: str) -> Rendered:
    """Render the mail of an offer."""
    row = made.handover
    with translation.override(language):
        told = {"vehicle": one_line(row.vehicle.description), "studio": row.studio.name, "day": day_words(row.on)}
        context = told | {
            "subject": one_line(_("Do you keep this vehicle now (%(vehicle)s)?") % told)[:200],
            "opening": _(
                "the present keeper of a vehicle that %(studio)s looks after (%(vehicle)s) has told us that you keep "
                "it as of %(day)s. If that is so, agree on the page below, with your own name: its care record is then "
                "yours to read. Until you do, nothing changes. If it is a mistake, decline there, or do nothing."
            ) % told,
            "reason": _(
                "You get this one mail because the present keeper typed your address. Nothing more is written to you "
                "unless you agree, and the address is forgotten after %(days)d days, or at once if you decline."
            ) % {"days": handover.DAYS},
            "url": absolute(reverse("handover", args=[made.token])), "phone": unbroken(row.studio.phone),
            "language": language,
        }  # fmt: skip
        text = wrap(render_to_string("mail/handover.txt", context))
        html = render_to_string("mail/handover.html", context)
    headers = plain_headers(uid=uid, studio=row.studio)
    return Rendered(
        subject=str(context["subject"]), text=text, html=html, headers=headers, from_email=sender(row.studio)
    )
