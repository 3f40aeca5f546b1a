"""Money by month as range bars: where each bar begins and ends. The template draws it, the table beside it says it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from lifecycle.outlook.sheet import WeekSheet
from lifecycle.wear.types import Band

LEFT: Final = 52.0  # room for the names of the months, in units of the drawing
WIDTH: Final = 360.0
TOP: Final = 26.0
ROW: Final = 36.0
RIGHT: Final = 10.0
LANES: Final = (("booked", 5.0), ("likely", 15.0), ("possible", 25.0))


@dataclass(frozen=True, slots=True)
class Bar:
    """One 10-90 % range with its median, in units of the drawing."""

    kind: str
    x: float
    y: float
    width: float
    median_x: float


@dataclass(frozen=True, slots=True)
class MonthBars:
    label: str
    y: float
    bars: tuple[Bar, ...]


@dataclass(frozen=True, slots=True)
class Tick:
    x: float
    label: str


@dataclass(frozen=True, slots=True)
class RangeChart:
    width: float
    height: float
    left: float
    top: float
    ticks: tuple[Tick, ...]
    months: tuple[MonthBars, ...]


def round_step(largest: float, *, steps: int = 4) -> float:
    """A step of 1, 2 or 5 times a power of ten that covers `largest` in at most `steps` steps."""
    if largest <= 0:
        return 1.0
    rough = largest / steps
    power = 10.0 ** math.floor(math.log10(rough))
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= rough)


def range_chart(rows: Sequence[tuple[date, Mapping[str, Band]]]) -> RangeChart:
    """The geometry of the chart: a row for each month, a lane each for booked, likely and possible.

    Args:
        rows: first day and ranges by kind of each month.
    """
    largest = max((band.p90 for _first, bands in rows for band in bands.values()), default=0.0)
    step = round_step(largest)
    count = max(1, math.ceil(largest / step - 1e-9))
    scale = (WIDTH - LEFT - RIGHT) / (count * step)

    def bar(kind: str, lane: float, band: Band, row_y: float) -> Bar:
        x = LEFT + band.p10 * scale
        return Bar(kind, round(x, 1), row_y + lane, round((band.p90 - band.p10) * scale, 1),
                   round(LEFT + band.p50 * scale, 1))  # fmt: skip

    months = []
    for index, (first, bands) in enumerate(rows):
        y = TOP + index * ROW
        bars = tuple(bar(kind, lane, bands[kind], y) for kind, lane in LANES if bands[kind].p90 > 0)
        months.append(MonthBars(f"{first:%b} ’{first:%y}", y, bars))
    return RangeChart(
        width=WIDTH,
        height=TOP + len(months) * ROW + 6.0,
        left=LEFT,
        top=TOP,
        ticks=tuple(Tick(round(LEFT + i * step * scale, 1), f"{i * step:,.0f}") for i in range(count + 1)),
        months=tuple(months),
    )


WEEK_ROW: Final = 20.0


@dataclass(frozen=True, slots=True)
class WeekBar:
    """One week: the range of its hours of work, the median, and where planning is full."""

    label: str
    y: float
    x: float
    width: float
    median_x: float
    full_x: float
    kind: str


@dataclass(frozen=True, slots=True)
class WeekChart:
    width: float
    height: float
    top: float
    ticks: tuple[Tick, ...]
    weeks: tuple[WeekBar, ...]


def week_chart(weeks: Sequence[WeekSheet]) -> WeekChart:
    """The geometry of the weeks: hours of work asked for as a bar, hours that planning fills as a stroke."""
    step = round_step(max((max(week.labour.p90, week.has.labour) for week in weeks), default=0.0))
    largest = max((max(week.labour.p90, week.has.labour) for week in weeks), default=0.0)
    count = max(1, math.ceil(largest / step - 1e-9))
    scale = (WIDTH - LEFT - RIGHT) / (count * step)
    bars = tuple(
        WeekBar(
            label=f"{week.first.day} {week.first:%b}", y=TOP + number * WEEK_ROW,
            x=round(LEFT + week.labour.p10 * scale, 1),
            width=round(max((week.labour.p90 - week.labour.p10) * scale, 0.5), 1),
            median_x=round(LEFT + week.labour.p50 * scale, 1), full_x=round(LEFT + week.has.labour * scale, 1),
            kind=week.state,
        )
        for number, week in enumerate(weeks)
    )  # fmt: skip
    return WeekChart(
        width=WIDTH, height=TOP + len(bars) * WEEK_ROW + 6.0, top=TOP, weeks=bars,
        ticks=tuple(Tick(round(LEFT + i * step * scale, 1), f"{i * step:,.0f}") for i in range(count + 1)),
    )  # fmt: skip
