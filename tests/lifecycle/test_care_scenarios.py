"""Face validity: an expert's scenarios as far as due care goes (judgement, from memory), on hand-built forecasts."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from lifecycle.wear.types import (
    Band,
    EndedLayer,
    EventInput,
    Place,
    ReadingInput,
    Stage,
    StoragePeriod,
)
from tests.lifecycle.care_states import Panel, coat, days, dues, habit, refusals, report

SEA = Place(50.0, 8.0, 5.0, 300.0)
STREET = habit(parking="street", wash_method="bristle_tunnel", washes_per_year=12)
GARAGE = habit(parking="garage", km_per_year=8000)


def test_1_black_car_by_the_sea_washed_in_a_brush_tunnel():
    """First decontamination within 3 to 4 months; advise a change of wash before selling a coat."""
    applied, as_of = date(2025, 9, 1), date(2025, 10, 1)
    panel = Panel(layers=(coat("ceramic_mid", applied, (15.0, 21.0, 28.0), as_of=as_of),))
    found = dues(panel, as_of=as_of, place=SEA, habits=(STREET,))
    due = found["decontamination_wash"]
    assert (due.ideal - applied).days <= 4 * 30.44
    assert "changing the wash comes before buying a coat" in due.changed
    assert "recoat" not in found


def test_2_garaged_hatch_washed_gently():
    """Decontaminate every 9 to 12 months; booster yearly at most; no re-coat talk in year 2."""
    applied = date(2024, 3, 1)
    young = Panel(layers=(coat("ceramic_mid", applied, (38.0, 48.0, 60.0), as_of=date(2024, 4, 15)),))
    found = dues(young, as_of=date(2024, 4, 15), habits=(GARAGE,))
    assert 9 <= (found["decontamination_wash"].ideal - applied).days / 30.44 <= 12.1
    assert all(due.earliest - applied >= days(365) for task, due in found.items() if task == "booster")
    for month in range(12, 25, 3):
        as_of = applied + days(round(month * 30.44))
        panel = Panel(layers=(coat("ceramic_mid", applied, (38.0, 48.0, 60.0), as_of=as_of),))
        assert "recoat" not in dues(panel, as_of=as_of, habits=(GARAGE,))


def test_2_booster_no_more_than_yearly():
    as_of, topped = date(2026, 3, 1), date(2026, 1, 10)
    panel = Panel(
        layers=(
            coat("ceramic_mid", date(2024, 1, 1), (38.0, 48.0, 60.0)),
            coat("booster", topped, (3.0, 3.7, 4.5)),
        )
    )
    assert dues(panel, as_of=as_of, habits=(GARAGE,))["booster"].earliest - topped >= days(365)


def test_10_clogged_coupe_that_was_never_decontaminated():
    """Clogged, wear unknown: decontaminate and retest, behaviour returns in 60 to 85 of 100 cases; no re-coat."""
    as_of = date(2026, 5, 1)
    layer = coat("ceramic_mid", date(2024, 9, 1), (28.0, 34.0, 40.0), as_of=as_of, stage=Stage.UNKNOWN)
    told = ReadingInput(date(2026, 4, 30), "bonnet", "dirty", works=False, by="customer")
    found = report(Panel(layers=(layer,), clogged=True), as_of=as_of, readings=(told,))
    tasks = {due.task: due for due in found.dues}
    assert tasks["decontamination_wash"].latest <= as_of + days(42)
    assert "clogged, wear unknown" in tasks["decontamination_wash"].why
    assert "6 to 8 in 10" in tasks["decontamination_wash"].expected
    assert "retest" in tasks
    assert "recoat" not in tasks
    assert "decontaminate and retest first" in refusals(Panel(layers=(layer,), clogged=True), as_of=as_of)["recoat"]


def test_11_stored_single_stage_classic():
    """No winter reminders, wake-up visit in April, calendar cap of 60 months, no correction line at all."""
    as_of, stored = date(2026, 1, 15), (StoragePeriod(date(2025, 11, 1), date(2026, 4, 1)),)
    layer = coat("ceramic_mid", date(2022, 4, 1), (50.0, 80.0, 120.0), as_of=as_of)
    panel = Panel(layers=(layer,), decision="none")
    found = report(panel, as_of=as_of, storage=stored, paint="single_stage", habits=(GARAGE,))
    tasks = {due.task: due for due in found.dues}
    assert tasks["wake_up"].ideal.month == 4
    assert all(due.ideal >= date(2026, 4, 1) for due in found.dues)
    assert all(due.earliest >= date(2026, 4, 1) or due.ideal >= date(2026, 4, 1) for due in found.dues)
    assert not {"correction", "cut_and_refine", "recoat"} & tasks.keys()
    assert "correction" in {one.task for one in found.refused}


def test_14_thin_bonnet_thick_roof():
    """Bonnet refused or finishing only, roof possible; no due advertises a correction."""
    layer = coat("sealant", date(2026, 1, 1), (4.0, 5.0, 6.0))
    panels = (
        Panel("bonnet", (layer,), decision="finishing_only"),
        Panel("roof", (replace(layer, key="roof"),), decision="cut_and_refine_with_consent"),
    )
    found = report(*panels)
    refused = [one for one in found.refused if one.task == "correction"]
    assert [one.surfaces for one in refused] == [("bonnet",)]
    assert not any("correction" in due.task or "correct" in due.why for due in found.dues)


def test_17_bonnet_corrected_in_month_14():
    """The bonnet's stack has ended, the other panels keep their age; the maker is to be told."""
    applied, on = date(2025, 1, 1), date(2026, 2, 25)
    life = (40.0, 49.0, 60.0)
    gone = EndedLayer("bonnet coat", "ceramic_top", on, "correction")
    bonnet = Panel("bonnet", decision="one_step_with_consent", ended=(gone,))
    doors = tuple(Panel(code, (coat("ceramic_top", applied, life, key=code),), "side") for code in ("left", "right"))
    event = EventInput(on, "correction", "bonnet")
    found = dues(bonnet, *doors, events=(event,))
    assert found["maker_notice"].surfaces == ("bonnet",)
    assert found["recoat"].surfaces == ("bonnet",)
    assert found["recoat"].reason_code == "bare"
    untouched = dues(*doors)
    assert found["booster"] == untouched["booster"]
    assert found["decontamination_wash"].surfaces == untouched["decontamination_wash"].surfaces


def test_19_dropping_on_a_hot_black_roof():
    """Today, a day after it fell; soften, do not rub; etching likely, less within 3 to 6 h; budget before polishing."""
    as_of = date(2026, 7, 2)
    roof = Panel(
        "roof",
        (coat("ceramic_mid", date(2025, 9, 1), (28.0, 34.0, 40.0), as_of=as_of),),
        etch_risk=Band(0.5, 0.65, 0.8),
    )
    event = EventInput(date(2026, 7, 1), "bird_dropping", "roof", dwell_h=30.0, air_c=34.0)
    due = dues(roof, as_of=as_of, events=(event,), colour="black")["event_response"]
    assert (due.ideal, due.latest) == (as_of, as_of)
    assert "softened and lifted, not rubbed" in due.why
    assert "5 to 8 in 10" in due.expected
    assert "3 to 6 hours" in due.expected
    assert "budget is checked before any polishing" in due.expected
    assert "do not rub" in due.self_check
