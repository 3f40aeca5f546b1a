"""A notice follows the day that the site's calendar plans: when it goes out, which day it names, and that it moves with
the plan until it was sent. That a plan is followed is a house rule; the lead of three weeks is judgement, no source."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lifecycle import models
from lifecycle.care import visits
from lifecycle.care.erasure import erase_customer
from lifecycle.care.visits import propose
from lifecycle.errors import DomainError
from lifecycle.reminders import letters, tending
from lifecycle.reminders.outbox import deliver, enqueue
from lifecycle.reminders.planner import plan
from lifecycle.reminders.rules import BEFORE_PLANNED_DAYS, Send, decide
from lifecycle.reminders.sweep import STALE_AFTER, sweep

from .conftest import NOW, fresh, later
from .test_rules import FACTS

TODAY = NOW.date()
LEAD = timedelta(days=BEFORE_PLANNED_DAYS)


# ---- the rule


def test_the_first_notice_goes_out_three_weeks_before_the_planned_day():
    planned = replace(FACTS, planned_on=date(2026, 6, 30))
    assert decide(planned) == Send(
        datetime(2026, 6, 9, 7, 0, tzinfo=UTC),  # 09:00 in Berlin
        "planned_day",
        "A visit is planned for 2026-06-30; this is 21 days before.",
        date(2026, 6, 30),
    )
    near = decide(replace(planned, now=datetime(2026, 6, 15, 10, 0, tzinfo=UTC)))
    assert (near.at, near.reason_code) == (datetime(2026, 6, 15, 10, 0, tzinfo=UTC), "planned_day")
    assert "no more than three weeks away" in near.reason


@pytest.mark.parametrize(
    ("day", "names"),
    [
        (date(2026, 5, 20), True),  # soon after the opening: the window's own beginning decides
        (date(2026, 5, 12), False),  # today
        (date(2026, 5, 3), False),  # over
        (date(2026, 7, 11), False),  # outside the window
    ],
)
def test_a_planned_day_that_is_near_over_or_outside_leaves_the_time_alone(day, names):
    decision = decide(replace(FACTS, planned_on=day))
    assert (decision.at, decision.reason_code) == (FACTS.now, "window_open")
    assert decision.planned_on == (day if names else None)


def test_what_presses_is_told_of_when_its_window_opens_and_names_the_day():
    decision = decide(replace(FACTS, planned_on=date(2026, 6, 30), pressing=True))
    assert (decision.at, decision.reason_code, decision.planned_on) == (FACTS.now, "window_open", date(2026, 6, 30))


def test_the_follow_up_comes_half_way_to_the_planned_day():
    facts = replace(FACTS, step="follow_up", first="accepted", first_at=FACTS.now, planned_on=date(2026, 6, 21))
    assert decide(facts).at.date() == date(2026, 6, 1)
    assert decide(facts).reason == "About half-way to the visit planned for 2026-06-21."
    assert decide(replace(facts, planned_on=date(2026, 6, 3))).at.date() == date(2026, 5, 26), "never within two weeks"
    assert decide(replace(facts, planned_on=date(2026, 5, 20))).reason.endswith("the window on 2026-07-10.")


@given(day=st.integers(-10, 90), now=st.integers(-30, 70), owed=st.booleans())
def test_whatever_is_planned_a_notice_stays_in_its_window_and_is_never_later_than_the_plan(day, now, owed):
    planned_on = FACTS.earliest + timedelta(days=day)
    facts = replace(FACTS, now=FACTS.now + timedelta(days=now), planned_on=planned_on, owed=owed)
    decision = decide(facts)
    if not isinstance(decision, Send):
        assert decision == decide(replace(facts, planned_on=None)), "a plan makes no notice fall away"
        return
    on = decision.at.astimezone(facts.zone).date()
    assert facts.earliest <= on <= facts.latest
    assert decision.at >= facts.now
    if decision.planned_on is not None:
        assert on < decision.planned_on <= facts.latest


# ---- rows, from the calendar to the mail


@pytest.fixture
def proposal(make_due):
    """A proposal for the one window, as the step `visits` makes it."""
    due = make_due(earliest=TODAY - timedelta(days=5), ideal=TODAY + timedelta(days=40),
                   latest=TODAY + timedelta(days=60))  # fmt: skip
    propose(at=NOW)
    return models.VisitProposal.objects.get(dues=due)


def move(proposal, day):
    """The calendar plans it for another day."""
    models.VisitProposal.objects.filter(pk=proposal.pk).update(planned_on=day)


def run(at):
    plan(at=at)
    enqueue(at=at)
    deliver(at=at)


def shown(day):
    return f"{day.day} {day:%B %Y}"


def test_the_reminder_follows_the_plan_until_it_is_sent_and_names_its_day(proposal, provider):
    day = fresh(proposal).planned_on
    assert day is not None
    assert day - LEAD > TODAY, "the calendar spreads it; else this case shows nothing"
    run(NOW)
    reminder = models.Reminder.objects.get()
    assert (reminder.state, reminder.reason_code, reminder.planned_on) == ("planned", "planned_day", day)
    assert reminder.send_at.date() == day - LEAD
    later_day = day + timedelta(days=7)
    move(proposal, later_day)
    run(later(hours=1))
    assert fresh(reminder).send_at.date() == later_day - LEAD, "it moves with the plan"
    assert str(later_day) in reminder.reason
    run(reminder.send_at)
    message = models.Message.objects.get()
    assert message.state == "accepted"
    assert f"A day that would suit us: {shown(later_day)}." in " ".join(message.text.split())
    assert shown(later_day) in message.html
    move(proposal, day)
    run(reminder.send_at + timedelta(days=1))
    assert fresh(reminder).planned_on == later_day, "once sent it stays"
    assert len(provider.got) == 1


def test_a_message_that_waits_is_written_anew_when_its_day_moves(proposal, provider):
    due_at = NOW.replace(hour=10) + (fresh(proposal).planned_on - LEAD - TODAY)
    plan(at=due_at)
    enqueue(at=due_at)
    message = models.Message.objects.get()
    assert shown(proposal.planned_on) in message.text
    sooner = proposal.planned_on - timedelta(days=3)
    move(proposal, sooner)
    assert deliver(at=due_at)["rewritten"] == 1
    assert fresh(message).state == "accepted"
    assert f"A day that would suit us: {shown(sooner)}." in " ".join(message.text.split())
    assert models.Reminder.objects.get(step="first").planned_on == sooner
    assert models.JournalEntry.objects.filter(verb="message rewritten").count() == 1


def test_a_message_whose_person_is_erased_after_the_look_is_not_written_anew(proposal, person, provider, monkeypatch):
    due_at = NOW.replace(hour=10) + (fresh(proposal).planned_on - LEAD - TODAY)
    plan(at=due_at)
    enqueue(at=due_at)
    move(proposal, proposal.planned_on - timedelta(days=3))
    verdict = letters.Look.verdict

    def then_erased(self, message):
        found = verdict(self, message)
        erase_customer(studio=person.studio, customer_id=person.pk, typed=person.name, actor="member:1", at=due_at)
        return found

    monkeypatch.setattr(letters.Look, "verdict", then_erased)
    counts = deliver(at=due_at)
    assert (counts["rewritten"], counts["lost"], counts["accepted"]) == (0, 1, 0)
    message = models.Message.objects.get()
    assert (message.state, message.subject, message.text, message.html) == ("stopped", "", "", "")


def test_a_plan_that_moves_far_holds_the_waiting_message_until_its_time(proposal, provider):
    due_at = NOW.replace(hour=10) + (fresh(proposal).planned_on - LEAD - TODAY)
    plan(at=due_at)
    enqueue(at=due_at)
    far = proposal.planned_on + timedelta(days=10)
    move(proposal, far)
    assert deliver(at=due_at)["later"] == 1
    message = models.Message.objects.get()
    assert message.next_try_at.date() == far - LEAD
    assert deliver(at=message.next_try_at)["accepted"] == 1
    assert shown(far) in fresh(message).text


def test_a_plan_that_moves_so_far_that_the_words_would_be_too_old_loses_no_notice(proposal, provider):
    """Two weeks after it was written the sweep would stop the message; so another one is written in time."""
    models.CareDue.objects.update(latest=TODAY + timedelta(days=90))
    due_at = NOW.replace(hour=10) + (fresh(proposal).planned_on - LEAD - TODAY)
    plan(at=due_at)
    enqueue(at=due_at)
    far = proposal.planned_on + STALE_AFTER + timedelta(days=3)
    move(proposal, far)
    counts = deliver(at=due_at)
    assert (counts["stopped"], counts["later"]) == (1, 0)
    early = models.Message.objects.get()
    assert (early.state, early.error, early.told_of()) == ("stopped", letters.TOO_EARLY, [])
    reminder = models.Reminder.objects.get(step="first")
    assert (reminder.state, reminder.send_at.date(), reminder.planned_on) == ("planned", far - LEAD, far)
    for days in range(1, 25):  # before a follow-up is due
        at = due_at + timedelta(days=days)
        run(at)
        sweep(at=at)
    assert [row.state for row in models.Message.objects.exclude(pk=early.pk)] == ["accepted"]
    assert shown(far) in models.Message.objects.latest("pk").text
    assert len(provider.got) == 1
    with pytest.raises(DomainError, match="is gone"):
        tending.retry(studio=early.studio, message_id=early.pk, actor="member:1", at=due_at + timedelta(days=1))


def test_what_no_longer_holds_of_a_message_that_is_much_too_early_is_held_back_with_its_reason(proposal, make_due):
    models.CareDue.objects.update(latest=TODAY + timedelta(days=90))
    due_at = NOW.replace(hour=10) + (fresh(proposal).planned_on - LEAD - TODAY)
    other = make_due(earliest=due_at.date(), ideal=due_at.date(), latest=due_at.date() + timedelta(days=60))
    plan(at=due_at)
    enqueue(at=due_at)
    move(proposal, proposal.planned_on + STALE_AFTER + timedelta(days=3))
    models.CareDue.objects.filter(pk=other.pk).update(state="booked")
    assert deliver(at=due_at)["stopped"] == 1
    assert set(models.Reminder.objects.filter(step="first").values_list("due__state", "state")) == {
        ("open", "planned"), ("booked", "skipped"),
    }  # fmt: skip


def test_one_window_that_is_planned_anew_holds_the_others_of_its_mail_back_no_longer(proposal, make_due, provider):
    due_at = NOW.replace(hour=10) + (fresh(proposal).planned_on - LEAD - TODAY)
    other = make_due(earliest=due_at.date(), ideal=due_at.date(), latest=due_at.date() + timedelta(days=60))
    plan(at=due_at)
    enqueue(at=due_at)
    message = models.Message.objects.get()
    assert len(message.told_of()) == 2
    far = proposal.planned_on + timedelta(days=10)
    move(proposal, far)
    counts = deliver(at=due_at)
    assert (counts["rewritten"], counts["accepted"], counts["later"]) == (1, 1, 0)
    held, sent = models.Reminder.objects.filter(step="first").order_by("due_id")
    assert (sent.due, sent.state, fresh(message).told_of()) == (other, "written", [sent.pk])
    assert (held.state, held.send_at.date()) == ("planned", far - LEAD)
    run(held.send_at)
    assert models.Message.objects.latest("pk").told_of() == [held.pk]
    assert len(provider.got) == 2


def test_a_resend_says_what_the_first_said(proposal, provider):
    """The same Message-ID must not carry two texts."""
    due_at = NOW.replace(hour=10) + (fresh(proposal).planned_on - LEAD - TODAY)
    plan(at=due_at)
    enqueue(at=due_at)
    models.Message.objects.update(resends=1)
    move(proposal, proposal.planned_on - timedelta(days=3))
    before = models.Message.objects.get().text
    counts = deliver(at=due_at)
    assert (counts["accepted"], counts["rewritten"]) == (1, 0)
    assert models.Message.objects.get().text == before


@pytest.mark.parametrize("pressing", [{"reason_code": "first_check"}, {"words": {"overdue_since": "2026-02-01"}}])
def test_owed_or_overdue_care_does_not_wait_for_the_plan(proposal, pressing):
    models.CareDue.objects.update(**pressing)
    plan(at=NOW)
    reminder = models.Reminder.objects.get()
    assert (reminder.reason_code, reminder.planned_on) == ("window_open", fresh(proposal).planned_on)


def test_a_withdrawn_proposal_leaves_the_window_to_decide(proposal):
    plan(at=NOW)
    models.VisitProposal.objects.update(state="withdrawn")
    plan(at=later(hours=1))
    reminder = models.Reminder.objects.get()
    assert (reminder.reason_code, reminder.planned_on) == ("window_open", None)


def test_preview_and_mail_name_the_same_day(proposal):
    due_at = NOW.replace(hour=10) + (fresh(proposal).planned_on - LEAD - TODAY)
    plan(at=due_at)
    enqueue(at=due_at)
    message = models.Message.objects.get()
    reminder = models.Reminder.objects.select_related("due", "vehicle", "customer__studio").get(step="first")
    seen = letters.preview(reminders=[reminder], uid=message.uid, at=due_at)
    assert (seen.text, seen.html) == (message.text, message.html)


# ---- a window that opens already open waits for the plan that is being made


def awaited():
    return list(models.Reminder.objects.values_list("state", "reason_code"))


def test_a_new_window_is_not_written_about_before_the_calendar_has_looked_for_a_day(make_due, provider, monkeypatch):
    make_due(earliest=TODAY - timedelta(days=5), ideal=TODAY + timedelta(days=40), latest=TODAY + timedelta(days=60),
             opened_at=NOW)  # fmt: skip
    run(NOW)
    assert awaited() == [("skipped", "plan_awaited")]
    with monkeypatch.context() as patch:  # proposed, and the days of the site are still being planned
        patch.setattr(visits, "plan_days", lambda **_: {})
        propose(at=NOW)
    run(later(minutes=5))
    assert awaited() == [("skipped", "plan_awaited")]
    propose(at=later(minutes=10))
    run(later(minutes=10))
    assert awaited() == [("planned", "planned_day")]
    assert models.Message.objects.count() == 0


def test_without_any_plan_a_new_window_waits_a_day_and_no_longer(make_due, provider):
    make_due(opened_at=NOW)
    run(later(hours=23))
    assert awaited() == [("skipped", "plan_awaited")]
    run(later(hours=24))
    assert models.Message.objects.get().state == "accepted"


@pytest.mark.parametrize("fields", [{"reason_code": "first_check"}, {"words": {"overdue_since": "2026-02-01"}},
                                    {"latest": TODAY + timedelta(days=1), "ideal": TODAY}])  # fmt: skip
def test_what_presses_or_would_be_too_late_waits_for_no_plan(make_due, provider, fields):
    make_due(opened_at=NOW, **fields)
    run(NOW)
    assert models.Message.objects.get().state == "accepted"


def test_a_calendar_that_found_no_day_was_asked_all_the_same(make_due, provider, monkeypatch):
    make_due(opened_at=NOW)
    propose(at=NOW)
    models.VisitProposal.objects.update(planned_on=None, planned_why="No day is free.")
    run(NOW)
    assert models.Message.objects.get().state == "accepted"
