"""Dated habits, storage and climate, laid out day by day: the stress ratio of every mechanism on every day.

Each day belongs to exactly one habit period and is stored or not; months repeat from the climate's twelve. Days before
the first period use the first one, days that no period covers use the last one that ended before them, and both are
said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from lifecycle.wear import exposure
from lifecycle.wear.degradation import DAYS_PER_MONTH
from lifecycle.wear.figures import wear_value
from lifecycle.wear.running import Heat
from lifecycle.wear.tilted import OrientationLaw
from lifecycle.wear.types import ClimateYear, FloatArray, HabitPeriod, Mechanism, Place, StoragePeriod, VehicleInput

Climates = Callable[[Place], ClimateYear]
BoolArray = NDArray[np.bool_]
SEASON_NOTE = "It is taken to be on the vehicle in the same weeks of every year to come."
SOIL = exposure.MECHANISMS.index(Mechanism.CONTAMINATION)

REFERENCE_HABIT = HabitPeriod(
    start=date(1970, 1, 1),
    end=None,
    parking="mixed",
    km_per_year=15000.0,
    wash_method="two_bucket",
    washes_per_year=26.0,
    source="defaulted",
    defaulted=("parking", "km_per_year", "wash_method", "washes_per_year"),
)


@dataclass(frozen=True, slots=True)
class Segment:
    """Days `start` (included) to `end` (excluded) under one habit; `stored` where the vehicle is laid up."""

    start: date
    end: date
    habit: HabitPeriod
    stored: bool


@dataclass(frozen=True, slots=True)
class Timeline:
    """The vehicle's `days` days from `first` on; ask `daily` for the stress on surfaces of one orientation."""

    vehicle: VehicleInput
    climates: Climates
    first: date
    days: int
    segments: tuple[Segment, ...]
    months: NDArray[np.intp]
    notes: tuple[str, ...]
    law: OrientationLaw = OrientationLaw.JUDGEMENT

    def daily(
        self, *, orientation: str, heat: Heat = Heat.PARKED, mounted: tuple[StoragePeriod, ...] = ()
    ) -> FloatArray:
        """Stress ratios, shape (days, 7), mechanisms in the order of `Mechanism`.

        `heat` says what warms the surface beside the weather. On days on which a part is not `mounted` it ages like a
        stored vehicle.

        Raises:
            ValueError: an orientation, colour or habit that the tables do not know.
        """
        out = np.empty((self.days, len(exposure.MECHANISMS)))
        there = self.mounted_days(mounted)
        stands = np.ones(len(exposure.MECHANISMS))
        stands[SOIL] = standing_share(orientation)
        for segment in self.segments:
            days = slice((segment.start - self.first).days, (segment.end - self.first).days)
            used = there[days] & (not segment.stored)
            if used.any():
                table = self._months(segment, orientation, heat, stored=False) * stands
                np.take(table, self.months[days], axis=0, out=out[days])
            if not used.all():
                table = self._months(segment, orientation, heat, stored=True) * stands
                out[days][~used] = table[self.months[days][~used]]
        return out

    def _months(self, segment: Segment, orientation: str, heat: Heat, *, stored: bool) -> FloatArray:
        """Stress ratios of the calendar months under one habit, shape (12, 7)."""
        place = segment.habit.place or self.vehicle.place
        return exposure.combine(
            climate=self.climates(place),
            habit=segment.habit,
            orientation=orientation,
            colour=self.vehicle.colour,
            place=place,
            stored=stored,
            heat=heat,
            powertrain=self.vehicle.powertrain,
            law=self.law,
        ).T

    def mounted_days(self, periods: tuple[StoragePeriod, ...]) -> BoolArray:
        """Whether a part is on the vehicle, shape (days,); always, where no period is given.

        After today and the last period that was told, the pattern of the year before goes on: a winter set is worn
        every winter.
        """
        if not periods:
            return np.ones(self.days, dtype=bool)
        there = np.zeros(self.days, dtype=bool)
        for period in periods:
            start = max((period.start - self.first).days, 0)
            end = self.days if period.end is None else (period.end - self.first).days
            there[start : max(end, start)] = True
        told = max([self.vehicle.as_of, *(period.end or date.max for period in periods)])
        known = min(max((min(told, date(2200, 1, 1)) - self.first).days, 0), self.days)
        for start in range(known, self.days, 365):
            before = start - 365 + np.arange(min(365, self.days - start))
            there[start : start + before.size] = np.where(before >= 0, there[before], there[start - 1])
        return there

    def km(self, *, mounted: tuple[StoragePeriod, ...] = ()) -> FloatArray:
        """Kilometres driven on each day, shape (days,); none while stored or not mounted."""
        out = np.zeros(self.days)
        for segment in self.segments:
            if not segment.stored:
                a, b = (segment.start - self.first).days, (segment.end - self.first).days
                out[a:b] = segment.habit.km_per_year / (12.0 * DAYS_PER_MONTH)
        return np.where(self.mounted_days(mounted), out, 0.0)

    def habit_on(self, day: date) -> Segment:
        """The segment of a day, the nearest one outside the timeline."""
        for segment in self.segments:
            if day < segment.end:
                return segment
        return self.segments[-1]


