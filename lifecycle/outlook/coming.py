"""From the days on which customers came to the chance that they still do. No Django in here.

Two models are at hand (`returning`): BG/NBD, where visits come at any time, and BG/BB, where each half year is one
opportunity. Where enough customers were there a year ago, each is fitted to what was known then, and the one that
foretold better who came in the year since is used; before that, and where they draw, it is BG/NBD.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache

import numpy as np

from lifecycle.outlook.returning import HALF_YEAR_PRIOR, MONTHLY_PRIOR, BgBb, BgNbd, fit_bgbb, fit_bgnbd
from lifecycle.wear.types import FloatArray

DAYS_A_MONTH = 30.4375
HALF_YEAR_DAYS = 182.625
YEAR = timedelta(days=365)
# Judgement: days so close are one stay (brought, looked at, fetched), and near the first day they belong to it.
SAME_VISIT_DAYS = 7
# Judgement: under 30 customers who came again the prior is heard; with it always in, this only says so.
FEW_REPEATERS = 30
TO_CHOOSE = 60  # customers a year ago, before two models are held against each other (judgement)
MOST_FITTED = 4000  # more change no digit that anybody reads, and take seconds

BG_NBD, BG_BB = "BG/NBD", "BG/BB"


@dataclass(frozen=True, slots=True)
class Seen:
    """One customer: the first day, the days of visits after it in order, and the day until which we would have seen
    them (today, or the day on which their last vehicle left)."""

    customer_id: int
    first: date
    days: tuple[date, ...]
    until: date


@dataclass(frozen=True, slots=True)
class Chance:
    """What is expected of one customer in the next twelve months. `alive`: chance that they still are a customer;
    `visits`: visits expected; `comes`: chance of at least one."""

    alive: float
    visits: float
    comes: float


@dataclass(frozen=True, slots=True)
class Fitted:
    """The model in use and how it came about. `few`: it leans on the prior (judgement)."""

    model: BgNbd | BgBb
    name: str
    customers: int
    repeaters: int
    few: bool
    why: str


def stays(days: Sequence[date], first: date) -> tuple[date, ...]:
    """Days of separate visits after the first day: days within a week of the one before are the same visit."""
    found: list[date] = []
    before = first
    for day in sorted(set(days)):
        if (day - before).days > SAME_VISIT_DAYS:
            found.append(day)
        before = max(before, day)
    return tuple(found)


def as_of(seen: Seen, day: date) -> Seen | None:
    """The history as it was known on `day`; None if the customer was not there yet."""
    if seen.first >= day:
        return None
    return replace(seen, days=tuple(one for one in seen.days if one <= day), until=min(seen.until, day))


Columns = tuple[FloatArray, FloatArray, FloatArray]


def months(rows: Sequence[Seen]) -> Columns:
    """Visits, time of the last one and age, in months."""
    x = np.array([len(row.days) for row in rows], dtype=float)
    last = np.array([(row.days[-1] - row.first).days if row.days else 0 for row in rows], dtype=float)
    age = np.array([(row.until - row.first).days for row in rows], dtype=float)
    return x, last / DAYS_A_MONTH, np.maximum(age, last) / DAYS_A_MONTH


def half_years(rows: Sequence[Seen]) -> Columns:
    """Whole half years with a visit, the number of the last one, and whole half years seen."""
    columns: list[tuple[int, int, int]] = []
    for row in rows:
        whole = int((row.until - row.first).days / HALF_YEAR_DAYS)
        taken = {int((day - row.first).days / HALF_YEAR_DAYS) + 1 for day in row.days}
        taken = {number for number in taken if number <= whole}
        columns.append((len(taken), max(taken, default=0), whole))
    found = np.array(columns, dtype=float).reshape(-1, 3)
    return found[:, 0], found[:, 1], found[:, 2]


def fitted(rows: Sequence[Seen], *, today: date) -> Fitted:
    """Fit the model that foretells this studio's customers better; asked again for the same histories, it remembers."""
    return _fitted(tuple(sorted(rows, key=lambda row: row.customer_id)), today)


@lru_cache(maxsize=8)
def _fitted(rows: tuple[Seen, ...], today: date) -> Fitted:
    some = _some(rows)
    repeaters = sum(bool(row.days) for row in rows)
    few = repeaters < FEW_REPEATERS
    name, why = _better(some, today)
    model: BgNbd | BgBb
    if name == BG_BB:
        model = fit_bgbb(*half_years(some), prior=HALF_YEAR_PRIOR)
    else:
        model = fit_bgnbd(*months(some), prior=MONTHLY_PRIOR)
    return Fitted(model, name, len(rows), repeaters, few, why)


def _some(rows: Sequence[Seen]) -> Sequence[Seen]:
    return rows[:: -(-len(rows) // MOST_FITTED)] if len(rows) > MOST_FITTED else rows


def _better(rows: Sequence[Seen], today: date) -> tuple[str, str]:
    """The model that would have foretold last year better, by the mean ln score of who came and who did not."""
    cut = today - YEAR
    then = [(row, known) for row in rows if row.until >= today and (known := as_of(row, cut)) is not None]
    if len(then) < TO_CHOOSE:
        return BG_NBD, "too few customers a year ago to choose between models"
    before = [known for _row, known in then]
    came = np.array([any(day > cut for day in row.days) for row, _known in then])
    free, slots = months(before), half_years(before)
    scores = {
        BG_NBD: _score(fit_bgnbd(*free, prior=MONTHLY_PRIOR).comes(12.0, *free), came),
        BG_BB: _score(fit_bgbb(*slots, prior=HALF_YEAR_PRIOR).comes(2, *slots), came),
    }
    better = BG_BB if scores[BG_BB] > scores[BG_NBD] else BG_NBD
    return better, f"it would have foretold better who of {len(then)} customers came in the last twelve months"


def _score(chance: FloatArray, came: np.typing.NDArray[np.bool_]) -> float:
    right = np.where(came, chance, 1.0 - chance)
    return float(np.log(np.clip(right, 1e-9, 1.0)).mean())


def chances(rows: Sequence[Seen], found: Fitted) -> dict[int, Chance]:
    """By customer: still one, visits and at least one visit in the next twelve months."""
    if not rows:
        return {}
    if isinstance(found.model, BgBb):
        slots = half_years(rows)
        columns = found.model.alive(*slots), found.model.visits_ahead(2, *slots), found.model.comes(2, *slots)
    else:
        free = months(rows)
        columns = found.model.alive(*free), found.model.visits_ahead(12.0, *free), found.model.comes(12.0, *free)
    numbers = zip(rows, *(column.tolist() for column in columns), strict=True)
    return {row.customer_id: Chance(alive, visits, comes) for row, alive, visits, comes in numbers}
