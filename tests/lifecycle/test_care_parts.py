"""Care rules beyond the paint: clocks, film, glass, wheels, cloth, engine bays, storage, events.

"Trade table" is the trade's list of tasks and intervals, which nobody has published: common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from lifecycle.care.rules import TASKS
from lifecycle.wear.choices import LAYER_KINDS
from lifecycle.wear.types import (
    Band,
    ContractInspection,
    EndedLayer,
    EventInput,
    ReadingInput,
    Removal,
    Stage,
    StoragePeriod,
)
from tests.lifecycle.care_states import AS_OF, SOUTH, Panel, car, coat, days, dues, refusals, report, unknown_layer

MID = (28.0, 34.0, 40.0)


def mid(applied: date = date(2025, 3, 1), **change):
    return coat("ceramic_mid", applied, MID, **change)


def seen(on: date, surface: str = "bonnet", by: str = "studio") -> ReadingInput:
    return ReadingInput(on, surface, "washed", works=True, by=by)


def part(kind: str, applied: date, months: tuple[float, float, float], orientation: str, substrate: str) -> Panel:
    return Panel(kind, (coat(kind, applied, months),), orientation, substrate, decision=None)


# every kind of layer


@pytest.mark.parametrize(
    ("kind", "task", "orientation", "substrate"),
    [
        ("wax", "wax_renewal", "flat", "steel"),
        ("sealant", "sealant_renewal", "flat", "steel"),
        ("booster", "booster", "flat", "steel"),
        ("film_top_coat", "film_top_up", "flat", "steel"),
        ("windscreen_coat", "windscreen_retreat", "screen", "glass"),
        ("windscreen_wipe_on", "windscreen_retreat", "screen", "glass"),
        ("side_glass_coat", "side_glass_retreat", "side", "glass"),
        ("wheel_coat", "wheel_retreat", "wheel", "aluminium"),
        ("trim_coat", "trim_coat", "side", "plastic"),
        ("trim_dressing", "trim_coat", "side", "plastic"),
        ("headlamp_coat", "headlamps", "front", "plastic"),
        ("leather_coat", "leather_guard", "inside", "leather"),
        ("leather_guard", "leather_guard", "inside", "leather"),
        ("textile_guard", "textile_proof", "flat", "textile"),
        ("engine_bay_dressing", "engine_bay", "inside", "plastic"),
        ("engine_bay_coating", "engine_bay", "inside", "plastic"),
        ("metal_sealant", "metal_sealing", "front", "aluminium"),
    ],
)
def test_each_kind_of_layer_has_its_renewal(kind, task, orientation, substrate):
    """Trade table, one row per kind; the window is that of chance 0.1 to 0.5 of the layer's own life."""
    due = dues(part(kind, date(2026, 1, 20), (1.2, 1.5, 1.8), orientation, substrate))[task]
    assert due.layer_keys == (f"{kind}:2026-01-20",)
    assert due.earliest <= date(2026, 2, 26)
    assert AS_OF <= due.latest <= date(2026, 3, 15)


def test_every_kind_of_layer_is_known_to_the_rules():
    """No kind of the wear tables falls through without a due within its life."""
    for kind in LAYER_KINDS:
        if kind == "unknown":
            continue
        found = dues(part(kind, date(2025, 8, 1), (6.0, 7.0, 8.0), "flat", "steel"))
        assert found.keys() - {"inspection", "maintenance_wash", "decontamination_wash"}, kind


def test_layers_of_unknown_kind_are_inspected_only():
    """House rule: unknown layers get an inspection, no forecast and no sale."""
    found = report(Panel(layers=(unknown_layer(date(2025, 1, 1)),)))
    assert [due.task for due in found.dues] == ["inspection"]
    assert found.dues[0].reason_code == "unknown"


def test_a_car_without_live_layers_is_inspected_only():
    """House rule."""
    found = report(Panel(), Panel("roof"), storage=(StoragePeriod(date(2026, 6, 1), date(2026, 9, 1)),))
    assert [due.task for due in found.dues] == ["inspection"]


