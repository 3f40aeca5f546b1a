"""What was taken out of a studio and brought into it, from its journal."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from lifecycle.errors import NotFoundHere
from lifecycle.models import JournalEntry, Member, Studio
from lifecycle.taking_out.registry import tables

VERBS: Final = ("list taken out", "studio taken out", "studio restored")
SHOWN: Final = 20


@dataclass(frozen=True, slots=True)
class Taken:
    """One line: what, when, and by whom in words."""

    what: str
    at: datetime
    by: str


def studio_called(slug: str) -> Studio:
    """The studio of a short name.

    Raises:
        NotFoundHere: there is none.
    """
    studio: Studio | None = Studio.objects.filter(slug=slug).first()
    if studio is None:
        raise NotFoundHere(f"There is no studio {slug!r} in this installation.")
    return studio


def taken(studio: Studio) -> tuple[Taken, ...]:
    """The latest of it, newest first; two queries."""
    entries = list(
        JournalEntry.objects.of(studio).filter(subject="studio", verb__in=VERBS).order_by("-at", "-id")[:SHOWN]
    )
    numbers = {int(number) for entry in entries for kind, _, number in [entry.actor.partition(":")]
               if kind == "member" and number.isdecimal()}  # fmt: skip
    members = {one.pk: str(one) for one in Member.objects.of(studio).filter(pk__in=numbers).select_related("user")}
    titles = {one.name: one.title for one in tables()}
    return tuple(Taken(_what(entry, titles), entry.at, _by(entry.actor, members)) for entry in entries)


def _what(entry: JournalEntry, titles: dict[str, str]) -> str:
    if entry.verb == "list taken out":
        name = str(entry.data.get("table", ""))
        return f"{titles.get(name, name)} as {str(entry.data.get('form', '')).upper()}"
    return "The whole studio" if entry.verb == "studio taken out" else "The studio was brought back from a zip"


def _by(actor: str, members: dict[int, str]) -> str:
    kind, _, number = actor.partition(":")
    if kind == "member" and number.isdecimal():
        return members.get(int(number), actor)
    return "a command on the machine" if actor == "command" else actor
