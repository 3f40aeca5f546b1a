"""Care rules for paint: washing, decontamination, boosters, re-coats, budget.

"Trade table" below is the trade's list of tasks and intervals, which nobody has published: common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from lifecycle.care.clean_rules import decontamination_months
from lifecycle.care.coat_rules import booster_months
from lifecycle.care.curing import cure_days, touchable_on
from lifecycle.care.facts import facts_of
from lifecycle.wear.types import (
    EventInput,
    LayerInput,
    Place,
    ReadingInput,
    Stage,
    StoragePeriod,
)
from tests.lifecycle.care_states import (
    AS_OF,
    SETTLED,
    SOUTH,
    Panel,
    car,
    coat,
    days,
    dues,
    habit,
    refusals,
    report,
)

MID = (28.0, 34.0, 40.0)
HARSH = habit(parking="street", wash_method="bristle_tunnel", washes_per_year=12)
GARAGE = habit(parking="garage", km_per_year=8000)


def mid(applied: date = date(2025, 3, 1), months=MID, **change):
    return coat("ceramic_mid", applied, months, **change)


def retest(on: date, code: str = "bonnet") -> ReadingInput:
    return ReadingInput(on, code, "decontaminated", beading_score=2)


# washing and decontamination


@pytest.mark.parametrize(
    ("contamination", "low", "high"),
    [(1.0, 5.5, 6.5), (2.35, 3.0, 4.0), (1.7, 3.0, 4.0), (0.5, 11.0, 12.0), (0.1, 12.0, 12.0), (9.0, 3.0, 3.0)],
)
def test_decontamination_interval(contamination, low, high):
    """Trade table: 6 months, 3 to 4 harsh, 12 garaged. 2.35 is K of the trade's worked sum: street, sea, few washes."""
    assert low <= decontamination_months(contamination) <= high


def test_contamination_of_the_worked_sum():
    """Trade's worked sum (common practice, no source): street 1.4, sea at 400 m 1.4, monthly washes 1.2, K = 2.35."""
    place = Place(50.0, 8.0, 10.0, 400.0)
    forecast, vehicle = car(Panel(layers=(mid(),)), place=place, habits=(replace(HARSH, wash_method="two_bucket"),))
    assert facts_of(forecast=forecast, vehicle=vehicle).contamination == pytest.approx(2.35, rel=0.05)


def test_decontamination_is_due_by_time_give_or_take_six_weeks():
    """Trade table: 6 months give or take 6 weeks at moderate use."""
    due = dues(Panel(layers=(mid(),), clean_on=date(2025, 12, 1)))["decontamination_wash"]
    assert due.ideal == date(2026, 6, 2)
    assert due.latest - due.ideal == due.ideal - due.earliest == days(42)
    assert due.reason_code == "interval"


@pytest.mark.parametrize(
    ("place", "as_of", "applied", "spring"),
    [
        (Place(58.0, 6.0, 5.0, 9000.0), date(2026, 2, 1), date(2025, 11, 1), (date(2026, 3, 15), date(2026, 5, 15))),
        (SOUTH, date(2026, 8, 1), date(2026, 5, 1), (date(2026, 9, 15), date(2026, 11, 15))),
    ],
)
def test_salted_car_is_decontaminated_after_the_salt_season(place, as_of, applied, spring):
    """Trade table: after the salt season, in spring. Salt from November to March in the north."""
    panel = Panel(layers=(mid(applied, as_of=as_of),))
    salted = dues(panel, as_of=as_of, place=place, habits=(habit(road_salt="heavy"),))["decontamination_wash"]
    plain = dues(panel, as_of=as_of, place=place)["decontamination_wash"]
    assert salted.reason_code == "season"
    assert spring[0] <= salted.earliest <= salted.ideal <= salted.latest <= spring[1]
    assert plain.reason_code == "interval"


def test_spring_is_done_once_it_has_been_cleaned():
    salted = habit(road_salt="heavy")
    due = dues(Panel(layers=(mid(),), clean_on=date(2026, 4, 10)), as_of=date(2026, 5, 1), habits=(salted,))
    assert due["decontamination_wash"].earliest > date(2026, 5, 20)


