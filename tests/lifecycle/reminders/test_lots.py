"""Messages go out in lots: what is in doubt when a deliverer dies in the middle, and a lot that waited too long."""

from __future__ import annotations

import time
from collections import Counter

import pytest
from django.core.mail.backends.locmem import EmailBackend as MemoryBackend

from lifecycle import models
from lifecycle.reminders import claim as claims
from lifecycle.reminders import handing, letters
from lifecycle.reminders.outbox import deliver, sweep
from lifecycle.reminders.sweep import UNCONFIRMED_FOR
from lifecycle.reminders.transport import Postman
from lifecycle.reminders.unsubscribe import withdraw
from tests.factories import ConsentFactory, CustomerFactory

from .conftest import NOW, Killed, later, written

pytestmark = pytest.mark.django_db
MANY = 60


@pytest.fixture
def many(studio, make_due, provider):
    for _ in range(MANY):
        someone = CustomerFactory(studio=studio)
        ConsentFactory(customer=someone)
        make_due(keeper=someone)
    written()
    assert models.Message.objects.filter(state="ready").count() == MANY
    return provider


def states():
    return Counter(models.Message.objects.values_list("state", flat=True))


def slow_after(monkeypatch, provider, *, number, act):
    """Do something in place of the mail of this number."""
    send = MemoryBackend.send_messages

    def send_messages(self, mails):
        if len(provider.got) == number:
            act()
        return send(self, mails)

    monkeypatch.setattr(MemoryBackend, "send_messages", send_messages)


@pytest.mark.parametrize("number", [0, 1, 7, 30, 59])
def test_killed_in_the_middle_only_two_lots_are_in_doubt_and_none_is_lost_or_doubled_unseen(many, monkeypatch, number):
    def die():
        raise Killed

    with monkeypatch.context() as patch:
        slow_after(patch, many, number=number, act=die)
        with pytest.raises(Killed):
            deliver(at=NOW)
    found = states()
    assert found["handing_over"] <= 2 * handing.LOT_MOST
    assert found["accepted"] <= number <= found["accepted"] + found["handing_over"]
    assert sweep(at=later(minutes=11))["handing_over"] == found["handing_over"]
    deliver(at=later(minutes=11))
    at = later(minutes=11) + UNCONFIRMED_FOR
    assert sweep(at=at)["unconfirmed"] == found["handing_over"]
    deliver(at=at)
    assert states() == {"accepted": MANY}
    twice = [uid for uid, times in Counter(many.got).items() if times > 1]
    resent = models.Message.objects.filter(resends=1)
    assert len(set(many.got)) == MANY
    assert set(twice) <= {row.headers["Message-ID"] for row in resent}
    assert models.JournalEntry.objects.filter(verb="message to be sent again").count() == resent.count()


def test_each_that_was_taken_has_one_entry_in_the_journal_and_used_one_try(many):
    assert deliver(at=NOW)["accepted"] == MANY
    entries = models.JournalEntry.objects.filter(verb="message accepted")
    assert sorted(entries.values_list("subject_id", flat=True)) == sorted(
        models.Message.objects.values_list("pk", flat=True)
    )
    assert {row.data["uid"] for row in entries} == {
        str(uid) for uid in models.Message.objects.values_list("uid", flat=True)
    }
    assert set(models.Message.objects.values_list("attempts", "claim", "lease_until")) == {(1, None, None)}


def test_a_no_that_comes_while_the_lot_before_is_stuck_still_holds(many, monkeypatch):
    """Begun, a message cannot be stopped; so what was begun too long ago is taken back and looked at anew."""
    monkeypatch.setattr(handing, "LOOK_HOLDS_S", 0.05)
    slow_after(monkeypatch, many, number=0, act=lambda: time.sleep(0.2))
    said_no = []

    def make_ready(self, message):
        if not said_no:  # the first lot is on its way, this message begun
            said_no.append(message)
            withdraw(customer=message.customer, purpose="service", how="own page", wording="No.",
                     actor="customer:1", at=NOW)  # fmt: skip

    monkeypatch.setattr(Postman, "make_ready", make_ready)
    counts = deliver(at=NOW)
    assert (counts["accepted"], counts["stopped"]) == (MANY - 1, 1)
    (message,) = said_no
    message.refresh_from_db()
    assert (message.state, message.attempts) == ("stopped", 0)
    assert message.headers["Message-ID"] not in many.got


def after(number, real):
    """What fails once, the time after `number` times, and works before and after that."""
    calls = []

    def fails(*args, **kwargs):
        calls.append(1)
        if len(calls) == number + 1:
            raise RuntimeError("the database went away")
        return real(*args, **kwargs)

    return fails


@pytest.mark.parametrize("number", [2, 5, 6, 8])
@pytest.mark.parametrize(("where", "name"), [(letters.Look, "verdict"), (claims, "turn"), (Postman, "make_ready")])
def test_an_error_of_ours_in_the_middle_leaves_nothing_in_doubt(many, monkeypatch, where, name, number):
    with monkeypatch.context() as patch:
        patch.setattr(where, name, after(number, getattr(where, name)))
        with pytest.raises(RuntimeError, match="went away"):
            deliver(at=NOW)
    assert set(states()) == {"accepted", "ready"}
    assert states()["accepted"] == len(many.got) > 0, "what the provider has is on record, with its entry"
    assert models.JournalEntry.objects.filter(verb="message accepted").count() == len(many.got)
    assert set(models.Message.objects.filter(state="ready").values_list("attempts", flat=True)) == {0}
    deliver(at=later(minutes=11))
    assert states() == {"accepted": MANY}
    assert len(set(many.got)) == len(many.got) == MANY


def test_an_error_in_the_write_of_one_outcome_leaves_the_accepted_of_its_lot_on_record(many, monkeypatch):
    refused = models.Message.objects.order_by("written_at", "pk")[1]
    models.Message.objects.filter(pk=refused.pk).update(headers=refused.headers | {"X-Broken": "a\nb"})
    with monkeypatch.context() as patch:
        patch.setattr(handing.Handing, "_write_outcome", after(0, handing.Handing._write_outcome))
        patch.setattr(handing.Handing, "_lot_size", lambda self: 5)
        with pytest.raises(RuntimeError):
            deliver(at=NOW)
    assert states()["handing_over"] == 1
    assert states()["accepted"] == len(many.got) >= 4
