"""The sentences of mails that a studio may put in its own words: which there are, what they may hold, how they are
filled. No database here; `wordings` keeps what a studio wrote.

A placeholder is a name in braces: {vehicle}. What fills one is never read for placeholders again.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from django.utils import translation
from django.utils.translation import gettext, gettext_noop

from lifecycle.errors import DomainError

PLACEHOLDER: Final = re.compile(r"\{([^{}]*)\}")
CATALOGUE_PLACEHOLDER: Final = re.compile(r"%\((\w+)\)[sd]")
# House rules: a mail leads on by its own links alone, names no bare percentage and judges no warranty.
REFUSED: Final = (
    (re.compile(r"https?:|www\.", re.I), "leave addresses of pages out; the mail's own links lead on"),
    (re.compile(r"%"), "leave percentages out; say in words what is meant"),
    (re.compile(r"warrant|guarant|garantie|gewährleist", re.I), "say nothing about warranties; only their giver can"),
)


@dataclass(frozen=True, slots=True)
class Part:
    """One sentence of a kind of mail.

    Attributes:
        built_in: its words as the catalogues hold them, "" where there are none.
        may: the placeholders it may hold.  needs: those that it must.
        longest: characters at most.  one_line: no line break.
    """

    name: str
    label: str
    built_in: str
    may: tuple[str, ...]
    needs: tuple[str, ...] = ()
    longest: int = 400
    one_line: bool = False


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of mail: its name in a list and its parts in the order of reading."""

    key: str
    label: str
    parts: tuple[Part, ...]

    def part(self, name: str) -> Part:
        """The part of this name.

        Raises:
            DomainError: this kind has no such part.
        """
        for part in self.parts:
            if part.name == name:
                return part
        raise DomainError(f"{name}: this mail has no such part.", field=name)


COMMON: Final = ("name", "studio")
ONE: Final = (*COMMON, "title", "vehicle", "window")
MANY: Final = (*COMMON, "count")
COPY: Final = (*COMMON, "vehicle", "plate", "number", "on")
VISIT: Final = (*COMMON, "vehicle", "plate", "day", "site")
BECAUSE_ASKED: Final = gettext_noop("You get this because you said yes to %(about)s from %(studio)s.")
BECAUSE_SEALED: Final = gettext_noop(
    "You get this one mail because a report on your vehicle was sealed. It is no advertisement and asks for nothing."
)
BECAUSE_VISIT: Final = gettext_noop(
    "You get this mail because you asked for this visit or have it booked. It is no advertisement."
)


def _subject(built_in: str, may: tuple[str, ...], *needs: str) -> Part:
    return Part("subject", "Subject", built_in, may, needs, longest=120, one_line=True)


def _closing(may: tuple[str, ...]) -> Part:
    return Part("closing", "Closing words, above the studio's name", "", may, longest=300)


def _about_care(key: str, label: str) -> Kind:
    return Kind(
        key,
        label,
        (
            _subject(gettext_noop("%(title)s for your %(vehicle)s, %(window)s"), ONE, "title"),
            Part("opening", "Opening", gettext_noop("a note from %(studio)s about your vehicle."), ONE),
            Part("subject_several", "Subject of a mail about several things",
                 gettext_noop("Care for %(count)d vehicles"), MANY, longest=120, one_line=True),
            Part("opening_several", "Opening of a mail about several things",
                 gettext_noop("one mail about several things, so that you do not get many:"), MANY),
            _closing(COMMON),
            Part("reason", "Why they get it", BECAUSE_ASKED, (*COMMON, "about"), ("about", "studio"), longest=300),
        ),
    )  # fmt: skip


def _about_visit(what: str, label: str, subject: str, opening: str, *needs: str) -> Kind:
    return Kind(
        f"visit_{what}",
        label,
        (
            _subject(subject, VISIT),
            Part("opening", "Opening", opening, VISIT, needs, longest=500),
            _closing(VISIT),
            Part("reason", "Why they get it", BECAUSE_VISIT, COMMON, longest=300),
        ),
    )


def _about_report(key: str, label: str, subject: str, opening: str, may: tuple[str, ...]) -> Kind:
    return Kind(
        key,
        label,
        (
            _subject(subject, may, "number"),
            Part("opening", "Opening", opening, may, ("number", "on"), longest=500),
            _closing(may),
            Part("reason", "Why they get it", BECAUSE_SEALED, COMMON, longest=300),
        ),
    )


