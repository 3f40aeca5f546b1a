"""Revenue of the next twelve months as a 10-50-90 % range from a seeded simulation. No Django in here.

Uncertain are: when somebody comes (triangular between the ends of the window, its peak at the ideal day), whether they
take the care up (a rate drawn from the task's Beta once per run, so that all vehicles of a task share the doubt about
it), and the price (even over the price range). What is booked has its day; only whether the person comes is open. The
months of one run hang together, so the range of the year is narrower than the sum of the months' ranges.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from lifecycle.care.resting import months_later
from lifecycle.wear.types import Band, FloatArray

if TYPE_CHECKING:
    import pandas as pd

Bools = np.typing.NDArray[np.bool_]

BOOKED, LIKELY, POSSIBLE = "booked", "likely", "possible"
SPLITS = (BOOKED, LIKELY, POSSIBLE)
MONTHS = 12
RUNS = 2000
FEWEST_RUNS = 400
MOST_DRAWS = 3_000_000  # runs times rows: about half a second
CHUNK = 400  # rows at a time: keeps the memory of a large studio in bounds


@dataclass(frozen=True, slots=True)
class Prospect:
    """Care that may be paid for. `earliest <= ideal <= latest`; all three the same day where it is booked.

    Attributes:
        key: unique; fixes the order, so that the same rows give the same numbers.
        split: booked, likely or possible.  rate: key of its take-up rate (a task, or "booked").
        price_low, price_high: in the studio's currency.  labour_h: hours of work.
    """

    key: str
    split: str
    rate: str
    earliest: date
    ideal: date
    latest: date
    price_low: float
    price_high: float
    labour_h: float


@dataclass(frozen=True, slots=True)
class MonthMoney:
    """One month, in the studio's currency. `hours` is the labour it asks for; `prospects` counts what has its ideal
    day in it, by split, before anybody has said yes."""

    first: date
    money: Mapping[str, Band]
    total: Band
    hours: Band
    prospects: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Revenue:
    """Twelve months and their sum, by split and in total."""

    months: tuple[MonthMoney, ...]
    year: Mapping[str, Band]
    year_total: Band
    year_hours: Band


def month_starts(today: date) -> tuple[date, ...]:
    """First days of this month and of the eleven months after it."""
    return tuple(months_later(today.replace(day=1), offset) for offset in range(MONTHS))


def seed_of(*, studio_id: int, today: date) -> tuple[int, int, int]:
    """The seed of a studio's simulation; it holds for the whole month, so numbers do not flicker from page to page."""
    return (studio_id, today.year, today.month)