def test_clogged_is_cleaned_and_retested_before_anything_is_sold():
    """Trade rule: a dirty surface without beads says little about wear; decontaminate, retest, then talk."""
    reading = ReadingInput(date(2026, 2, 25), "bonnet", "dirty", works=False, by="customer")
    panel = Panel(layers=(mid(stage=Stage.UNKNOWN),), clogged=True)
    found = dues(panel, readings=(reading,))
    assert {"decontamination_wash", "retest"} <= found.keys()
    assert not {"booster", "recoat"} & found.keys()
    assert found["decontamination_wash"].reason_code == "clogging"
    assert "clogged" in found["decontamination_wash"].why
    assert {"booster", "recoat"} <= refusals(panel, readings=(reading,)).keys()


def test_standing_still_does_not_use_up_the_interval():
    """Judgement: storage neither clogs a coat nor counts towards its next wash."""
    panel = Panel(layers=(mid(date(2025, 9, 1)),))
    stored = (StoragePeriod(date(2025, 11, 1), date(2026, 4, 1)),)
    plain = dues(panel)["decontamination_wash"].ideal
    assert dues(panel, storage=stored)["decontamination_wash"].ideal == plain + days(151)


def test_a_studio_wash_only_where_washing_is_rare_or_harsh():
    """Trade table: own wash every 2 to 4 weeks, else a studio wash every 4 to 12 weeks."""
    panel = Panel(layers=(mid(date(2026, 2, 1)),))
    assert "maintenance_wash" not in dues(panel)
    assert "maintenance_wash" in dues(panel, habits=(habit(washes_per_year=6),))
    harsh = dues(panel, habits=(habit(wash_method="bristle_tunnel"),))["maintenance_wash"]
    assert "bristle tunnel" in harsh.changed
    assert "yourself" in harsh.expected


def test_a_wash_inside_a_decontamination_is_not_asked_for_twice():
    panel = Panel(layers=(mid(),), clean_on=date(2025, 9, 1))
    found = dues(panel, habits=(habit(washes_per_year=6),))
    assert "decontamination_wash" in found
    assert "maintenance_wash" not in found


# cure


@pytest.mark.parametrize(("air_c", "expected"), [(25.0, 30.0), (20.0, 30.0), (0.0, 42.0), (-10.0, 52.5)])
def test_cure_takes_longer_in_the_cold(air_c, expected):
    """Trade table: no booster for up to 30 days; full cure up to 21 days, half as long again per 10 K below 20 °C."""
    assert cure_days(air_c) == pytest.approx(expected)


def test_the_data_sheet_sets_how_long_a_coat_is_left_alone():
    """Trade rule: the data sheet wins; stretched by the cold, 1.9 times at 2 °C (February here)."""
    layer = mid(date(2026, 2, 20))
    forecast, vehicle = car(Panel(layers=(layer,)))
    for own, expected in ((None, 40), (10.0, 19)):  # 21 days of full cure by the table, 10 by the sheet
        told = LayerInput(key=layer.key, kind=layer.kind, applied=layer.applied, cure_days=own)
        sheeted = replace(vehicle, surfaces=(replace(vehicle.surfaces[0], layers=(told,)),))
        facts = facts_of(forecast=forecast, vehicle=sheeted)
        assert touchable_on(facts.surfaces[0], facts) == layer.applied + days(expected)


def test_no_booster_onto_a_coat_in_cure():
    """Trade rule: no booster before full cure (up to 30 days); February is colder than 20 °C, so it takes longer."""
    applied = date(2026, 2, 20)
    topped = EventInput(date(2026, 2, 20), "top_up", "bonnet")
    layer = mid(applied, months=(4.0, 5.0, 6.0), stage=Stage.SETTLED)
    due = dues(Panel(layers=(layer,)), habits=(HARSH,), events=(topped,))["booster"]
    assert due.earliest >= applied + days(30)
    rested = Panel(layers=(mid(),), finish="refinish", refinished_on=date(2026, 2, 1))
    assert dues(rested)["booster"].earliest == date(2026, 5, 2)


def test_no_chemicals_onto_a_coat_in_cure():
    """Trade rule: no chemicals for up to 30 days, even if the coat is clogged already."""
    panel = Panel(layers=(mid(date(2026, 2, 20)),), clogged=True)
    assert dues(panel)["decontamination_wash"].earliest >= date(2026, 3, 22)
    rested = Panel(layers=(mid(date(2025, 9, 1)),), finish="refinish", refinished_on=date(2026, 2, 1))
    assert dues(rested)["decontamination_wash"].earliest == date(2026, 5, 2)


