"""Receipts: once, early, late, out of order, for nobody; and what follows from them."""

from __future__ import annotations

import itertools
import uuid
from datetime import timedelta

import pytest

from lifecycle import models
from lifecycle.reminders import receipts
from lifecycle.reminders.outbox import deliver, enqueue
from lifecycle.reminders.planner import plan
from tests.factories import ConsentFactory, MessageFactory

from .conftest import NOW, later

pytestmark = pytest.mark.django_db
NUMBERS = itertools.count()


def tell(message, kind, *, event_id=None, **fields):
    told = {
        "provider": "postal", "event_id": event_id or f"e{next(NUMBERS)}", "uid": str(message.uid), "kind": kind,
        "occurred_at": NOW, "detail": "", "at": later(minutes=1),
    }  # fmt: skip
    return receipts.take(**(told | fields))


def state(message):
    message.refresh_from_db()
    return message.state


@pytest.fixture
def message(person):
    return MessageFactory(customer=person, state="accepted")


@pytest.mark.parametrize(
    ("kind", "after"),
    [
        ("accepted", "accepted"), ("deferred", "accepted"), ("delivered", "delivered"), ("bounced", "bounced"),
        ("soft_bounced", "bounced"), ("rejected", "failed"), ("failed", "failed"), ("complained", "complained"),
        ("unsubscribed", "accepted"),
    ],
)  # fmt: skip
def test_what_a_receipt_makes_of_a_message(message, kind, after):
    assert tell(message, kind).message == message
    assert state(message) == after


def test_the_same_event_twice_is_one_receipt(message):
    assert tell(message, "delivered", event_id="d1") is not None
    assert tell(message, "delivered", event_id="d1") is None
    assert models.Receipt.objects.count() == 1


ORDER = {"accepted": 1, "delivered": 2, "bounced": 3, "complained": 4}


ORDERS = [kinds for length in (2, 3, 4) for kinds in itertools.permutations(ORDER, length)]


@pytest.mark.parametrize("kinds", ORDERS, ids="-".join)
def test_in_whatever_order_they_come_the_message_ends_at_the_furthest(message, kinds):
    for kind in kinds:
        tell(message, kind)
    assert state(message) == max(kinds, key=ORDER.__getitem__)
    assert models.Receipt.objects.count() == len(kinds)


@pytest.mark.parametrize("early", ["ready", "handing_over", "unconfirmed", "retry"])
def test_a_receipt_that_is_quicker_than_our_own_note_stands(person, early):
    claim = {"claim": uuid.uuid4(), "lease_until": NOW + timedelta(minutes=10)} if early == "handing_over" else {}
    message = MessageFactory(customer=person, state=early, **claim)
    tell(message, "delivered")
    assert state(message) == "delivered"
    deliver(at=later(minutes=2))
    assert state(message) == "delivered"


def test_a_receipt_corrects_an_outcome_that_was_given_up(person):
    message = MessageFactory(customer=person, state="failed", error="The outcome is unknown.")
    tell(message, "delivered")
    assert state(message) == "delivered"
    assert message.error == ""


def test_a_receipt_for_nobody_is_tolerated_and_logged(message, caplog):
    for uid in (str(uuid.uuid4()), "", "not an id"):
        assert tell(message, "delivered", uid=uid) is None
    assert not models.Receipt.objects.exists()
    assert "no message of ours" in caplog.text


def test_the_providers_own_id_finds_the_message_when_our_metadata_is_lost(message):
    models.Message.objects.filter(pk=message.pk).update(provider_id="abc-1")
    assert tell(message, "delivered", uid="", provider_id="abc-1").message == message