def runs_for(rows: int) -> int:
    """How often to draw: fewer runs for a large studio, whose ranges settle sooner, so that its page does not wait."""
    return max(FEWEST_RUNS, min(RUNS, MOST_DRAWS // max(rows, 1)))


def simulate(
    prospects: Sequence[Prospect],
    *,
    rates: Mapping[str, tuple[float, float]],
    today: date,
    seed: tuple[int, ...],
    runs: int = RUNS,
) -> Revenue:
    """Simulate the revenue of twelve months, this month included.

    Args:
        prospects: what may be paid for; days before `today` count as today, days after the twelve months fall away.
        rates: Beta parameters of the take-up rate by `Prospect.rate`.
        seed: see `seed_of`.

    Raises:
        KeyError: a prospect whose rate is not in `rates`.
        ValueError: a window or price range in the wrong order, or an unknown split.
    """
    rows = sorted(prospects, key=lambda row: row.key)
    for row in rows:
        _check(row)
    random = np.random.default_rng(list(seed))
    chances = {name: random.beta(*rates[name], size=runs) for name in sorted(rates)}
    starts = (*month_starts(today), months_later(today.replace(day=1), MONTHS))
    sums = _Sums(
        money=np.zeros((len(SPLITS), runs, MONTHS)),
        hours=np.zeros((runs, MONTHS)),
        edges=np.array([start.toordinal() for start in starts]),
    )
    for start in range(0, len(rows), CHUNK):
        some = rows[start : start + CHUNK]
        days = _draw_days(some, today, random, runs)
        taken = random.random(days.shape) < np.column_stack([chances[row.rate] for row in some])
        low, high = (np.array([getattr(row, name) for row in some]) for name in ("price_low", "price_high"))
        sums.add(some, days, taken, low + (high - low) * random.random(days.shape))
    return _summary(sums, _counts(rows, today), month_starts(today))


def _summary(sums: _Sums, counts: pd.DataFrame, starts: Sequence[date]) -> Revenue:
    money = sums.money
    months = tuple(
        MonthMoney(
            first=first,
            money={split: _band(money[index, :, month]) for index, split in enumerate(SPLITS)},
            total=_band(money[:, :, month].sum(axis=0)),
            hours=_band(sums.hours[:, month]),
            prospects={split: int(counts[split].iloc[month]) for split in SPLITS},
        )
        for month, first in enumerate(starts)
    )
    year = {split: _band(money[index].sum(axis=1)) for index, split in enumerate(SPLITS)}
    return Revenue(
        months=months, year=year, year_total=_band(money.sum(axis=(0, 2))), year_hours=_band(sums.hours.sum(axis=1))
    )


def _check(row: Prospect) -> None:
    if not row.earliest <= row.ideal <= row.latest:
        raise ValueError(f"{row.key}: window {row.earliest}, {row.ideal}, {row.latest}; give the days in this order.")
    if not 0 <= row.price_low <= row.price_high:
        raise ValueError(f"{row.key}: price {row.price_low} to {row.price_high}; give 0 or more, the low end first.")
    if row.split not in SPLITS:
        raise ValueError(f"{row.key}: split {row.split!r}; use one of {', '.join(SPLITS)}.")


@dataclass(slots=True)
class _Sums:
    """Money by split, run and month, and hours by run and month, summed up chunk by chunk."""

    money: FloatArray
    hours: FloatArray
    edges: np.typing.NDArray[np.int64]

    def add(self, rows: Sequence[Prospect], days: np.typing.NDArray[np.int64], taken: Bools, price: FloatArray) -> None:
        """Add some rows: day, answer and price in every run, all of shape (runs, rows)."""
        runs = len(self.hours)
        month = np.searchsorted(self.edges, days, side="right") - 1
        counted = taken & (month < MONTHS)
        place = np.arange(runs)[:, None] * MONTHS + np.minimum(month, MONTHS - 1)
        labour = np.broadcast_to(np.array([row.labour_h for row in rows]), price.shape)

        def per_month(mask: Bools, weights: FloatArray) -> FloatArray:
            sums = np.bincount(place[mask], weights=weights[mask], minlength=runs * MONTHS)
            return np.asarray(sums.reshape(runs, MONTHS), dtype=float)

        self.hours += per_month(counted, labour)
        for index, split in enumerate(SPLITS):
            of_split = np.array([row.split == split for row in rows])
            self.money[index] += per_month(counted & of_split, price)


def _draw_days(
    rows: Sequence[Prospect], today: date, random: np.random.Generator, runs: int
) -> np.typing.NDArray[np.int64]:
    """Ordinal days by triangular draws, by the inverse of their distribution; a window of one day is that day."""
    start, peak, end = (
        np.array([max(getattr(row, name), today).toordinal() for row in rows], dtype=float)
        for name in ("earliest", "ideal", "latest")
    )
    width = np.maximum(end - start, 1e-9)
    turn = (peak - start) / width
    u = random.random((runs, len(rows)))
    rising = start + np.sqrt(u * width * (peak - start))
    falling = end - np.sqrt((1.0 - u) * width * (end - peak))
    return np.asarray(np.round(np.where(u < turn, rising, falling)), dtype=np.int64)


def _band(values: FloatArray) -> Band:
    low, middle, high = np.quantile(values, (0.1, 0.5, 0.9))
    return Band(float(low), float(middle), float(high))


def _counts(rows: Sequence[Prospect], today: date) -> pd.DataFrame:
    """Prospects by month of the ideal day (0 is this month) and split."""
    import pandas as pd

    this_month = today.year * 12 + today.month
    frame = pd.DataFrame(
        [(max(row.ideal, today).year * 12 + max(row.ideal, today).month - this_month, row.split) for row in rows],
        columns=["month", "split"],
    )
    counts = frame.groupby(["month", "split"]).size().unstack(fill_value=0)
    return counts.reindex(index=range(MONTHS), columns=list(SPLITS), fill_value=0)
