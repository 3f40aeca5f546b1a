"""The pure rules of stacks: the gate, what goes over what, cure times.

"Trade rules" below are the rules that detailing studios work by: common practice, no source.
"""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.care.cure_rules import cold_factor, cured_days, rests
from lifecycle.care.over_rules import Ground, Laying, Standing, after, may_go_over
from lifecycle.care.stack_rules import (
    BASE_COATS,
    CERAMIC,
    FILM,
    GROUPS,
    LAID_BARE,
    NO_SHEET,
    PREPS,
    SACRIFICIAL,
    TABLE,
    Conditions,
    Level,
    Sheet,
    gate,
    least_surface_c,
    slot,
)
from lifecycle.models.layer import BASE_KINDS, FILM_KINDS
from lifecycle.wear.choices import LAYER_KINDS
from lifecycle.wear.marks import load_figures

DAY = date(2026, 3, 2)
WIPED = frozenset({"washed", "decontaminated", "panel_wiped"})
BARE = WIPED | {"polished"}


def blocked(found) -> set[str]:
    return {one.code for one in found if one.level is Level.BLOCK}


def warned(found) -> set[str]:
    return {one.code for one in found if one.level is Level.WARN}


def over(kind: str, *stack: Standing, prep=WIPED, sheet=NO_SHEET, **ground):
    new = Laying(kind=kind, on=DAY, prep=frozenset(prep), sheet=sheet)
    return may_go_over(new=new, ground=Ground(stack=stack, **ground))


def old(kind: str, days: int = 400, **more) -> Standing:
    return Standing(kind, DAY - timedelta(days=days), **more)


# the gate


@pytest.mark.parametrize(("air_c", "rh", "need"), [(14, 80, 13.6), (28, 75, 26.2)])
def test_the_dew_point_gate_at_its_check_values(air_c, rh, need):
    """Dew point by the Magnus formula (17.625 / 243.04, Alduchov & Eskridge 1996); 3 °C above it is published guidance
    for protective coatings. Check values of the trade table: dew 10.6 and 23.2 °C, so 13.6 and 26.2 °C are needed."""
    assert least_surface_c(air_c=air_c, rh_pct=rh) == pytest.approx(need, abs=0.05)
    cold = gate(kind="ceramic_mid", now=Conditions(air_c, need - 0.1, rh))
    assert "dew_point" in blocked(cold)
    finding = next(one for one in cold if one.code == "dew_point")
    assert (finding.mark, finding.figure) == ("published", "3 K")
    assert f"needs {need:.1f} °C" in finding.says
    assert "dew_point" not in blocked(gate(kind="ceramic_mid", now=Conditions(air_c, need + 0.1, rh)))


@settings(max_examples=300, deadline=None)
@given(air=st.floats(-5, 40), rh=st.floats(5, 100), surface=st.floats(-10, 50))
def test_the_gate_blocks_exactly_below_dew_point_and_three(air, rh, surface):
    found = gate(kind="ceramic_mid", now=Conditions(air, surface, rh))
    assert ("dew_point" in blocked(found)) == (surface < least_surface_c(air_c=air, rh_pct=rh))
    assert least_surface_c(air_c=air, rh_pct=rh) <= air + 3.0 + 1e-6, "the dew point never lies above the air"


@pytest.mark.parametrize(
    ("kind", "now", "stopped"),
    [
        # Trade rules: ceramic and sealant 10-30 °C of air and panel, film 18-25 °C, glass and wheels from 10 °C.
        ("ceramic_mid", Conditions(9.9, 20, 50), {"air_temperature"}),
        ("ceramic_mid", Conditions(10, 18, 50), set()),
        ("sealant", Conditions(20, 30.5, 50), {"surface_temperature"}),
        ("film_body", Conditions(17, 20, 50), {"air_temperature"}),
        ("film_body", Conditions(20, 26, 50), {"surface_temperature"}),
        ("film_body", Conditions(20, 20, 95), set()),
        ("windscreen_coat", Conditions(9, 15, 40), {"air_temperature"}),
        ("wheel_coat", Conditions(20, 45, 40), {"surface_temperature"}),
        # Trade rule and published coating guidance: stop at 80 to 85 % of humidity.
        ("ceramic_mid", Conditions(20, 24, 85), {"humidity"}),
        ("ceramic_mid", Conditions(20, 24, 79), set()),
    ],
)
def test_windows_of_temperature_and_humidity(kind, now, stopped):
    assert blocked(gate(kind=kind, now=now)) == stopped


