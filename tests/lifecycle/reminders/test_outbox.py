"""From the reminder to the message: written once, about what still holds, and looked at again before it leaves."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core import mail

from lifecycle import models
from lifecycle.care import register, visits
from lifecycle.reminders import letters, outbox, reads
from lifecycle.reminders.outbox import deliver, enqueue, sweep
from lifecycle.reminders.planner import plan
from lifecycle.reminders.unsubscribe import withdraw
from tests.factories import ConsentFactory, CustomerFactory

from .conftest import NOW, OFFER, fresh, later, written

pytestmark = pytest.mark.django_db


# ---- the way without accidents


def test_a_reminder_becomes_one_message_that_is_handed_over_once(due, person, provider):
    message = written()
    assert (message.state, message.reminder.due, message.to_email) == ("ready", due, person.email)
    assert message.reminder.state == "written"
    assert deliver(at=NOW)["accepted"] == 1
    assert fresh(message).state == "accepted"
    assert (message.claim, message.lease_until, message.attempts) == (None, None, 1)
    assert provider.got == [f"<{message.uid}@127.0.0.1>"]
    verbs = models.JournalEntry.objects.filter(subject="message", subject_id=message.pk).values_list("verb", flat=True)
    assert list(verbs) == ["message written", "message accepted"]


def test_running_everything_twice_sends_nothing_twice(due, provider):
    for minutes in range(0, 60, 5):
        at = later(minutes=minutes)
        plan(at=at)
        enqueue(at=at)
        deliver(at=at)
        sweep(at=at)
    assert len(provider.got) == 1
    assert models.Message.objects.count() == 1


def test_the_ladder_over_a_whole_window_sends_three_mails_before_a_contract_date(make_due, provider):
    day = NOW.date()
    make_due(latest=day + timedelta(days=80), contract_on=day + timedelta(days=80), ideal=day + timedelta(days=60))
    on = []
    for number in range(90):
        at = later(days=number)
        plan(at=at)
        enqueue(at=at)
        on += [number] * deliver(at=at)["accepted"]
    assert on == [0, 40, 66]  # at once, half-way to the end, 14 days before the contract date
    assert list(models.Reminder.objects.order_by("made_at", "pk").values_list("step", "state")) == [
        ("first", "written"), ("follow_up", "written"), ("last", "written"),
    ]  # fmt: skip


def test_a_second_run_finds_the_reminder_taken(due, monkeypatch):
    plan(at=NOW)
    plain = outbox._take_over

    def slower(rows, at):
        models.Reminder.objects.filter(state="planned").update(state="written")  # the other run was quicker
        return plain(rows, at)

    monkeypatch.setattr(outbox, "_take_over", slower)
    assert enqueue(at=NOW)["written"] == 0
    assert not models.Message.objects.exists()


def test_the_rules_are_asked_again_when_it_is_written(due, studio):
    plan(at=NOW)
    models.Studio.objects.update(paused_at=NOW)
    assert enqueue(at=NOW)["held"] == 1
    row = models.Reminder.objects.get(step="first")
    assert (row.state, row.reason_code) == ("skipped", "studio_paused")
    assert not models.Message.objects.exists()


def test_a_worker_that_comes_back_at_night_writes_in_the_morning(due, provider):
    plan(at=NOW)
    night = NOW.replace(hour=22)
    assert enqueue(at=night)["moved"] == 1
    assert deliver(at=night)["accepted"] == 0
    morning = NOW.replace(hour=8) + timedelta(days=1)  # 09:00 in Oslo
    assert models.Reminder.objects.get(step="first").send_at == morning
    enqueue(at=morning)
    assert deliver(at=morning)["accepted"] == 1


# ---- several things for one person


def test_a_fleet_gets_one_mail_about_all_its_vans(studio, make_due, provider):
    parcel = CustomerFactory(studio=studio, name="Hollin Parcel Co.", fleet=True)
    ConsentFactory(customer=parcel)
    dues = [make_due(keeper=parcel) for _ in range(9)]
    message = written()
    assert models.Message.objects.count() == 1
    assert message.headers["X-Sheenward-Reminders"].count(",") == 8
    assert "Retest: 9 vehicles, the soonest between now and" in " ".join(message.text.split())
    assert "If it waits:" not in message.text  # many things: short about each, the rest is on the vehicle's page
    others = models.Reminder.objects.filter(reason_code="in_one_mail")
    assert others.count() == 8
    assert all(str(message.uid) in row.reason for row in others)
    assert deliver(at=NOW)["accepted"] == 1
    steps = models.Reminder.objects.filter(due__in=dues, step="first")
    assert set(steps.values_list("state", flat=True)) == {"written"}
    plan(at=later(days=1))
    follow_ups = models.Reminder.objects.filter(due__in=dues, step="follow_up")
    assert {row.state for row in follow_ups} == {"planned"}  # each knows that its first notice went out


def test_another_window_of_the_same_person_waits_a_week(due, make_due, provider):
    written()
    deliver(at=NOW)
    make_due()
    second = later(days=2)
    plan(at=second)
    row = models.Reminder.objects.filter(step="first").last()
    assert (row.state, row.reason_code) == ("planned", "another_first")
    assert row.send_at == NOW + timedelta(days=7)


def test_offers_and_care_reminders_come_apart(make_due, provider):
    make_due()
    make_due(task=OFFER)
    written()
    assert sorted(models.Message.objects.values_list("purpose", flat=True)) == ["promotion", "service"]


def test_what_no_longer_holds_is_taken_out_of_a_mail_that_has_not_left(make_due, studio, provider):
    first, second = make_due(), make_due()
    message = written()
    visits.book(
        studio=studio, vehicle_id=first.vehicle_id, on=NOW.date() + timedelta(days=3), tasks=["retest"],
        actor="member:1", at=NOW,
    )  # fmt: skip
    counts = deliver(at=later(minutes=1))
    assert (counts["rewritten"], counts["accepted"]) == (1, 1)
    fresh(message)
    assert message.text.count("Why now:") == 1
    assert message.reminder.due == second
    dropped = models.Reminder.objects.get(due=first, step="first")
    assert (dropped.state, dropped.reason_code, dropped.final) == ("skipped", "booked", False)
    assert mail.outbox[0].body == message.text


# ---- the look just before the hand-over


def _withdraw(message):
    withdraw(customer=message.customer, purpose="service", how="own page", wording="No.", actor="customer:1", at=NOW)


def _consent_row(message):
    ConsentFactory(customer=message.customer, given=False, at=NOW)


def _suppress(message):
    models.Suppression.objects.create(studio=message.studio, email=message.to_email, why="bounced", at=NOW)


def _book(message):
    models.CareDue.objects.update(state="booked")


def _move_address(message):
    models.Customer.objects.filter(pk=message.customer_id).update(email="elsewhere@example.org")


def _sell(message):
    models.Keeper.objects.update(end=NOW.date())


def _close(message):
    models.CareDue.objects.update(state="withdrawn", closed_at=NOW)


def _store(message):
    vehicle = models.Vehicle.objects.get()
    models.Storage.objects.create(studio=message.studio, vehicle=vehicle, start=NOW.date())


CHANGES = {
    _withdraw: "Consent was withdrawn", _consent_row: "does not want", _suppress: "must not be written to",
    _book: "booked", _move_address: "address has changed", _sell: "does not keep",
    _close: "no longer open", _store: "storage",
}  # fmt: skip


@pytest.mark.parametrize("change", CHANGES, ids=lambda one: one.__name__)
def test_what_changed_after_writing_stops_the_message_with_the_reason(change, due, provider):
    message = written()
    change(message)
    deliver(at=later(minutes=1))
    assert fresh(message).state == "stopped"
    assert CHANGES[change] in message.error
    assert provider.got == []


def test_an_open_complaint_stops_an_offer(make_due, provider):
    make_due(task=OFFER)
    message = written()
    models.Complaint.objects.create(studio=message.studio, customer=message.customer, about="dust", opened_at=NOW)
    assert deliver(at=later(minutes=1))["stopped"] == 1
    assert "complaint is open" in fresh(message).error


def test_a_retry_that_falls_into_the_night_waits_for_the_morning(due, provider):
    message = written()
    night = NOW.replace(hour=21)
    assert deliver(at=night)["later"] == 1
    assert fresh(message).state == "ready"
    assert message.next_try_at == NOW.replace(hour=8) + timedelta(days=1)
    assert deliver(at=night + timedelta(hours=1)) == dict.fromkeys(deliver(at=night), 0)
    assert deliver(at=message.next_try_at)["accepted"] == 1


# ---- a pause of the studio holds what is written, and stops nothing


def _paused(studio, yes):
    register.pause_studio(studio=studio, paused=yes, actor="member:1", at=NOW)


def test_a_pause_holds_a_written_message_until_it_ends(due, studio, provider):
    message = written()
    _paused(studio, True)
    for minutes in (0, 6, 60, 180):
        assert deliver(at=later(minutes=minutes))["later"] == 1
        assert (fresh(message).state, message.claim, message.attempts) == ("ready", None, 0)
    assert reads.outbox(studio).rows[0].why == reads.HELD
    assert reads.mail(studio, message_id=message.pk).why == reads.HELD
    _paused(studio, False)
    assert reads.outbox(studio).rows[0].why == ""
    assert deliver(at=later(minutes=180 + letters.PAUSE_MINUTES))["accepted"] == 1
    assert len(provider.got) == 1


def test_what_no_longer_holds_is_stopped_during_a_pause_too(due, studio, provider):
    message = written()
    _paused(studio, True)
    assert deliver(at=NOW)["later"] == 1
    _consent_row(message)
    assert deliver(at=later(minutes=letters.PAUSE_MINUTES))["stopped"] == 1
    assert "does not want" in fresh(message).error


def test_a_pause_longer_than_the_age_limit_stops_the_message(due, studio, provider):
    message = written()
    _paused(studio, True)
    for days in range(14):
        deliver(at=later(days=days))
        assert sweep(at=later(days=days))["ready"] == 0
    assert sweep(at=later(days=14))["ready"] == 1
    assert (fresh(message).state, provider.got) == ("stopped", [])


def test_a_message_held_for_part_of_what_it_says_is_rewritten_after_the_pause(make_due, studio, provider):
    first, _ = make_due(), make_due()
    written()
    _paused(studio, True)
    models.CareDue.objects.filter(pk=first.pk).update(state="booked")
    counts = deliver(at=NOW)
    assert (counts["later"], counts["rewritten"]) == (1, 0)
    _paused(studio, False)
    counts = deliver(at=later(minutes=letters.PAUSE_MINUTES))
    assert (counts["rewritten"], counts["accepted"]) == (1, 1)
