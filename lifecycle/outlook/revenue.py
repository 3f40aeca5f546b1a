"""Revenue of the next twelve months as a 10-50-90 % range from a seeded simulation. No Django in here.

Uncertain are: whether the customer comes at all (drawn once per customer and run, so that all their windows hang
together), whether they then take the care up (a rate drawn from the task's Beta once per run, so that all vehicles of a
task share the doubt about it), when (triangular between the ends of the window, its peak at the ideal day), and the
price (even over the price range). The chances are those of `worth`. What is booked has its day; only whether the person
comes is open. The months of one run hang together, so the range of the year is narrower than the sum of the months'
ranges. All sites of a studio are drawn in one go: the whole is the sum of its sites, run by run.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
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
WEEKS = 13  # this week and the twelve after it
HOURS = ("labour", "bay", "cure")
RUNS = 2000
FEWEST_RUNS = 400
MOST_DRAWS = 3_000_000  # runs times rows: about half a second
CHUNK = 400  # rows at a time: keeps the memory of a large studio in bounds


@dataclass(frozen=True, slots=True)
class Prospect:
    """Care that may be paid for. `earliest <= ideal <= latest`; all three the same day where it is booked.

    Attributes:
        key: unique; fixes the order, so that the same rows give the same numbers.
        split: booked, likely or possible.  rate: key of the rate at which who comes takes it up (a task, or "booked").
        visit: chance that the customer comes; 1 where `rate` holds that, too.  visits: how often they came back so far.
        customer: whose rows come or stay away together; 0 stands alone.
        price_low, price_high: in the studio's currency.  labour_h: hours of work.
        bay_h: open hours that it takes a bay; None: as long as the work.  cure_h: hours of cure in a bay.
        site, vehicle: their keys, 0 where it does not matter.  source: what it follows from ("visit:3", "due:7",
        "layer").  task: what would be done, "" for a visit.  why: the reason in words.
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
    bay_h: float | None = None
    cure_h: float = 0.0
    site: int = 0
    vehicle: int = 0
    source: str = ""
    task: str = ""
    why: str = ""
    visit: float = 1.0
    visits: int = 0
    customer: int = 0


@dataclass(frozen=True, slots=True)
class MonthMoney:
    """One month, in the studio's currency. `hours` is the labour it asks for, `bay` the open hours of bays, `cure` the
    hours of cure; `prospects` counts what has its ideal day in it, by split, before anybody has said yes; `mean` is the
    mean of the draws by split."""

    first: date
    money: Mapping[str, Band]
    total: Band
    hours: Band
    prospects: Mapping[str, int]
    bay: Band
    cure: Band
    mean: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class WeekHours:
    """One week from its Monday: hours of work and open hours of bays that it asks for."""

    first: date
    labour: Band
    bay: Band


@dataclass(frozen=True, slots=True)
class Revenue:
    """Twelve months and their sum, by split and in total, and the hours of the next weeks."""

    months: tuple[MonthMoney, ...]
    year: Mapping[str, Band]
    year_total: Band
    year_hours: Band
    year_bay: Band
    year_cure: Band
    weeks: tuple[WeekHours, ...]


def month_starts(today: date) -> tuple[date, ...]:
    """First days of this month and of the eleven months after it."""
    return tuple(months_later(today.replace(day=1), offset) for offset in range(MONTHS))


def seed_of(*, studio_id: int, today: date) -> tuple[int, int, int]:
    """The seed of a studio's simulation; it holds for the whole month, so numbers do not flicker from page to page."""
    return (studio_id, today.year, today.month)