def test_humidity_warns_before_it_stops_and_where_it_is_dry():
    """Trade rules: stop at 80 to 85 %; below 30 % it flashes oddly; 40 to 65 % is ideal."""
    found = {rh: gate(kind="ceramic_mid", now=Conditions(20, 24, rh)) for rh in (25, 35, 50, 80)}
    assert [sorted(warned(found[rh])) for rh in (25, 35, 50, 80)] == [["humidity_low"], [], [], ["humidity_high"]]
    assert [one.code for one in found[35]] == ["humidity_not_ideal"]
    assert found[50] == ()


def test_the_data_sheet_overrules_the_table():
    """Trade rule: the product data sheet wins."""
    sheet = Sheet(air_low_c=5, air_high_c=25, rh_high_pct=60, recoat_low_h=2, recoat_high_h=24)
    assert gate(kind="ceramic_mid", now=Conditions(6, 12, 55), sheet=sheet)[0].level is not Level.BLOCK
    found = gate(kind="ceramic_mid", now=Conditions(26, 26, 61, 1.5), sheet=sheet, coats=2)
    assert blocked(found) == {"air_temperature", "humidity", "recoat_early"}
    assert {one.mark for one in found if one.level is Level.BLOCK} == {"product's data sheet"}


@pytest.mark.parametrize(("gap", "level"), [(0.5, Level.WARN), (2, None), (6, Level.WARN), (30, Level.BLOCK)])
def test_the_second_coat_has_its_window(gap, level):
    """Trade rule: 1 to 4 h, some the same day; later it needs keying or a polish, a new job."""
    found = gate(kind="ceramic_mid", now=Conditions(coat_gap_h=gap), coats=2)
    assert next((one.level for one in found if one.code.startswith("recoat")), None) is level
    assert not any(one.code.startswith("recoat") for one in gate(kind="wax", now=Conditions(coat_gap_h=gap), coats=2))


def test_what_was_not_measured_is_told_and_what_cannot_be_is_refused():
    assert [one.code for one in gate(kind="ceramic_mid", now=Conditions())] == ["dew_unchecked"]
    need = least_surface_c(air_c=20, rh_pct=40)
    assert f"needs {need:.1f} °C or more; measure it." in gate(kind="wax", now=Conditions(20, None, 40))[0].says
    with pytest.raises(ValueError, match="between 0 and 100"):
        gate(kind="ceramic_mid", now=Conditions(rh_pct=101))
    with pytest.raises(ValueError, match="finite"):
        gate(kind="ceramic_mid", now=Conditions(air_c=float("nan")))


# what goes over what: each row a trade rule


@pytest.mark.parametrize(
    ("kind", "stack", "prep", "stopped"),
    [
        ("ceramic_mid", [], BARE, set()),
        ("ceramic_mid", [old("wax")], WIPED, {"ceramic_over_wax"}),
        ("ceramic_mid", [old("sealant")], WIPED, {"ceramic_over_wax"}),
        ("ceramic_mid", [old("wax")], BARE, set()),
        ("ceramic_mid", [], {"polished"}, {"not_panel_wiped"}),
        ("ceramic_mid", [old("ceramic_top")], WIPED, {"ceramic_over_ceramic"}),
        ("ceramic_mid", [old("ceramic_top")], {"stripped", "panel_wiped"}, set()),
        ("ceramic_mid", [old("unknown")], WIPED, {"over_unknown"}),
        ("ceramic_mid", [old("film_body", 1)], WIPED, {"film_unsettled"}),
        ("ceramic_mid", [old("film_body", 8)], WIPED, set()),
        ("film_body", [old("ceramic_mid")], WIPED, {"film_over_coat"}),
        ("film_body", [old("wax")], WIPED, {"film_over_coat"}),
        ("film_body", [old("ceramic_mid")], BARE, set()),
        ("film_body", [old("film_body")], WIPED, {"film_over_film"}),
        ("film_body", [old("film_body"), old("ceramic_mid", 90)], {"film_removed"}, set()),
        ("booster", [old("ceramic_mid")], WIPED, set()),
        ("booster", [old("ceramic_mid", 20)], WIPED, {"base_in_cure"}),
        ("booster", [old("ceramic_mid")], {"washed"}, {"not_decontaminated"}),
        ("booster", [old("ceramic_mid", stage="end")], WIPED, {"base_worn_out"}),
        ("booster", [old("wax")], WIPED, {"booster_over_wax"}),
        ("sealant", [old("wax")], WIPED, {"sealant_over_wax"}),
        ("sealant", [old("sealant")], WIPED, set()),
        ("wax", [old("sealant")], WIPED, set()),
        ("wax", [old("ceramic_mid", 10)], WIPED, {"base_in_cure"}),
        ("windscreen_coat", [], WIPED, {"glass_unpolished"}),
        ("windscreen_coat", [], BARE, set()),
        ("unknown", [old("wax"), old("ceramic_mid", 2)], (), set()),
    ],
)
def test_what_may_go_over_what(kind, stack, prep, stopped):
    substrate = "glass" if kind == "windscreen_coat" else "steel"
    found = over(kind, *stack, prep=prep, substrate=substrate)
    assert blocked(found) == stopped
    assert all(one.says.endswith(".") and one.source and one.mark for one in found)


