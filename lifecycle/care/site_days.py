"""What a site can do on a day: open hours by its own clock, hands, bays, and bays held by a coat in cure. Pure.

Days are calendar days at the site. Hours are elapsed hours, so the days on which the clocks change are longer or
shorter where the site is open over the change, and a cure through such a night ends an hour later or earlier.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo

import holidays

from lifecycle.care.tasks_table import load_tasks
from lifecycle.care.wording import day_words

# Where nobody has entered opening hours: eight hours, Monday to Friday. Common practice, no source.
USUAL_HOURS: Final[Mapping[int, tuple[time, time]]] = {day: (time(8), time(16)) for day in range(5)}
# Work that not everybody does; everything else is everyday care.
SKILLS: Final = {
    "polish": "machine polishing",
    "film": "film",
    "paint_coat": "paint coatings",
    "glass": "glass",
    "interior": "interior",
    "engine_bay": "engine bay",
}
# Coats that cure in a warm still bay; after the others (wheels, glass, seats) the car only stays dry. Judgement.
CURE_IN_BAY: Final = frozenset({"paint_coat", "film", "trim"})
WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


@dataclass(frozen=True, slots=True)
class BayRule:
    """A bay. `warm_still`: a car may stay in it while its coat cures."""

    id: int
    name: str
    warm_still: bool = False


@dataclass(frozen=True, slots=True)
class HandsRule:
    """Labour hours of one person on each of some weekdays (0 is Monday), and the skills beyond everyday care."""

    hours_a_day: float
    weekdays: frozenset[int]
    skills: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class ClosedDays:
    """Days, both included, on which the site does not work."""

    first: date
    last: date
    reason: str


@dataclass(frozen=True, slots=True)
class SiteRules:
    """All that the calendar of a site follows from.

    Attributes:
        hours: weekday -> opening and closing time; None where nothing is entered (`USUAL_HOURS` holds).
        hands: () where nothing is entered: one person a bay.  bays: () where nothing is entered: one bay.
        country, subdivision: whose public holidays are kept (ISO 3166); "" for none.
        load_target: share of a week's hours that planning fills.
    """

    zone: str
    hours: Mapping[int, tuple[time, time]] | None = None
    bays: tuple[BayRule, ...] = ()
    hands: tuple[HandsRule, ...] = ()
    closed: tuple[ClosedDays, ...] = ()
    country: str = ""
    subdivision: str = ""
    load_target: float = 0.80

    @property
    def usable_bays(self) -> tuple[BayRule, ...]:
        """The bays entered, or one without a name."""
        return self.bays or (BayRule(0, ""),)

    def hours_on(self, on: date) -> tuple[time, time] | None:
        """Opening and closing time by the site's clock on that weekday, None where it is not open."""
        return (USUAL_HOURS if self.hours is None else self.hours).get(on.weekday())

    def skilled(self, skill: str) -> bool:
        """Whether anybody entered at the site has the skill."""
        return any(skill in hands.skills for hands in self.hands)


@dataclass(frozen=True, slots=True)
class SiteDay:
    """One day of a site. Closed: `opens` and `closes` are None, all hours are 0, `why` says why.

    Attributes:
        open_h: elapsed hours between opening and closing.  labour_h: hours of hands, at most the bays' hours.
        skill_h: skill -> hours of the hands that have it.
    """

    on: date
    opens: datetime | None
    closes: datetime | None
    open_h: float
    bays: int
    labour_h: float
    why: str
    skill_h: Mapping[str, float] = field(default_factory=dict)


@lru_cache(maxsize=256)
def public_holidays(country: str, subdivision: str, year: int) -> Mapping[date, str]:
    """The public holidays of a country, or of one part of it, in one year: day -> name, in English where known.

    Source: the `holidays` package, which names the law of each country.

    Raises:
        ValueError: no such country or part.
    """
    if not country:
        return {}
    try:
        found = holidays.country_holidays(country, subdiv=subdivision or None, years=year, language="en_US")
    except NotImplementedError as error:
        where = f"{country} {subdivision}".strip()
        raise ValueError(f"{where} is not a country or part whose holidays are known.") from error
    return dict(found.items())