def test_fresh_refinish_rests_before_a_sealing_coat():
    """Trade rule, told as published by painters: no sealing coat for 30 to 90 days; the upper end is kept."""
    wax = coat("wax", date(2026, 2, 1), (1.4, 1.8, 2.3))
    panel = Panel(layers=(wax,), finish="refinish", refinished_on=date(2026, 2, 1))
    assert dues(panel)["wax_renewal"].earliest >= date(2026, 5, 2)
    assert dues(replace(panel, finish="factory", refinished_on=None))["wax_renewal"].earliest < date(2026, 5, 2)


def test_fresh_film_is_left_alone_for_a_week():
    """Trade table: no wash on new film for 5 to 7 days."""
    film = coat("film_body", date(2026, 2, 27), (72.0, 90.0, 108.0))
    wax = coat("wax", date(2026, 1, 5), (1.4, 1.8, 2.3))
    assert dues(Panel(layers=(film, wax)))["wax_renewal"].earliest == date(2026, 3, 6)


# booster


@pytest.mark.parametrize(("contamination", "low", "high"), [(1.0, 6, 12), (2.35, 4, 6), (0.5, 12, 12)])
def test_booster_interval(contamination, low, high):
    """Trade table: 6 to 12 months, 4 to 6 on harsh use; yearly at most for a garaged car (expert's judgement)."""
    assert low <= booster_months(contamination) <= high


def test_booster_on_a_settled_coat_by_interval():
    layer = mid(date(2025, 3, 1))
    assert layer.stage is Stage.SETTLED
    due = dues(Panel(layers=(layer,), clean_on=date(2026, 2, 1)))["booster"]
    assert date(2025, 9, 1) <= due.earliest <= date(2025, 11, 1)
    assert due.ideal == AS_OF or due.latest >= AS_OF


def test_fresh_coat_waits_until_it_has_settled():
    """Trade table of stages: fresh, nothing due but gentle washing; settled, the booster window opens."""
    layer = mid(date(2025, 12, 1), months=(40.0, 60.0, 80.0))
    due = dues(Panel(layers=(layer,)))["booster"]
    assert layer.stage is Stage.FRESH
    assert (due.ideal - layer.applied).days >= SETTLED * 60 * 30.4375 - 2


def test_a_top_up_restarts_the_interval_and_not_the_coat():
    """Trade rule: a booster does not restart the age of its base."""
    base = mid(date(2024, 9, 1))
    top = coat("booster", date(2026, 2, 1), (3.0, 3.7, 4.5))
    due = dues(Panel(layers=(base, top)))["booster"]
    assert due.earliest > date(2026, 7, 1)
    assert due.layer_keys == (base.key,)
    event = EventInput(date(2026, 2, 1), "top_up", "bonnet")
    assert dues(Panel(layers=(base,)), events=(event,))["booster"].ideal == due.ideal


def test_no_booster_rescues_a_coat_at_its_end():
    """Trade rule: never a top-up on a failed coat."""
    layer = mid(date(2022, 6, 1))
    assert layer.stage in (Stage.END, Stage.GONE)
    assert "booster" not in dues(Panel(layers=(layer,)))
    assert "end" in refusals(Panel(layers=(layer,)))["booster"]


def test_no_booster_whose_window_opens_after_the_end_of_the_coat():
    layer = mid(date(2025, 11, 1), months=(4.5, 6.0, 8.0))
    assert layer.stage is Stage.SETTLED or layer.stage is Stage.TIRED
    assert "booster" not in dues(Panel(layers=(layer,)), habits=(GARAGE,))


def test_no_booster_on_a_coat_whose_state_is_unknown():
    """House rule: unknown is said, nothing is sold on it."""
    assert "booster" not in dues(Panel(layers=(mid(stage=Stage.UNKNOWN),)))


def test_booster_alone_goes_by_its_wear():
    layer = coat("booster", date(2026, 1, 1), (3.0, 3.7, 4.5))
    due = dues(Panel(layers=(layer,)))["booster"]
    assert due.earliest == layer.renewal_on.p10
    assert due.latest == layer.renewal_on.p50


# re-coat


def ended_coat():
    return mid(date(2022, 12, 1), seen_on=date(2026, 2, 20))


def test_recoat_is_talked_about_only_after_a_retest():
    """House rule: decontaminate and retest before a re-coat."""
    panel = Panel(layers=(ended_coat(),))
    before = dues(panel)
    assert "recoat" not in before
    assert {"retest", "inspection"} & before.keys()
    assert "retest" in refusals(panel)["recoat"]
    after = dues(panel, readings=(retest(date(2026, 2, 20)),))
    assert after["recoat"].surfaces == ("bonnet",)
    assert "Cheaper first" in after["recoat"].changed
    assert "retest" not in after


