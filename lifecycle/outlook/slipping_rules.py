"""Who is slipping away, and what to do about it: the pure rules. No Django in here.

The figures are judgement, no source, except where one is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median
from typing import Final

from lifecycle.care.wording import day_words

LATE_FACTOR: Final = 1.5  # of their own usual interval (house rule)
OWN_FROM: Final = 2  # so many intervals of their own before they count as usual
USUAL_DAYS: Final = 274  # nine months, where nobody has come back yet
LEAST_USUAL_DAYS: Final = 60  # checks in the weeks after a job are no habit
ASK_IF_SOLD_BELOW: Final = 0.3
MAIL_WAITS_DAYS: Final = 21


def intervals(first: date, days: Sequence[date]) -> tuple[int, ...]:
    """Days between one visit and the next, from the first day on."""
    return tuple((after - before).days for before, after in zip((first, *days), days, strict=False))


def usual_of(gaps: Sequence[int]) -> int:
    """Usual days between visits of some customers, or of one; `USUAL_DAYS` where nobody has come back yet. Never fewer
    than `LEAST_USUAL_DAYS`."""
    return max(round(median(gaps)) if gaps else USUAL_DAYS, LEAST_USUAL_DAYS)


def usual(own: Sequence[int], everybody: int) -> tuple[int, bool]:
    """Usual days between visits, and whether they are this customer's own; else those of `everybody`."""
    return (usual_of(own), True) if len(own) >= OWN_FROM else (everybody, False)


@dataclass(frozen=True, slots=True, kw_only=True)
class SlipFacts:
    """What the rules need to know of one customer who has nothing booked.

    Attributes:
        last: day of the last visit.  usual_days: between visits.  own: that is their own usual interval.
        overdue_since: the earliest day after which care that is due is late; None where none is.
        alive: chance that they still are a customer.
        complaint_open, sells: a complaint is open; they said that the vehicle is to be sold.
        left_alone_until: a day until which they want to hear nothing, or put all advice off.
        stored: their vehicles are in storage.
        mail: they may be written to: an address that works, and consent.  mailed_on: the latest mail.
        phone: a number is on record.
    """

    today: date
    last: date
    usual_days: int
    own: bool
    overdue_since: date | None = None
    alive: float = 1.0
    complaint_open: bool = False
    sells: bool = False
    left_alone_until: date | None = None
    stored: bool = False
    mail: bool = True
    mailed_on: date | None = None
    phone: bool = True


def why_slipping(facts: SlipFacts) -> str:
    """Why this customer counts as slipping; "" if they do not."""
    away = (facts.today - facts.last).days
    reasons = []
    if away > LATE_FACTOR * facts.usual_days:
        whose = "their own usual" if facts.own else "the usual of all customers,"
        reasons.append(f"away for {away} days, more than one and a half times {whose} {facts.usual_days} days")
    if facts.overdue_since is not None and facts.overdue_since < facts.today:
        reasons.append(f"care is past its latest date, {day_words(facts.overdue_since)}, and nothing is booked")
    text = "; ".join(reasons)
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def told(day: date | None) -> str:
    """A day in words, "" where there is none."""
    return day_words(day) if day is not None else ""


def next_step(facts: SlipFacts) -> str:
    """One suggestion, the first that fits. It is not always a mail, and "nothing now" is one."""
    until, mailed = facts.left_alone_until, facts.mailed_on
    how = "by telephone" if facts.phone else "once by letter"
    fresh_mail = mailed is not None and facts.today - mailed <= timedelta(days=MAIL_WAITS_DAYS)
    no_mail_helps = not facts.mail or mailed is not None
    why_phone = "the last mail brought nobody" if facts.mail else "no mail may be sent"
    steps = (
        (facts.complaint_open, "Settle the open complaint first; nothing is offered before."),
        (facts.stored, "Nothing now: the vehicle is in storage."),
        (until is not None and until > facts.today, f"Nothing now: they asked to be left alone until {told(until)}."),
        (facts.sells, "Ask whether the vehicle is sold; on record, they count as slipping no more."),
        (
            facts.alive < ASK_IF_SOLD_BELOW,
            f"Ask {how} whether the vehicle is still theirs; then leave it at that.",
        ),
        (fresh_mail, f"Wait: a mail went out on {told(mailed)}."),
        (no_mail_helps and facts.phone, f"Telephone: {why_phone}."),
        (no_mail_helps, "Nothing now: no way of writing or calling is left; ask at the next visit."),
    )
    found = (text for fits, text in steps if fits)
    return next(found, "Nothing to do: the reminder goes out by itself when its day comes.")
