"""A no or a later stops the mail, and nobody is written to about work that was just done."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core import mail
from django.db import connection
from django.test.utils import CaptureQueriesContext

from lifecycle import models, tasks
from lifecycle.care import register, visits
from lifecycle.care.layering import record_layer
from lifecycle.care.record import ReadingEntry, record_inspection
from lifecycle.care.worklist import work_list
from lifecycle.outlook import offers
from lifecycle.reminders.outbox import deliver, enqueue
from lifecycle.reminders.planner import plan
from tests.factories import (
    CareDueFactory,
    ConsentFactory,
    CustomerFactory,
    HabitsFactory,
    LayerFactory,
    SurfaceFactory,
    VehicleFactory,
)

from .conftest import NOW, fresh, later, written

pytestmark = pytest.mark.django_db
TODAY = NOW.date()


def row(due, step="first"):
    return models.Reminder.objects.get(due=due, step=step)


def held(due):
    one = row(due)
    return one.reason_code if one.state == "skipped" else one.state


def advise(due, *, at=NOW):
    """The studio's list has a price for it, so it is advice on record."""
    models.Price.objects.get_or_create(
        studio=due.studio, task=due.task, size=due.vehicle.size, defaults={"low": 40, "high": 60}
    )
    offers.recommend(at=at)
    return models.Offer.objects.get(due=due)


def say(offer, kind, *, at=NOW, **words):
    offers.answer(studio=offer.studio, offer_id=offer.pk, kind=kind, actor="member:1", at=at, **words)


def refuse_twice(vehicle, task):
    for days in (300, 100):
        at = later(days=-days)
        old = models.Offer.objects.create(
            studio=vehicle.studio, vehicle=vehicle, task=task, price_low=1, price_high=2, made_at=at
        )
        for kind in ("recommended", "offered", "declined"):
            models.OfferStep.objects.create(studio=vehicle.studio, offer=old, kind=kind, at=at)


# ---- answers


def test_after_a_no_nothing_more_is_written_about_the_window(due, studio):
    say(advise(due), "declined")
    for days in (0, 20, 40):
        plan(at=later(days=days))
        assert enqueue(at=later(days=days))["written"] == 0
    assert held(due) == "declined"
    (group,) = work_list(studio, today=TODAY, when="now").groups
    said = group.rows[0].reminder.words
    assert said == "first notice held back: The answer on 2026-03-02 was no; this window is not written about again."


def test_a_no_stops_the_follow_up(due):
    message = written()
    deliver(at=NOW)
    say(advise(due), "declined", at=later(days=2))
    plan(at=later(days=3))
    assert (fresh(message).state, row(due, "follow_up").reason_code) == ("accepted", "declined")


def test_a_no_between_writing_and_handing_over_stops_the_message(due, provider):
    offer = advise(due)
    message = written()
    say(offer, "declined", at=later(minutes=1))
    assert deliver(at=later(minutes=2))["stopped"] == 1
    assert "was no" in fresh(message).error
    assert provider.got == []


def test_who_changes_their_mind_is_written_to_again(due):
    offer = advise(due)
    say(offer, "declined")
    plan(at=NOW)
    assert held(due) == "declined"
    say(offer, "accepted", at=later(days=1))
    plan(at=later(days=1, minutes=1))
    assert held(due) == "planned"


def test_a_later_holds_until_its_day_and_no_longer(due):
    say(advise(due), "deferred", until=TODAY + timedelta(days=30))
    for days in (0, 29):
        plan(at=later(days=days))
        assert held(due) == "deferred"
        assert "2026-04-01" in row(due).reason
    plan(at=later(days=30))
    assert enqueue(at=later(days=30))["written"] == 1


def test_another_window_of_the_same_work_is_not_bound_by_one_no(due):
    say(advise(due), "declined")
    models.CareDue.objects.filter(pk=due.pk).update(state="withdrawn", closed_at=NOW)
    again = CareDueFactory(vehicle=due.vehicle, task=due.task)
    plan(at=NOW)
    assert held(again) == "planned"


@pytest.mark.parametrize(("reason", "code"), [("wear", "resting"), ("contract", "planned")])
def test_after_two_refusals_the_work_rests_except_for_what_the_studio_owes(make_due, reason, code):
    due = make_due(reason_code=reason)
    refuse_twice(due.vehicle, due.task)
    plan(at=NOW)
    assert held(due) == code
    if code == "resting":
        assert row(due).reason == "Declined twice in a row: it is left alone until 2026-11-22."


def test_two_refusals_of_one_work_do_not_hold_back_another(make_due):
    due = make_due()
    refuse_twice(due.vehicle, "booster")
    plan(at=NOW)
    assert held(due) == "planned"


def test_the_word_of_an_earlier_keeper_does_not_bind_the_next(due, studio):
    refuse_twice(due.vehicle, due.task)
    models.Keeper.objects.filter(vehicle=due.vehicle).update(start=TODAY - timedelta(days=500))
    offer = models.Offer.objects.create(
        studio=studio, vehicle=due.vehicle, due=due, task=due.task, price_low=1, price_high=2, made_at=later(days=-9)
    )
    models.OfferStep.objects.create(studio=studio, offer=offer, kind="declined", at=later(days=-9))
    plan(at=NOW)
    assert held(due) == "declined"
    jory = CustomerFactory(studio=studio, name="Jory Tamm")
    ConsentFactory(customer=jory)
    register.transfer(
        studio=studio, vehicle_id=due.vehicle_id, to_customer_id=jory.pk, on=TODAY, actor="member:1", at=NOW
    )
    plan(at=later(hours=1))
    assert (row(due).customer, held(due)) == (jory, "planned")