def test_an_old_retest_does_not_count():
    """Trade rule: an inspection counts half after about six months outdoors."""
    found = dues(Panel(layers=(ended_coat(),)), readings=(retest(date(2025, 8, 1)),))
    assert "recoat" not in found


@pytest.mark.parametrize(("decision", "word"), [("none", "used up"), ("unknown", "not known"), (None, "not known")])
def test_recoat_needs_a_budget(decision, word):
    """Trade rule: the strip before a re-coat is polishing and counts as removal."""
    panel = Panel(layers=(ended_coat(),), decision=decision)
    readings = (retest(date(2026, 2, 20)),)
    assert "recoat" not in dues(panel, readings=readings)
    assert word in refusals(panel, readings=readings)["recoat"]


@pytest.mark.parametrize("decision", ["finishing_only", "one_step_with_consent", "cut_and_refine_with_consent"])
def test_recoat_within_the_budget(decision):
    panel = Panel(layers=(ended_coat(),), decision=decision)
    assert "recoat" in dues(panel, readings=(retest(date(2026, 2, 20)),))


def test_a_tired_coat_without_budget_may_still_be_topped_up():
    layer = mid(date(2023, 8, 15))
    panel = Panel(layers=(layer,), decision="none", clean_on=date(2026, 2, 20))
    assert layer.stage is Stage.TIRED
    found = report(panel, readings=(retest(date(2026, 2, 20)),))
    assert "booster" in {due.task for due in found.dues}
    assert "recoat" in {one.task for one in found.refused}


def test_recoat_over_film_takes_no_clear_coat():
    film = coat("film_body", date(2020, 12, 1), (72.0, 90.0, 108.0))
    panel = Panel(layers=(film, ended_coat()), decision="none")
    assert "recoat" in dues(panel, readings=(retest(date(2026, 2, 20)),))


def test_wear_window_of_a_coat_opens_with_a_look():
    """A window opens at chance 0.1: 28 months after 1 March 2024 is 1 July 2026."""
    contract_free = dues(Panel(layers=(mid(date(2024, 3, 1)),)), readings=(retest(date(2025, 6, 1)),))
    look = contract_free.get("retest") or contract_free["inspection"]
    assert look.earliest <= date(2026, 7, 1) <= look.latest + days(60)
    assert "recoat" not in contract_free


# budget


@pytest.mark.parametrize(
    ("decision", "task", "word"),
    [
        ("unknown", "correction", "not known"),
        ("none", "correction", "used up"),
        ("finishing_only", "correction", "light finishing only"),
        ("one_step_with_consent", "cut_and_refine", "one step"),
    ],
)
def test_over_budget_or_unknown_no_correction_is_offered(decision, task, word):
    """House rule: over budget or unknown, no correction offered."""
    panel = Panel(layers=(mid(),), decision=decision)
    found = report(panel)
    assert word in refusals(panel)[task]
    assert not {"correction", "cut_and_refine"} & {due.task for due in found.dues}


def test_within_the_budget_nothing_is_refused():
    assert not {"correction", "cut_and_refine"} & refusals(Panel(layers=(mid(),))).keys()


@pytest.mark.parametrize(("paint", "word"), [("single_stage", "colour"), ("matte", "matte")])
def test_single_stage_and_matte_have_no_correction_line(paint, word):
    """Trade rules: single-stage paint loses its colour, matte paint its matte."""
    panel = Panel(layers=(ended_coat(),))
    found = report(panel, paint=paint, readings=(retest(date(2026, 2, 20)),))
    assert not {"correction", "recoat"} & {due.task for due in found.dues}
    assert word in refusals(panel, paint=paint)["correction"]


def test_a_bare_panel_is_offered_its_layer_again_or_a_reason():
    panel = Panel("roof", layers=(mid(),))
    gone = LayerInput("old", "ceramic_top", date(2024, 1, 1), ended=date(2026, 2, 1))
    forecast, vehicle = car(panel, Panel("bonnet"))
    surfaces = (vehicle.surfaces[0], replace(vehicle.surfaces[1], layers=(gone,)))
    found = dues(panel, Panel("bonnet"), surfaces=surfaces)
    assert forecast.surfaces[1].layers == ()
    assert found["recoat"].surfaces == ("bonnet",)
    assert found["recoat"].reason_code == "bare"
    refused = refusals(panel, Panel("bonnet", decision="unknown"), surfaces=surfaces)
    assert "wax or sealant" in refused["recoat"]
