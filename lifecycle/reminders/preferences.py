"""What a person chooses by the link in a mail's foot, without sign-in: purposes, language, quiet hours, a pause."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.db import transaction

from lifecycle.care.customer_reads import ChoiceLine, choices
from lifecycle.care.register import known, set_consent
from lifecycle.care.wishes import Wishes, set_wishes, wishes_of
from lifecycle.errors import NotFoundHere
from lifecycle.models import Consent, Customer, Purpose
from lifecycle.reminders.links import PREFERENCES, UNKNOWN, open_link, sign
from lifecycle.reminders.unsubscribe import withdraw

HOW: Final = "link in a mail"


@dataclass(frozen=True, slots=True)
class Preferences:
    """What holds for the person of a link. It names nobody: a mail may be passed on.

    Attributes:
        languages: the person's language and the studio's, in this order.
    """

    customer_id: int
    studio_name: str
    languages: tuple[str, ...]
    lines: tuple[ChoiceLine, ...]
    wishes: Wishes


def make_token(*, customer_id: int, purpose: str) -> str:
    """A signed token for the link in the foot of one mail."""
    return sign(use=PREFERENCES, customer_id=customer_id, purpose=purpose)


def _person(token: str) -> Customer:
    customer, _ = open_link(token, use=PREFERENCES)
    if customer.erased_at is not None:
        raise NotFoundHere(UNKNOWN)
    return customer


def read(token: str) -> Preferences:
    """What the person of a link has chosen; changes nothing (mail scanners open links).

    Raises:
        NotFoundHere: the token is not ours, was changed, or its person is no longer on record.
    """
    customer = _person(token)
    (wishes,) = wishes_of((customer.pk,))
    return Preferences(
        customer_id=customer.pk,
        studio_name=customer.studio.name,
        languages=tuple(one for one in (customer.language, customer.studio.language) if one),
        lines=choices((customer.pk,)),
        wishes=wishes,
    )


def choose(*, token: str, purpose: str, given: bool, wording: str, at: datetime) -> bool:
    """Record a yes or a no to one purpose, in the words that were shown. A no stops what waits to be sent.

    Returns:
        Whether anything was written; False where the same was said in the same words before.

    Raises:
        NotFoundHere: as `read`.
        DomainError: no such purpose, or no words.
    """
    customer = _person(token)
    known("purpose", purpose, tuple(Purpose.values))
    actor = f"customer:{customer.pk}"
    if not given:
        return withdraw(customer=customer, purpose=purpose, how=HOW, wording=wording, actor=actor, at=at)
    with transaction.atomic():
        # Two presses at once take turns.
        Customer.objects.select_for_update().get(pk=customer.pk)
        latest = Consent.objects.filter(customer=customer, purpose=purpose).order_by("-at", "-id").first()
        if latest is not None and latest.given and latest.wording == wording:
            return False
        set_consent(
            studio=customer.studio, customer_id=customer.pk, purpose=purpose, given=True, how=HOW, wording=wording,
            actor=actor, at=at,
        )  # fmt: skip
    return True


def wish(*, token: str, at: datetime, **wishes: Any) -> None:
    """Put language, quiet hours and a pause on record.

    Args:
        wishes: as `lifecycle.care.wishes.set_wishes` takes them.

    Raises:
        NotFoundHere: as `read`.
        DomainError: as `set_wishes`.
    """
    customer = _person(token)
    set_wishes(studio=customer.studio, customer_id=customer.pk, actor=f"customer:{customer.pk}", at=at, **wishes)