def test_new_film_is_talked_about_only_after_a_look():
    """House rule: honest sales; film lasts 6 to 9 years at the reference use (trade table)."""
    film = coat("film_body", date(2019, 1, 1), (72.0, 90.0, 108.0))
    panel = Panel(layers=(film,))
    assert "film_renewal" not in dues(panel)
    assert "looks at the old one first" in refusals(panel)["film_renewal"]
    assert "film_renewal" in dues(panel, readings=(seen(date(2026, 2, 1)),))


def test_film_edges_after_one_to_two_weeks_then_half_yearly():
    """Trade table."""
    new = Panel(layers=(coat("film_body", date(2026, 2, 20), (72.0, 90.0, 108.0)),))
    first = dues(new)["film_edge_check"]
    assert (first.earliest, first.latest) == (date(2026, 2, 27), date(2026, 3, 6))
    old = Panel(layers=(coat("film_body", date(2025, 2, 20), (72.0, 90.0, 108.0)),))
    later = dues(old, readings=(seen(date(2026, 1, 10)),))["film_edge_check"]
    assert later.earliest <= date(2026, 7, 11) <= later.latest


@pytest.mark.parametrize(
    ("applied", "months", "moved"),
    [(date(2025, 12, 1), (9.0, 11.6, 15.0), True), (date(2025, 6, 1), (9.0, 11.6, 15.0), False)],
)
def test_windscreen_before_autumn(applied, months, moved):
    """Trade table: before autumn."""
    due = dues(part("windscreen_coat", applied, months, "screen", "glass"))["windscreen_retreat"]
    assert (due.reason_code == "season") is moved
    assert (due.ideal == date(2026, 9, 15)) is moved
    assert due.latest <= date(2026, 10, 31)


def test_windscreen_before_the_southern_autumn():
    screen = part("windscreen_coat", date(2025, 5, 1), (9.0, 11.6, 15.0), "screen", "glass")
    assert dues(screen, place=SOUTH)["windscreen_retreat"].ideal.month == 3


def test_wheels_at_the_tyre_change():
    """Trade table: at the tyre change, where winters are cold."""
    due = dues(part("wheel_coat", date(2025, 5, 1), (10.0, 12.0, 14.4), "wheel", "aluminium"))["wheel_retreat"]
    assert due.ideal == date(2026, 4, 15)


def test_cloth_in_a_dry_spell():
    """Trade table: dry spell; April has the fewest rain days of the made-up climate."""
    due = dues(part("textile_guard", date(2025, 5, 1), (10.0, 12.0, 14.0), "flat", "textile"))["textile_proof"]
    assert due.ideal == date(2026, 4, 15)
    assert due.earliest <= due.ideal <= due.latest


@pytest.mark.parametrize("powertrain", ["electric", "hybrid", "combustion"])
def test_engine_bays_and_high_voltage(powertrain):
    """Trade rule: no steam and no untrained work near orange cables, never while charging."""
    bay = part("engine_bay_dressing", date(2025, 10, 1), (4.0, 5.0, 6.0), "inside", "plastic")
    found, refused = dues(bay, powertrain=powertrain), refusals(bay, powertrain=powertrain)
    if powertrain == "electric":
        assert "engine_bay" not in found
        assert "no steam" in refused["engine_bay"]
        assert "orange cables" in refused["engine_bay"]
    else:
        assert ("orange cables" in found["engine_bay"].changed) is (powertrain == "hybrid")
        assert "engine_bay" not in refused


# clocks

CONTRACT = ContractInspection(date(2026, 9, 1), 30, "yearly look")


def test_contract_inspection_is_a_clock_of_its_own():
    """House rule: contract dates are independent; due give or take the tolerance, whatever the wear."""
    expected = (date(2026, 8, 2), date(2026, 9, 1), date(2026, 10, 1))
    for layer in (mid(), mid(date(2023, 1, 1)), coat("wax", date(2026, 2, 1), (1.4, 1.8, 2.3))):
        due = dues(Panel(layers=(layer,)), contracts=(CONTRACT,))["inspection"]
        assert (due.earliest, due.ideal, due.latest) == expected
        assert (due.contract, due.reason_code) == (date(2026, 9, 1), "contract")
        assert "1 September 2026" in due.why