def runs_for(rows: int) -> int:
    """How often to draw: fewer runs for a large studio, whose ranges settle sooner, so that its page does not wait."""
    return max(FEWEST_RUNS, min(RUNS, MOST_DRAWS // max(rows, 1)))


def week_starts(today: date) -> tuple[date, ...]:
    """Mondays of this week and of the twelve weeks after it."""
    monday = today - timedelta(days=today.weekday())
    return tuple(monday + timedelta(days=7 * number) for number in range(WEEKS))


def simulate(
    prospects: Sequence[Prospect],
    *,
    rates: Mapping[str, tuple[float, float]],
    today: date,
    seed: tuple[int, ...],
    runs: int = RUNS,
) -> Revenue:
    """Simulate the revenue of twelve months, this month included; see `simulate_sites`."""
    return simulate_sites(prospects, rates=rates, today=today, seed=seed, runs=runs)[None]


def simulate_sites(
    prospects: Sequence[Prospect],
    *,
    rates: Mapping[str, tuple[float, float]],
    today: date,
    seed: tuple[int, ...],
    runs: int = RUNS,
    sites: Sequence[int] = (),
) -> dict[int | None, Revenue]:
    """Simulate the revenue of twelve months, this month included, by site, and under None all together.

    Args:
        prospects: what may be paid for; days before `today` count as today, days after the twelve months fall away.
        rates: Beta parameters of the take-up rate by `Prospect.rate`; its doubt is shared by all sites.
        seed: see `seed_of`.
        sites: keys of sites that are answered for even where they have no prospect.

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
    keys = sorted({*sites, *(row.site for row in rows)})
    sums = Sums(sites=keys, runs=runs, edges=starts, monday=week_starts(today)[0])
    comes = _Comes(rows, seed=seed, runs=runs)
    for start in range(0, len(rows), CHUNK):
        some = rows[start : start + CHUNK]
        days = _draw_days(some, today, random, runs)
        taken = comes.of(some) & (random.random(days.shape) < np.column_stack([chances[row.rate] for row in some]))
        low, high = (np.array([getattr(row, name) for row in some]) for name in ("price_low", "price_high"))
        sums.add(some, days, taken, low + (high - low) * random.random(days.shape))
    found: dict[int | None, Revenue] = {
        key: _summary(sums.of(index), _counts([row for row in rows if row.site == key], today), today)
        for index, key in enumerate(keys)
    }
    found[None] = found[keys[0]] if len(keys) == 1 else _summary(sums.of(None), _counts(rows, today), today)
    return found


class _Comes:
    """Which customers come in which runs: one draw per customer and run, whatever the number of their rows."""

    def __init__(self, rows: Sequence[Prospect], *, seed: Sequence[int], runs: int) -> None:
        self.runs = runs
        self.random = np.random.default_rng([*seed, 1])
        self.index = {who: number for number, who in enumerate(sorted({row.customer for row in rows if row.customer}))}
        self.shared = self.random.random((len(self.index), runs), dtype=np.float32)

    def of(self, rows: Sequence[Prospect]) -> Bools:
        """Whether the customer of each row comes, of shape (runs, rows)."""
        drawn = np.empty((len(rows), self.runs), dtype=np.float32)
        alone = np.array([row.customer == 0 for row in rows])
        if alone.any():
            drawn[alone] = self.random.random((int(alone.sum()), self.runs), dtype=np.float32)
        drawn[~alone] = self.shared[[self.index[row.customer] for row in rows if row.customer]]
        return np.asarray(drawn < np.array([row.visit for row in rows], dtype=np.float32)[:, None]).T


def _summary(drawn: Drawn, counts: pd.DataFrame, today: date) -> Revenue:
    money = drawn.money
    months = tuple(
        MonthMoney(
            first=first,
            money={split: _band(money[index, :, month]) for index, split in enumerate(SPLITS)},
            total=_band(money[:, :, month].sum(axis=0)),
            hours=_band(drawn.hours[0, :, month]),
            prospects={split: int(counts[split].iloc[month]) for split in SPLITS},
            bay=_band(drawn.hours[1, :, month]),
            cure=_band(drawn.hours[2, :, month]),
            mean={split: float(money[index, :, month].mean()) for index, split in enumerate(SPLITS)},
        )
        for month, first in enumerate(month_starts(today))
    )
    year = {split: _band(money[index].sum(axis=1)) for index, split in enumerate(SPLITS)}
    labour, bay, cure = (_band(drawn.hours[index].sum(axis=1)) for index in range(len(HOURS)))
    weeks = tuple(
        WeekHours(first, _band(drawn.weeks[0, :, week]), _band(drawn.weeks[1, :, week]))
        for week, first in enumerate(week_starts(today))
    )
    return Revenue(
        months=months, year=year, year_total=_band(money.sum(axis=(0, 2))), year_hours=labour, year_bay=bay,
        year_cure=cure, weeks=weeks,
    )  # fmt: skip


def _check(row: Prospect) -> None:
    if not row.earliest <= row.ideal <= row.latest:
        raise ValueError(f"{row.key}: window {row.earliest}, {row.ideal}, {row.latest}; give the days in this order.")
    if not 0 <= row.price_low <= row.price_high:
        raise ValueError(f"{row.key}: price {row.price_low} to {row.price_high}; give 0 or more, the low end first.")
    if not 0 <= row.visit <= 1:
        raise ValueError(f"{row.key}: chance of a visit {row.visit}; give 0 to 1.")
    if row.split not in SPLITS:
        raise ValueError(f"{row.key}: split {row.split!r}; use one of {', '.join(SPLITS)}.")


@dataclass(frozen=True, slots=True)
class Drawn:
    """The draws of one site or of all: money by split, run and month; hours by kind, run and month; hours of work and
    of bays by run and week."""

    money: FloatArray
    hours: FloatArray
    weeks: FloatArray


class Sums:
    """Sums of all draws by site, added up chunk by chunk."""

    def __init__(self, *, sites: Sequence[int], runs: int, edges: Sequence[date], monday: date) -> None:
        self.index = {site: number for number, site in enumerate(sites)}
        self.runs, self.monday = runs, monday.toordinal()
        self.edges = np.array([edge.toordinal() for edge in edges])
        count = max(len(sites), 1)
        self.money = np.zeros((count, len(SPLITS), runs, MONTHS))
        self.hours = np.zeros((len(HOURS), count, runs, MONTHS))
        self.weeks = np.zeros((2, count, runs, WEEKS))

    def add(self, rows: Sequence[Prospect], days: np.typing.NDArray[np.int64], taken: Bools, price: FloatArray) -> None:
        """Add some rows: day, answer and price in every run, all of shape (runs, rows)."""
        run = np.arange(self.runs)[:, None]
        site = np.array([self.index[row.site] for row in rows])[None, :]
        split = np.array([SPLITS.index(row.split) for row in rows])[None, :]
        month = np.searchsorted(self.edges, days, side="right") - 1
        week = (days - self.monday) // 7
        in_year, soon = taken & (month < MONTHS), taken & (week < WEEKS)
        by_month = (site * self.runs + run) * MONTHS + month
        by_split = ((site * len(SPLITS) + split) * self.runs + run) * MONTHS + month
        by_week = (site * self.runs + run) * WEEKS + week
        _put(self.money, by_split[in_year], price[in_year])
        for number, hours in enumerate(_hours_of(rows)):
            spent = np.broadcast_to(hours, price.shape)
            if hours.any():
                _put(self.hours[number], by_month[in_year], spent[in_year])
            if number < len(self.weeks) and soon.any():
                _put(self.weeks[number], by_week[soon], spent[soon])

    def of(self, site: int | None) -> Drawn:
        """The draws of the site with this number, or of all sites together."""
        if site is None:
            return Drawn(self.money.sum(axis=0), self.hours.sum(axis=1), self.weeks.sum(axis=1))
        return Drawn(self.money[site], self.hours[:, site], self.weeks[:, site])


def _hours_of(rows: Sequence[Prospect]) -> tuple[FloatArray, ...]:
    """Hours of work, open hours of bays, hours of cure of each row."""
    return (
        np.array([row.labour_h for row in rows]),
        np.array([row.labour_h if row.bay_h is None else row.bay_h for row in rows]),
        np.array([row.cure_h for row in rows]),
    )


def _put(into: FloatArray, place: np.typing.NDArray[np.int64], weights: FloatArray) -> None:
    into += np.bincount(place, weights=weights, minlength=into.size).reshape(into.shape)


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
