"""What the owner sees first: new words, prices, many mails at once; approved or refused on
record; nothing waits for ever.

The house's plan (section 7) asks for it: first sends of a wording, anything with a price, batches over 20.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from lifecycle import models
from lifecycle.errors import DomainError
from lifecycle.reminders import approval, tending, wordings
from lifecycle.reminders.outbox import deliver, enqueue, sweep
from lifecycle.reminders.planner import plan
from lifecycle.reminders.unsubscribe import make_token, unsubscribe
from tests import people
from tests.factories import ConsentFactory, CustomerFactory, StudioFactory

from .conftest import NOW, fresh, later, written

pytestmark = pytest.mark.django_db
ALL = {"approve_first": True, "approve_prices": True, "approve_batches": True}


@pytest.fixture
def owner(studio):
    return people.owner(studio)


def ask(studio, **wanted):
    """What this studio wants to see first, and nothing else."""
    models.Studio.objects.filter(pk=studio.pk).update(**dict.fromkeys(ALL, False) | wanted)
    studio.refresh_from_db()


def by(owner, *, at=NOW):
    return {"studio": owner.studio, "member_id": owner.pk, "actor": f"member:{owner.pk}", "at": at}


def verbs(*names):
    return list(models.JournalEntry.objects.filter(verb__in=names).order_by("pk").values_list("verb", "actor"))


def test_a_new_studio_sees_all_three_first():
    assert {name: getattr(models.Studio(), name) for name in ALL} == ALL


def test_the_first_mail_in_new_words_waits_and_is_not_handed_over(due, studio):
    ask(studio, approve_first=True)
    message = written()
    assert (message.state, message.approval_for) == ("waiting", ["first_send"])
    assert message.error == "Waits for the owner: nobody has approved a mail in these words yet."
    assert deliver(at=NOW)["accepted"] == 0
    assert fresh(message).state == "waiting"


def test_approved_it_goes_out_is_on_record_and_the_next_one_does_not_wait(make_due, studio, owner):
    ask(studio, approve_first=True)
    make_due()
    message = written()
    assert approval.approve(message_ids=[message.pk], **by(owner)) == {"approved": 1, "released": 0}
    assert (fresh(message).state, message.approval_for, message.error) == ("ready", [], "")
    assert deliver(at=NOW)["accepted"] == 1
    actor = f"member:{owner.pk}"
    assert verbs("message approved", "mail words approved") == [
        ("message approved", actor),
        ("mail words approved", actor),
    ]
    someone = CustomerFactory(studio=studio)
    ConsentFactory(customer=someone)
    make_due(keeper=someone)
    assert written(later(hours=1)).state == "ready"


def test_another_word_or_another_language_is_seen_again(make_due, studio, owner):
    ask(studio, approve_first=True)
    for language in ("en", "de"):
        approval.approve_words(kind="service", language="en", **by(owner))
        someone = CustomerFactory(studio=studio, language=language)
        ConsentFactory(customer=someone)
        make_due(keeper=someone)
        assert written().state == ("ready" if language == "en" else "waiting")
    wordings.put(kind="service", language="en", texts={"closing": "Yours, Piet"}, **by(owner))
    someone = CustomerFactory(studio=studio)
    ConsentFactory(customer=someone)
    make_due(keeper=someone)
    assert written().approval_for == ["first_send"]


def test_approving_one_lets_others_go_that_waited_for_the_same_words_alone(make_due, studio, owner):
    ask(studio, approve_first=True, approve_prices=True)
    models.Price.objects.create(studio=studio, task="retest", size="M", low=40, high=65)
    for task in ("retest", "inspection", "wax_renewal"):
        someone = CustomerFactory(studio=studio)
        ConsentFactory(customer=someone)
        make_due(keeper=someone, task=task)
    written()
    priced, *others = models.Message.objects.order_by("reminder__due")
    assert (priced.approval_for, others[0].approval_for) == (["first_send", "price"], ["first_send"])
    assert approval.approve(message_ids=[others[0].pk], **by(owner)) == {"approved": 1, "released": 1}
    assert [fresh(one).state for one in (priced, *others)] == ["waiting", "ready", "ready"]
    assert priced.approval_for == ["price"], "the price is still to be seen"


@pytest.mark.parametrize(("high", "waits"), [(65, True), (0, False)])
def test_a_price_is_seen_first_unless_the_owner_said_otherwise(due, studio, owner, high, waits):
    """What is free of charge names no price."""
    ask(studio, approve_prices=True)
    models.Price.objects.create(studio=studio, task="retest", size="M", low=min(40, high), high=high)
    assert (written().state == "waiting") is waits


def test_without_asking_for_prices_they_go(due, studio, owner):
    ask(studio, approve_prices=True)
    approval.set_policy(first=False, prices=False, batches=False, **by(owner))
    models.Price.objects.create(studio=studio, task="retest", size="M", low=40, high=65)
    assert written().state == "ready"
    (entry,) = models.JournalEntry.objects.filter(verb="approval of mails changed")
    assert entry.data == {"approve_prices": False}


def many(make_due, studio, number):
    for _ in range(number):
        someone = CustomerFactory(studio=studio)
        ConsentFactory(customer=someone)
        make_due(keeper=someone)
    plan(at=NOW)
    return enqueue(at=NOW)


@pytest.mark.parametrize(("number", "state"), [(20, "ready"), (21, "waiting")])
def test_more_than_twenty_in_one_run_wait(make_due, studio, owner, number, state):
    ask(studio, approve_batches=True)
    assert many(make_due, studio, number)["written"] == number
    assert set(models.Message.objects.values_list("state", flat=True)) == {state}
    runs = approval.waiting(studio)
    assert [len(run.rows) for run in runs] == ([21] if state == "waiting" else [])
    if runs:
        ids = [row.id for row in runs[0].rows]
        assert approval.approve(message_ids=ids, **by(owner))["approved"] == 21
        assert deliver(at=NOW)["accepted"] == 21


def test_where_the_rules_hold_so_many_back_that_twenty_are_left_none_waits(make_due, studio):
    ask(studio, approve_batches=True)
    for _ in range(22):
        someone = CustomerFactory(studio=studio)
        ConsentFactory(customer=someone)
        make_due(keeper=someone)
    plan(at=NOW)
    for person in models.Customer.objects.filter(studio=studio, reminders__isnull=False)[:2]:
        ConsentFactory(customer=person, given=False, at=NOW)
    assert enqueue(at=NOW)["written"] == 20
    assert set(models.Message.objects.values_list("state", flat=True)) == {"ready"}


def test_a_run_needs_as_many_queries_to_ask_for_one_mail_as_for_thirty(make_due, studio):
    ask(studio, **ALL)
    ready = models.Reminder.objects.filter(state="planned")
    with CaptureQueriesContext(connection) as one:
        approval.gate_for_run(ready)
    many(make_due, studio, 30)
    with CaptureQueriesContext(connection) as thirty:
        approval.gate_for_run(ready)
        assert len(approval.waiting(studio)[0].rows) == 30
    assert len(thirty) == len(one) + 1


def test_refused_it_is_stopped_with_the_reason_and_the_journal_names_nobody(due, studio, owner):
    ask(studio, approve_first=True)
    message = written()
    assert approval.refuse(message_ids=[message.pk], why="Tove  rang\nyesterday", **by(owner)) == 1
    assert (fresh(message).state, message.error) == ("stopped", "Not approved: Tove rang yesterday")
    entry = models.JournalEntry.objects.get(verb="message refused")
    assert "Tove" not in str(entry.data)
    # Put back by hand it waits again: what was to be seen is still to be seen.
    assert tending.retry(studio=studio, message_id=message.pk, actor="member:1", at=NOW).state == "waiting"


def test_what_holds_no_more_when_it_is_approved_is_not_sent(due, studio, owner, person):
    ask(studio, approve_first=True)
    message = written()
    ConsentFactory(customer=person, purpose="service", given=False, at=NOW)
    approval.approve(message_ids=[message.pk], **by(owner))
    assert deliver(at=later(minutes=1))["stopped"] == 1
    assert fresh(message).state == "stopped"


def test_words_that_changed_before_a_mail_is_written_anew_are_seen_first(make_due, studio, owner, person):
    ask(studio, approve_first=True)
    approval.approve_words(kind="service", language="en", **by(owner))
    one, other = make_due(), make_due(task="inspection")
    message = written()
    assert message.state == "ready"
    wordings.put(kind="service", language="en", texts={"closing": "Yours, Piet"}, **by(owner))
    models.CareDue.objects.filter(pk=other.pk).update(state="done", closed_at=NOW, closed_why="Done.")
    counts = deliver(at=later(minutes=1))
    assert (counts["rewritten"], counts["accepted"]) == (1, 0)
    assert fresh(message).state == "waiting"
    assert "Yours, Piet" in message.text
    approval.approve(message_ids=[message.pk], **by(owner, at=later(minutes=2)))
    assert deliver(at=later(minutes=3))["accepted"] == 1
    assert message.told_of() == [models.Reminder.objects.get(due=one, step="first").pk]


@pytest.mark.parametrize(
    ("days", "latest", "says"),
    [(13, 60, ""), (14, 60, "Nobody approved it within 14 days."), (3, 2, "Its care window ended before")],
)
def test_what_nobody_approves_is_stopped_with_the_reason(make_due, studio, days, latest, says):
    ask(studio, approve_first=True)
    make_due(ideal=NOW.date(), latest=NOW.date() + timedelta(days=latest))
    message = written()
    sweep(at=later(days=days, hours=1))
    assert fresh(message).state == ("stopped" if says else "waiting")
    assert says in message.error


def test_unsubscribing_stops_what_waits_for_approval(due, studio, owner, person):
    ask(studio, approve_first=True)
    message = written()
    unsubscribe(token=make_token(customer_id=person.pk, purpose="service"), at=NOW)
    assert fresh(message).state == "stopped"
    with pytest.raises(DomainError, match="None of these mails waits"):
        approval.approve(message_ids=[message.pk], **by(owner))


def test_an_empty_choice_sends_nothing_and_others_decide_nothing(due, studio, owner):
    ask(studio, approve_first=True)
    message = written()
    stranger = people.owner(StudioFactory())
    desk = people.desk(studio)
    for wrong, says in (
        ({**by(owner), "message_ids": []}, "Nothing was chosen"),
        ({**by(stranger), "message_ids": [message.pk]}, "None of these mails waits"),
        ({**by(desk), "message_ids": [message.pk]}, "Only an owner"),
    ):
        with pytest.raises(DomainError, match=says):
            approval.approve(**wrong)
        with pytest.raises(DomainError, match=says):
            approval.refuse(why="No.", **wrong)
    for why in ("", "x" * 201):
        with pytest.raises(DomainError) as refused:
            approval.refuse(message_ids=[message.pk], why=why, **by(owner))
        assert refused.value.field == "why"
    assert fresh(message).state == "waiting"
    assert approval.number_waiting(studio) == 1
    assert approval.waiting(stranger.studio) == ()