def test_contract_date_stands_in_storage_too():
    stored = (StoragePeriod(date(2026, 7, 1), date(2026, 11, 1)),)
    due = dues(Panel(layers=(mid(),)), contracts=(CONTRACT,), storage=stored)["inspection"]
    assert due.ideal == date(2026, 9, 1)


def test_contract_inspection_is_served_by_a_look_in_its_window():
    panel, as_of = Panel(layers=(mid(),)), date(2026, 9, 20)
    served = dues(panel, as_of=as_of, contracts=(CONTRACT,), readings=(seen(date(2026, 8, 20)),))
    assert served["inspection"].contract is None
    told = dues(panel, as_of=as_of, contracts=(CONTRACT,), readings=(seen(date(2026, 8, 20), by="customer"),))
    assert told["inspection"].contract == date(2026, 9, 1)


def test_missed_contract_date_is_said_plainly_and_not_for_ever():
    panel = Panel(layers=(mid(),))
    late = dues(panel, as_of=date(2026, 11, 1), contracts=(CONTRACT,))["inspection"]
    assert "overdue since 1 October 2026" in late.why
    assert late.latest >= date(2026, 11, 1)
    assert dues(panel, as_of=date(2027, 3, 1), contracts=(CONTRACT,))["inspection"].contract is None


def test_the_next_of_two_contracts_comes_first():
    later = ContractInspection(date(2027, 1, 1), 14, "another")
    assert dues(Panel(layers=(mid(),)), contracts=(later, CONTRACT))["inspection"].contract == CONTRACT.due


def test_yearly_look_counts_from_the_last_one():
    """Trade table: 12 months."""
    due = dues(Panel(layers=(mid(),)), readings=(seen(date(2025, 10, 1)),))["inspection"]
    assert due.earliest <= date(2026, 10, 1) <= due.latest
    assert due.reason_code == "yearly"


def test_first_check_two_to_six_weeks_after_application():
    """Trade table."""
    panel = Panel(layers=(mid(date(2026, 2, 20)),))
    due = dues(panel)["first_check"]
    assert (due.earliest, due.latest) == (date(2026, 3, 6), date(2026, 4, 3))
    assert "first_check" not in dues(panel, as_of=date(2026, 4, 1), readings=(seen(date(2026, 3, 20)),))
    assert "first_check" not in dues(panel, as_of=date(2026, 6, 1))


# storage

WINTER = (StoragePeriod(date(2026, 11, 1), date(2027, 4, 1)),)


def test_lay_up_before_and_wake_up_after_storage():
    """Trade table: lay-up before, wake-up after; storage is more than six weeks unused."""
    panel = Panel(layers=(mid(),))
    lay_up = dues(panel, as_of=date(2026, 9, 1), storage=WINTER)["lay_up"]
    assert date(2026, 9, 15) < lay_up.earliest <= lay_up.latest < date(2026, 11, 1)
    wake_up = dues(panel, as_of=date(2027, 1, 10), storage=WINTER)["wake_up"]
    assert (wake_up.earliest, wake_up.ideal.month) == (date(2027, 4, 1), 4)
    short = (StoragePeriod(date(2026, 11, 1), date(2026, 12, 1)),)
    assert "lay_up" not in dues(panel, as_of=date(2026, 10, 1), storage=short)


def test_no_window_lies_in_storage():
    """House rule: no winter reminders for a stored car."""
    panels = (
        Panel(layers=(mid(date(2025, 9, 1)),)),
        part("trim_coat", date(2025, 9, 1), (15, 16, 17), "side", "plastic"),
    )
    found = dues(*panels, as_of=date(2027, 1, 10), storage=WINTER)
    assert {"decontamination_wash", "trim_coat", "wake_up"} <= found.keys()
    assert all(due.ideal >= date(2027, 4, 1) for due in found.values())


