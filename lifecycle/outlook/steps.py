"""What may follow what in the life of an offer, and when it expires. No Django in here.

When advice rests is for reminders to know, too: `lifecycle.care.resting`.
"""

from __future__ import annotations

from datetime import date, timedelta

from lifecycle.care import resting

RECOMMENDED, OFFERED, ACCEPTED, DECLINED = "recommended", "offered", resting.ACCEPTED, resting.DECLINED
DEFERRED, EXPIRED, WITHDRAWN, DONE = "deferred", "expired", "withdrawn", "done"
OUTCOME = "outcome"  # what the next look said of advice; it answers nothing, so it is no latest step

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

months_later = resting.months_later

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

# Judgement: who has not answered after four months will not; revenue needs the chance among all who were asked.
EXPIRES_AFTER_DAYS = 120


def answers_open_to(kind: str) -> tuple[str, ...]:
    """The answers that a person can still give to an offer whose latest step is `kind`."""
    if kind == RECOMMENDED:  # an answer to a mere recommendation records that it was offered, too
        return ANSWERS
    return tuple(answer for answer in ANSWERS if answer in FOLLOWS[kind])


def unanswered(kind: str, *, since: date, until: date | None, today: date) -> bool:
    """Whether an offer has waited so long for a word that it expires.

    Args:
        kind, since: the latest step and its day. Only "offered" and "deferred" wait for somebody's word.
        until: the day until which it was put off; the waiting begins there.
    """
    if kind not in (OFFERED, DEFERRED):
        return False
    start = max(since, until) if kind == DEFERRED and until is not None else since
    return today - start >= timedelta(days=EXPIRES_AFTER_DAYS)
