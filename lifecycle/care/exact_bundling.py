"""The best bundling there is, by mixed-integer programming (HiGHS): fewest visits, then least loss.

The measure for the fast rule of `bundling`; the losses bend only at the windows' own days, so those days are enough.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from lifecycle.care.bundling import bundle, may_share
from lifecycle.care.due import Due
from lifecycle.care.visit_loss import loss, turning_days, window_from


@dataclass(frozen=True, slots=True)
class Plan:
    """`visits`: day and tasks of each, soonest first.  `loss`: summed, in shares of a life (see `visit_loss.loss`)."""

    visits: tuple[tuple[date, tuple[str, ...]], ...]
    loss: float


def fast_plan(dues: Sequence[Due], *, as_of: date, size: str) -> Plan:
    """The fast rule's bundles on their ideal days, by the same measure.

    Raises:
        ValueError: no such task or size.
    """
    found = bundle(dues, as_of=as_of, size=size)
    cost = sum(loss(due, one.ideal, as_of=as_of) for one in found for due in one.dues)
    return Plan(tuple((one.ideal, tuple(sorted(one.tasks))) for one in found), cost)


def exact_plan(dues: Sequence[Due], *, as_of: date, size: str) -> Plan:
    """The fewest visits that any plan needs, and among those plans one with the least loss.

    Raises:
        ValueError: no such task or size.  RuntimeError: the solver did not prove its answer.
    """
    if not dues:
        return Plan((), 0.0)
    slots = len(bundle(dues, as_of=as_of, size=size))  # the fast rule's plan is a plan: more are never needed
    days = sorted({day for due in dues for day in turning_days(due, as_of)})
    open_on = [[window_from(due, as_of)[0] <= day <= window_from(due, as_of)[1] for day in days] for due in dues]
    count, width = len(dues), len(days)
    put = np.arange(count * slots * width).reshape(count, slots, width)  # due i in visit v on day d
    held = put.size + np.arange(slots * width).reshape(slots, width)  # visit v is held on day d
    size_of = put.size + held.size
    rows: list[np.ndarray] = []
    bounds: list[tuple[float, float]] = []

    def add(plus: np.ndarray, minus: np.ndarray, low: float, high: float) -> None:
        row = np.zeros(size_of)
        row[plus.ravel()] = 1.0
        row[minus.ravel()] = -1.0
        rows.append(row)
        bounds.append((low, high))

    none = np.array([], dtype=int)
    for i in range(count):
        add(put[i], none, 1, 1)
        for v in range(slots):
            for d in range(width):
                add(put[i, v, d], held[v, d], -np.inf, 0)
            for j in range(i):
                if not may_share(dues[i].task, [dues[j].task]):
                    add(np.concatenate((put[i, v], put[j, v])), none, -np.inf, 1)
    for v in range(slots):
        add(held[v], none, 0, 1)
    shut = np.zeros(size_of)
    shut[put[~np.broadcast_to(np.array(open_on)[:, None, :], put.shape)]] = 1.0
    cost = np.zeros(size_of)
    for i, due in enumerate(dues):
        for d, day in enumerate(days):
            cost[put[i, :, d]] = loss(due, day, as_of=as_of) if open_on[i][d] else 0.0
    visits = np.zeros(size_of)
    visits[held.ravel()] = 1.0
    fewest = round(float(visits @ _solve(visits, rows, bounds, shut)))
    best = _solve(cost, [*rows, visits], [*bounds, (0, fewest)], shut)
    held_visits = [
        (days[d], tuple(sorted(dues[i].task for i in range(count) if best[put[i, v, d]] > 0.5)))
        for v in range(slots) for d in range(width) if best[held[v, d]] > 0.5
    ]  # fmt: skip
    return Plan(tuple(sorted(held_visits)), float(cost @ best))


def _solve(
    goal: np.ndarray, rows: Sequence[np.ndarray], bounds: Sequence[tuple[float, float]], shut: np.ndarray
) -> np.ndarray:
    from scipy.optimize import Bounds, LinearConstraint, milp

    low, high = np.array(bounds).T
    answer = milp(
        c=goal, integrality=np.ones(len(goal), dtype=np.int64), bounds=Bounds(0, 1.0 - shut),
        constraints=LinearConstraint(np.array(rows), low, high), options={"mip_rel_gap": 0.0},
    )  # fmt: skip
    if not answer.success:
        raise RuntimeError(f"The visits of one vehicle could not be planned exactly: {answer.message}")
    found: np.ndarray = np.round(answer.x)
    return found
