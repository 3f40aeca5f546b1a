"""Windows: from a forecast's chances to days, several surfaces to one due, closed windows, nothing now."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from statistics import NormalDist

import pytest

from lifecycle.care.chances import chance_by, chance_day, wear_window
from lifecycle.care.facts import facts_of
from lifecycle.wear.types import DateBand, ReadingInput
from tests.lifecycle.care_states import AS_OF, Panel, car, coat, days, dues, report

MID = (28.0, 34.0, 40.0)


def mid(applied: date = date(2025, 3, 1), months=MID, **change):
    return coat("ceramic_mid", applied, months, **change)


def test_chance_follows_the_lognormal_through_the_band():
    """Closed form of the lognormal: ln t = ln median + z sd, here with median 34 months and 10 % at 28."""
    layer = mid(date(2020, 1, 1), months=(28.0, 34.0, 34.0**2 / 28.0))
    sd = math.log(34.0 / 28.0) / NormalDist().inv_cdf(0.9)
    expected = 34.0 * math.exp(NormalDist().inv_cdf(0.2) * sd) * 30.4375
    assert (chance_day(layer, 0.2, orientation="flat") - layer.applied).days == pytest.approx(expected, abs=1.5)
    assert chance_by(layer, layer.renewal_on.p50) == pytest.approx(0.5, abs=0.01)


def test_wear_window_reads_the_points_of_the_forecast():
    """House rule (judgement): a window opens at chance 0.1, is ideal at 0.2, closes at about 0.5."""
    points = ((0.1, date(2026, 5, 1)), (0.2, date(2026, 6, 1)), (0.5, date(2026, 9, 1)))
    layer = replace(mid(), chance_dates=points)
    assert wear_window(layer, orientation="flat") == (date(2026, 5, 1), date(2026, 6, 1), date(2026, 9, 1))


def test_wear_window_never_passes_the_calendar_cap():
    """Trade table: a mid ceramic coat is never promised beyond 60 months, however mild its life."""
    layer = mid(date(2022, 1, 1), months=(55.0, 90.0, 140.0))
    window = wear_window(layer, orientation="flat")
    assert (window[2] - layer.applied).days == pytest.approx(60 * 30.4375, abs=1)


def test_no_forecast_gives_no_window():
    layer = replace(mid(), renewal_on=None)
    assert wear_window(layer, orientation="flat") is None
    assert chance_by(layer, AS_OF) is None


def test_the_hardest_surface_decides_and_open_ones_join():
    soon = coat("sealant", date(2025, 11, 1), (4.0, 5.0, 6.0))
    later = coat("sealant", date(2025, 11, 15), (4.0, 5.0, 6.0), key="later")
    far = coat("sealant", date(2026, 2, 25), (4.0, 5.0, 6.0), key="far")
    due = dues(Panel("door", (later,)), Panel("roof", (far,)), Panel("bonnet", (soon,)))["sealant_renewal"]
    assert due.surfaces == ("bonnet", "door")
    assert due.latest == soon.renewal_on.p50
    assert due.layer_keys == (soon.key, "later")


def test_a_closed_window_opens_anew_and_says_so():
    layer = coat("sealant", date(2025, 6, 1), (4.0, 5.0, 6.0))
    due = dues(Panel(layers=(layer,)))["sealant_renewal"]
    assert due.earliest < due.ideal
    assert AS_OF <= due.ideal <= due.latest == AS_OF + days(28)
    assert "overdue since 31 October 2025" in due.why


def test_nothing_now_is_an_answer():
    fresh = mid(date(2026, 1, 1))
    found = report(Panel(layers=(fresh,)), readings=(ReadingInput(date(2026, 2, 1), "bonnet", "washed", works=True),))
    assert found.open_on(AS_OF) == ()
    assert found.dues


def test_windows_more_than_a_year_ahead_are_left_out():
    layer = coat("trim_coat", date(2026, 2, 1), (20.0, 24.0, 30.0))
    trim = Panel("trim", (layer,), orientation="side", substrate="plastic", decision=None)
    assert "trim_coat" not in dues(trim)


def test_forecast_and_vehicle_must_be_of_one_day():
    forecast, vehicle = car(Panel(layers=(mid(),)))
    with pytest.raises(ValueError, match="forecast it again"):
        facts_of(forecast=replace(forecast, as_of=date(2026, 2, 1)), vehicle=vehicle)


def test_without_habits_the_reference_contamination_is_taken():
    forecast, vehicle = car(Panel(layers=(mid(),)), habits=())
    assert facts_of(forecast=forecast, vehicle=vehicle).contamination == 1.0


def test_band_without_width_is_a_window_of_one_day():
    layer = replace(mid(date(2024, 6, 1)), renewal_on=DateBand(*([date(2026, 6, 1)] * 3)))
    assert wear_window(layer, orientation="flat") == (date(2026, 6, 1),) * 3