def standing_share(orientation: str) -> float:
    """Contamination that stays on a surface over that on a flat one (judgement): it stands on flat panels and runs off
    upright ones, which is why flat panels fail first."""
    return wear_value(f"standing.{orientation if orientation == 'side' else 'other'}")


def month_of_days(first: date, days: int) -> NDArray[np.intp]:
    """Calendar month (0 is January) of `days` days from `first`."""
    stamps = np.datetime64(first, "D") + np.arange(days)
    return np.asarray(stamps.astype("datetime64[M]").astype(int) % 12, dtype=np.intp)


def habit_on(habits: tuple[HabitPeriod, ...], day: date) -> HabitPeriod:
    """The habit of a day: the latest to start among those that contain it, else the last ended, else the first to
    come."""
    inside = [habit for habit in habits if habit.start <= day and (habit.end is None or day < habit.end)]
    if inside:
        return max(inside, key=lambda habit: habit.start)
    past = [habit for habit in habits if habit.end is not None and habit.end <= day]
    if past:
        return max(past, key=lambda habit: (habit.end or day, habit.start))
    return min(habits, key=lambda habit: habit.start)


def _cuts(vehicle: VehicleInput, habits: tuple[HabitPeriod, ...], first: date, last: date) -> list[date]:
    edges = {first, last}
    for start, end in [(h.start, h.end) for h in habits] + [(s.start, s.end) for s in vehicle.storage]:
        edges |= {edge for edge in (start, end) if edge is not None and first < edge < last}
    return sorted(edges)


def _is_stored(vehicle: VehicleInput, day: date) -> bool:
    return any(period.start <= day and (period.end is None or day < period.end) for period in vehicle.storage)


def _covered(habits: tuple[HabitPeriod, ...], day: date) -> bool:
    return any(habit.start <= day and (habit.end is None or day < habit.end) for habit in habits)


def build_timeline(
    vehicle: VehicleInput,
    climates: Climates,
    *,
    first: date,
    days: int,
    law: OrientationLaw = OrientationLaw.JUDGEMENT,
) -> Timeline:
    """Lay the vehicle's habits and storage over `days` days from `first`.

    A vehicle without habits is taken at the reference use, from a source "defaulted".

    Raises:
        ValueError: `days` below 1.
    """
    if days < 1:
        raise ValueError(f"days is {days}; write 1 or more.")
    last, notes = first + timedelta(days=days), list[str]()
    habits = vehicle.habits
    if not habits:
        habits = (replace(REFERENCE_HABIT, start=first),)
        notes.append("Nobody was asked how the vehicle is used: average use is assumed.")
    segments = []
    edges = _cuts(vehicle, habits, first, last)
    for start, end in pairwise(edges):
        segments.append(Segment(start, end, habit_on(habits, start), _is_stored(vehicle, start)))
    gaps = [segment.start for segment in segments if not _covered(habits, segment.start)]
    if any(day < vehicle.as_of for day in gaps):
        notes.append("Some past days have no habits of their own: the nearest known ones are used.")
    return Timeline(
        vehicle=vehicle,
        climates=climates,
        first=first,
        days=days,
        segments=tuple(segments),
        months=month_of_days(first, days),
        notes=tuple(notes),
        law=law,
    )
