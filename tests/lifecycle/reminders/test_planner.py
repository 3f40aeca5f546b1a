"""The plan in the database: reasons, second looks, and the same number of queries for one window and for thirty."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from lifecycle import models
from lifecycle.care import register, visits
from lifecycle.reminders import planner
from lifecycle.reminders.outbox import deliver, enqueue
from lifecycle.reminders.planner import plan
from tests.factories import ConsentFactory, CustomerFactory, StudioFactory, VehicleFactory

from .conftest import NOW, OFFER, OTHER_OFFER, later

pytestmark = pytest.mark.django_db


def row(due, step="first"):
    return models.Reminder.objects.get(due=due, step=step)


def test_an_open_window_is_planned_for_now(due, person):
    counts = plan(at=NOW)
    first = models.Reminder.objects.get()
    assert (first.step, first.state, first.send_at) == ("first", "planned", NOW)
    assert (first.customer, first.purpose) == (person, "service")
    assert (counts["planned"], counts["waiting"], counts["changed"]) == (1, 0, 1)
    assert models.JournalEntry.objects.filter(verb="reminder planned", subject_id=due.pk).count() == 1


def test_the_later_rungs_are_planned_once_the_first_notice_is_written(make_due):
    plain, contract = make_due(), make_due(contract_on=NOW.date() + timedelta(days=50))
    plan(at=NOW)
    assert models.Reminder.objects.exclude(step="first").count() == 0
    enqueue(at=NOW)
    assert (row(plain, "follow_up").state, row(plain, "follow_up").reason_code) == ("skipped", "first_comes_first")
    deliver(at=NOW)
    plan(at=NOW)
    assert [row(plain, "follow_up").state, row(contract, "last").state] == ["planned", "planned"]
    assert not models.Reminder.objects.filter(due=plain, step="last").exists()


def test_planning_twice_changes_nothing(due):
    plan(at=NOW)
    before = list(models.Reminder.objects.values())
    again = plan(at=NOW)
    assert again["changed"] == 0
    assert list(models.Reminder.objects.values()) == before
    assert models.JournalEntry.objects.filter(verb__startswith="reminder").count() == 1


def test_what_is_held_back_is_looked_at_again_and_planned_when_the_reason_is_gone(due, person, studio):
    ConsentFactory(customer=person, purpose="service", given=False, at=NOW - timedelta(days=1))
    plan(at=NOW)
    assert (row(due).state, row(due).reason_code, row(due).send_at) == ("skipped", "consent_withdrawn", None)
    register.set_consent(
        studio=studio, customer_id=person.pk, purpose="service", given=True, how="own page", wording="Yes, write.",
        actor="customer:1", at=later(hours=1),
    )  # fmt: skip
    plan(at=later(hours=2))
    now = row(due)
    assert (now.state, now.send_at, now.made_at) == ("planned", later(hours=2), NOW)


def test_a_planned_reminder_is_taken_back_when_a_visit_is_booked(due, studio):
    plan(at=NOW)
    visits.book(
        studio=studio, vehicle_id=due.vehicle_id, on=NOW.date() + timedelta(days=9), tasks=["retest"], actor="member:1",
        at=later(minutes=5),
    )  # fmt: skip
    plan(at=later(minutes=6))
    assert (row(due).state, row(due).reason_code) == ("skipped", "booked")
    assert models.JournalEntry.objects.filter(verb="reminder held back").exists()


def test_a_moved_window_moves_the_plan(make_due):
    due = make_due(earliest=NOW.date() + timedelta(days=10))
    plan(at=NOW)
    models.CareDue.objects.filter(pk=due.pk).update(earliest=NOW.date() + timedelta(days=20))
    plan(at=later(days=1))
    assert row(due).send_at.date() == NOW.date() + timedelta(days=20)


def test_a_window_that_closes_closes_its_reminders(due):
    plan(at=NOW)
    models.CareDue.objects.filter(pk=due.pk).update(state="done", closed_at=NOW, closed_why="visit")
    counts = plan(at=later(days=1))
    assert counts["closed"] == 1
    assert set(models.Reminder.objects.values_list("state", "reason_code", "final")) == {("skipped", "due_done", True)}


def test_a_new_keeper_is_asked_afresh_and_the_old_one_hears_nothing(due, studio, person):
    plan(at=NOW)
    jory = CustomerFactory(studio=studio, name="Jory Tamm")
    register.transfer(
        studio=studio, vehicle_id=due.vehicle_id, to_customer_id=jory.pk, on=NOW.date(), actor="member:1", at=NOW
    )
    plan(at=later(hours=1))
    now = row(due)
    assert (now.customer, now.state, now.reason_code) == (jory, "skipped", "consent_unknown")


def test_a_vehicle_without_a_keeper_now_names_the_last_one(due, person):
    models.Keeper.objects.update(end=NOW.date() - timedelta(days=1))
    plan(at=NOW)
    assert (row(due).customer, row(due).reason_code) == (person, "previous_keeper")


def test_a_vehicle_that_nobody_ever_kept_is_counted_and_has_no_row(site, make_due):
    make_due(vehicle=VehicleFactory(site=site, keeper=False))
    assert plan(at=NOW)["nobody"] == 1
    assert not models.Reminder.objects.exists()


SITUATIONS = {
    "suppressed": lambda due, person: models.Suppression.objects.create(
        studio=person.studio, email=person.email.upper(), why="bounced", at=NOW
    ),
    "no_address": lambda due, person: models.Customer.objects.filter(pk=person.pk).update(email=""),
    "vehicle_stored": lambda due, person: models.Storage.objects.create(
        studio=person.studio, vehicle=due.vehicle, start=NOW.date() - timedelta(days=3)
    ),
    "vehicle_retired": lambda due, person: models.Vehicle.objects.filter(pk=due.vehicle_id).update(
        retired_on=NOW.date()
    ),
    "studio_paused": lambda due, person: models.Studio.objects.update(paused_at=NOW),
    "refused": lambda due, person: models.Refusal.objects.create(
        studio=person.studio, vehicle=due.vehicle, task=due.task, why="over the clear-coat budget", at=NOW
    ),
    "consent_unknown": lambda due, person: models.Keeper.objects.update(customer=CustomerFactory(studio=person.studio)),
}


@pytest.mark.parametrize("code", SITUATIONS)
def test_the_facts_of_the_database_reach_the_rules(code, due, person):
    SITUATIONS[code](due, person)
    plan(at=NOW)
    assert (row(due).state, row(due).reason_code) == ("skipped", code)


def test_facts_about_offers_reach_the_rules(make_due, person, studio):
    due = make_due(task=OFFER)
    other = make_due(task=OTHER_OFFER)
    complaint = register.open_complaint(
        studio=studio, customer_id=person.pk, about="swirls", actor="member:1", at=NOW - timedelta(days=2)
    )
    plan(at=NOW)
    assert (row(due).purpose, row(due).reason_code) == ("promotion", "complaint_open")
    register.close_complaint(studio=studio, complaint_id=complaint.pk, actor="member:1", at=NOW)
    visit = models.Visit.objects.create(
        studio=studio, vehicle=other.vehicle, site=other.vehicle.site, on=NOW.date() - timedelta(days=5), state="done",
        booked_at=NOW, tasks=["maintenance_wash"],
    )  # fmt: skip
    plan(at=NOW)
    assert row(due).reason_code == "visit_recent"  # a visit with another vehicle of the same person
    visit.delete()
    plan(at=NOW)
    assert row(due).state == "planned"


def test_a_complaint_of_another_studio_changes_nothing(make_due):
    due = make_due(task=OFFER)
    stranger = CustomerFactory(studio=StudioFactory(), email=due.vehicle.keepers.get().customer.email)
    models.Complaint.objects.create(studio=stranger.studio, customer=stranger, about="dust", opened_at=NOW)
    models.Suppression.objects.create(studio=stranger.studio, email=stranger.email, why="bounced", at=NOW)
    plan(at=NOW)
    assert row(due).state == "planned"


def _queries(at):
    with CaptureQueriesContext(connection) as seen:
        plan(at=at)
    return len(seen)


def test_thirty_windows_need_as_many_queries_as_one(make_due, studio):
    make_due()
    one = _queries(NOW)
    for _ in range(30):
        someone = CustomerFactory(studio=studio)
        ConsentFactory(customer=someone)
        make_due(keeper=someone)
    assert _queries(later(minutes=1)) == one


def test_two_planners_at_once_make_one_row(due, monkeypatch):
    """The other planner writes between our reading and our writing: its row stands."""
    plain = planner._write

    def slower(fresh, changed, at):
        if slower.first:
            slower.first = False
            plan(at=NOW)
        return plain(fresh, changed, at)

    slower.first = True
    monkeypatch.setattr(planner, "_write", slower)
    plan(at=NOW)
    assert models.Reminder.objects.filter(due=due).count() == 1


def test_a_reminder_that_is_written_meanwhile_is_not_planned_again(due, monkeypatch):
    plan(at=NOW)
    models.Vehicle.objects.update(retired_on=NOW.date())
    plain = planner._write

    def slower(fresh, changed, at):
        models.Reminder.objects.filter(due=due, step="first").update(state="written")
        return plain(fresh, changed, at)

    monkeypatch.setattr(planner, "_write", slower)
    plan(at=later(hours=1))
    assert row(due).state == "written"


@pytest.mark.parametrize(
    ("refused_on", "due_on", "code"),
    [
        ([], ["bonnet"], "refused"),
        (["bonnet", "roof"], ["bonnet"], "refused"),
        (["roof"], ["bonnet"], "window_open"),
        (["roof"], ["bonnet", "roof"], "window_open"),
        (["roof"], [], "window_open"),
    ],
)
def test_work_is_refused_where_it_is_refused_on_every_surface_of_the_window(make_due, refused_on, due_on, code):
    due = make_due(surfaces=due_on)
    models.Refusal.objects.create(
        studio=due.studio, vehicle=due.vehicle, task=due.task, surfaces=refused_on, why="over the budget", at=NOW
    )
    plan(at=NOW)
    assert row(due).reason_code == code


def hand_over(due, studio, *, days):
    """The vehicle goes to a new keeper, who says yes to care reminders on that day."""
    at = later(days=days)
    new = CustomerFactory(studio=studio, name="Jory Tamm", email="jory.tamm@example.org")
    register.transfer(
        studio=studio, vehicle_id=due.vehicle_id, to_customer_id=new.pk, on=at.date(), actor="member:1", at=at
    )
    ConsentFactory(customer=new, purpose="service", at=at)
    return new


def test_a_follow_up_planned_for_before_the_new_keeper_came_is_skipped_for_good_with_the_reason(due, studio):
    plan(at=NOW)
    enqueue(at=NOW)
    deliver(at=NOW)
    # The window is from 25 February to 1 May: half-way is 29 March, a day before the new keeper comes.
    hand_over(due, studio, days=28)
    plan(at=later(days=28, hours=1))
    skipped = row(due, "follow_up")
    assert (skipped.state, skipped.reason_code, skipped.final) == ("skipped", "enrolled_later", True)
    assert "2026-03-29" in skipped.reason
    assert "2026-03-30" in skipped.reason


def test_a_new_keeper_is_not_told_that_we_wrote_to_them_before(due, studio):
    plan(at=NOW)
    enqueue(at=NOW)
    deliver(at=NOW)
    new = hand_over(due, studio, days=10)
    at = later(days=27, hours=1)
    plan(at=at)
    enqueue(at=at)
    message = models.Message.objects.get(customer=new)
    assert message.reminder.step == "follow_up"
    assert "We wrote to you" not in message.text