def test_a_data_sheet_may_permit_what_practice_refuses():
    """Trade rule: film not over a coating unless its data sheet permits it; ceramic on film that the sheet names."""
    permits = Sheet(allowed_over=("ceramic_mid", "film_body"))
    assert blocked(over("film_body", old("ceramic_mid"), sheet=permits)) == set()
    assert "film_not_named" in warned(over("ceramic_mid", old("film_body")))
    assert "film_not_named" not in warned(over("ceramic_mid", old("film_body"), sheet=permits))


def test_wax_over_ceramic_is_pointless_but_not_refused():
    found = over("wax", old("ceramic_mid"))
    assert blocked(found) == set()
    assert warned(found) == {"wax_over_ceramic"}


def test_a_booster_says_that_the_base_keeps_its_age():
    assert [one.code for one in over("booster", old("ceramic_mid"))] == ["base_age_stays"]


def test_nothing_noted_warns_where_something_wrong_would_block():
    assert warned(over("booster", old("ceramic_mid"), prep=())) == {"not_decontaminated"}
    recent = over("booster", old("ceramic_mid"), prep=("washed",), decontaminated_on=DAY - timedelta(days=3))
    assert warned(recent) | blocked(recent) == set()


def test_a_cold_base_cures_for_longer():
    """Trade rule: half as long again per 10 °C below 20; so 35 days are enough at 20 °C and not at 5 °C."""
    assert blocked(over("booster", old("ceramic_mid", 35, air_c=20.0))) == set()
    assert blocked(over("booster", old("ceramic_mid", 35, air_c=5.0))) == {"base_in_cure"}
    own = Sheet(no_chemicals_days=10)
    assert blocked(over("booster", old("ceramic_mid", 11, sheet=own))) == set()


def test_fresh_refinish_is_not_sealed():
    """Trade rule, told as published by painters: no sealing coat on fresh refinish for 30-90 days; ask the painter."""
    for kind in ("ceramic_mid", "wax", "sealant", "film_body"):
        fresh = over(kind, prep=BARE, finish="refinish", refinished_on=DAY - timedelta(days=60))
        assert blocked(fresh) == {"fresh_refinish"}, kind
        assert "Ask the painter" in fresh[0].says
    rested = over("ceramic_mid", prep=BARE, finish="refinish", refinished_on=DAY - timedelta(days=90))
    assert blocked(rested) == set()
    assert "refinish_undated" in warned(over("ceramic_mid", prep=BARE, finish="refinish"))


def test_matte_paint_is_not_polished_and_not_waxed():
    """Trade rule: matte never polished, no wax that adds gloss, matte-fit products only."""
    assert blocked(over("wax", paint="matte")) == {"matte_gloss"}
    assert blocked(over("ceramic_mid", prep=BARE, paint="matte")) == {"matte_polished"}
    fit = over("ceramic_mid", paint="matte", sheet=Sheet(matte_fit=True))
    assert warned(fit) | blocked(fit) == set()


# cure


def test_the_cure_of_a_ceramic_coat_by_the_trade_table():
    """Trade table: dry 12-24 h, no soaking rain 24-48 h, no wash 7 days (5-14), no chemicals 7-30 days, full 7-21."""
    found = {rest.step: (rest.low_h, rest.high_h) for rest in rests("ceramic_mid")}
    assert found == {"dry": (12, 24), "rain": (24, 48), "wash": (120, 336), "chemicals": (168, 720), "full": (168, 504)}
    assert cold_factor(10) == pytest.approx(1.5)
    cold = {rest.step: rest.high_h for rest in rests("ceramic_mid", air_c=10)}
    assert (cold["dry"], cold["full"], cold["chemicals"]) == (36, 756, 756), "nothing before full cure"


