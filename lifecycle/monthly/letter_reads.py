"""What became of the monthly letters; to read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from lifecycle.models import LetterState, Member, OwnerLetter, Studio

SHOWN = 24


@dataclass(frozen=True, slots=True)
class SentLetter:
    """One letter to one owner and its state in words."""

    month: date
    state: str
    state_at: datetime
    error: str


def sent(studio: Studio, *, member_id: int) -> tuple[SentLetter, ...]:
    """The latest letters to one member; one query."""
    rows = OwnerLetter.objects.of(studio).filter(member=member_id).order_by("-month")[:SHOWN]
    return tuple(SentLetter(row.month, LetterState(row.state).label, row.state_at, row.error) for row in rows)


def wanted(studio: Studio, *, member_id: int) -> bool:
    """Whether a member wants the letter; one query."""
    return Member.objects.of(studio).filter(pk=member_id, monthly_letter=True).exists()
