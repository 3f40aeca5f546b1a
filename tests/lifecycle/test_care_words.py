"""The words of the care rules: each reason names surface, task and range; no threats, no bare figures."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.care.rules import TASKS, Due, DueReport
from lifecycle.care.wording import LAYER_WORDS, in_ten, surface_words
from lifecycle.wear.choices import (
    EVENT_KINDS,
    LAYER_KINDS,
    PAINTS,
    PARKING,
    POWERTRAINS,
    ROAD_SALT,
    WASH_METHODS,
)
from lifecycle.wear.types import (
    Band,
    ContractInspection,
    EventInput,
    ReadingInput,
    StoragePeriod,
)
from tests.lifecycle.care_states import AS_OF, NORTH, SOUTH, Panel, coat, days, dues, habit, report, unknown_layer

WORDS = ("why", "known", "changed", "expected", "prevents", "if_postponed", "self_check")
DAY = r"\d{1,2} [A-Z][a-z]+ \d{4}"
RANGE = re.compile(rf"between {DAY} and {DAY}|on {DAY} itself")
FORBIDDEN = re.compile(r"\b(safe|safely|void|voids|warranty|guarantee|must|danger|ruin|destroy)\b", re.IGNORECASE)
BARE_PERCENTAGE = re.compile(r"\d\s*(%|per ?cent)")


def panel(kind, applied, months, code="bonnet", orientation="flat", substrate="steel", **change):
    return Panel(code, (coat(kind, applied, months),), orientation, substrate, **change)


MID = panel("ceramic_mid", date(2025, 3, 1), (28.0, 34.0, 40.0))
END = panel("ceramic_mid", date(2022, 12, 1), (28.0, 34.0, 40.0))
FILM = panel("film_body", date(2026, 2, 20), (72.0, 90.0, 108.0), "front_bumper", "front", "plastic")
OLD_FILM = panel("film_body", date(2019, 1, 1), (72.0, 90.0, 108.0), "front_bumper", "front", "plastic")
RETEST = (ReadingInput(date(2026, 2, 20), "bonnet", "decontaminated", beading_score=2),)
LOOK = (ReadingInput(date(2026, 2, 1), "front_bumper", "washed", works=True),)
WINTER = (StoragePeriod(date(2026, 4, 1), date(2026, 10, 1)),)
DROPPING = (EventInput(date(2026, 2, 28), "bird_dropping", "roof", dwell_h=20, air_c=31),)

RARE = {"habits": (habit(washes_per_year=5),)}
SCREEN, WHEEL, TRIM = (
    ("windscreen", "screen", "glass"),
    ("wheels", "wheel", "aluminium"),
    ("sill_trim", "sill", "plastic"),
)
SEATS, ROOF = ("front_seats", "inside", "leather"), ("soft_top", "flat", "textile")
BAY, LAMPS = ("engine_bay", "inside", "plastic"), ("headlamps", "front", "plastic")

# (task, surface as it is written, panels, what else)
STATES = [
    ("wax_renewal", "bonnet", (panel("wax", date(2026, 1, 10), (1.4, 1.8, 2.3)),), {}),
    ("sealant_renewal", "roof", (panel("sealant", date(2025, 10, 1), (4.0, 5.0, 6.0), "roof"),), {}),
    ("booster", "bonnet", (MID,), {}),
    ("recoat", "bonnet", (END,), {"readings": RETEST}),
    ("retest", "bonnet", (replace(END, clogged=True),), {}),
    ("decontamination_wash", "bonnet", (MID,), {"habits": (habit(road_salt="heavy"),)}),
    ("maintenance_wash", "bonnet", (panel("sealant", date(2026, 2, 1), (4, 5, 6)),), RARE),
    ("first_check", "front bumper", (FILM,), {}),
    ("film_edge_check", "front bumper", (FILM,), {}),
    ("film_renewal", "front bumper", (OLD_FILM,), {"readings": LOOK}),
    ("film_top_up", "bonnet", (panel("film_top_coat", date(2024, 10, 1), (15, 19, 24)),), {}),
    ("windscreen_retreat", "windscreen", (panel("windscreen_coat", date(2025, 6, 1), (9, 12, 15), *SCREEN),), {}),
    ("wheel_retreat", "wheels", (panel("wheel_coat", date(2025, 5, 1), (9, 12, 15), *WHEEL),), {}),
    ("trim_coat", "sill trim", (panel("trim_coat", date(2025, 1, 1), (12, 15, 20), *TRIM),), {}),
    ("leather_guard", "front seats", (panel("leather_guard", date(2025, 12, 1), (3, 3.5, 4), *SEATS),), {}),
    ("textile_proof", "soft top", (panel("textile_guard", date(2025, 5, 1), (8, 10, 12), *ROOF),), {}),
    ("engine_bay", "engine bay", (panel("engine_bay_dressing", date(2025, 10, 1), (4, 5, 6), *BAY),), {}),
    ("headlamps", "headlamps", (panel("headlamp_coat", date(2025, 1, 1), (12, 15, 20), *LAMPS),), {}),
    ("event_response", "roof", (MID, panel("wax", date(2026, 2, 1), (1.4, 1.8, 2.3), "roof")), {"events": DROPPING}),
    ("inspection", "whole car", (MID,), {"contracts": (ContractInspection(date(2026, 4, 1), 30),)}),
    ("lay_up", "whole car", (MID,), {"storage": WINTER}),
    ("inspection", "whole car", (Panel(layers=(unknown_layer(date(2026, 1, 1)),)),), {}),
]  # fmt: skip


@pytest.mark.parametrize(("task", "surface", "panels", "more"), STATES, ids=[f"{row[0]}-{row[1]}" for row in STATES])
def test_why_names_surface_task_and_range(task, surface, panels, more):
    due = dues(*panels, **more)[task]
    assert surface in due.why.lower()
    assert TASKS[task].title in due.why
    assert RANGE.search(due.why), due.why
    assert due.why.endswith(".")
    assert ". " not in due.why
    check_words(due)


def check_words(due: Due) -> None:
    """Nothing empty, no threat, no bare percentage, no machine words."""
    for name in WORDS:
        text = getattr(due, name)
        assert text.strip(), (due.task, name)
        assert not FORBIDDEN.search(text), text
        assert not BARE_PERCENTAGE.search(text), text
        assert "_" not in text, text
        assert "{" not in text, text
        assert "None" not in text, text


def test_an_estimate_is_called_one():
    """House rule: without a look, or with one older than six months, it is an estimate, and says since when."""
    base = coat("ceramic_mid", date(2025, 3, 1), (28.0, 34.0, 40.0))
    never = dues(Panel(layers=(base,)))["booster"].known
    old = dues(Panel(layers=(replace(base, seen_on=date(2025, 6, 1)),)))["booster"].known
    new = dues(Panel(layers=(replace(base, seen_on=date(2026, 1, 1)),)))["booster"].known
    assert "an estimate, not seen since 1 March 2025" in never
    assert "an estimate, not seen since 1 June 2025" in old
    assert "estimate" not in new
    assert "1 January 2026" in new


def test_expected_is_a_range():
    due = dues(panel("sealant", date(2025, 10, 1), (4.0, 5.0, 6.0)))["sealant_renewal"]
    assert re.search(rf"about 8 of 10 such cases .* between {DAY} and {DAY}", due.expected)


def test_wax_that_lasts_weeks_is_said_plainly():
    """House rule: honest sales, the cheapest adequate way named."""
    due = dues(panel("wax", date(2026, 2, 1), (0.8, 1.0, 1.3)))["wax_renewal"]
    assert "sealant lasts longer here" in due.changed


def test_every_kind_of_layer_has_its_words():
    assert set(LAYER_WORDS) == set(LAYER_KINDS)


def test_a_budget_sentence_with_a_percentage_is_not_repeated():
    found = report(replace(MID, decision="none", why="25 % of the clear coat is gone"))
    assert all("%" not in one.why for one in found.refused)


@pytest.mark.parametrize(
    ("codes", "words"),
    [
        ((), "whole car"),
        (("bonnet",), "bonnet"),
        (("bonnet", "roof"), "bonnet and roof"),
        (("a", "b", "c", "d", "door_fl"), "a, b, c and 2 more"),
    ],
)
def test_surfaces_in_words(codes, words):
    assert surface_words(codes) == words


@pytest.mark.parametrize(
    ("band", "words"),
    [
        (Band(0.5, 0.6, 0.8), "5 to 8 in 10"),
        (Band(0.0, 0.0, 0.0), "0 to 1 in 10"),
        (Band(0.99, 1.0, 1.0), "9 to 10 in 10"),
        (Band(0.6, 0.75, 0.85), "6 to 8 in 10"),
    ],
)
def test_chances_are_told_as_cases_in_ten(band, words):
    assert in_ten(band) == words


def any_day(first: int, last: int) -> st.SearchStrategy[date]:
    return st.integers(first, last).map(lambda count: AS_OF + days(count))


@st.composite
def layers(draw):
    kind = draw(st.sampled_from(LAYER_KINDS))
    applied = draw(any_day(-2500, 0))
    if kind == "unknown":
        return unknown_layer(applied)
    months = sorted(draw(st.lists(st.floats(0.5, 140.0), min_size=3, max_size=3)))
    seen = draw(st.one_of(st.none(), any_day(-400, 0)))
    return coat(kind, applied, tuple(months), seen_on=seen if seen and seen >= applied else None)


PLACES = [("flat", "steel"), ("side", "aluminium"), ("screen", "glass"), ("wheel", "aluminium"), ("inside", "leather")]


@st.composite
def panels(draw, code):
    orientation, substrate = draw(st.sampled_from(PLACES))
    return Panel(
        code,
        tuple(draw(st.lists(layers(), max_size=3))),
        orientation,
        substrate,
        decision=draw(st.sampled_from([None, "unknown", "none", "finishing_only", "one_step_with_consent"])),
        clogged=draw(st.booleans()),
        clean_on=draw(st.one_of(st.none(), any_day(-700, 0))),
        finish=draw(st.sampled_from(["factory", "refinish"])),
        refinished_on=draw(st.one_of(st.none(), any_day(-200, 0))),
    )


@st.composite
def reports(draw) -> DueReport:
    start = draw(st.one_of(st.none(), any_day(-150, 200)))
    length = draw(st.one_of(st.none(), st.integers(10, 200)))
    end = start + days(length) if start and length else None
    kinds = draw(st.lists(st.sampled_from(EVENT_KINDS), max_size=2))
    drawn = [draw(panels(code)) for code in ("bonnet", "roof", "left_door")[: draw(st.integers(0, 3))]]
    return report(
        *drawn,
        place=draw(st.sampled_from((NORTH, SOUTH))),
        paint=draw(st.sampled_from(PAINTS)),
        powertrain=draw(st.sampled_from(POWERTRAINS)),
        habits=(
            habit(
                parking=draw(st.sampled_from(PARKING)),
                wash_method=draw(st.sampled_from(WASH_METHODS)),
                washes_per_year=draw(st.sampled_from([0, 2, 12, 52])),
                road_salt=draw(st.sampled_from(ROAD_SALT)),
            ),
        ),
        storage=() if start is None else (StoragePeriod(start, end),),
        events=tuple(
            EventInput(draw(any_day(-100, 0)), kind, draw(st.sampled_from([None, "bonnet"]))) for kind in kinds
        ),
        contracts=tuple(
            ContractInspection(draw(any_day(-200, 400)), draw(st.integers(0, 60)), "yearly")
            for _ in range(draw(st.integers(0, 2)))
        ),
    )


@settings(max_examples=120, deadline=None)
@given(reports())
def test_whatever_the_car_the_dues_hold_together(found):
    tasks = [due.task for due in found.dues]
    assert len(tasks) == len(set(tasks))
    for due in found.dues:
        assert due.earliest <= due.ideal <= due.latest
        assert due.ideal >= AS_OF
        assert due.task in TASKS
        assert len(set(due.surfaces)) == len(due.surfaces)
        check_words(due)
        assert RANGE.search(due.why), due.why
    assert not {"correction", "cut_and_refine"} & set(tasks)
    for one in found.refused:
        assert one.surfaces
        assert not FORBIDDEN.search(one.why)
        assert not BARE_PERCENTAGE.search(one.why)
        assert "{" not in one.why
        offered = {code for due in found.dues if due.task == one.task for code in due.surfaces}
        assert not offered & set(one.surfaces)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 900), st.integers(0, 1))
def test_time_never_loses_an_overdue_renewal(age, extra):
    """Once a window has opened, the due stays in the report until something is done."""
    layer = panel("sealant", AS_OF - days(age), (4.0, 5.0, 6.0))
    opened = layer.layers[0].renewal_on.p10 <= AS_OF
    found = dues(layer, habits=(habit(washes_per_year=26 + extra),))
    assert ("sealant_renewal" in found) or not opened
