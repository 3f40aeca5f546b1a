"""Windows to visits: every window served once inside itself, fewest visits, work in its proper order, honest hours."""

from __future__ import annotations

import itertools
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.care.bundling import bundle, labour_hours, may_share
from lifecycle.care.rules import TASKS, Due

AS_OF = date(2026, 3, 1)
APART = {"booster", "wax_renewal", "recoat", "textile_proof", "lay_up", "wake_up", "event_response"}
ALL = tuple(sorted(TASKS))
FRIENDS = tuple(sorted(TASKS.keys() - APART))


def due(task: str, first: int, last: int, *, ideal: int | None = None, contract: int | None = None) -> Due:
    """A window from day `first` to day `last` after 1 March 2026."""
    day = [AS_OF + timedelta(days=count) for count in (first, (first + last) // 2 if ideal is None else ideal, last)]
    return Due(
        task=task, surfaces=("bonnet",), earliest=day[0], ideal=day[1], latest=day[2],
        contract=None if contract is None else AS_OF + timedelta(days=contract), reason_code="wear", why="w", known="k",
        changed="c", expected="e", prevents="p", if_postponed="i", self_check="s", layer_keys=(),
    )  # fmt: skip


@st.composite
def windows(draw, tasks=ALL):
    """Up to eight windows of different tasks, some already open, some closed."""
    chosen = draw(st.lists(st.sampled_from(tasks), unique=True, max_size=8))
    found = []
    for task in chosen:
        first = draw(st.integers(-60, 200))
        last = first + draw(st.integers(0, 90))
        contract = draw(st.one_of(st.none(), st.integers(first, last)))
        found.append(due(task, first, last, contract=contract))
    return found


def open_part(one: Due) -> tuple[date, date]:
    """What is still to come of a window; a closed one is open for four weeks more."""
    if one.latest < AS_OF:
        return AS_OF, AS_OF + timedelta(days=28)
    return max(one.earliest, AS_OF), one.latest


def fewest(dues: list[Due]) -> int:
    """By duality: the fewest days that meet all intervals are as many as the most intervals without a common day.

    Counted by trying out all subsets, not by the greedy that is tested.
    """
    parts = [open_part(one) for one in dues]
    for count in range(len(parts), 0, -1):
        for chosen in itertools.combinations(parts, count):
            if all(a[1] < b[0] or b[1] < a[0] for a, b in itertools.combinations(chosen, 2)):
                return count
    return 0


@settings(max_examples=150, deadline=None)
@given(windows())
def test_every_window_is_served_once_inside_itself(dues):
    bundles = bundle(dues, as_of=AS_OF, size="M")
    assert sorted(task for one in bundles for task in one.tasks) == sorted(one.task for one in dues)
    for one in bundles:
        assert AS_OF <= one.earliest <= one.ideal <= one.latest
        for member in one.dues:
            first, last = open_part(member)
            assert first <= one.earliest
            assert one.latest <= last
        assert all(may_share(a, [b]) for a, b in itertools.combinations(one.tasks, 2))
    assert sum(one.visits_avoided for one in bundles) == len(dues) - len(bundles)


@settings(max_examples=100, deadline=None)
@given(windows(tasks=FRIENDS))
def test_no_plan_needs_fewer_visits(dues):
    assert len(bundle(dues, as_of=AS_OF, size="M")) == fewest(dues)


@settings(max_examples=80, deadline=None)
@given(windows(), st.sampled_from(("S", "M", "L", "XL")))
def test_a_visit_never_costs_more_hours_than_its_tasks_alone(dues, size):
    for one in bundle(dues, as_of=AS_OF, size=size):
        alone = sum(labour_hours([task], size=size)[0] for task in one.tasks)
        assert one.labour_h + one.hours_shared == pytest.approx(alone, abs=0.03)
        assert one.hours_shared >= 0
        assert one.cure_h == max(TASKS[task].cure_hours for task in one.tasks)


def test_the_usual_trio_shares_about_an_hour_and_a_half():
    """Common practice, no source: decontaminate, inspect, booster in one visit save about 1.5 h (medium car)."""
    labour, shared = labour_hours(["decontamination_wash", "inspection", "booster"], size="M")
    assert shared == pytest.approx(1.5, abs=0.1)
    assert labour == pytest.approx(2.5 + 1.0 + 0.75)


def test_a_retest_inside_an_inspection_costs_nothing_more():
    with_retest, _ = labour_hours(["inspection", "retest"], size="M")
    assert with_retest == labour_hours(["inspection"], size="M")[0]


def test_order_of_work():
    """Common practice, no source: wheels, engine bay, wash, iron and tar, look, film, paint, trim, glass, interior."""
    order = [
        "wheel_retreat", "engine_bay", "maintenance_wash", "decontamination_wash", "inspection", "headlamps",
        "film_edge_check", "sealant_renewal", "trim_coat", "windscreen_retreat", "leather_guard",
    ]  # fmt: skip
    (one,) = bundle([due(task, 0, 10) for task in reversed(order)], as_of=AS_OF, size="L")
    assert list(one.tasks) == order


def test_contract_date_holds_the_visit():
    """Common practice, no source: the hardest date first, the contract's before all others."""
    contract = due("inspection", 150, 210, ideal=180, contract=180)
    (one,) = bundle(
        [due("booster", 120, 200, ideal=130), contract, due("decontamination_wash", 140, 260, ideal=160)],
        as_of=AS_OF,
        size="M",
    )
    assert one.ideal == contract.contract
    assert "contract date" in one.why
    assert one.visits_avoided == 2


@pytest.mark.parametrize(
    ("one", "other", "together"),
    [
        ("booster", "recoat", False),
        ("textile_proof", "recoat", False),
        ("event_response", "recoat", False),
        ("event_response", "inspection", True),
        ("decontamination_wash", "booster", True),
    ],
)
def test_what_may_share_a_visit(one, other, together):
    """Trade rules: nothing onto a coat in cure, no wet soft top beside a coat; an event is answered at once."""
    bundles = bundle([due(one, 0, 10), due(other, 0, 10)], as_of=AS_OF, size="M")
    assert (len(bundles) == 1) is together


def test_prerequisites_that_no_member_brings_are_said():
    (alone,) = bundle([due("booster", 0, 10)], as_of=AS_OF, size="M")
    assert any("Iron and tar" in note for note in alone.notes)
    assert any("fully cured" in note for note in alone.notes)
    (both,) = bundle([due("booster", 0, 10), due("decontamination_wash", 0, 10)], as_of=AS_OF, size="M")
    assert not any("Iron and tar" in note for note in both.notes)
    assert any("safety data sheet" in note for note in both.notes)


def test_labour_and_cure_stand_apart():
    (one,) = bundle([due("recoat", 0, 10), due("decontamination_wash", 0, 10)], as_of=AS_OF, size="M")
    assert (one.labour_h, one.cure_h) == (10.5, 24.0)
    assert one.bay_days == 2


def test_a_closed_window_is_served_within_four_weeks():
    (one,) = bundle([due("sealant_renewal", -60, -30)], as_of=AS_OF, size="M")
    assert (one.earliest, one.latest) == (AS_OF, AS_OF + timedelta(days=28))


def test_nothing_due_is_no_visit():
    assert bundle([], as_of=AS_OF, size="M") == ()


def test_unknown_task_or_size_is_refused():
    with pytest.raises(ValueError, match="no care task"):
        bundle([due("polka", 0, 10)], as_of=AS_OF, size="M")
    with pytest.raises(ValueError, match="S, M, L, XL"):
        bundle([due("booster", 0, 10)], as_of=AS_OF, size="m")
