"""Whole vehicles: dated habits, stacks, corrections, storage, unknown layers."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from lifecycle.wear.assessment import MODEL_VERSION, assess
from lifecycle.wear.chemistry import chemistry
from lifecycle.wear.types import (
    EventInput,
    HabitPeriod,
    LayerForecast,
    LayerInput,
    Mechanism,
    ReadingInput,
    Removal,
    Stage,
    StoragePeriod,
    SurfaceForecast,
    VehicleInput,
)
from tests.wear.vehicles import HOT_DRY, TEMPERATE, climate, habit, layer, source, surface, vehicle

APPLIED = date(2024, 9, 1)
AS_OF = date(2026, 3, 1)


def panel(of: VehicleInput, koppen: str = "Cfb") -> SurfaceForecast:
    return assess(of, source(koppen)).surfaces[0]


def only(of: VehicleInput, koppen: str = "Cfb") -> LayerForecast:
    return panel(of, koppen).layers[0]


def one(*layers: LayerInput, **changes: object) -> VehicleInput:
    return vehicle(surface(*(layers or (layer("ceramic_mid", APPLIED),))), **changes)


def reference_months_consumed(habits: tuple[HabitPeriod, ...]) -> float:
    mid = layer("ceramic_mid", date(2023, 1, 1))
    consumed = only(vehicle(surface(mid), habits=habits, as_of=date(2025, 1, 1))).life_consumed
    assert consumed is not None
    return consumed.p50 * chemistry("ceramic_mid").months.middle


def test_a_move_is_summed_over_dated_periods() -> None:
    # Worked sum of the duty tables (judgement, from memory): 14 months garaged at night and 10 in the street by the sea
    # are 25.9 reference months; today's profile alone would say 32.8, the first alone 21.1.
    garage = habit(start=date(2023, 1, 1), end=date(2024, 3, 1), parking="garage_nights", km_per_year=10000.0)
    sea = replace(TEMPERATE[1], sea_distance_m=400.0)
    street = habit(
        start=date(2024, 3, 1), parking="street", wash_method="soft_cloth_tunnel", washes_per_year=12.0, place=sea
    )
    assert reference_months_consumed((garage, street)) == pytest.approx(25.9, abs=2.0)
    assert reference_months_consumed((replace(street, start=date(2020, 1, 1)),)) == pytest.approx(32.8, abs=2.5)
    assert reference_months_consumed((replace(garage, end=None),)) == pytest.approx(21.1, abs=2.0)


def test_a_period_cut_in_two_changes_nothing() -> None:
    whole = habit(start=date(2020, 1, 1))
    parts = (replace(whole, end=date(2025, 5, 17)), replace(whole, start=date(2025, 5, 17)))
    together, cut = only(one(habits=(whole,))), only(one(habits=parts))
    assert cut.chance_dates == together.chance_dates
    assert cut.life_consumed is not None
    assert together.life_consumed is not None
    assert cut.life_consumed.p50 == pytest.approx(together.life_consumed.p50, rel=1e-12)


def test_past_wear_is_not_recomputed_by_a_new_habit() -> None:
    calm = habit(start=date(2020, 1, 1), parking="garage")
    harsh = habit(start=AS_OF, parking="street", wash_method="bristle_tunnel")
    before, after = only(one(habits=(calm,))), only(one(habits=(replace(calm, end=AS_OF), harsh)))
    assert after.life_consumed.p50 == pytest.approx(before.life_consumed.p50, rel=1e-12)
    assert after.renewal_months.p50 < before.renewal_months.p50


def test_stored_cars_still_age_but_less() -> None:
    winters = (StoragePeriod(date(2024, 11, 1), date(2025, 4, 1)), StoragePeriod(date(2025, 11, 1), date(2026, 4, 1)))
    driven, stored = only(one()), only(one(storage=winters))
    assert 0 < stored.life_consumed.p50 < driven.life_consumed.p50
    always = only(one(storage=(StoragePeriod(date(2020, 1, 1), None),)))
    assert always.life_consumed.p50 > 0
    # No forecast beyond the mild column: 42 to 60 months, common practice, no source.
    assert always.renewal_months.p90 <= 60.01


def test_the_layer_on_top_takes_load_and_never_resets_the_base() -> None:
    base = layer("ceramic_mid", APPLIED)
    bare = only(one(base))
    topped = only(one(base, layer("booster", date(2025, 9, 1))))
    assert topped.life_consumed.p50 < bare.life_consumed.p50
    before = only(vehicle(surface(base), as_of=date(2025, 9, 1)))
    assert topped.life_consumed.p50 > before.life_consumed.p50
    filmed = vehicle(surface(layer("film_body", APPLIED), layer("film_top_coat", APPLIED)))
    body, top = panel(filmed).layers
    assert (body.kind, top.kind) == ("film_body", "film_top_coat")
    assert top.renewal_months.p50 < body.renewal_months.p50


def test_heat_passes_a_film_and_sunlight_hardly() -> None:
    wax = layer("wax", date(2026, 2, 1))
    film = layer("film_body", date(2026, 2, 2))
    open_air = only(one(wax))
    under = only(one(wax, film))
    share = {reason.mechanism: reason.share for reason in under.reasons}
    bare = {reason.mechanism: reason.share for reason in open_air.reasons}
    assert share[Mechanism.HEAT] > 2 * bare[Mechanism.HEAT]
    assert under.life_consumed.p50 < 0.4 * open_air.life_consumed.p50


@pytest.mark.parametrize(
    "told",
    [
        {"events": (EventInput(on=date(2025, 11, 1), kind="correction", surface="bonnet"),)},
        {"events": (EventInput(on=date(2025, 11, 1), kind="repaint", surface="bonnet"),)},
        {"events": (EventInput(on=date(2025, 11, 1), kind="part_swap", surface="bonnet"),)},
    ],
)
def test_corrections_repaints_and_part_swaps_end_what_lies_on_that_surface_only(told: dict[str, object]) -> None:
    coat, wax = layer("ceramic_top", APPLIED), layer("wax", date(2026, 1, 1))
    both = vehicle(surface(coat, wax), surface(coat, code="roof"), **told)
    bonnet, roof = assess(both, source("Cfb")).surfaces
    assert [one.kind for one in bonnet.layers] == ["wax"]
    assert [(one.kind, one.ended) for one in bonnet.ended] == [("ceramic_top", date(2025, 11, 1))]
    assert [one.kind for one in roof.layers] == ["ceramic_top"]
    assert roof.ended == ()


def test_a_correction_on_film_takes_its_top_coat_only() -> None:
    film, top = layer("film_body", APPLIED), layer("film_top_coat", APPLIED)
    polished = surface(film, top, removals=(Removal(on=date(2025, 6, 1), stage="finishing"),))
    found = panel(vehicle(polished))
    assert [one.kind for one in found.layers] == ["film_body"]
    assert found.clear_coat.decision == "none"


def test_a_renewed_wax_ends_the_old_one_and_a_second_ceramic_does_not() -> None:
    found = panel(one(layer("wax", date(2025, 10, 1)), layer("wax", date(2026, 1, 1))))
    assert [one.applied for one in found.layers] == [date(2026, 1, 1)]
    found = panel(one(layer("ceramic_mid", APPLIED), layer("ceramic_mid", date(2026, 1, 1))))
    assert len(found.layers) == 2


def test_a_top_up_event_implies_a_booster_and_says_so() -> None:
    told = one(events=(EventInput(on=date(2026, 1, 10), kind="top_up", surface="bonnet"),))
    base, booster = panel(told).layers
    assert (booster.kind, booster.implied, base.implied) == ("booster", True, False)
    assert any("assumed" in note for note in booster.notes)


def test_an_unknown_layer_gets_no_forecast_and_widens_what_lies_on_it() -> None:
    over = one(layer("unknown", date(2020, 1, 1)), layer("ceramic_mid", APPLIED))
    unknown, known = panel(over).layers
    assert (unknown.stage, unknown.function_left, unknown.renewal_on) == (Stage.UNKNOWN, None, None)
    assert unknown.notes
    assert known.ln_life_sd > only(one()).ln_life_sd


def test_no_beading_without_decontamination_leaves_the_wear_unknown_until_it_is_cleaned() -> None:
    seen = ReadingInput(on=date(2026, 2, 20), surface="bonnet", clean_state="washed", beading_score=0)
    found = panel(one(readings=(seen,)))
    assert found.clogged
    assert found.layers[0].stage is Stage.UNKNOWN
    assert found.layers[0].function_left is not None
    cleaned = EventInput(on=date(2026, 2, 25), kind="decontamination", surface="bonnet")
    assert panel(one(readings=(seen,), events=(cleaned,))).layers[0].stage is not Stage.UNKNOWN


def test_a_better_look_makes_hopeful_and_a_worse_one_does_not() -> None:
    def look(score: int) -> LayerForecast:
        seen = ReadingInput(on=AS_OF, surface="bonnet", clean_state="decontaminated", beading_score=score)
        return only(one(readings=(seen,)))

    assert look(5).renewal_months.p50 > only(one()).renewal_months.p50 > look(1).renewal_months.p50
    assert look(5).ln_life_sd < only(one()).ln_life_sd
    assert "longer" in look(5).evidence_says
    assert "shorter" in look(1).evidence_says
    assert look(5).seen_on == AS_OF


def test_a_look_through_a_spent_booster_speaks_of_the_coat_below() -> None:
    old = one(
        layer("ceramic_mid", APPLIED),
        layer("booster", date(2025, 1, 1)),
        readings=(ReadingInput(on=AS_OF, surface="bonnet", clean_state="decontaminated", beading_score=5),),
    )
    base, booster = panel(old).layers
    assert base.seen_on == AS_OF
    assert booster.seen_on is None


def test_reasons_sum_to_one_and_name_the_main_cause() -> None:
    # High pH is the main cause of an early end (judgement, from memory).
    alkaline = one(habits=(habit(wash_method="touch_free_high_ph"),))
    found = only(alkaline).reasons
    assert sum(reason.share for reason in found) == pytest.approx(1.0)
    assert found[0].mechanism is Mechanism.WASH_CHEMISTRY
    assert "high-pH" in found[0].says


def test_single_events_take_life() -> None:
    calm = only(one())
    for kind in ("bird_dropping", "sap", "fallout", "overspray", "flood", "decontamination"):
        told = one(events=(EventInput(on=date(2025, 7, 3), kind=kind, surface="bonnet", dwell_h=30.0, air_c=34.0),))
        assert only(told).life_consumed.p50 > calm.life_consumed.p50, kind


def test_what_happens_after_the_day_of_the_forecast_is_not_known() -> None:
    later = one(
        layer("ceramic_mid", APPLIED),
        layer("booster", date(2026, 6, 1)),
        events=(EventInput(on=date(2026, 7, 1), kind="repaint", surface="bonnet"),),
        readings=(ReadingInput(on=date(2026, 8, 1), surface="bonnet", clean_state="washed", beading_score=0),),
    )
    assert [one.kind for one in panel(later).layers] == ["ceramic_mid"]
    assert not panel(later).ended
    assert only(later).renewal_months == only(one()).renewal_months


def test_a_vehicle_of_which_nobody_knows_the_use_gets_a_wider_band() -> None:
    asked, silent = only(one()), only(replace(one(), habits=()))
    assert silent.ln_life_sd > asked.ln_life_sd
    assert panel(replace(one(), habits=())).notes


def test_habits_away_from_home_take_the_climate_of_that_place() -> None:
    def climates(place: object) -> object:
        return climate(*HOT_DRY) if place == HOT_DRY[1] else climate(*TEMPERATE)

    moved = one(habits=(habit(place=HOT_DRY[1], parking="street"),))
    stayed = one(habits=(habit(parking="street"),))
    there = assess(moved, climates).surfaces[0].layers[0]  # type: ignore[arg-type]
    here = assess(stayed, climates).surfaces[0].layers[0]  # type: ignore[arg-type]
    assert there.renewal_months.p50 < here.renewal_months.p50


def test_a_surface_without_layers_still_gets_clogging_and_clear_coat() -> None:
    found = panel(vehicle(surface()))
    assert found.layers == ()
    assert found.clear_coat.decision == "unknown"
    assert found.clogging.p50 > 0
    assert found.notes


def test_the_forecast_says_what_made_it() -> None:
    whole = assess(replace(one(), assumed=("vehicle.size: M",)), source("Cfb"))
    assert whole.model_version == MODEL_VERSION
    assert whole.assumed == ("vehicle.size: M",)
    assert set(whole.yearly_stress) == {str(mechanism) for mechanism in Mechanism}
    course = whole.surfaces[0].layers[0].course
    assert course[0].on == APPLIED
    assert course[0].p50 == pytest.approx(1.0)
    assert any(point.on == AS_OF for point in course)
    assert all(point.p10 <= point.p50 <= point.p90 for point in course)


def test_an_unknown_kind_is_refused() -> None:
    with pytest.raises(ValueError, match="no kind of layer"):
        assess(one(layer("paste", APPLIED)), source("Cfb"))