def test_the_cure_of_others_by_the_trade_table():
    """Trade table: wax 1-12 h; sealant 4-24; film no wash 5-7 days, settled 2-6 weeks; glass 4-12, wipers 12-24."""
    assert [(rest.step, rest.low_h, rest.high_h) for rest in rests("wax")] == [("dry", 1, 12)]
    assert [(rest.step, rest.low_h, rest.high_h) for rest in rests("sealant")] == [("dry", 4, 24)]
    film = {rest.step: (rest.low_h / 24, rest.high_h / 24) for rest in rests("film_body")}
    assert film == {"wash": (5, 7), "full": (14, 42)}
    glass = {rest.step: (rest.low_h, rest.high_h) for rest in rests("windscreen_coat")}
    assert glass == {"dry": (4, 12), "wipers": (12, 24)}
    assert rests("unknown") == ()


def test_the_sheet_sets_the_cure_and_a_range_becomes_days():
    sheet = Sheet(keep_dry_h=6, no_wash_days=10, no_chemicals_days=14, full_days=10)
    found = {rest.step: rest for rest in rests("ceramic_mid", sheet=sheet)}
    assert found["wash"].until(DAY) == (DAY + timedelta(days=10), DAY + timedelta(days=10))
    assert found["dry"].until(DAY) == (DAY + timedelta(days=1), DAY + timedelta(days=1))
    assert cured_days("ceramic_mid", sheet=sheet) == 14
    plain = {rest.step: rest for rest in rests("ceramic_mid")}
    assert plain["wash"].until(DAY) == (DAY + timedelta(days=5), DAY + timedelta(days=14))


# the table, the kinds and the machine


def test_every_figure_has_its_source_and_every_kind_its_cure():
    assert all(figure.source and figure.mark for figure in load_figures(TABLE).values())
    assert set(GROUPS) == set(LAYER_KINDS) - {"unknown"}
    assert all(rests(kind) for kind in GROUPS)


def test_the_database_and_the_rules_name_the_same_base_coats():
    assert set(BASE_KINDS) == BASE_COATS
    assert set(FILM_KINDS) == FILM


def test_the_rules_load_without_any_framework():
    code = (
        "import sys, lifecycle.care.over_rules, lifecycle.care.cure_rules;"
        "print([name for name in ('django', 'celery', 'redis') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


LAYINGS = st.lists(
    st.tuples(
        st.sampled_from(LAYER_KINDS),
        st.frozensets(st.sampled_from(sorted(set(PREPS) - {"none"})), max_size=3),
        st.integers(0, 60),
    ),
    max_size=8,
)


@settings(max_examples=300, deadline=None)
@given(steps=LAYINGS, refinished=st.none() | st.integers(0, 200))
def test_whatever_passes_the_rules_leaves_a_sound_stack(steps, refinished):
    """No two layers in one slot, no ceramic on wax or sealant, no film on a coat, no topper on a base in cure."""
    day, ground = DAY, Ground()
    if refinished is not None:
        ground = replace(ground, finish="refinish", refinished_on=DAY - timedelta(days=refinished))
    for kind, prep, wait in steps:
        day += timedelta(days=wait)
        new = Laying(kind=kind, on=day, prep=prep)
        if blocked(may_go_over(new=new, ground=ground)):
            continue
        before, ground = ground, after(new=new, ground=ground)
        slots = [slot(one.kind) for one in ground.stack if one.kind != "unknown"]
        assert len(slots) == len(set(slots))
        below = {one.kind for one in ground.stack[:-1]}
        if kind in CERAMIC:
            assert not below & SACRIFICIAL
        if kind in FILM:
            assert not below & (CERAMIC | SACRIFICIAL)
        if kind in SACRIFICIAL:
            bases = [one for one in ground.stack if one.kind in CERAMIC]
            assert all((day - one.applied).days >= 30 for one in bases)
            assert all(one in before.stack for one in bases), "a top-up never restarts its base"
        if prep & LAID_BARE:
            stale = [one for one in ground.stack if one.applied < day and one.kind not in FILM]
            assert stale == []