def test_an_event_that_knows_the_providers_id_alone_and_comes_before_it_is_noted_is_not_lost(message):
    """It waits for the note of the hand-over, however often it was posted, and then counts as any other."""
    for _ in range(2):
        assert tell(message, "bounced", event_id="b1", uid="", provider_id="abc-2") is None
    assert not models.Receipt.objects.exists()
    assert receipts.settle(at=later(minutes=2)) == {}
    models.Message.objects.filter(pk=message.pk).update(provider_id="abc-2")
    assert receipts.settle(at=later(minutes=4)) == {"early": 1}
    assert state(message) == "bounced"
    assert models.Suppression.objects.get().email == message.to_email
    assert not models.EarlyReceipt.objects.exists()
    assert tell(message, "bounced", event_id="b1", uid="", provider_id="abc-2") is None
    assert models.Receipt.objects.count() == 1


def test_an_event_whose_message_never_comes_is_forgotten_after_a_day(message):
    tell(message, "delivered", uid="", provider_id="of somebody else", at=NOW)
    receipts.settle(at=later(hours=23))
    assert models.EarlyReceipt.objects.count() == 1
    receipts.settle(at=later(hours=24))
    assert not models.EarlyReceipt.objects.exists()


def test_an_unknown_kind_is_an_error(message):
    with pytest.raises(ValueError, match="use one of"):
        tell(message, "opened")


def test_a_hard_bounce_suppresses_the_address_once(message):
    tell(message, "bounced", detail="550 5.1.1")
    tell(message, "bounced")
    row = models.Suppression.objects.get()
    assert (row.email, row.why) == (message.to_email, "bounced")
    assert state(message) == "bounced"
    assert message.error == "550 5.1.1"


def test_a_soft_bounce_does_not(message):
    tell(message, "soft_bounced")
    assert not models.Suppression.objects.exists()


def test_a_spam_complaint_withdraws_every_consent_and_suppresses(message, person):
    tell(message, "complained")
    assert models.Suppression.objects.get().why == "complained"
    latest = {row.purpose: row.given for row in models.Consent.objects.filter(customer=person).order_by("at", "id")}
    assert latest == {"service": False, "promotion": False}


def test_an_unsubscribed_event_withdraws_the_purpose_of_the_mail(message, person):
    tell(message, "unsubscribed")
    latest = {row.purpose: row.given for row in models.Consent.objects.filter(customer=person).order_by("at", "id")}
    assert latest == {"service": False, "promotion": True}


def test_a_late_event_does_not_undo_a_consent_given_since(message, person):
    ConsentFactory(customer=person, purpose="service", at=later(days=2))
    tell(message, "unsubscribed", occurred_at=NOW, at=later(days=3))
    assert models.Consent.objects.filter(customer=person, purpose="service").latest("at").given


def test_settle_lets_kept_receipts_act_that_have_not(message):
    models.Receipt.objects.create(
        studio=message.studio, provider="postal", event_id="x", message=message, kind="bounced", occurred_at=NOW,
        received_at=NOW,
    )  # fmt: skip
    assert receipts.settle(at=later(minutes=1)) == {"bounced": 1}
    assert state(message) == "bounced"
    assert models.Suppression.objects.exists()
    assert receipts.settle(at=later(minutes=2)) == {}


def test_after_a_bounce_nothing_more_is_planned(due, person):
    plan(at=NOW)
    enqueue(at=NOW)
    deliver(at=NOW)
    tell(models.Message.objects.get(), "bounced")
    plan(at=later(days=1))
    row = models.Reminder.objects.get(step="follow_up")
    assert (row.state, row.reason_code) == ("skipped", "suppressed")


@pytest.mark.parametrize(
    ("answer", "said", "soft"),
    [
        ("452 4.2.2 mailbox full", "", True), ("550 5.1.1 unknown", "", False), ("421 busy", "", True), ("", "", False),
        ("", "SoftBounce", True), ("", "HardBounce", False), ("", "Transient", True), ("", "Permanent", False),
    ],
)  # fmt: skip
def test_a_bounce_about_now_is_told_from_one_about_the_address(answer, said, soft):
    """Status classes 4 (persistent transient) and 5 (permanent): RFC 3463, section 2."""
    assert receipts.is_soft_bounce(answer=answer, said=said) is soft
