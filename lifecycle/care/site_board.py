"""A site's days being filled: hours of hands and bays already given away, and whether one more visit fits. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from lifecycle.care.site_days import BayRule, SiteDay, SiteRules, cure_holds

# Work of several days goes on over at most so many days, closed ones included. Judgement.
STRETCH: Final = 21
EPS: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Place:
    """Where a visit goes: bay, and the hours of work on each of its days, first day first."""

    bay: BayRule
    parts: tuple[tuple[date, float], ...]


def monday(on: date) -> date:
    """The Monday of the week that a day lies in."""
    return on - timedelta(days=on.weekday())


class Board:
    """Hours given away so far. Work that leaves a coat in cure comes last of its day, so the cure begins at closing."""

    def __init__(self, rules: SiteRules, days: Mapping[date, SiteDay]) -> None:
        self.rules, self.days = rules, days
        self.bay_used: defaultdict[tuple[int, date], float] = defaultdict(float)
        self.labour_used: defaultdict[date, float] = defaultdict(float)
        self.skill_used: defaultdict[tuple[str, date], float] = defaultdict(float)
        self.week_used: defaultdict[date, float] = defaultdict(float)
        self.week_cap: defaultdict[date, float] = defaultdict(float)
        self.cures: set[tuple[int, date]] = set()
        self.has_warm = any(bay.warm_still for bay in rules.bays)
        for on, day in days.items():
            self.week_cap[monday(on)] += day.labour_h

    def load(self, week: date, more_h: float = 0.0) -> float:
        """Share of a week's hours that is given away, with `more_h` on top; infinite where a closed week has work."""
        used, cap = self.week_used[week] + more_h, self.week_cap[week]
        return used / cap if cap > EPS else (float("inf") if used > EPS else 0.0)

    def cure_room(self, week: date) -> float:
        """Bay-days that the warm still bays of a week have left for cures."""
        days = [on for number in range(7) if (on := week + timedelta(days=number)) in self.days]
        bays = [bay for bay in self.rules.bays if bay.warm_still]
        return float(sum(
            self.days[on].open_h > 0 and (bay.id, on) not in self.cures for on in days for bay in bays
        ))  # fmt: skip

    def find(self, on: date, labour_h: float, cure_h: float, skills: frozenset[str]) -> Place | None:
        """Where a visit that begins on a day fits, or None. Bays that are not warm and still are taken first."""
        wanted = [bay for bay in self.rules.usable_bays if bay.warm_still or not (cure_h > 0 and self.has_warm)]
        for bay in sorted(wanted, key=lambda one: (one.warm_still, -self.bay_used[one.id, on], one.id)):
            parts = self._parts(bay, on, labour_h, skills)
            if parts and (cure_h <= 0 or self._may_cure(bay, parts[-1], cure_h)):
                return Place(bay, parts)
        return None

    def _most(self, day: SiteDay, skills: frozenset[str]) -> float:
        """The hours that one car can get on a day: while it is open, by the hands that there are and that may do it."""
        return min(day.open_h, day.labour_h, *(day.skill_h[skill] for skill in skills if skill in day.skill_h))

    def _parts(self, bay: BayRule, on: date, labour_h: float, skills: frozenset[str]) -> tuple[tuple[date, float], ...]:
        """Hours a day: one day where it can hold them all, else days in a row, as much on each as a day can give. Days
        without the hands for it are waited over in the bay, closed ones too."""
        left, parts, today = labour_h, [], on
        while left > EPS and (today - on).days <= STRETCH:
            day = self.days.get(today)
            if day is None:
                return ()
            if day.open_h > 0:
                part = min(left, self._most(day, skills))
                stays = left - part > EPS  # till the next day: then the bay is taken until closing
                if not self._free(bay, day, part, day.open_h if stays else part, skills):
                    return ()
                parts.append((today, part))
                left -= part
            if today == on and not (parts and parts[0][1] > EPS):
                return ()
            today += timedelta(days=1)
        return tuple(parts) if left <= EPS else ()

    def _free(self, bay: BayRule, day: SiteDay, hours: float, bay_h: float, skills: frozenset[str]) -> bool:
        on = day.on
        if self.bay_used[bay.id, on] + bay_h > day.open_h + EPS or self.labour_used[on] + hours > day.labour_h + EPS:
            return False
        return all(
            self.skill_used[skill, on] + hours <= day.skill_h[skill] + EPS for skill in skills if skill in day.skill_h
        )

    def _cure(self, last: tuple[date, float], cure_h: float) -> dict[date, float]:
        closes = self.days[last[0]].closes
        return cure_holds(self.days, ends=closes, cure_h=cure_h) if closes is not None else {}

    def _may_cure(self, bay: BayRule, last: tuple[date, float], cure_h: float) -> bool:
        if (bay.id, last[0]) in self.cures:
            return False
        return all(
            self.bay_used[bay.id, on] + hours <= self.days[on].open_h + EPS
            for on, hours in self._cure(last, cure_h).items()
        )

    def take(self, place: Place, cure_h: float, skills: frozenset[str]) -> None:
        """Give the hours away."""
        for on, hours in place.parts:
            stays = on != place.parts[-1][0]
            self.bay_used[place.bay.id, on] += self.days[on].open_h if stays else hours
            self.labour_used[on] += hours
            self.week_used[monday(on)] += hours
            for skill in skills:
                self.skill_used[skill, on] += hours
        last = place.parts[-1]
        if cure_h > 0:
            self.cures.add((place.bay.id, last[0]))
            for on, hours in self._cure(last, cure_h).items():
                self.bay_used[place.bay.id, on] += hours

    def force(self, on: date, labour_h: float, cure_h: float, skills: frozenset[str], bay_id: int | None) -> None:
        """Give away the hours of a visit that stands, whether or not the day can hold them. On a closed day it takes
        none, for nobody works then: it waits to be moved."""
        if on not in self.days or self.days[on].open_h <= 0:
            return
        bays = self.rules.usable_bays
        bay = next((one for one in bays if one.id == bay_id), None)
        if bay is None:
            bay = next((one for one in bays if one.warm_still), bays[0]) if cure_h > 0 else None
        if bay is None:
            bay = min(bays, key=lambda one: (self.bay_used[one.id, on], one.warm_still, one.id))
        left, parts, today = labour_h, [], on
        while left > EPS and (today - on).days <= STRETCH and today in self.days:
            part = min(left, self._most(self.days[today], frozenset()))
            if part > 0:
                parts.append((today, part))
                left -= part
            today += timedelta(days=1)
        if parts:
            self.take(Place(bay, tuple(parts)), cure_h, skills)