def test_storage_without_an_end_asks_for_nothing():
    """House rule: nothing now is an answer."""
    stored = (StoragePeriod(date(2025, 11, 1), None),)
    assert dues(Panel(layers=(mid(),)), storage=stored) == {}


def test_wake_up_is_over_once_the_studio_has_seen_the_car():
    panel, as_of = Panel(layers=(mid(),)), date(2027, 4, 20)
    assert "wake_up" in dues(panel, as_of=as_of, storage=WINTER)
    assert "wake_up" not in dues(panel, as_of=as_of, storage=WINTER, readings=(seen(date(2027, 4, 10)),))


# events


def dropping(on: date = AS_OF, **change) -> EventInput:
    return replace(EventInput(on, "bird_dropping", "bonnet", dwell_h=2.0, air_c=15.0), **change)


@pytest.mark.parametrize(("air_c", "last"), [(34.0, AS_OF), (15.0, date(2026, 3, 3))])
def test_event_the_same_day_in_heat_and_two_days_else(air_c, last):
    """Trade table: answer within 24 to 48 h, in hot weather the same day."""
    due = dues(Panel(layers=(mid(),)), events=(dropping(air_c=air_c),))["event_response"]
    assert due.earliest == AS_OF
    assert due.latest == last
    assert "not rubbed" in due.why


def test_event_is_over_once_seen_or_cleaned_or_long_ago():
    panel = Panel(layers=(mid(),))
    event = dropping(date(2026, 2, 20))
    assert "event_response" in dues(panel, events=(event,))
    assert "event_response" not in dues(panel, events=(event,), readings=(seen(date(2026, 2, 25)),))
    cleaned = EventInput(date(2026, 2, 25), "decontamination", "bonnet")
    assert "event_response" not in dues(panel, events=(event, cleaned))
    assert "event_response" not in dues(panel, events=(dropping(date(2025, 10, 1)),))


def test_event_after_two_weeks_is_a_look_without_haste():
    due = dues(Panel(layers=(mid(),)), events=(dropping(date(2026, 2, 1)),))["event_response"]
    assert due.latest == AS_OF + days(28)


def test_event_on_the_whole_car_names_the_body():
    panels = (Panel("bonnet", (mid(),)), Panel("roof", (mid(),)))
    due = dues(*panels, events=(replace(dropping(), kind="fallout", surface=None),))["event_response"]
    assert set(due.surfaces) == {"bonnet", "roof"}


def test_flood_is_looked_at_first():
    """Caution: a flooded electric vehicle stays outdoors until trained people have seen it."""
    due = dues(Panel(layers=(mid(),)), events=(replace(dropping(), kind="flood", surface=None),))["event_response"]
    assert "before anything is cleaned" in due.why
    assert "trained people" in TASKS["event_response"].caution


def test_the_maker_is_told_of_a_correction():
    """Trade rule: a correction on a coated panel ends its coat; its maker is to be told."""
    gone = EndedLayer("old", "ceramic_top", date(2026, 2, 10), "correction")
    panels = (Panel("roof", (mid(),)), Panel("bonnet", ended=(gone,)))
    event = EventInput(date(2026, 2, 10), "correction", "bonnet")
    due = dues(*panels, events=(event,))["maker_notice"]
    assert due.surfaces == ("bonnet",)
    assert "maker is to be told" in due.why
    assert "maker_notice" not in dues(*panels)
    _, vehicle = car(*panels)
    removed = replace(vehicle.surfaces[1], removals=(Removal(date(2026, 2, 10), "one_step"),))
    assert "maker_notice" in dues(*panels, surfaces=(vehicle.surfaces[0], removed))
    coated_again = replace(panels[1], layers=(mid(date(2026, 2, 12)),))
    assert "maker_notice" not in dues(panels[0], coated_again, events=(event,))


def test_etching_is_told_as_a_range():
    panel = Panel(layers=(mid(stage=Stage.SETTLED),), etch_risk=Band(0.5, 0.7, 0.8))
    due = dues(panel, events=(dropping(air_c=34.0),))["event_response"]
    assert "5 to 8 in 10" in due.expected
