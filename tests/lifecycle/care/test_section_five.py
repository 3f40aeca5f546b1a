"""The trade's table of care tasks, row by row: hours by size, what comes first, interval or window.

Every figure is common practice, no source: nobody has published the table. Where the tables of the rules say more than
the trade's (a cure, an interval by duty), the trade's own figure is what is held against them.
"""

from __future__ import annotations

import csv
from collections import Counter

import pytest

from lifecycle.care.bundling import bundle
from lifecycle.care.rules import TASKS
from lifecycle.care.tasks_table import CONDITIONS, HERE, SIZES, figure, load_tasks
from lifecycle.management.demo.plans import read_rows
from lifecycle.wear.types import Mark
from tests.lifecycle.test_bundling import AS_OF, due

# task, hours S M L XL (None: the trade gives no figure), what comes first
ROWS = [
    ("maintenance_wash", (1, 1.25, 1.5, 2), set()),
    ("decontamination_wash", (2, 2.5, 3, 4), set()),  # its own wash is in its hours
    ("iron_removal", (0.5, 0.5, 0.75, 1), {"wash", "painted_metal"}),
    ("booster", (0.5, 0.75, 1, 1.25), {"decontamination_wash", "full_cure", "dry_gate"}),
    ("wax_renewal", (1, 1.25, 1.5, 2), {"wash"}),
    ("sealant_renewal", (1, 1.25, 1.5, 2), {"wash"}),
    ("first_check", (0.5, 0.5, 0.5, 0.5), {"wash"}),
    ("inspection", (0.75, 1, 1, 1.25), {"wash", "decontamination_wash"}),
    ("recoat", (6, 8, 10, 13), {"wash", "decontamination_wash", "prepared", "readings"}),
    ("correction", (5, 7, 9, 12), {"readings", "consent"}),
    ("cut_and_refine", (12, 16, 20, 28), {"readings", "consent"}),
    ("film_edge_check", (0.3, 0.5, 0.5, 0.75), {"wash"}),
    ("windscreen_retreat", (0.5, 0.5, 0.75, 0.75), {"glass_polish", "blades"}),
    ("wheel_retreat", (1, 1, 1.25, 1.5), {"cold_wheels", "brakes_masked"}),
    ("wheel_retreat_off", (3, 4, 4, 5), {"cold_wheels", "brakes_masked"}),
    ("trim_coat", (1, 1.5, 2, 3), {"degreased"}),
    ("leather_guard", (1.5, 2, 2.5, 3.5), {"gentle_clean"}),
    ("textile_proof", (2, 2.5, 3, None), {"wash", "dry_cloth"}),
    ("headlamps", (0.75, 1, 1, 1.25), {"masked"}),
    ("engine_bay", (1.5, 2, 2.5, 3), {"powertrain_check", "cooled"}),
    ("lay_up", (2, 2.5, 3, None), set()),
    ("wake_up", (2, 2.5, 3, None), set()),
]
# key: low and high as the trade says them, and the unit of the row
INTERVALS = {
    "wash.weeks": (4, 12, "week"),  # in the studio
    "decontaminate.months": (3, 12, "month"),  # 3 harsh, 6, 12 garaged
    "iron.months": (6, 12, "month"),
    "iron.wheel_months": (3, 6, "month"),
    "booster.months": (4, 12, "month"),  # 6 to 12, 4 to 6 harsh
    "first_check.weeks": (2, 6, "week"),
    "event.hours": (24, 48, "hour"),
}
VALUES = {
    "wash.window_weeks": 2, "decontaminate.months": 6, "decontaminate.window_weeks": 6, "booster.window_months": 2,
    "inspection.months": 12, "film_edge.months": 6,
}  # fmt: skip


@pytest.mark.parametrize(("task", "hours", "first"), ROWS, ids=[row[0] for row in ROWS])
def test_hours_and_what_comes_first(task, hours, first):
    row = TASKS[task]
    told = tuple(row.hours.get(size) for size in SIZES)
    assert told[:3] == hours[:3]
    assert told[3] == hours[3] or (hours[3] is None and row.labour_h("XL") == hours[2])
    assert first <= set(row.needs_first)
    if task in ("recoat", "leather_guard"):  # bay cure 12 to 24 h; a guard up to 12 h
        assert row.cure_hours in (12, 24)


def test_intervals_and_windows():
    for key, (low, high, unit) in INTERVALS.items():
        told = figure(key)
        assert (told.low, told.high, told.unit) == (low, high, unit), key
        assert told.mark is Mark.COMMON_PRACTICE
        assert low <= told.value <= high
    for key, value in VALUES.items():
        assert figure(key).value == value, key
    assert figure("film_edge.first_days").low == 7  # edges after 1 to 2 weeks
    assert figure("film_edge.first_days").high == 14
    assert figure("event.hot_hours").value < 24  # the same day in hot weather


def test_an_event_takes_a_third_of_an_hour_to_three_hours():
    """Common practice, no source: 0.3 to 3 h by what has happened."""
    kinds = ("bird_dropping", "sap", "fallout", "overspray", "flood")
    told = [figure(f"event.labour_{kind}") for kind in kinds]
    assert min(one.low for one in told) == min(TASKS["event_response"].hours.values()) == 0.3
    assert max(one.high for one in told) == 3
    assert len({one.value for one in told}) > 2


def test_every_prerequisite_is_said_on_the_visit_that_does_not_bring_it():
    said = {}
    for name, task in load_tasks().items():
        (one,) = bundle([due(name, 0, 10)], as_of=AS_OF, size="M")
        notes = [note for note in one.notes if note not in {task.caution for task in TASKS.values()}]
        assert len(notes) == len(set(task.needs_first) - {"wash"}), name
        said[name] = " ".join(notes)
    assert "12 to 24 hours" in said["textile_proof"]
    assert "blades are cleaned or new" in said["windscreen_retreat"]
    assert "Brakes are masked" in said["wheel_retreat_off"]
    assert "powertrain is checked" in said["engine_bay"]
    assert "bare metal" in said["iron_removal"]
    assert {need for task in TASKS.values() for need in task.needs_first} - TASKS.keys() == CONDITIONS


def test_every_row_stands_once_and_every_paid_task_has_its_price_in_the_demo():
    with (HERE / "tasks.csv").open(encoding="utf-8") as lines:
        assert set(Counter(row["task"] for row in csv.DictReader(lines)).values()) == {1}
    priced = {row["task"] for row in read_rows("prices.csv")}
    assert {row[0] for row in ROWS} - {"cut_and_refine"} | {"event_response", "wheel_swap"} <= priced


def test_iron_alone_is_contained_in_a_decontamination_and_wheels_come_first():
    """Common practice, no source: one wash, several jobs; wheels first."""
    tasks = ["decontamination_wash", "iron_removal", "wheel_swap", "wheel_retreat_off"]
    (one,) = bundle([due(task, 0, 10) for task in tasks], as_of=AS_OF, size="M")
    assert one.tasks == ("wheel_retreat_off", "wheel_swap", "decontamination_wash", "iron_removal")
    assert one.labour_h == pytest.approx(4 + 0.5 + 2.5)
