"""The fast rule of bundling against the best plan that a solver proves, on random windows (invented)."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given, settings

from lifecycle.care.bundling import bundle
from lifecycle.care.exact_bundling import exact_plan, fast_plan
from lifecycle.care.visit_loss import best_day, loss, window_from
from tests.lifecycle.test_bundling import AS_OF, FRIENDS, due, windows


@settings(max_examples=25, deadline=None)
@given(windows(tasks=FRIENDS))
def test_the_fast_rule_needs_as_few_visits_and_never_loses_less(dues):
    """Tasks that may all share: the greedy for stabbing intervals is known to be best in the number of visits."""
    fast, best = (plan(dues, as_of=AS_OF, size="M") for plan in (fast_plan, exact_plan))
    assert len(fast.visits) == len(best.visits)
    assert best.loss <= fast.loss + 1e-6
    assert sorted(task for _, tasks in best.visits for task in tasks) == sorted(one.task for one in dues)
    opened = {one.task: window_from(one, AS_OF) for one in dues}
    assert all(opened[task][0] <= day <= opened[task][1] for day, tasks in best.visits for task in tasks)


@settings(max_examples=25, deadline=None)
@given(windows())
def test_with_tasks_that_part_ways_the_best_is_never_beaten(dues):
    fast, best = (plan(dues, as_of=AS_OF, size="M") for plan in (fast_plan, exact_plan))
    assert (len(best.visits), best.loss) <= (len(fast.visits), fast.loss + 1e-6)
    for _, tasks in best.visits:
        assert not {"booster", "recoat"} <= set(tasks)


@given(windows(tasks=FRIENDS))
def test_the_day_of_a_visit_is_the_best_of_all_its_days(dues):
    for one in bundle(dues, as_of=AS_OF, size="M"):
        every = [one.earliest + timedelta(days=count) for count in range((one.latest - one.earliest).days + 1)]
        sums = [sum(loss(member, day, as_of=AS_OF) for member in one.dues) for day in every]
        assert sum(loss(member, one.ideal, as_of=AS_OF) for member in one.dues) == pytest.approx(min(sums), abs=1e-8)


def test_loss_by_hand():
    """Chances 0.1, 0.2 and 0.5 of intervals.csv (judgement): 0.1 to the opening, 0.3 to the end, a contract tenfold."""
    wear, contract = due("booster", 0, 40, ideal=20), due("inspection", 0, 40, ideal=10, contract=10)
    found = [loss(wear, AS_OF + timedelta(days=day), as_of=AS_OF) for day in (0, 10, 20, 30, 40)]
    assert found == pytest.approx([0.1, 0.05, 0.0, 0.15, 0.3])
    assert loss(contract, AS_OF + timedelta(days=40), as_of=AS_OF) == pytest.approx(3.0)
    first, last = AS_OF, AS_OF + timedelta(days=40)
    assert best_day([wear, contract], first=first, last=last, as_of=AS_OF) == AS_OF + timedelta(days=10)


def test_nothing_due_is_an_empty_plan():
    assert exact_plan([], as_of=AS_OF, size="M").visits == ()
    assert fast_plan([], as_of=AS_OF, size="M").visits == ()