def test_answers_are_read_in_bulk(make_due, studio):
    def queries(at):
        with CaptureQueriesContext(connection) as seen:
            plan(at=at)
        return len(seen)

    def one_more():
        someone = CustomerFactory(studio=studio)
        ConsentFactory(customer=someone)
        due = make_due(keeper=someone)
        refuse_twice(due.vehicle, due.task)
        done(due.vehicle, "wax_renewal")

    one_more()
    one = queries(NOW)
    for _ in range(12):
        one_more()
    assert queries(later(minutes=1)) == one


# ---- work just done


def done(vehicle, *work, on=TODAY):
    """A visit that took place, settled without a word about what was put on."""
    at = later(days=(on - TODAY).days)
    visit = visits.book(studio=vehicle.studio, vehicle_id=vehicle.pk, on=on, tasks=list(work), actor="member:1", at=at)
    visits.settle(studio=vehicle.studio, visit_id=visit.pk, state="done", actor="member:1", at=at)


@pytest.mark.parametrize(
    ("task", "reason"),
    [
        ("wax_renewal", "Done on 2026-03-02; the new layer is not on record yet."),
        ("windscreen_retreat", "Done on 2026-03-02; the new layer is not on record yet."),
        ("recoat", "Done on 2026-03-02; the new layer is not on record yet."),
        ("retest", "Done on 2026-03-02; the reading is not on record yet."),
        ("lay_up", "Done on 2026-03-02; it is not written about again for 60 days."),
    ],
)
def test_a_window_that_opens_again_after_the_work_is_not_written_about(site, studio, person, task, reason):
    vehicle = VehicleFactory(site=site, keeper=person)
    done(vehicle, task)
    again = CareDueFactory(vehicle=vehicle, task=task, latest=TODAY + timedelta(days=200))
    for days in (7, 60):
        plan(at=later(days=days))
        assert (held(again), row(again).reason) == ("just_done", reason)
    (group,) = work_list(studio, today=TODAY, when="now").groups
    assert group.rows[0].reminder.words == f"first notice held back: {reason}"
    plan(at=later(days=61))
    assert held(again) == "planned"


@pytest.mark.parametrize("task", ["maintenance_wash", "decontamination_wash", "inspection"])
def test_what_a_visit_puts_on_record_itself_is_written_about_when_it_is_due_again(site, person, task):
    vehicle = VehicleFactory(site=site, keeper=person)
    done(vehicle, task)
    again = CareDueFactory(vehicle=vehicle, task=task)
    plan(at=later(days=30))
    assert held(again) == "planned"


@pytest.mark.parametrize(
    ("applied", "kind", "code"), [(0, "wax", "planned"), (-1, "wax", "just_done"), (0, "wheel_coat", "just_done")]
)
def test_once_the_new_layer_is_on_record_the_next_window_is_told_of(site, person, applied, kind, code):
    """A wax lives for weeks (common practice, no source), so its next window may open within the sixty days."""
    vehicle = VehicleFactory(site=site, keeper=person)
    done(vehicle, "wax_renewal")
    record_layer(
        studio=vehicle.studio, surface_id=SurfaceFactory(vehicle=vehicle).pk, kind=kind,
        applied=TODAY + timedelta(days=applied), coats=1, actor="member:1", at=NOW,
    )  # fmt: skip
    again = CareDueFactory(vehicle=vehicle, task="wax_renewal")
    plan(at=later(days=45))
    assert held(again) == code


def test_once_the_reading_is_on_record_the_next_retest_is_told_of(site, person):
    vehicle = VehicleFactory(site=site, keeper=person)
    done(vehicle, "retest")
    record_inspection(
        studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY, clean_state="decontaminated",
        readings=[ReadingEntry(SurfaceFactory(vehicle=vehicle).pk, "contact_angle_deg", 95, drops=5)],
        actor="member:1", at=NOW,
    )  # fmt: skip
    again = CareDueFactory(vehicle=vehicle, task="retest")
    plan(at=later(days=20))
    assert held(again) == "planned"


def test_the_whole_cycle_writes_no_mail_about_the_wax_that_was_renewed_last_week(site, person):
    vehicle = VehicleFactory(site=site, keeper=person)
    HabitsFactory(vehicle=vehicle)
    LayerFactory(surface__vehicle=vehicle, kind="wax", applied=TODAY - timedelta(days=80), coats=1)
    tasks.run_all(at=NOW)
    first = models.CareDue.objects.get(vehicle=vehicle, task="wax_renewal")
    about_wax = [one for one in mail.outbox if "wax renewal" in one.body.lower()]
    assert len(about_wax) == 1
    done(vehicle, "wax_renewal")
    for days in (1, 7, 14, 28):
        tasks.run_all(at=later(days=days))
    again = models.CareDue.objects.get(vehicle=vehicle, task="wax_renewal", state="open")
    assert again.pk != first.pk, "the forecast still sees the old layer, so its window opens again"
    assert held(again) == "just_done"
    assert [one for one in mail.outbox if "wax renewal" in one.body.lower()] == about_wax
