"""Parts that come and go, and paint that does: two wheel sets, a swapped part, a repainted panel, an unknown past."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.wear.assessment import assess
from lifecycle.wear.timeline import SEASON_NOTE, Timeline, build_timeline
from lifecycle.wear.types import EventInput, Mechanism, Stage, StoragePeriod, SurfaceForecast, SurfaceInput
from tests.wear.vehicles import habit, layer, source, surface, vehicle

COATED = date(2024, 4, 1)
WINTERS = tuple(StoragePeriod(date(year, 11, 1), date(year + 1, 4, 1)) for year in (2024, 2025))
SUMMERS = tuple(StoragePeriod(date(year, 4, 1), date(year, 11, 1)) for year in (2024, 2025))
AS_OF = date(2026, 4, 1)


def wheels(name: str, mounted: tuple[StoragePeriod, ...] = ()) -> SurfaceInput:
    coat = layer("wheel_coat", COATED)
    return surface(coat, code=name, orientation="wheel", substrate="aluminium", mounted=mounted)


def assessed(*parts: SurfaceInput, **changes: object) -> dict[str, SurfaceForecast]:
    car = vehicle(*parts, **{"as_of": AS_OF, "habits": (habit(parking="street"),), **changes})
    return {found.code: found for found in assess(car, source("Cfb")).surfaces}


def consumed(found: SurfaceForecast) -> float:
    assert found.layers[0].life_consumed is not None
    return found.layers[0].life_consumed.p50


def test_two_sets_have_clocks_of_their_own() -> None:
    sets = (wheels("wheels"), wheels("wheels_summer", SUMMERS), wheels("wheels_winter", WINTERS))
    found = assessed(*sets, as_of=date(2025, 4, 1))
    always, summer, winter = (consumed(found[code]) for code in ("wheels", "wheels_summer", "wheels_winter"))
    assert 0 < winter < summer < always
    # A set in its store still ages: together they take more than one set that is always on.
    assert summer + winter > always
    assert found["wheels_winter"].layers[0].renewal_on.p50 > found["wheels"].layers[0].renewal_on.p50
    assert SEASON_NOTE in found["wheels_winter"].notes
    assert SEASON_NOTE not in found["wheels"].notes


def test_a_set_in_store_meets_no_sun_no_road_and_no_wash() -> None:
    line = timeline(wheels("w"))
    daily = line.daily(orientation="wheel", mounted=WINTERS)
    june = (date(2025, 6, 15) - line.first).days
    january = (date(2025, 1, 15) - line.first).days
    used = [list(Mechanism).index(m) for m in (Mechanism.SUNLIGHT, Mechanism.ROAD, Mechanism.WASH_CONTACT)]
    assert np.all(daily[june, used] == 0.0)
    assert np.all(daily[january, used] > 0.0)
    assert daily[june, list(Mechanism).index(Mechanism.HEAT)] > 0.0
    assert line.km(mounted=WINTERS)[june] == 0.0 < line.km(mounted=WINTERS)[january]


def timeline(part: SurfaceInput, **changes: object) -> Timeline:
    car = vehicle(part, as_of=AS_OF, habits=(habit(parking="street"),), **changes)
    return build_timeline(car, source("Cfb"), first=COATED, days=1500)


def test_the_pattern_goes_on_every_year() -> None:
    line = timeline(wheels("w"))
    there = line.mounted_days(WINTERS)
    for day, on in ((date(2026, 7, 1), False), (date(2027, 1, 10), True), (date(2027, 7, 1), False)):
        assert there[(day - COATED).days] == on, day
    still_on = line.mounted_days((StoragePeriod(date(2025, 11, 1), None),))
    assert still_on[(date(2027, 7, 1) - COATED).days]


@given(st.integers(1, 149))
@settings(max_examples=8)
def test_cutting_a_mounted_period_changes_nothing(days: int) -> None:
    cut = WINTERS[0].start + timedelta(days=days)
    halves = (StoragePeriod(WINTERS[0].start, cut), StoragePeriod(cut, WINTERS[0].end), WINTERS[1])
    line = timeline(wheels("w"))
    assert np.array_equal(line.mounted_days(halves), line.mounted_days(WINTERS))


def test_always_mounted_is_the_same_as_nothing_said() -> None:
    whole = (StoragePeriod(date(2020, 1, 1), None),)
    found = assessed(wheels("said", whole), wheels("unsaid"))
    assert consumed(found["said"]) == consumed(found["unsaid"])


def test_a_part_out_of_a_stored_vehicle_is_not_stored_twice() -> None:
    laid_up = (StoragePeriod(date(2024, 4, 1), None),)
    found = assessed(wheels("off", WINTERS), wheels("on"), storage=laid_up)
    assert consumed(found["off"]) == pytest.approx(consumed(found["on"]))


@pytest.mark.parametrize(("kind", "why"), [("part_swap", "swapped"), ("repaint", "repainted")])
def test_a_new_part_or_new_paint_ends_the_stack_and_starts_anew(kind: str, why: str) -> None:
    swap, after = date(2025, 2, 1), date(2025, 5, 20)
    door = surface(layer("ceramic_mid", COATED), layer("sealant", after), code="door", orientation="side")
    wing = surface(layer("ceramic_mid", COATED), code="wing", orientation="side")
    found = assessed(door, wing, events=(EventInput(on=swap, kind=kind, surface="door"),))
    assert [(gone.kind, gone.ended) for gone in found["door"].ended] == [("ceramic_mid", swap)]
    assert why in found["door"].ended[0].why
    assert [left.kind for left in found["door"].layers] == ["sealant"]
    assert found["door"].layers[0].applied == after
    assert found["wing"].ended == ()


def test_film_has_a_body_and_a_top_coat_with_clocks_of_their_own() -> None:
    front = surface(layer("film_body", COATED), layer("film_top_coat", COATED), code="front", orientation="front")
    body, top = assessed(front)["front"].layers
    assert (body.kind, top.kind) == ("film_body", "film_top_coat")
    assert top.life_consumed.p50 > 2 * body.life_consumed.p50
    polished = assessed(front, events=(EventInput(on=date(2025, 6, 1), kind="correction", surface="front"),))["front"]
    assert [left.kind for left in polished.layers] == ["film_body"]
    assert [gone.kind for gone in polished.ended] == ["film_top_coat"]


def test_an_unknown_earlier_layer_widens_and_is_not_forecast() -> None:
    known = surface(layer("ceramic_mid", COATED), code="known")
    doubtful = surface(layer("unknown", date(2020, 1, 1)), layer("ceramic_mid", COATED), code="doubtful")
    found = assessed(known, doubtful)
    unknown, coat = found["doubtful"].layers
    assert unknown.stage is Stage.UNKNOWN
    assert unknown.renewal_months is None
    assert coat.ln_life_sd > found["known"].layers[0].ln_life_sd
    assert any("unknown earlier layer" in note for note in coat.notes)
