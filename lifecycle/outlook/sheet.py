"""What a prepared outlook holds: twelve months, their sum and the next weeks of a site or all. No Django in here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

from pydantic import TypeAdapter

from lifecycle.outlook import capacity
from lifecycle.outlook.capacity import NO_ROOM, Room
from lifecycle.outlook.revenue import MONTHS, SPLITS, Prospect, Revenue, WeekHours, month_starts
from lifecycle.outlook.shares import chance_between
from lifecycle.wear.types import Band

# A page of another form is prepared anew.
FORM = 2


@dataclass(frozen=True, slots=True)
class Split:
    """Money of one split in one month: the range of the draws, their mean, and the rows behind them: `dues` have their
    ideal day in the month, `reach` may fall into it."""

    money: Band
    mean: float
    dues: int
    reach: int


@dataclass(frozen=True, slots=True)
class MonthSheet:
    """One month, or the sum of all. Hours that care asks for, and those there are (`has`)."""

    first: date
    label: str
    booked: Split
    likely: Split
    possible: Split
    total: Band
    labour: Band
    bay: Band
    cure: Band
    has: Room

    @property
    def dues(self) -> int:
        return self.booked.dues + self.likely.dues + self.possible.dues


@dataclass(frozen=True, slots=True)
class WeekSheet:
    """One week from its Monday: hours asked for, hours there are, and how it stands. `ahead`: weeks from this one."""

    first: date
    ahead: int
    labour: Band
    bay: Band
    has: Room
    state: str
    says: str

    @property
    def flagged(self) -> bool:
        """Six to eight weeks ahead, and too full or too empty."""
        return self.ahead in capacity.FLAGGED_WEEKS and self.state in (capacity.OVERFLOW, capacity.EMPTY)


@dataclass(frozen=True, slots=True)
class Taken:
    """How many of those who come say yes, of one task; or how many of what is booked, or was said yes to, comes. Mean
    and 10 to 90 %; `says` holds the counts."""

    mean: float
    low: float
    high: float
    says: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole page of one site, or of all. `fed_by` and `left_out` say in words what the numbers hold and not,
    `comes` what the chances of a visit rest on. `taken`: by the rows' rate."""

    form: int
    currency: str
    months: tuple[MonthSheet, ...]
    year: MonthSheet
    weeks: tuple[WeekSheet, ...]
    fed_by: tuple[str, ...]
    left_out: tuple[str, ...]
    usual_hours: tuple[str, ...]
    runs: int
    taken: Mapping[str, Taken]
    comes: str


@cache
def codec() -> TypeAdapter[Sheet]:
    """A sheet to plain values and back."""
    return TypeAdapter(Sheet)


@dataclass(frozen=True, slots=True)
class Rooms:
    """What a site has in each month and each week, from today on."""

    months: tuple[Room, ...]
    weeks: tuple[Room, ...]

    def __add__(self, other: Rooms) -> Rooms:
        return Rooms(
            tuple(a + b for a, b in zip(self.months, other.months, strict=True)),
            tuple(a + b for a, b in zip(self.weeks, other.weeks, strict=True)),
        )


def spans(today: date, starts: Sequence[date], after: date) -> tuple[tuple[date, date], ...]:
    """First and last day of each span from its start to the next one's, without days before today."""
    ends = [*starts[1:], after]
    return tuple((max(start, today), end - timedelta(days=1)) for start, end in zip(starts, ends, strict=True))


@dataclass(frozen=True, slots=True)
class Reach:
    """How many rows may fall into each month, by split."""

    counts: Mapping[str, tuple[int, ...]]


def reach_of(rows: Sequence[Prospect], *, today: date, starts: Sequence[date], after: date) -> Reach:
    """Count the rows whose window touches each month, and that have any chance there."""
    edges = [*starts, after]
    counts = {split: [0] * MONTHS for split in SPLITS}
    for row in rows:
        first = max(row.earliest, today)
        for number in range(MONTHS):
            if first < edges[number + 1] and max(row.latest, today) >= edges[number]:
                counts[row.split][number] += 1
    return Reach({split: tuple(found) for split, found in counts.items()})


def chance_in(row: Prospect, *, today: date, first: date, end: date) -> float:
    """Chance that a row's day falls on `first` or later and before `end`."""
    return chance_between(
        earliest=row.earliest, ideal=row.ideal, latest=row.latest, today=today, first=first, end=end
    )  # fmt: skip


def month_sheets(found: Revenue, rooms: Rooms, reach: Reach) -> tuple[MonthSheet, ...]:
    """The months of a simulation with what is behind them."""
    return tuple(
        MonthSheet(
            first=month.first, label=f"{month.first:%B %Y}",
            **{
                split: Split(month.money[split], month.mean[split], month.prospects[split], reach.counts[split][number])
                for split in SPLITS
            },
            total=month.total, labour=month.hours, bay=month.bay, cure=month.cure, has=rooms.months[number],
        )
        for number, month in enumerate(found.months)
    )  # fmt: skip


def year_sheet(found: Revenue, months: Sequence[MonthSheet], *, rows: Mapping[str, int], today: date) -> MonthSheet:
    """The sum of the months. `rows`: how many rows there are by split."""
    splits = {
        split: Split(
            found.year[split], sum(getattr(month, split).mean for month in months),
            sum(getattr(month, split).dues for month in months), rows[split],
        )
        for split in SPLITS
    }  # fmt: skip
    return MonthSheet(
        first=month_starts(today)[0], label="twelve months", **splits, total=found.year_total, labour=found.year_hours,
        bay=found.year_bay, cure=found.year_cure, has=sum((month.has for month in months), NO_ROOM),
    )  # fmt: skip


def week_sheets(weeks: Sequence[WeekHours], rooms: Rooms) -> tuple[WeekSheet, ...]:
    """The weeks with how they stand."""
    made = []
    for ahead, (week, has) in enumerate(zip(weeks, rooms.weeks, strict=True)):
        load = capacity.load_of(week.labour, week.bay, has)
        made.append(WeekSheet(week.first, ahead, week.labour, week.bay, has, load.state, load.says))
    return tuple(made)
