"""What keeps an offer honest: when it may not be made, and what is named beside it. No Django in here.

A hard bar is the care rules' own refusal (over the clear-coat budget, clogged): the work is not even taken on. A soft
bar holds the offer back, but who asks of their own accord may have it; a re-coat's visit begins with the retest anyway.
The rules are the house's (judgement), no source; the cheaper ways are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Final

from lifecycle.care.resting import Rest

PROMOTION_AFTER_VISIT_DAYS: Final = 21
RECOAT: Final = "recoat"
NOTHING: Final = "nothing_now"
# What does for a while what the dearer work does for long; adequate, and cheaper.
CHEAPER: Final[Mapping[str, tuple[str, ...]]] = {
    "recoat": ("sealant_renewal", "wax_renewal"),
    "film_renewal": ("film_top_up",),
    "cut_and_refine": ("correction",),
    "wheel_retreat_off": ("wheel_retreat",),
}
Range = tuple[Decimal, Decimal]


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferFacts:
    """What the rules need to know of one offer.

    Attributes:
        promotion: a new coat, film, correction or engine bay work; else care of what is there.
        refused: why the care rules do not offer this work on these surfaces; "" if they do.
        bare: there is nothing left on the surfaces, so nothing to retest.
        retested_on: day of the latest studio reading on a decontaminated surface.
        retest_days: for how long such a reading speaks.
        rest: refused twice, so left alone until a day.
        last_visit, next_visit: of the person, with any vehicle.
        complaint_open: of the person.
    """

    task: str
    promotion: bool
    today: date
    refused: str = ""
    bare: bool = False
    retested_on: date | None = None
    retest_days: int = 365
    rest: Rest | None = None
    last_visit: date | None = None
    next_visit: date | None = None
    complaint_open: bool = False


@dataclass(frozen=True, slots=True)
class Bar:
    """Why an offer is not made. `hard`: the work is not taken on either."""

    code: str
    why: str
    hard: bool


@dataclass(frozen=True, slots=True)
class Option:
    """One way to choose; `task` is `NOTHING` for waiting, which costs nothing now."""

    task: str
    low: Decimal
    high: Decimal


def bars(facts: OfferFacts) -> tuple[Bar, ...]:
    """Every reason why this offer is not made now, the hard ones first; none means that it may be."""
    return tuple(sorted(_bars(facts), key=lambda bar: not bar.hard))


def _bars(facts: OfferFacts) -> Iterator[Bar]:
    if facts.refused:
        yield Bar("refused_by_the_paint", facts.refused, hard=True)
    fresh = facts.retested_on is not None and facts.today - facts.retested_on <= timedelta(days=facts.retest_days)
    if facts.task == RECOAT and not facts.bare and not fresh:
        last = f"the last one is of {facts.retested_on}" if facts.retested_on else "there is none on record"
        why = (
            "Decontaminate and retest before a re-coat is offered: no reading on a decontaminated surface speaks now; "
        )
        yield Bar("retest_first", f"{why}{last}.", hard=False)
    if facts.rest is not None:
        yield Bar("refused_twice", facts.rest.why, hard=False)
    if not facts.promotion:
        return
    near = timedelta(days=PROMOTION_AFTER_VISIT_DAYS)
    if facts.complaint_open:
        yield Bar(
            "complaint_open", "A complaint of this person is open: nothing is promoted until it is closed.", False
        )
    if facts.last_visit is not None and facts.today - facts.last_visit < near:
        why = f"The last visit was on {facts.last_visit}: nothing is promoted for {near.days} days after one."
        yield Bar("visit_recent", why, hard=False)
    if facts.next_visit is not None and facts.next_visit - facts.today < near:
        why = f"A visit is booked for {facts.next_visit}: nothing is promoted within {near.days} days before one."
        yield Bar("visit_soon", why, hard=False)


def options(task: str, price: Range, prices: Mapping[str, Range]) -> tuple[Option, ...]:
    """What is named whenever `task` is offered: nothing now, the cheapest adequate way, and the work itself.

    Args:
        price: of the task itself.
        prices: of all tasks for this size of vehicle; a way without a price cannot be named.
    """
    none = Option(NOTHING, Decimal(0), Decimal(0))
    ways = [Option(way, *prices[way]) for way in CHEAPER.get(task, ()) if way in prices]
    cheaper = [way for way in ways if way.low < price[0]]
    return (none, *sorted(cheaper, key=lambda way: (way.low, way.high))[:1], Option(task, *price))
