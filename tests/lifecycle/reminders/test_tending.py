"""What the desk may do with a message: again while it is true and never a third time; stop before it leaves."""

from __future__ import annotations

import smtplib

import pytest

from lifecycle import models
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.reminders import claim as claims
from lifecycle.reminders import receipts, tending
from lifecycle.reminders.outbox import deliver
from lifecycle.reminders.unsubscribe import withdraw
from tests.factories import MessageFactory, StudioFactory

from .conftest import NOW, begin, fresh, later, written

pytestmark = pytest.mark.django_db


def act(verb, message, *, at=NOW):
    return verb(studio=message.studio, message_id=message.pk, actor="member:1", at=at)


def test_a_failed_message_goes_out_when_asked_and_the_journal_says_who_asked(due, provider):
    message = written()
    provider.before = smtplib.SMTPDataError(554, b"5.7.1 looks like spam")
    deliver(at=NOW)
    assert fresh(message).state == "failed"
    provider.before = None
    assert (act(tending.retry, message).state, fresh(message).resends) == ("ready", 0)  # it never left
    assert deliver(at=later(minutes=1))["accepted"] == 1
    assert provider.got == [f"<{message.uid}@127.0.0.1>"]
    entry = models.JournalEntry.objects.get(verb="message to be sent again")
    assert (entry.actor, entry.data["before"]["state"], entry.data["resend"]) == ("member:1", "failed", False)


def test_what_had_left_is_sent_again_once_as_a_recorded_resend_and_not_a_third_time(due, provider):
    message = written()
    deliver(at=NOW)
    tell = {"provider": "postal", "uid": str(message.uid), "kind": "failed", "occurred_at": NOW, "detail": "queue lost"}
    receipts.take(event_id="1", at=later(minutes=1), **tell)
    assert act(tending.retry, message, at=later(minutes=2)).resends == 1
    deliver(at=later(minutes=3))
    assert len(provider.got) == 2
    receipts.take(event_id="2", at=later(minutes=4), **tell)
    with pytest.raises(DomainError, match="Phone the customer"):
        act(tending.retry, message, at=later(minutes=5))


def test_what_no_longer_holds_is_not_sent_again(due, provider):
    message = written()
    act(tending.stop, message)
    withdraw(customer=message.customer, purpose="service", how="phone", wording="No.", actor="member:1", at=NOW)
    with pytest.raises(DomainError, match=r"no longer holds: .*does not want"):
        act(tending.retry, message)
    assert fresh(message).state == "stopped"


def test_an_old_message_and_one_that_did_not_fail_are_not_tried_again(due, person):
    message = written()
    with pytest.raises(DomainError, match="only one that failed or was stopped"):
        act(tending.retry, message)
    act(tending.stop, message)
    with pytest.raises(DomainError, match="more than 14 days"):
        act(tending.retry, message, at=later(days=14))


def test_a_stop_takes_a_message_out_of_a_batch_that_has_not_begun(due, provider):
    message = written()
    claim = claims.take(at=NOW, limit=1)
    assert act(tending.stop, message).state == "stopped"
    assert not begin(message, claim.token, at=NOW)
    assert deliver(at=later(hours=1))["accepted"] == 0


def test_only_what_waits_is_stopped_and_what_may_have_left_is_failed(person):
    for state in ("unconfirmed", "accepted", "delivered", "failed", "stopped"):
        with pytest.raises(DomainError, match="can no longer be stopped"):
            act(tending.stop, MessageFactory(customer=person, state=state))
    doubtful = act(tending.stop, MessageFactory(customer=person, state="ready", resends=1))
    assert (doubtful.state, "may have arrived" in doubtful.error) == ("failed", True)


@pytest.mark.parametrize("verb", [tending.retry, tending.stop])
def test_another_studios_message_is_not_there(due, verb):
    message = written()
    with pytest.raises(NotFoundHere):
        verb(studio=StudioFactory(), message_id=message.pk, actor="member:9", at=NOW)
