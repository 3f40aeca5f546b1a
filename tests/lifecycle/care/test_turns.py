"""The turns of the salt season, iron alone, urgent hours, storage, and what was last seen, on hand-built forecasts.

Days and hours marked "trade table" are common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from lifecycle.care.facts import facts_of
from lifecycle.care.iron_rules import iron_removals
from lifecycle.care.urgent import answer_by
from lifecycle.wear.types import EventInput, ReadingInput, StoragePeriod
from tests.lifecycle.care_states import AS_OF, SOUTH, Panel, car, coat, days, dues, habit, refusals

BERLIN = ZoneInfo("Europe/Berlin")
GARAGE, SALT = (habit(parking="garage"),), (habit(road_salt="heavy"),)


def wheels(code: str, applied: date, months=(10.0, 12.0, 14.4)) -> Panel:
    return Panel(code, (coat("wheel_coat", applied, months, key=code),), "wheel", "aluminium", decision=None)


def two_sets(*, as_of: date, on="winter_wheels", since=date(2025, 10, 20), **change):
    """A car with two known wheel sets, and what the rules say of it."""
    off = "summer_wheels" if on == "winter_wheels" else "winter_wheels"
    panels = (wheels(on, date(2025, 5, 1)), wheels(off, date(2025, 5, 1)))
    first = date(2025, 1, 1)
    mounted = {on: (StoragePeriod(since, None),), off: (StoragePeriod(first, since),)}
    _, vehicle = car(*panels, as_of=as_of)
    given = tuple(replace(one, mounted=mounted[one.code]) for one in vehicle.surfaces)
    return dues(*panels, as_of=as_of, surfaces=given, **change)


def test_wheels_are_swapped_before_and_after_the_salt_season():
    """Trade table: autumn = wheel swap; the road is salted from November to March (judgement)."""
    spring = two_sets(as_of=date(2026, 3, 1))["wheel_swap"]
    assert spring.surfaces == ("summer_wheels",)
    assert (spring.earliest, spring.ideal, spring.latest) == (date(2026, 3, 20), date(2026, 4, 15), date(2026, 5, 10))
    assert spring.reason_code == "season"
    autumn = two_sets(as_of=date(2026, 8, 1), on="summer_wheels", since=date(2026, 4, 15))["wheel_swap"]
    assert autumn.surfaces == ("winter_wheels",)
    assert date(2026, 9, 1) < autumn.earliest <= autumn.ideal <= autumn.latest < date(2026, 11, 1)
    south = two_sets(as_of=date(2026, 8, 1), place=SOUTH)["wheel_swap"]
    assert south.ideal == date(2026, 10, 15)  # winter wheels come off in the southern spring
    missed = two_sets(as_of=date(2026, 6, 1))["wheel_swap"]
    assert "overdue since 10 May 2026" in missed.why


def test_no_swap_without_two_sets_and_none_while_the_car_stands():
    assert "wheel_swap" not in dues(wheels("wheels", date(2025, 5, 1)))
    stored = (StoragePeriod(date(2026, 9, 15), date(2027, 5, 1)),)
    found = two_sets(as_of=date(2026, 8, 1), on="summer_wheels", since=date(2026, 4, 15), storage=stored)
    assert "wheel_swap" not in found or found["wheel_swap"].ideal > date(2027, 5, 1)


def test_a_set_that_is_off_is_treated_off_the_car():
    """Trade table: off the car, at the tyre change."""
    found = two_sets(as_of=AS_OF)
    assert found["wheel_retreat_off"].surfaces[0] == "summer_wheels"
    late = two_sets(as_of=date(2026, 3, 25))
    assert set(late["wheel_retreat_off"].surfaces) == {"summer_wheels", "winter_wheels"}
    assert "wheel_retreat" not in late, "both are off on the day of the swap"
    assert "wheel_retreat" in dues(wheels("wheels", date(2025, 5, 1))), "one set alone is treated on the car"


def sill(applied: date, kind="sealant") -> Panel:
    return Panel("sill_left", (coat(kind, applied, (30.0, 33.0, 36.0)),), "sill", "steel")


def test_sills_are_sealed_before_the_salt_and_glass_is_done():
    """Trade table: autumn = glass, wheel swap and sealant on sills."""
    as_of, screen = (
        date(2026, 8, 1),
        Panel(
            "windscreen",
            (coat("windscreen_coat", date(2025, 12, 1), (9.0, 11.6, 15.0)),),
            "screen",
            "glass",
            decision=None,
        ),
    )
    found = dues(sill(date(2026, 4, 1)), screen, as_of=as_of, habits=SALT)
    sealed, glass = found["sealant_renewal"], found["windscreen_retreat"]
    assert (sealed.reason_code, sealed.surfaces) == ("season", ("sill_left",))
    assert sealed.ideal == date(2026, 10, 15)
    assert max(sealed.earliest, glass.earliest) <= min(sealed.latest, glass.latest), "one visit can serve both"
    for applied, habits in ((date(2026, 4, 1), (habit(),)), (date(2026, 7, 20), SALT)):  # no salt; sealed just now
        other = dues(sill(applied), as_of=as_of, habits=habits).get("sealant_renewal")
        assert other is None or other.reason_code == "wear"


def test_the_salt_is_washed_off_after_the_season():
    """Trade table: decontaminate after the salt season."""
    panel = Panel(layers=(coat("ceramic_mid", date(2025, 3, 1), (28.0, 34.0, 40.0)),), clean_on=date(2025, 12, 20))
    due = dues(panel, habits=SALT)["decontamination_wash"]
    assert due.reason_code == "season"
    assert date(2026, 3, 15) <= due.ideal <= date(2026, 5, 15)


# iron alone


def timed(panel: Panel, **change):
    forecast, vehicle = car(panel, **change)
    return next(iter(iron_removals(facts_of(forecast=forecast, vehicle=vehicle))))


def test_iron_alone_by_time():
    """Trade table: wheels 3 to 6 months, paint 6 to 12; at the reference use the middle of both."""
    wheel = timed(wheels("wheels", date(2026, 1, 1)))
    assert [(day - date(2026, 1, 1)).days for day in wheel.window] == [91, 137, 183]
    paint = timed(Panel(layers=(coat("sealant", date(2026, 1, 1), (4, 5, 6)),)))
    assert [round((day - date(2026, 1, 1)).days / 30.44) for day in paint.window] == [6, 9, 12]
    removed = (EventInput(date(2026, 2, 20), "iron_removal", "wheels"),)
    assert timed(wheels("wheels", date(2025, 1, 1)), events=removed).window[0] == date(2026, 2, 20) + days(91)
    assert "iron_removal" in dues(wheels("wheels", date(2026, 1, 1)))


def test_a_decontamination_takes_the_iron_too():
    panel = Panel(layers=(coat("ceramic_mid", date(2026, 1, 1), (28.0, 34.0, 40.0)),))
    for habits in ((habit(),), SALT):
        found = dues(panel, wheels("wheels", date(2026, 1, 1)), habits=habits)
        assert "decontamination_wash" in found
        assert "iron_removal" not in found, habits
    alone = dues(panel, wheels("wheels", date(2026, 1, 1)), habits=GARAGE)
    assert alone["iron_removal"].surfaces[0] == "wheels", "garaged, decontaminated yearly: wheels come sooner"


def test_specks_are_taken_off_soon_but_never_from_bare_metal():
    """Trade table: speckles felt or seen; not on bare metal."""
    specks = EventInput(date(2026, 2, 25), "iron_specks", "bonnet")
    panel = Panel(layers=(coat("sealant", date(2026, 1, 1), (8, 9, 10)),))
    due = dues(panel, events=(specks,))["iron_removal"]
    assert (due.earliest, due.latest) == (date(2026, 2, 25), date(2026, 4, 8))
    assert "felt or seen on 25 February 2026" in due.why
    gone = (specks, EventInput(date(2026, 2, 27), "iron_removal", "bonnet"))
    again = dues(panel, events=gone).get("iron_removal")
    assert again is None or again.earliest > date(2026, 6, 1)
    metal = Panel(layers=(coat("metal_sealant", date(2026, 1, 1), (4, 5, 6)),), substrate="aluminium")
    assert "iron_removal" not in dues(metal, events=(specks,))
    assert "bare metal" in refusals(metal, events=(specks,))["iron_removal"]


# urgent events


@pytest.mark.parametrize(
    ("air_c", "latest", "hours", "word"),
    [(34.0, AS_OF, 12, "the same day"), (15.0, AS_OF + days(2), 48, "within 24 to 48 hours")],
)
def test_events_are_answered_in_hours(air_c, latest, hours, word):
    """Trade table: within 24 to 48 h, in hot weather the same day; 0.3 to 3 h of work by what has happened."""
    event = EventInput(AS_OF, "bird_dropping", "bonnet", air_c=air_c)
    panel = Panel(layers=(coat("sealant", date(2026, 1, 1), (4, 5, 6)),))
    due = dues(panel, events=(event,))["event_response"]
    assert (due.latest, due.answer_h, due.hours) == (latest, hours, 0.5)
    assert word in due.why
    both = (event, EventInput(AS_OF, "overspray", "bonnet", air_c=15.0))
    told = dues(panel, events=both)["event_response"]
    assert (told.answer_h, told.hours) == (hours, 3.0), "the soonest answer and the most work"
    old = dues(panel, events=(replace(event, on=AS_OF - days(20)),))["event_response"]
    assert old.answer_h is None, "after two weeks a look without haste"


@pytest.mark.parametrize(
    ("reported", "within_h", "by"),
    [
        (datetime(2026, 7, 1, 8, 0, tzinfo=BERLIN), 12, datetime(2026, 7, 1, 20, 0, tzinfo=BERLIN)),
        (datetime(2026, 7, 1, 20, 0, tzinfo=BERLIN), 12, datetime(2026, 7, 2, 0, 0, tzinfo=BERLIN)),
        # IANA time zone database: in Berlin the clocks went forward on 29 March and go back on 25 October 2026
        (datetime(2026, 3, 28, 12, 0, tzinfo=BERLIN), 48, datetime(2026, 3, 30, 13, 0, tzinfo=BERLIN)),
        (datetime(2026, 10, 24, 12, 0, tzinfo=BERLIN), 48, datetime(2026, 10, 26, 11, 0, tzinfo=BERLIN)),
    ],
)
def test_the_hour_of_the_answer_on_the_clock_of_the_site(reported, within_h, by):
    assert answer_by(reported, within_h=within_h, zone=BERLIN) == by.astimezone(UTC)


def test_an_answer_needs_a_zone_and_hours():
    with pytest.raises(ValueError, match="no zone"):
        answer_by(datetime(2026, 7, 1, 8, 0), within_h=12, zone=BERLIN)  # noqa: DTZ001
    with pytest.raises(ValueError, match="more than 0"):
        answer_by(datetime(2026, 7, 1, 8, 0, tzinfo=UTC), within_h=0, zone=BERLIN)


# storage, and what was last seen


def test_storage_pauses_the_new_tasks():
    """Standing still neither brings brake dust nor uses up an interval (judgement)."""
    stood = (StoragePeriod(date(2025, 11, 1), date(2026, 2, 1)),)
    driven = timed(wheels("wheels", date(2025, 10, 1)))
    paused = timed(wheels("wheels", date(2025, 10, 1)), storage=stood)
    assert paused.window[0] - driven.window[0] == days(92)
    stands = (StoragePeriod(date(2026, 2, 1), None),)
    assert "iron_removal" not in dues(wheels("wheels", date(2025, 12, 1)), storage=stands)


def test_a_look_on_the_cleaned_surface_moves_the_windows():
    panel = Panel(layers=(coat("ceramic_mid", date(2025, 3, 1), (28.0, 34.0, 40.0)),))
    look = ReadingInput(date(2026, 2, 20), "bonnet", "decontaminated", works=True)
    before, after = dues(panel), dues(panel, readings=(look,))
    for task in ("decontamination_wash", "inspection"):
        assert after[task].ideal > before[task].ideal + days(60), task
        assert "20 February 2026" in after[task].why + after[task].known
