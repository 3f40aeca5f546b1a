"""The signed links of mails: who and which purpose they are about, for one use each.

A link never expires: a mail may be opened years later. What a link for one use says counts for no other.
"""

from __future__ import annotations

from typing import Final

from django.core import signing

from lifecycle.errors import NotFoundHere
from lifecycle.models import Customer, Purpose

UNSUBSCRIBE: Final = "lifecycle.reminders.unsubscribe"
PREFERENCES: Final = "lifecycle.reminders.preferences"
UNKNOWN: Final = "This link is not one of ours, or it was cut off. Copy the whole link from the mail."


def sign(*, use: str, customer_id: int, purpose: str) -> str:
    """A signed token for the link of one mail."""
    return signing.Signer(salt=use).sign(f"{customer_id}.{purpose}")


def open_link(token: str, *, use: str) -> tuple[Customer, str]:
    """The customer, with the studio, and the purpose that a token of this use names.

    Raises:
        NotFoundHere: the token is not ours, was changed, is for another use, or its person is not on record.
    """
    try:
        number, _, purpose = signing.Signer(salt=use).unsign(token).partition(".")
        customer_id = int(number)
    except (signing.BadSignature, ValueError) as error:
        raise NotFoundHere(UNKNOWN) from error
    customer = Customer.objects.select_related("studio").filter(pk=customer_id).first()
    if customer is None or purpose not in Purpose.values:
        raise NotFoundHere(UNKNOWN)
    return customer, purpose
