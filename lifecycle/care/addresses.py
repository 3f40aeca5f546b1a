"""What stays of an address that must not be written to, and how a person is kept out of rows that are never changed."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from django.conf import settings
from django.utils.crypto import salted_hmac

from lifecycle.models import Customer

SALT: Final = "lifecycle.care.addresses"
LEFT_OUT: Final = "(name left out)"
SHORTEST_WORD: Final = 4
FEWEST_DIGITS: Final = 6
NATIONAL_DIGITS: Final = 8  # the country before them may be left out


def digest(studio_id: int, email: str, *, key: str | bytes | None = None) -> str:
    """A keyed digest of an address within one studio (HMAC-SHA-256, RFC 2104; hexadecimal). Without the installation's
    key nobody can try addresses against it, and two studios' digests of one address differ.

    Args:
        key: the secret; the present one where None.
    """
    text = f"{studio_id}:{email.strip().lower()}"
    return salted_hmac(SALT, text, secret=key, algorithm="sha256").hexdigest()


def digests(studio_id: int, email: str) -> tuple[str, ...]:
    """The digest under the present key and under those that may still be in use (SECRET_KEY_FALLBACKS)."""
    return tuple(digest(studio_id, email, key=key) for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS))


@dataclass(frozen=True, slots=True)
class Named:
    """What names a person in a text. `parts`: single words of the name count too, where they are written with their
    capital or in capitals; for texts that are surely about this person alone."""

    name: str
    email: str
    phone: str
    parts: bool = False

    def patterns(self) -> tuple[tuple[str, bool], ...]:
        """Plain patterns, understood by Python and PostgreSQL alike, and whether letters' case counts."""
        found = [(re.escape(self.email), False)] if self.email else []
        digits = re.sub(r"\D", "", self.phone)
        if len(digits) >= FEWEST_DIGITS:
            head, tail = digits[:-NATIONAL_DIGITS], digits[-NATIONAL_DIGITS:]
            gap = r"[ ()./-]*"
            country = rf"(?:{gap.join(head)})?{gap}" if head else ""
            found.append((rf"(?:\+|00)?{country}{gap.join(tail)}", False))
        words = self.name.split()
        if words:  # one word alone may be a plain word too, like Grey
            found.append((r"\s+".join(re.escape(word) for word in words), len(words) == 1))
        if self.parts:
            found += [
                (f"(?:{re.escape(word)}|{re.escape(word.upper())})", True)
                for word in words
                if len(word) >= SHORTEST_WORD and word[0].isupper()
            ]
        return tuple(found)


def without(text: str, person: Named) -> str:
    """A text in which nothing names this person: no name, no address, no phone number in whatever spacing."""
    for pattern, case_counts in person.patterns():
        text = re.sub(rf"(?<!\w){pattern}(?!\w)", LEFT_OUT, text, flags=0 if case_counts else re.IGNORECASE)
    return text


def without_keepers(text: str, vehicle_id: int) -> str:
    """A text for a row that is never changed, such as the journal's: without whoever keeps or kept the vehicle."""
    people = Customer.objects.filter(keeps__vehicle=vehicle_id) if text else Customer.objects.none()
    for name, email, phone in people.values_list("name", "email", "phone").distinct():
        text = without(text, Named(name, email, phone))
    return text
