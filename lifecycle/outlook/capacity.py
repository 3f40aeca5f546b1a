"""What a site can do in a month or week: hours of hands, open hours of bays, hours in which a coat may cure. Pure.

| hours | what there is | what care asks for |
|---|---|---|
| labour | hours of hands by the calendar, filled to the load target | hours of work |
| bay | bays times open hours, filled to the load target | hours of work, and open hours that a cure takes its bay |
| cure | closed hours after working days, in bays that are warm and still (all bays where none is) | hours of cure |

One pair of hands works on a car at a time, so work takes its bay as long as it takes. A cure begins at closing; nobody
works at weekends to begin one, so the nights after working days alone are counted. Judgement, as in `care.site_days`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from lifecycle.care.site_days import SiteDay, SiteRules
from lifecycle.wear.types import Band

DAY_H: Final = 24.0
# Empty: even the high end of the draws leaves half of the planned hours free. Judgement.
EMPTY_SHARE: Final = 0.5
# Time enough to invite people to other days, and near enough that the windows are known. Judgement.
FLAGGED_WEEKS: Final = (6, 7, 8)
OVERFLOW, EMPTY, FITS, CLOSED = "overflow", "empty", "fits", "closed"


@dataclass(frozen=True, slots=True)
class Room:
    """Hours that a site has in some days. `full_labour` is without the load target's reserve."""

    labour: float
    bay: float
    cure: float
    full_labour: float

    def __add__(self, other: Room) -> Room:
        return Room(
            self.labour + other.labour, self.bay + other.bay, self.cure + other.cure,
            self.full_labour + other.full_labour,
        )  # fmt: skip


NO_ROOM: Final = Room(0.0, 0.0, 0.0, 0.0)


def open_hours(days: Mapping[date, SiteDay]) -> float:
    """Mean open hours of a working day; eight where there is none."""
    hours = [day.open_h for day in days.values() if day.open_h > 0]
    return sum(hours) / len(hours) if hours else 8.0


def held_h(cure_h: float, *, open_h: float) -> float:
    """Open hours that a cure takes its bay: it begins at closing, so a night is free of charge.

    Args:
        cure_h: elapsed hours of cure.  open_h: open hours of a day, 0 to 24.
    """
    night, held, left = DAY_H - open_h, 0.0, cure_h
    while left > night:
        held += min(left - night, open_h)
        left -= DAY_H
    return held


def room(rules: SiteRules, days: Mapping[date, SiteDay], *, first: date, last: date) -> Room:
    """What the site has from `first` to `last`, both included; days that `days` does not hold count as closed."""
    warm = sum(bay.warm_still for bay in rules.usable_bays) or len(rules.usable_bays)
    total = NO_ROOM
    on = first
    while on <= last:
        day = days.get(on)
        if day is not None and day.open_h > 0:
            total += Room(
                labour=rules.load_target * day.labour_h, bay=rules.load_target * day.bays * day.open_h,
                cure=warm * (DAY_H - day.open_h), full_labour=day.labour_h,
            )  # fmt: skip
        on += timedelta(days=1)
    return total


def rooms(rules: SiteRules, days: Mapping[date, SiteDay], spans: Sequence[tuple[date, date]]) -> tuple[Room, ...]:
    """`room` of each span."""
    return tuple(room(rules, days, first=first, last=last) for first, last in spans)


@dataclass(frozen=True, slots=True)
class Load:
    """How a week stands: its state, and why in words."""

    state: str
    says: str


def load_of(labour: Band, bay: Band, has: Room) -> Load:
    """Hold the drawn hours of a week against what the site has.

    Overflow where the median asks for more hours of hands or bays than are planned; empty where even the high end
    leaves half of them free.
    """
    if has.labour <= 0:
        if labour.p50 <= 0:
            return Load(CLOSED, "no working day left")
        return Load(OVERFLOW, f"{labour.p50:.0f} h of work fall into a week without working days")
    worst = max((labour.p50 / has.labour, "hands", labour.p50, has.labour),
                (bay.p50 / has.bay if has.bay > 0 else 0.0, "bays", bay.p50, has.bay))  # fmt: skip
    if worst[0] > 1.0:
        _share, what, asked, there = worst
        return Load(OVERFLOW, f"the median asks for {asked:.0f} h of {what}, planning fills {there:.0f} h")
    if labour.p90 < EMPTY_SHARE * has.labour:
        return Load(EMPTY, f"even the high end, {labour.p90:.0f} h, leaves half of {has.labour:.0f} h free")
    return Load(FITS, "fits")
