"""What may follow what in the life of an offer, and when advice rests. No Django in here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

RECOMMENDED, OFFERED, ACCEPTED, DECLINED = "recommended", "offered", "accepted", "declined"
DEFERRED, EXPIRED, WITHDRAWN, DONE = "deferred", "expired", "withdrawn", "done"

ANSWERS = (ACCEPTED, DECLINED, DEFERRED)
# Somebody may still say something to these.
OPEN = (RECOMMENDED, OFFERED, DEFERRED)

# A person may change their mind after a no or a yes; what is done, over or taken back stays so.
FOLLOWS: dict[str, tuple[str, ...]] = {
    RECOMMENDED: (OFFERED, EXPIRED, WITHDRAWN, DONE),
    OFFERED: (ACCEPTED, DECLINED, DEFERRED, EXPIRED, WITHDRAWN, DONE),
    DEFERRED: (OFFERED, ACCEPTED, DECLINED, DEFERRED, EXPIRED, WITHDRAWN, DONE),
    ACCEPTED: (DONE, DECLINED, DEFERRED, EXPIRED, WITHDRAWN),
    DECLINED: (ACCEPTED, DEFERRED),
    EXPIRED: (),
    WITHDRAWN: (),
    DONE: (),
}

# Offered to the form; any other words are taken too.
DECLINE_REASONS = (
    "price",
    "no time",
    "does it himself",
    "not needed",
    "sells the vehicle",
    "goes elsewhere",
    "not said",
)

REST_MONTHS = 12


@dataclass(frozen=True, slots=True)
class Rest:
    """Advice that is not offered until `until`, and why."""

    until: date
    why: str


def answers_open_to(kind: str) -> tuple[str, ...]:
    """The answers that a person can still give to an offer whose latest step is `kind`."""
    if kind == RECOMMENDED:  # an answer to a mere recommendation records that it was offered, too
        return ANSWERS
    return tuple(answer for answer in ANSWERS if answer in FOLLOWS[kind])


def months_later(day: date, months: int) -> date:
    """The same day of the month `months` later, or the last day of that month."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    first_after = date(year + (month == 11), (month + 1) % 12 + 1, 1)
    last = (first_after - date(year, month + 1, 1)).days
    return date(year, month + 1, min(day.day, last))


def rest(decisions: Sequence[tuple[date, str]], *, today: date) -> Rest | None:
    """Whether advice rests: refused twice in a row, it is not offered for twelve months from the second refusal.

    Args:
        decisions: (day, "accepted" or "declined") of one task on one vehicle, in any order.
        today: the day of the question.

    Returns:
        Until when it rests and why; None where it may be offered.
    """
    last_two = sorted(decisions)[-2:]
    if len(last_two) < 2 or any(kind != DECLINED for _day, kind in last_two):
        return None
    until = months_later(last_two[-1][0], REST_MONTHS)
    if today >= until:
        return None
    first, second = (day.isoformat() for day, _kind in last_two)
    return Rest(until=until, why=f"Declined on {first} and again on {second}: not offered before {until.isoformat()}.")
