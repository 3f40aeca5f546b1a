"""Another way of living: the difference is told at one and the same rate, and costs say what they are made of."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from lifecycle.wear.assessment import assess
from lifecycle.wear.types import HabitPeriod, ReadingInput, VehicleInput
from lifecycle.wear.whatif import Change, LayerGain, Prices, WhatIf, what_if
from tests.wear.vehicles import HOT_DRY, habit, layer, source, surface, vehicle

COATED = date(2025, 3, 1)
STREET = habit(parking="street", wash_method="bristle_tunnel", washes_per_year=12.0)
PRICES = Prices(
    renewal={"ceramic_mid": (700.0, 1000.0)},
    wash={"bristle_tunnel": (10.0, 14.0), "two_bucket": (20.0, 30.0)},
    decontamination=(100.0, 140.0),
    top_up=(60.0, 90.0),
)


def car(use: HabitPeriod = STREET, **changes: object) -> VehicleInput:
    return vehicle(surface(layer("ceramic_mid", COATED)), habits=(use,), **changes)


def ask(change: Change, given: VehicleInput | None = None, prices: Prices | None = None) -> WhatIf:
    return what_if(given or car(), source("Cfb"), change, prices=prices)


def gain(change: Change, given: VehicleInput | None = None, prices: Prices | None = None) -> LayerGain:
    return ask(change, given, prices).layers[0]


@pytest.mark.parametrize(
    "change",
    [
        Change(parking="garage"),
        Change(wash_method="two_bucket"),
        Change(washes_per_year=6.0),
        Change(km_per_year=5000.0),
        Change(top_ups_per_year=2.0),
    ],
    ids=["garage", "hand wash", "fewer washes", "fewer km", "top-ups"],
)
def test_a_gentler_life_gains_months_at_every_rate(change: Change) -> None:
    gained = gain(change).months_gained
    assert 0 < gained.p10 < gained.p50 < gained.p90


@pytest.mark.parametrize(
    "change",
    [
        Change(parking="under_trees"),
        Change(wash_ph="alkaline"),
        Change(washes_per_year=52.0),
        Change(km_per_year=40000.0),
        Change(road_salt="heavy"),
        Change(decontaminations_per_year=4.0),
    ],
    ids=["trees", "alkaline", "more washes", "more km", "salt", "decontaminations wear a little"],
)
def test_a_harder_life_loses_months_at_every_rate(change: Change) -> None:
    gained = gain(change).months_gained
    assert gained.p10 < gained.p50 < gained.p90 < 0


def test_a_change_that_changes_nothing_gains_nothing() -> None:
    gained = gain(Change(parking="street", km_per_year=15000.0))
    assert (gained.months_gained.p10, gained.months_gained.p90) == (0.0, 0.0)
    assert gained.says.endswith("lasts about as long as now.")


def test_it_agrees_with_two_forecasts_of_a_layer_put_on_today() -> None:
    """The medians of `months_left` are those of the forecasts that the vehicle would get, now and changed."""
    today = date(2026, 3, 1)
    fresh = vehicle(surface(layer("ceramic_mid", today)), habits=(STREET,), as_of=today)
    found = gain(Change(parking="garage"), fresh)
    for months, parking in ((found.months_left, "street"), (found.months_left_changed, "garage")):
        told = replace(fresh, habits=(replace(STREET, parking=parking),))
        said = assess(told, source("Cfb")).surfaces[0].layers[0].renewal_months
        assert said is not None
        assert months.p50 == pytest.approx(said.p50, rel=0.01)
        # The changed band is a little wider: how well the new duty is known comes on top.
        assert months.p10 == pytest.approx(said.p10, rel=0.04)
        assert months.p90 == pytest.approx(said.p90, rel=0.04)


def test_the_difference_is_surer_than_the_two_lives() -> None:
    """One shared rate: independent rates would give a band about as wide as both lives together."""
    found = gain(Change(parking="garage"))
    width = found.months_gained.p90 - found.months_gained.p10
    independent = ((found.months_left.p90 - found.months_left.p10) ** 2
                   + (found.months_left_changed.p90 - found.months_left_changed.p10) ** 2) ** 0.5  # fmt: skip
    assert width < 0.5 * independent
    assert found.months_gained.p10 > 0


def test_what_is_worn_stays_worn() -> None:
    """A layer that is past its end at every rate gains nothing from a garage."""
    old = vehicle(surface(layer("wax", date(2024, 3, 1))), habits=(STREET,))
    assert gain(Change(parking="garage"), old).months_gained.p90 == 0.0


def test_readings_speak_in_both_lives() -> None:
    """A layer seen as good has a low rate: it lives longer now, and gains more months from the same garage."""
    seen = ReadingInput(date(2026, 2, 1), "bonnet", "decontaminated", contact_angle_deg=107.0, drops=5)
    plain, good = gain(Change(parking="garage")), gain(Change(parking="garage"), car(readings=(seen,)))
    assert good.months_left.p50 > plain.months_left.p50
    assert good.months_gained.p50 > plain.months_gained.p50


def test_a_move_takes_the_climate_of_the_new_place() -> None:
    def climates(place):  # type: ignore[no-untyped-def]
        return source("BWh" if place == HOT_DRY[1] else "Cfb")(place)

    film = vehicle(surface(layer("film_body", COATED)))
    moved = what_if(film, climates, Change(place=HOT_DRY[1])).layers[0]
    assert moved.months_gained.p90 < 0
    assert "At the other place" in moved.says


def test_the_change_stands_instead_of_habits_that_are_planned() -> None:
    planned = (replace(STREET, end=date(2026, 6, 1)), replace(STREET, start=date(2026, 6, 1), parking="under_trees"))
    told = gain(Change(parking="garage"), vehicle(surface(layer("ceramic_mid", COATED)), habits=planned))
    plain = gain(Change(parking="garage"))
    assert told.months_left_changed.p50 == pytest.approx(plain.months_left_changed.p50, rel=0.01)
    assert told.months_left.p50 < plain.months_left.p50
    assert told.months_gained.p50 > plain.months_gained.p50


def test_decontamination_lets_the_coat_be_seen_though_it_wears_it_a_little() -> None:
    never = ask(Change(decontaminations_per_year=2.0))
    assert never.surfaces[0].seen_months_changed.p50 > never.surfaces[0].seen_months.p50 + 1
    assert never.layers[0].months_gained.p90 < 0
    assert 0 <= never.surfaces[0].seen_months.p10 <= never.surfaces[0].seen_months_changed.p90 <= 12.1


def test_cost_a_year_is_the_price_over_the_life_of_a_fresh_layer() -> None:
    """Checked by hand from the forecast of a layer put on today: 850 over its median life in years."""
    today = date(2026, 3, 1)
    fresh = vehicle(surface(layer("ceramic_mid", today)), habits=(STREET,), as_of=today)
    life = assess(fresh, source("Cfb")).surfaces[0].layers[0].renewal_months
    found = gain(Change(parking="garage"), prices=PRICES)
    assert life is not None
    assert found.cost_per_year is not None
    assert found.cost_per_year.p50 == pytest.approx(12.0 * 850.0 / life.p50, rel=0.03)
    assert found.saved_per_year is not None
    assert 0 < found.saved_per_year.p10 < found.saved_per_year.p50
    assert gain(Change(parking="garage")).cost_per_year is None


def test_what_the_care_costs_is_set_against_what_it_saves() -> None:
    answer = ask(Change(wash_method="two_bucket", washes_per_year=26.0, decontaminations_per_year=1.0), prices=PRICES)
    assert answer.care_cost_per_year is not None
    # 26 x 25 - 12 x 12 + 120
    assert answer.care_cost_per_year.p50 == pytest.approx(626.0)
    saved = answer.layers[0].saved_per_year
    assert saved is not None
    assert answer.saved_per_year is not None
    assert answer.saved_per_year.p50 == pytest.approx(saved.p50 - 626.0, abs=25.0)


def test_without_a_price_no_cost_is_told() -> None:
    answer = ask(Change(wash_method="rinseless"), prices=PRICES)
    assert answer.care_cost_per_year is None
    assert answer.saved_per_year is None


def test_the_worst_surface_decides_when_a_kind_is_renewed() -> None:
    panels = tuple(surface(layer("ceramic_mid", COATED), code=code, orientation=o) for code, o in
                   (("bonnet", "flat"), ("door", "side")))  # fmt: skip
    both = vehicle(*panels, habits=(STREET,))
    assert (
        ask(Change(parking="garage"), both, PRICES).saved_per_year
        == ask(Change(parking="garage"), prices=PRICES).saved_per_year
    )


def test_a_top_up_of_today_renews_the_present_one_and_says_so() -> None:
    topped = vehicle(surface(layer("ceramic_mid", COATED), layer("booster", date(2025, 12, 1))), habits=(STREET,))
    answer = ask(Change(top_ups_per_year=2.0), topped)
    assert [one.kind for one in answer.layers] == ["ceramic_mid"]
    assert any("renewed today" in note for note in answer.notes)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (Change(), "set at least one field"),
        (Change(parking="moon"), "parking is 'moon'"),
        (Change(km_per_year=-1.0), "zero or more"),
        (Change(decontaminations_per_year=99.0), "from 0 to 24"),
    ],
)
def test_a_change_that_means_nothing_is_refused(change: Change, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        ask(change)


def test_a_price_upside_down_is_refused() -> None:
    with pytest.raises(ValueError, match="write 0 <= low <= high"):
        ask(Change(parking="garage"), prices=Prices(renewal={"ceramic_mid": (900.0, 700.0)}))


def test_the_same_question_has_the_same_answer_and_leaves_the_vehicle_alone() -> None:
    given = car()
    before = assess(given, source("Cfb"))
    assert ask(Change(parking="garage"), given) == ask(Change(parking="garage"), given)
    assert assess(given, source("Cfb")) == before


def test_sentences_name_the_change_the_layer_and_the_range() -> None:
    says = gain(Change(parking="garage", washes_per_year=26.0)).says
    assert says.startswith("Always garaged, 26 washes a year: the ceramic mid on the bonnet lasts about ")
    assert "(" in says
    assert "%" not in says


def test_planned_care_stops_at_the_horizon() -> None:
    monthly = gain(Change(top_ups_per_year=12.0))
    assert monthly.months_gained.p50 > gain(Change(top_ups_per_year=2.0)).months_gained.p50
    assert monthly.months_left_changed.p90 < 120
