"""Proposed visits of a site to days: inside their windows, near their ideal days, no week too full beside an empty one.

Two steps. Weeks: a linear plan (HiGHS) over all visits at once puts as few hours as possible above the load target (and
as few cures above the nights of the warm still bays), then as few as possible far from their ideal days, so a full week
is relieved through as many others as it takes. Days: within its week each visit takes the day nearest to its ideal one
with enough hours of hands, skill and bay; where the whole visits do not come out as the plan's parts, the next best
week. What stands already (booked, asked for) is never moved.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from lifecycle.care.site_board import EPS, STRETCH, Board, Place, monday
from lifecycle.care.site_days import SKILLS, SiteRules, closed_why, days_between, skills_of
from lifecycle.care.wording import between, day_words

# Cost of an hour at the far end of its window is 1; above the target, and above all hours there are. Judgement: only
# their order matters, wide enough that a full week is relieved through up to twenty others.
OVER_TARGET, OVER_FULL = 20.0, 400.0
# What a day once planned is worth, so that plans stay put where nothing speaks against them. Judgement.
STAY: Final = 0.05


@dataclass(frozen=True, slots=True)
class Wish:
    """A proposed visit. `standing`: the day planned before, if any. Hours: labour, and cure thereafter."""

    key: int
    earliest: date
    ideal: date
    latest: date
    labour_h: float
    cure_h: float = 0.0
    tasks: tuple[str, ...] = ()
    standing: date | None = None


@dataclass(frozen=True, slots=True)
class Held:
    """A visit that stands: its day and hours are taken."""

    on: date
    labour_h: float
    cure_h: float = 0.0
    tasks: tuple[str, ...] = ()
    bay_id: int | None = None


@dataclass(frozen=True, slots=True)
class Planned:
    """The day and bay of one wish with the reason in words; `on` is None where no day can hold it."""

    key: int
    on: date | None
    bay_id: int | None
    why: str


@dataclass(frozen=True, slots=True)
class WeekLoad:
    """Hours of hands that a week has, and those that visits take."""

    first: date
    labour_h: float
    used_h: float


@dataclass(frozen=True, slots=True)
class SitePlan:
    """Every wish in the order given, and the weeks that they and the standing visits fill."""

    visits: tuple[Planned, ...]
    weeks: tuple[WeekLoad, ...]


def spread(rules: SiteRules, wishes: Sequence[Wish], held: Sequence[Held] = (), *, today: date) -> SitePlan:
    """Plan all proposals of a site.

    Args:
        today: the day at the site; nothing is planned before the day after it.

    Raises:
        ValueError: a wish whose window is not in order.
    """
    for wish in wishes:
        if not wish.earliest <= wish.ideal <= wish.latest:
            raise ValueError(f"wish {wish.key}: {wish.earliest}, {wish.ideal}, {wish.latest} are not in order.")
    tomorrow = today + timedelta(days=1)
    last = max([wish.latest for wish in wishes] + [one.on for one in held] + [tomorrow]) + timedelta(days=STRETCH + 3)
    board = Board(rules, days_between(rules, tomorrow, last))
    for one in held:
        board.force(one.on, one.labour_h, one.cure_h, skills_of(one.tasks), one.bay_id)
    open_days = [_open_days(board, wish) for wish in wishes]
    weeks = _weeks(board, wishes, open_days)
    places: list[Place | None] = [None] * len(wishes)
    order = sorted(range(len(wishes)), key=lambda i: (len(open_days[i]), wishes[i].latest, wishes[i].key))
    for i in order:
        places[i] = _place(board, wishes[i], open_days[i], weeks[i])
    return SitePlan(
        tuple(_say(board, wish, places[i], bool(open_days[i])) for i, wish in enumerate(wishes)),
        tuple(WeekLoad(week, cap, board.week_used[week]) for week, cap in sorted(board.week_cap.items())),
    )  # fmt: skip


def _open_days(board: Board, wish: Wish) -> list[date]:
    """Days of the window on which somebody works."""
    first = max(wish.earliest, next(iter(board.days)))
    days = (first + timedelta(days=number) for number in range((wish.latest - first).days + 1))
    return [on for on in days if board.days[on].labour_h > EPS]


def _far(wish: Wish, on: date) -> float:
    """How far a day is from the ideal one, as a share of that side of the window; a day planned before counts less."""
    side = (wish.ideal - wish.earliest) if on < wish.ideal else (wish.latest - wish.ideal)
    return abs((on - wish.ideal).days) / max(side.days, 1) - (STAY if on == wish.standing else 0.0)


def _weeks(board: Board, wishes: Sequence[Wish], open_days: Sequence[Sequence[date]]) -> list[date | None]:
    """The week of each wish by the linear plan; None where its window has no open day."""
    pairs: list[tuple[int, date, float]] = []
    for i, (wish, days) in enumerate(zip(wishes, open_days, strict=True)):
        best: dict[date, float] = {}
        for on in days:
            best[monday(on)] = min(best.get(monday(on), np.inf), _far(wish, on))
        pairs += [(i, week, far) for week, far in best.items()]
    if not pairs:
        return [None] * len(wishes)
    shares = _solve(board, wishes, pairs)
    chosen: list[tuple[float, date] | None] = [None] * len(wishes)
    for (i, week, _), share in zip(pairs, shares, strict=True):
        before = chosen[i]
        if before is None or share > before[0] + EPS:
            chosen[i] = (float(share), week)
    return [pick[1] if pick is not None else None for pick in chosen]


def _nights(cure_h: float) -> float:
    """Bay-days that a cure takes, its own day included: the night alone holds 16 h."""
    return 0.0 if cure_h <= 0 else 1.0 + max(math.ceil((cure_h - 16.0) / 24.0), 0)


def _solve(board: Board, wishes: Sequence[Wish], pairs: Sequence[tuple[int, date, float]]) -> np.ndarray:
    """The share of each (wish, week) pair in the cheapest plan.

    Columns: the pairs, then for each week hours above the target, hours above all there are, and cures too many.
    """
    # Pages import this module; only whoever plans pays for scipy.
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    row_of = {i: row for row, i in enumerate(dict.fromkeys(i for i, _week, _cost in pairs))}
    col_of = {week: row for row, week in enumerate(sorted({week for _i, week, _cost in pairs}))}
    n, m, k, target = len(pairs), len(col_of), len(row_of), board.rules.load_target
    hours = np.array([wishes[i].labour_h for i, _week, _far_ in pairs])
    far = np.array([far for _i, _week, far in pairs])
    nights = np.array([_nights(wishes[i].cure_h) if board.has_warm else 0.0 for i, _week, _far_ in pairs])
    at_week = np.array([col_of[week] for _i, week, _far_ in pairs])
    ones, weeks, pick = np.ones(m), np.arange(m), np.arange(n)
    width = n + 3 * m
    loads = csr_array(
        (np.concatenate([hours, -ones, -ones]),
         (np.concatenate([at_week, weeks, weeks]), np.concatenate([pick, n + weeks, n + m + weeks]))), shape=(m, width),
    )  # fmt: skip
    cures = csr_array(
        (np.concatenate([nights, -ones]),
         (np.concatenate([at_week, weeks]), np.concatenate([pick, n + 2 * m + weeks]))), shape=(m, width),
    )  # fmt: skip
    once = csr_array((np.ones(n), ([row_of[i] for i, _week, _far_ in pairs], pick)), shape=(k, width))
    cap = np.array([board.week_cap[week] for week in col_of])
    used = np.array([board.week_used[week] for week in col_of])
    above = np.maximum(cap - np.maximum(used, cap * target), 0.0)
    found = milp(
        np.concatenate([hours * far, np.full(m, OVER_TARGET), np.full(m, OVER_FULL), np.full(m, OVER_FULL)]),
        bounds=Bounds(0.0, np.concatenate([np.ones(n), above, np.full(2 * m, np.inf)])),
        constraints=[
            LinearConstraint(loads, -np.inf, np.maximum(cap * target - used, 0.0)),
            LinearConstraint(cures, -np.inf, np.array([board.cure_room(week) for week in col_of])),
            LinearConstraint(once, np.ones(k), np.ones(k)),
        ],
    )  # fmt: skip
    if found.x is None:  # the plan always exists, since weeks may overflow at a cost
        raise ValueError(f"the weeks could not be planned: {found.message}")
    return np.asarray(found.x[:n])


def _place(board: Board, wish: Wish, days: Sequence[date], week: date | None) -> Place | None:
    """The best day that can hold the visit, its hours taken; None where no day of the window can."""
    target = board.rules.load_target

    def rank(on: date) -> tuple[bool, bool, bool, float, date]:
        day = board.days[on]
        week_over = board.load(monday(on), wish.labour_h) > target + EPS
        day_over = board.labour_used[on] + wish.labour_h > target * day.labour_h + EPS
        return monday(on) != week, week_over, day_over, _far(wish, on), on

    skills = frozenset(skill for skill in skills_of(wish.tasks) if board.rules.skilled(skill))
    for on in sorted(days, key=rank):
        place = board.find(on, wish.labour_h, wish.cure_h, skills)
        if place is not None:
            board.take(place, wish.cure_h, skills)
            return place
    return None


def _say(board: Board, wish: Wish, place: Place | None, any_open: bool) -> Planned:
    lacking = [SKILLS[skill] for skill in sorted(skills_of(wish.tasks)) if not board.rules.skilled(skill)]
    extra = ""
    if lacking and board.rules.hands:
        extra = f" Nobody here has {' or '.join(lacking)} entered among the skills."
    if place is None:
        window = between(wish.earliest, wish.latest)
        why = f"The site is closed on every day {window} that is still to come."
        if any_open:
            why = (
                f"No day {window} has {wish.labour_h:g} h free in a fitting bay with the hands for it; longer hours, "
                "another bay or another pair of hands would make room."
            )
        return Planned(wish.key, None, None, why + extra)
    on = place.parts[0][0]
    if wish.cure_h > 0 and board.has_warm:
        extra = f" {place.bay.name} is warm and still; the coat cures there for {wish.cure_h:g} h after closing.{extra}"
    return Planned(wish.key, on, place.bay.id or None, _why(board, wish, on) + extra)


def _why(board: Board, wish: Wish, on: date) -> str:
    if on == wish.ideal:
        return "Its ideal day."
    off, target = (on - wish.ideal).days, board.rules.load_target
    head = f"{abs(off)} day{'s' if abs(off) > 1 else ''} {'after' if off > 0 else 'before'} its ideal day"
    closed = closed_why(board.rules, wish.ideal)
    there, here = monday(wish.ideal), monday(on)
    would = board.load(there, wish.labour_h)
    if wish.ideal < next(iter(board.days)):
        why = f", {day_words(wish.ideal)}, which is over."
    elif here != there and target + EPS < would < float("inf"):
        why = (
            f": with it the week of {day_words(there)} would come to {100 * would:.0f} % of its hours, the target is "
            f"{100 * target:.0f} %; the week of {day_words(here)} comes to {100 * board.load(here):.0f} %."
        )
    elif closed:
        why = f", {day_words(wish.ideal)}, on which the site is closed ({closed})."
    elif on == wish.standing:
        why = ": the day planned before, which still fits."
    else:
        why = f": the days nearer to it leave less room for {wish.labour_h:g} h and for what comes up."
    return head + why
