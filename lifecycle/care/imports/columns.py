"""Which column means what: guessed by headings, checked when a person has said. Pure, no Django."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from typing import Final

from .fields import FIELDS, KEYS

# A heading that speaks of consent, in English or German.
CONSENT: Final = re.compile(
    r"consent|opt[ -]?(?:in|out)|newsletter|marketing|permission|gdpr|dsgvo|subscri|mailing|agreed|may (?:we )?(?:mail|"
    r"write|contact)|einwillig|zustimm|einverst|werbung|abonn",
    re.IGNORECASE,
)
NO_CONSENT: Final = (
    "Consent is what a person said, with the words they saw and the day. A cell of a list is not that, so it is never "
    "imported. Until they agree here, nobody in this list is written to; record each statement on the customer’s page."
)


def plain_heading(heading: str) -> str:
    """A heading by its letters and digits alone, in small letters."""
    return "".join(char for char in heading.casefold() if char.isalnum())


def speaks_of_consent(heading: str) -> bool:
    return bool(CONSENT.search(heading.replace("_", " ")))


def consent_columns(headings: Sequence[str]) -> tuple[str, ...]:
    """Headings that speak of consent; such a column is left out."""
    return tuple(heading for heading in headings if speaks_of_consent(heading))


def guess(kind: str, headings: Sequence[str]) -> dict[int, str]:
    """Column number (from 1) -> field, by headings; each field once, the closer word first."""
    taken: dict[int, str] = {}
    plain = [plain_heading(heading) for heading in headings]
    for field in FIELDS[kind]:
        own = (plain_heading(field.title), plain_heading(field.name), *field.headings)
        for word in own:
            place = next((n for n, said in enumerate(plain, 1) if said == word and n not in taken), None)
            if place is not None and not speaks_of_consent(headings[place - 1]):
                taken[place] = field.name
                break
    return taken


def digest_of(headings: Sequence[str]) -> str:
    """A digest of headings, whatever their case and order of spaces, to know the same kind of list again."""
    return hashlib.sha256("\n".join(" ".join(h.casefold().split()) for h in headings).encode()).hexdigest()


def wrong_columns(kind: str, headings: Sequence[str], columns: Mapping[int, str]) -> tuple[str, ...]:
    """Why the rows cannot be read with these columns; nothing where they can."""
    by_name = {field.name: field for field in FIELDS[kind]}
    found = []
    for number, name in sorted(columns.items()):
        if not 1 <= number <= len(headings):
            found.append(f"There is no column {number}.")
        elif name not in by_name:
            found.append(f"Column {number} cannot be read as {name}.")
        elif speaks_of_consent(headings[number - 1]):
            found.append(f"Column {number}, “{headings[number - 1]}”, stays left out. {NO_CONSENT}")
    names = list(columns.values())
    twice = sorted({by_name[name].title for name in names if name in by_name and names.count(name) > 1})
    found += [f"Two columns are taken for {title}; leave one out." for title in twice]
    if not set(KEYS[kind]) & set(names):
        titles = " or ".join(by_name[name].title for name in KEYS[kind])
        found.append(f"Say which column holds {titles}: without it the same row could not be known again.")
    found += [
        f"Say which column holds the {field.title}."
        for field in FIELDS[kind]
        if field.needed and field.name not in names
    ]
    return tuple(found)