def moment(on: date, clock: time, zone: str) -> datetime:
    """A clock reading at the site as an aware time in UTC. A reading that the clocks skip counts as if they had not yet
    gone forward, one that comes twice as the first (PEP 495, fold 0)."""
    return datetime.combine(on, clock, ZoneInfo(zone)).astimezone(UTC)


def closed_why(rules: SiteRules, on: date) -> str:
    """Why the site is closed on a day, "" where it is open."""
    for closed in rules.closed:
        if closed.first <= on <= closed.last:
            return closed.reason
    holiday = public_holidays(rules.country, rules.subdivision, on.year).get(on)
    if holiday is not None:
        return f"public holiday: {holiday}"
    return "" if rules.hours_on(on) else f"not open on a {WEEKDAYS[on.weekday()]}"


def day_of(rules: SiteRules, on: date) -> SiteDay:
    """What the site can do on a day."""
    why = closed_why(rules, on)
    bays = len(rules.usable_bays)
    hours = rules.hours_on(on)
    if why or hours is None:
        return SiteDay(on, None, None, 0.0, bays, 0.0, why)
    opens, closes = (moment(on, clock, rules.zone) for clock in hours)
    open_h = max((closes - opens).total_seconds() / 3600.0, 0.0)
    here = [hands for hands in rules.hands if on.weekday() in hands.weekdays]
    # One pair of hands works on a car at a time, so that bays bound hands and hands bound bays. Judgement.
    labour = min(sum(min(hands.hours_a_day, open_h) for hands in here), bays * open_h) if rules.hands else bays * open_h
    skills = {
        skill: sum(min(hands.hours_a_day, open_h) for hands in here if skill in hands.skills)
        for skill in SKILLS
        if rules.skilled(skill)
    }
    return SiteDay(on, opens, closes, open_h, bays, labour, "", skills)


def days_between(rules: SiteRules, first: date, last: date) -> dict[date, SiteDay]:
    """Every day from `first` to `last`, both included."""
    return {
        on: day_of(rules, on) for on in (first + timedelta(days=number) for number in range((last - first).days + 1))
    }


def cure_holds(days: Mapping[date, SiteDay], *, ends: datetime, cure_h: float) -> dict[date, float]:
    """Open hours that a coat in cure takes from its bay, day by day.

    Args:
        days: the site's days.  ends: when the work ends, aware.  cure_h: elapsed hours that the car then stays put.
    """
    held: dict[date, float] = {}
    free = ends.astimezone(UTC) + timedelta(hours=cure_h)
    on = ends.astimezone(UTC).date() - timedelta(days=1)
    while on <= free.date() + timedelta(days=1):
        day = days.get(on)
        if day is not None and day.opens is not None and day.closes is not None:
            taken = (min(day.closes, free) - max(day.opens, ends)).total_seconds() / 3600.0
            if taken > 0:
                held[on] = taken
        on += timedelta(days=1)
    return held


def skills_of(tasks: tuple[str, ...]) -> frozenset[str]:
    """The skills beyond everyday care that some tasks ask for. Unknown tasks ask for none."""
    known = load_tasks()
    return frozenset(known[task].phase for task in tasks if task in known and known[task].phase in SKILLS)


def bay_cure_h(tasks: tuple[str, ...]) -> float:
    """Hours that the longest cure among some tasks holds a warm still bay. Unknown tasks hold none."""
    known = load_tasks()
    return max((known[task].cure_hours for task in tasks if task in known and known[task].phase in CURE_IN_BAY),
               default=0.0)  # fmt: skip


def day_and_weekday(on: date) -> str:
    """`Tuesday 5 May 2026`."""
    return f"{WEEKDAYS[on.weekday()]} {day_words(on)}"
