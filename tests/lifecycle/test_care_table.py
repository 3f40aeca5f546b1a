"""The table of care tasks: hours, marks, cautions, and what it refuses.

"Trade table" is the trade's list of tasks and intervals, which nobody has published: common practice, no source.
"""

from __future__ import annotations

import pytest

from lifecycle.care.rules import TASKS
from lifecycle.care.tasks_table import COLUMNS, WORD_COLUMNS, figure, interval, parse_tasks
from lifecycle.wear.marks import TableError


@pytest.mark.parametrize(
    ("task", "hours"),
    [
        ("maintenance_wash", (1, 1.25, 1.5, 2)),
        ("decontamination_wash", (2, 2.5, 3, 4)),
        ("booster", (0.5, 0.75, 1, 1.25)),
        ("wax_renewal", (1, 1.25, 1.5, 2)),
        ("first_check", (0.5, 0.5, 0.5, 0.5)),
        ("inspection", (0.75, 1, 1, 1.25)),
        ("recoat", (6, 8, 10, 13)),
        ("correction", (5, 7, 9, 12)),
        ("cut_and_refine", (12, 16, 20, 28)),
        ("film_edge_check", (0.3, 0.5, 0.5, 0.75)),
        ("windscreen_retreat", (0.5, 0.5, 0.75, 0.75)),
        ("wheel_retreat", (1, 1, 1.25, 1.5)),
        ("trim_coat", (1, 1.5, 2, 3)),
        ("leather_guard", (1.5, 2, 2.5, 3.5)),
        ("textile_proof", (2, 2.5, 3, 3)),
        ("headlamps", (0.75, 1, 1, 1.25)),
        ("engine_bay", (1.5, 2, 2.5, 3)),
        ("lay_up", (2, 2.5, 3, 3)),
    ],
)
def test_hours_by_size(task, hours):
    """Trade table, hours by size (common practice, no source); a size without a figure takes the next smaller one."""
    assert tuple(TASKS[task].labour_h(size) for size in ("S", "M", "L", "XL")) == hours


def test_size_that_does_not_exist_is_refused():
    with pytest.raises(ValueError, match="S, M, L, XL"):
        TASKS["booster"].labour_h("XXL")


def test_hazardous_work_has_its_caution():
    """House rule: the usual caution beside the work, deferring to the product's safety data sheet."""
    for task in ("decontamination_wash", "recoat", "engine_bay", "wheel_retreat", "correction", "textile_proof"):
        assert "safety data sheet" in TASKS[task].caution


def test_every_interval_has_an_order_and_a_source():
    for key in ("booster.months", "decontaminate.months", "first_check.weeks", "refinish.rest_days"):
        told = figure(key)
        assert told.low <= interval(key) <= told.high
        assert told.source


ROW = {
    "task": "polish", "title": "polish", "kind": "service", "hours_s": "1", "hours_m": "2", "hours_l": "",
    "hours_xl": "", "cure_h": "0", "needs_first": "wash", "phase": "polish", "mark": "judgement", "source": "made up",
    "caution": "",
}  # fmt: skip
WORDS = {"task": "polish", "prevents": "a", "if_postponed": "b", "self_check": "c"}


def read(row, words):
    lines = [",".join(COLUMNS), ",".join(row[name] for name in COLUMNS)]
    told = [",".join(WORD_COLUMNS), ",".join(words[name] for name in WORD_COLUMNS)]
    return parse_tasks(lines, told)


def test_a_good_row_is_read():
    assert read(ROW, WORDS)["polish"].labour_h("XL") == 2.0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"kind": "gift"}, "use one of service, promotion"),
        ({"phase": "lunch"}, "phase is 'lunch'"),
        ({"mark": "certain"}, "mark is 'certain'"),
        ({"hours_s": "much"}, "write hours as a number"),
        ({"hours_s": "-1"}, "0 or more"),
        ({"hours_m": "0.5"}, "no fewer hours for a larger size"),
        ({"source": ""}, "source is empty"),
        ({"needs_first": "magic"}, "magic"),
        ({"title": ""}, "title is empty"),
        ({"task": "other"}, "match them"),
    ],
)
def test_a_bad_row_says_what_to_mend(change, message):
    with pytest.raises(TableError, match=message):
        read({**ROW, **change}, WORDS)


def test_a_task_without_words_is_refused():
    with pytest.raises(TableError, match="three sentences"):
        read(ROW, {**WORDS, "prevents": ""})