KINDS: Final[Mapping[str, Kind]] = {
    kind.key: kind
    for kind in (
        _about_care("service", "Care reminder"),
        _about_care("promotion", "Offer"),
        _about_report(
            "report", "Copy of a report", gettext_noop("Report %(number)s on your %(vehicle)s"),
            gettext_noop(
                "here is your copy of report %(number)s on your %(vehicle)s (%(plate)s), which you signed on %(on)s at "
                "%(studio)s."
            ),
            COPY,
        ),
        _about_report(
            "addendum", "Copy of an addendum",
            gettext_noop("Addendum %(number)s to report %(of)s on your %(vehicle)s"),
            gettext_noop(
                "on %(on)s %(studio)s added addendum %(number)s to report %(of)s on your %(vehicle)s (%(plate)s). The "
                "report itself stays as you signed it."
            ),
            (*COPY, "of"),
        ),
        _about_visit(
            "confirmed", "Visit booked", gettext_noop("Your visit on %(day)s is booked: %(vehicle)s"),
            gettext_noop("your visit with your %(vehicle)s (%(plate)s) is booked for %(day)s at %(site)s."), "day",
        ),
        _about_visit(
            "moved", "Visit moved", gettext_noop("Your visit is now on %(day)s: %(vehicle)s"),
            gettext_noop("your visit with your %(vehicle)s (%(plate)s) is now on %(day)s at %(site)s."), "day",
        ),
        _about_visit(
            "offered", "Other days for a visit", gettext_noop("Other days for your visit: %(vehicle)s"),
            gettext_noop("the day that you asked for does not work for your %(vehicle)s (%(plate)s). These do:"),
        ),
        _about_visit(
            "declined", "Visit declined", gettext_noop("Your request for a visit: %(vehicle)s"),
            gettext_noop("we cannot take the visit that you asked for with your %(vehicle)s (%(plate)s)."),
        ),
        _about_visit(
            "kept", "Visit stays as it is", gettext_noop("Your visit stays on %(day)s: %(vehicle)s"),
            gettext_noop(
                "your visit with your %(vehicle)s (%(plate)s) stays on %(day)s at %(site)s; the other day that you "
                "asked for does not work."
            ),
            "day",
        ),
        _about_visit(
            "cancelled", "Visit cancelled", gettext_noop("Your visit on %(day)s is cancelled: %(vehicle)s"),
            gettext_noop("your visit with your %(vehicle)s (%(plate)s) on %(day)s at %(site)s is cancelled."), "day",
        ),
    )
}  # fmt: skip


def built_in(part: Part, language: str) -> str:
    """The words that stand in a mail where the studio wrote none, with their placeholders in braces."""
    if not part.built_in:
        return ""
    with translation.override(language):
        return CATALOGUE_PLACEHOLDER.sub(r"{\1}", gettext(part.built_in))


def check(part: Part, text: str) -> str:
    """The text as it is kept, without space around it; "" stands for the built-in words.

    Raises:
        DomainError: an unknown placeholder or a stray brace, a missing one, too long, a line break where none may be,
            or something that no mail of the house says.
    """
    text = "\n".join(line.rstrip() for line in text.replace("\r\n", "\n").replace("\r", "\n").strip().split("\n"))
    if not text:
        return ""

    def refuse(what: str) -> DomainError:
        return DomainError(f"{part.name}: {what}.", field=part.name)

    if part.one_line and "\n" in text:
        raise refuse("a subject is one line; take the line break out")
    if "\n\n" in text:
        raise refuse("one paragraph is enough; take the empty line out")
    if len(text) > part.longest:
        raise refuse(f"{len(text)} characters are too long; use {part.longest} at most")
    found = PLACEHOLDER.findall(text)
    known = ", ".join(f"{{{name}}}" for name in part.may)
    for name in found:
        if name not in part.may:
            raise refuse(f"{{{name}}} is no placeholder here; there are {known}")
    if "{" in PLACEHOLDER.sub("", text) or "}" in PLACEHOLDER.sub("", text):
        raise refuse(f"a brace stands alone; placeholders are {known}")
    for name in part.needs:
        if name not in found:
            raise refuse(f"{{{name}}} is missing; the reader needs it")
    for pattern, words in REFUSED:
        if pattern.search(text):
            raise refuse(words)
    return text


def fill(text: str, values: Mapping[str, object]) -> str:
    """The text with its placeholders filled."""
    return PLACEHOLDER.sub(lambda match: str(values.get(match[1], match[0])), text)


def digest_of(kind: Kind, language: str, own: Mapping[str, str]) -> str:
    """SHA-256 over all sentences of a kind of mail as they stand now, own or built in: another word, another digest."""
    said = (f"{part.name}:{own.get(part.name) or built_in(part, language)}" for part in kind.parts)
    return hashlib.sha256("\x1e".join((kind.key, language, *said)).encode()).hexdigest()
