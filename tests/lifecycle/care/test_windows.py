"""Care windows: opened from an assessment, moved in place, withdrawn when the forecast no longer asks."""

from __future__ import annotations

from datetime import timedelta

import pytest

from lifecycle.care import asking, windows
from lifecycle.care.due import Due, DueReport, Refused
from lifecycle.condition import assess
from lifecycle.models import Assessment, CareDue, JournalEntry, Keeper, Refusal
from tests import people
from tests.factories import NOW, TODAY, HabitsFactory, LayerFactory, SurfaceFactory

pytestmark = pytest.mark.django_db


def due(task="decontamination_wash", shift=0, **change) -> Due:
    facts = {
        "task": task, "surfaces": ("bonnet",), "earliest": TODAY + timedelta(days=shift),
        "ideal": TODAY + timedelta(days=shift + 10), "latest": TODAY + timedelta(days=shift + 30), "contract": None,
        "reason_code": "clogging", "why": "why", "known": "k", "changed": "c", "expected": "e", "prevents": "p",
        "if_postponed": "i", "self_check": "s", "layer_keys": (),
    }  # fmt: skip
    return Due(**{**facts, **change})


@pytest.fixture
def assessed(monkeypatch):
    """An assessed vehicle, and a way to say what the rules answer next."""
    surface = SurfaceFactory(code="bonnet")
    HabitsFactory(vehicle=surface.vehicle)
    LayerFactory(surface=surface)
    assess(at=NOW)

    def rules_say(*dues, refused=()):
        monkeypatch.setattr(windows, "assess_due", lambda **_: DueReport(dues=dues, refused=tuple(refused)))
        Assessment.objects.update(windows_at=None)
        return windows.open_windows(at=NOW)

    return rules_say


def test_the_real_rules_open_windows_once():
    surface = SurfaceFactory(code="bonnet")
    HabitsFactory(vehicle=surface.vehicle, road_salt="heavy", trees_birds=3, parking="street")
    LayerFactory(surface=surface, applied=TODAY - timedelta(days=900))
    assess(at=NOW)
    first = windows.open_windows(at=NOW)
    assert first["opened"] >= 1
    row = CareDue.objects.first()
    assert row.why
    assert row.words["self_check"]
    again = windows.open_windows(at=NOW)
    assert (again["opened"], again["vehicles"]) == (0, 0)
    assert again["open"] == first["open"]


def test_a_moved_window_keeps_its_identity(assessed):
    assessed(due())
    before = CareDue.objects.get()
    counts = assessed(due(shift=7))
    row = CareDue.objects.get()
    assert (counts["opened"], counts["moved"]) == (0, 1)
    assert (row.pk, row.earliest) == (before.pk, TODAY + timedelta(days=7))
    assert JournalEntry.objects.filter(verb="care due moved").count() == 1


def test_what_is_no_longer_due_is_withdrawn_with_the_reason(assessed):
    assessed(due(), due("inspection"))
    counts = assessed(due("inspection"))
    gone = CareDue.objects.get(task="decontamination_wash")
    assert counts["withdrawn"] == 1
    assert (gone.state, gone.closed_at) == ("withdrawn", NOW)
    assert gone.closed_why


def test_a_booked_window_is_not_withdrawn_by_a_forecast(assessed):
    assessed(due())
    CareDue.objects.update(state="booked")
    assessed()
    assert CareDue.objects.get().state == "booked"


def test_a_window_that_opens_after_its_visit_was_asked_for_counts_as_asked(assessed):
    vehicle = Assessment.objects.get().vehicle
    keeper = people.customer(vehicle.studio)
    Keeper.objects.filter(vehicle=vehicle, end=None).delete()
    Keeper.objects.create(studio=vehicle.studio, vehicle=vehicle, customer=keeper, start=TODAY)
    asking.ask(
        studio=vehicle.studio, vehicle_id=vehicle.pk, customer_id=keeper.pk, on=TODAY + timedelta(days=3),
        tasks=["decontamination_wash"], actor="customer:1", at=NOW,
    )  # fmt: skip
    assessed(due(), due("inspection"))
    states = dict(CareDue.objects.values_list("task", "state"))
    assert states == {"decontamination_wash": "asked", "inspection": "open"}


def test_a_done_window_may_come_again_as_a_new_one(assessed):
    assessed(due())
    CareDue.objects.update(state="done", closed_at=NOW)
    assessed(due(shift=180))
    assert CareDue.objects.filter(state="open").count() == 1
    assert CareDue.objects.count() == 2


def test_one_bad_vehicle_does_not_stop_the_others(assessed, monkeypatch):
    def broken(**_):
        raise OverflowError("date value out of range")

    monkeypatch.setattr(windows, "assess_due", broken)
    counts = windows.open_windows(at=NOW)
    assert (counts["failed"], counts["vehicles"]) == (1, 0)
    assert Assessment.objects.get().windows_at is None, "it is tried again"


def test_refusals_are_kept_with_their_reasons_and_rewritten(assessed):
    assessed(refused=[Refused("correction", ("bonnet",), "Too thin."), Refused("correction", ("roof",), "Unknown.")])
    row = Refusal.objects.get()
    assert row.surfaces == ["bonnet", "roof"]
    assert row.why == "Too thin. Unknown."
    assessed()
    assert Refusal.objects.count() == 0
