"""Hand-over: claims, accidents on the way, what an error means, and that every state ends."""

from __future__ import annotations

import smtplib
from datetime import timedelta

import pytest

from lifecycle import models
from lifecycle.reminders import claim as claims
from lifecycle.reminders import handing, outbox, receipts
from lifecycle.reminders.outbox import deliver, sweep
from lifecycle.reminders.sweep import SETTLED_ENOUGH, STALE_AFTER, SWEEPERS, UNCONFIRMED_FOR
from lifecycle.reminders.unsubscribe import withdraw
from tests.factories import ConsentFactory, CustomerFactory, MessageFactory

from .conftest import NOW, Killed, begin, fresh, later, written

pytestmark = pytest.mark.django_db
States = models.MessageState


# ---- claims


def test_of_two_deliverers_the_second_gets_nothing(due):
    message = written()
    one = claims.take(at=NOW, limit=10)
    two = claims.take(at=NOW, limit=10)
    assert [row.pk for row in one.messages] == [message.pk]
    assert two.messages == ()
    assert not begin(message, two.token, at=NOW)
    assert begin(message, one.token, at=NOW)
    assert not begin(message, one.token, at=NOW)


def test_two_deliverers_that_saw_the_same_rows_share_them_out(due, monkeypatch):
    """The second one's UPDATE runs between the first one's SELECT and UPDATE."""
    message = written()
    monkeypatch.setattr(claims.uuid, "uuid4", iter([f"{n:032x}" for n in (1, 2)]).__next__)
    update = claims.Message.objects.filter().__class__.update

    def race(self, **changes):
        if race.first and "claim" in changes:
            race.first = False
            race.other = claims.take(at=NOW, limit=10)
        return update(self, **changes)

    race.first = True
    monkeypatch.setattr(claims.Message.objects.filter().__class__, "update", race)
    mine = claims.take(at=NOW, limit=10)
    assert [row.pk for row in race.other.messages] == [message.pk]
    assert mine.messages == ()


def test_a_deliverer_that_dies_before_the_hand_over_loses_only_time(due, provider):
    message = written()
    claims.take(at=NOW, limit=10)  # and is killed
    assert deliver(at=later(minutes=1))["accepted"] == 0
    assert deliver(at=NOW + claims.LEASE)["accepted"] == 1
    assert fresh(message).resends == 0
    assert len(provider.got) == 1


def test_a_claim_whose_lease_ran_out_cannot_begin_after_another_took_it(due):
    message = written()
    slow = claims.take(at=NOW, limit=10)
    quick = claims.take(at=NOW + claims.LEASE, limit=10)
    assert not begin(message, slow.token, at=NOW + claims.LEASE)
    assert begin(message, quick.token, at=NOW + claims.LEASE)


def test_a_run_claims_few_at_first_then_as_many_as_the_pace_allows(studio, make_due, provider, monkeypatch):
    """So the look before the hand-over is hardly older than a second at a slow provider, and cheap at a quick one."""
    for _ in range(10):
        someone = CustomerFactory(studio=studio)
        ConsentFactory(customer=someone)
        make_due(keeper=someone)
    written()
    sizes, clock, take = [], [0.0], claims.take

    def taken(*, at, limit):
        sizes.append(limit)
        clock[0] += 1.0  # every batch takes a second
        return take(at=at, limit=limit)

    monkeypatch.setattr(claims, "take", taken)
    monkeypatch.setattr(outbox.time, "monotonic", lambda: clock[0])
    monkeypatch.setattr(outbox, "FIRST_AT_ONCE", 2)
    monkeypatch.setattr(outbox, "MOST_AT_ONCE", 5)
    deliver(at=NOW)
    assert sizes == [2, 2, 2, 2, 2, 2], "two a second is the pace, and what is asked for"
    models.Message.objects.update(state="ready")
    sizes.clear()
    monkeypatch.setattr(handing, "LOOK_HOLDS_S", 4.0)
    deliver(at=NOW)
    assert sizes == [2, 5, 5, 5]
    models.Message.objects.update(state="ready")
    sizes.clear()
    assert deliver(at=NOW, for_s=2.0)["accepted"] == 7
    assert sizes == [2, 5], "a run ends in time for the next alarm"
    models.Message.objects.update(state="ready")
    sizes.clear()
    monkeypatch.setattr(handing, "LOOK_HOLDS_S", 0.4)
    deliver(at=NOW)
    assert sizes == [2] + [1] * 9, "so slow a provider gets one at a time, whose look is fresh"


def test_no_more_than_the_limit_is_delivered(studio, make_due, provider):
    for _ in range(5):
        someone = CustomerFactory(studio=studio)
        ConsentFactory(customer=someone)
        make_due(keeper=someone)
    written()
    assert deliver(at=NOW, limit=2)["accepted"] == 2
    assert deliver(at=NOW)["accepted"] == 3


# ---- accidents


def crash(at):
    with pytest.raises(Killed):
        deliver(at=at)


@pytest.mark.parametrize("moment", ["before", "after"])
def test_killed_around_the_hand_over_it_is_unconfirmed_then_sent_once_more_with_the_same_id(due, provider, moment):
    message = written()
    setattr(provider, moment, Killed())
    crash(NOW)
    assert fresh(message).state == "handing_over"
    assert deliver(at=later(minutes=5)) == dict.fromkeys(deliver(at=later(minutes=5)), 0)
    assert sweep(at=later(minutes=9))["handing_over"] == 0
    assert sweep(at=later(minutes=11))["handing_over"] == 1
    assert fresh(message).state == "unconfirmed"
    setattr(provider, moment, None)
    assert deliver(at=later(hours=1))["accepted"] == 0
    at = later(minutes=11) + UNCONFIRMED_FOR
    assert sweep(at=at)["unconfirmed"] == 1
    assert deliver(at=at)["accepted"] == 1
    assert (fresh(message).state, message.resends) == ("accepted", 1)
    assert len(set(provider.got)) == 1
    assert len(provider.got) == (1 if moment == "before" else 2)
    assert models.JournalEntry.objects.filter(verb="message to be sent again").count() == 1


def test_the_write_after_the_hand_over_fails_and_a_receipt_settles_it(due, provider, monkeypatch):
    message = written()
    with monkeypatch.context() as patch:
        turn = claims.turn

        def killed_where_it_notes(token, *, taken, **rest):
            if taken:
                raise Killed
            return turn(token, taken=taken, **rest)

        patch.setattr(claims, "turn", killed_where_it_notes)
        crash(NOW)
    sweep(at=later(minutes=11))
    receipts.take(
        provider="test", event_id="1", uid=str(message.uid), kind="delivered", occurred_at=NOW, detail="",
        at=later(minutes=20),
    )  # fmt: skip
    assert fresh(message).state == "delivered"
    sweep(at=later(days=2))
    deliver(at=later(days=2))
    assert len(provider.got) == 1


def test_after_one_resend_the_outcome_is_shown_as_unknown_not_tried_for_ever(due, provider):
    message = written()
    provider.after = Killed()
    crash(NOW)
    sweep(at=later(hours=1))
    sweep(at=later(hours=1) + UNCONFIRMED_FOR)
    crash(later(hours=1) + UNCONFIRMED_FOR)
    for hours in (24, 48, 72):
        sweep(at=later(hours=hours))
    assert fresh(message).state == "failed"
    assert "outcome is unknown" in message.error
    assert len(provider.got) == 2


def test_a_resend_to_somebody_who_said_no_meanwhile_is_not_made(due, provider):
    message = written()
    provider.after = Killed()
    crash(NOW)
    provider.after = None
    sweep(at=later(hours=1))
    sweep(at=later(hours=1) + UNCONFIRMED_FOR)
    withdraw(customer=message.customer, purpose="service", how="own page", wording="No.", actor="customer:1", at=NOW)
    deliver(at=later(hours=1) + UNCONFIRMED_FOR)
    assert fresh(message).state == "failed"
    assert "not sent again" in message.error
    assert len(provider.got) == 1


def test_a_slow_deliverer_that_knows_the_outcome_corrects_unconfirmed(due):
    message = written()
    claim = claims.take(at=NOW, limit=1)
    begin(message, claim.token, at=NOW)
    sweep(at=later(minutes=11))
    assert fresh(message).state == "unconfirmed"
    assert claims.settle(message, claim.token, state=States.ACCEPTED, at=later(minutes=12))
    assert fresh(message).state == "accepted"


def test_temporary_errors_are_tried_again_by_the_table_and_then_given_up(due, provider):
    message = written()
    provider.before = smtplib.SMTPDataError(451, b"4.7.1 try again later")
    at, waits = NOW, []
    for _ in range(5):
        assert deliver(at=at)["retry"] == 1
        assert fresh(message).state == "retry"
        waits.append((message.next_try_at - at) / timedelta(minutes=1))
        assert deliver(at=message.next_try_at - timedelta(seconds=1))["retry"] == 0
        at = message.next_try_at
    assert waits == [1, 5, 15, 60, 240]
    assert deliver(at=at)["failed"] == 1
    assert (fresh(message).state, message.attempts) == ("failed", 6)
    assert "451" in message.error


def test_a_provider_that_cannot_be_reached_costs_no_try(studio, make_due, provider):
    for _ in range(3):
        someone = CustomerFactory(studio=studio)
        ConsentFactory(customer=someone)
        make_due(keeper=someone)
    written()
    provider.unreachable = ConnectionRefusedError(111, "Connection refused")
    assert deliver(at=NOW)["retry"] == 1
    assert sorted(models.Message.objects.values_list("state", "attempts")) == [("ready", 0), ("ready", 0), ("retry", 0)]
    assert not models.Message.objects.exclude(claim=None).exists()
    assert "refused" in models.Message.objects.get(state="retry").error
    provider.unreachable = None
    assert deliver(at=later(minutes=5))["accepted"] == 3


OUTAGES = {
    "no connection": {"unreachable": ConnectionRefusedError(111, "Connection refused")},
    "wrong password": {"unreachable": smtplib.SMTPAuthenticationError(535, b"5.7.8 credentials invalid")},
    "not let in any more": {
        "before": smtplib.SMTPSenderRefused(530, b"5.7.0 authentication required", "a@example.org")
    },
}


@pytest.mark.parametrize("what", OUTAGES)
def test_an_outage_of_days_burns_no_notice(due, provider, what):
    message = written()
    for name, error in OUTAGES[what].items():
        setattr(provider, name, error)
    for days in range(13):
        assert deliver(at=later(days=days))["retry"] == 1
        assert sum(sweep(at=later(days=days)).values()) == 0
    assert (fresh(message).state, message.attempts, message.claim) == ("retry", 0, None)
    assert any(name in message.error for name in ("ConnectionRefused", "SMTPAuthentication", "SMTPSenderRefused"))
    provider.unreachable = provider.before = None
    assert deliver(at=later(days=13))["accepted"] == 1
    assert fresh(message).attempts == 1


def test_an_outage_beyond_the_written_limit_is_shown_as_failed_with_its_cause(due, provider):
    message = written()
    provider.unreachable = ConnectionRefusedError(111, "Connection refused")
    deliver(at=NOW)
    assert sweep(at=later(days=14))["retry"] == 1
    assert fresh(message).state == "failed"
    assert "14 days" in message.error
    assert "Connection refused" in message.error


def test_an_outage_beyond_the_window_stops_the_message(make_due, provider):
    make_due(latest=NOW.date() + timedelta(days=5), ideal=NOW.date())
    message = written()
    provider.unreachable = ConnectionRefusedError(111, "Connection refused")
    deliver(at=NOW)
    assert deliver(at=later(days=6))["stopped"] == 1
    assert (fresh(message).state, message.error) == ("stopped", "The window ended on 2026-03-07.")


def test_where_all_would_fare_alike_the_others_are_not_tried(studio, make_due, provider):
    for _ in range(3):
        someone = CustomerFactory(studio=studio)
        ConsentFactory(customer=someone)
        make_due(keeper=someone)
    written()
    provider.before = smtplib.SMTPSenderRefused(421, b"4.3.2 closing", "a@example.org")
    assert deliver(at=NOW)["retry"] == 1
    assert sorted(models.Message.objects.values_list("state", "attempts")) == [("ready", 0), ("ready", 0), ("retry", 0)]


def test_a_refused_address_fails_and_is_not_written_to_again(due, provider, person):
    message = written()
    provider.before = smtplib.SMTPRecipientsRefused({person.email: (550, b"5.1.1 no such user")})
    assert deliver(at=NOW)["failed"] == 1
    assert fresh(message).state == "failed"
    assert models.Suppression.objects.get().email == person.email


def test_one_bad_message_does_not_hold_the_others_back(studio, make_due, provider):
    for _ in range(2):
        someone = CustomerFactory(studio=studio)
        ConsentFactory(customer=someone)
        make_due(keeper=someone)
    written()
    bad = models.Message.objects.first()
    models.Message.objects.filter(pk=bad.pk).update(headers=bad.headers | {"X-Broken": "a\nb"})
    counts = deliver(at=NOW)
    assert (counts["failed"], counts["accepted"]) == (1, 1)
    assert "could not be built" in fresh(bad).error


# ---- every state ends


def unswept():
    """States that neither end nor have a sweeper, and those that claim both."""
    swept, settled = {str(one) for one in SWEEPERS}, {str(one) for one in SETTLED_ENOUGH}
    return ({str(one) for one in States} - swept - settled) | (swept & settled)


def test_every_state_is_final_or_has_a_sweeper():
    assert unswept() == set()
    assert set(models.FINAL_STATES) < set(SETTLED_ENOUGH)


@pytest.mark.parametrize("state", SWEEPERS)
def test_the_list_of_states_notices_a_sweeper_that_is_gone(state, monkeypatch):
    monkeypatch.delitem(SWEEPERS, state)
    assert unswept() == {str(state)}


@pytest.mark.parametrize("state", SWEEPERS)
def test_without_its_sweeper_a_message_would_stay_for_ever(state, monkeypatch):
    """So the sweeper is what ends it, not another one by accident."""
    monkeypatch.delitem(SWEEPERS, state)
    claim = {"claim": "0" * 32, "lease_until": NOW} if state == "handing_over" else {}
    message = MessageFactory(state=state, written_at=NOW, state_at=NOW, next_try_at=None, **claim)
    for days in range(2 * STALE_AFTER.days + 2):
        sweep(at=later(days=days))
    assert fresh(message).state == state


@pytest.mark.parametrize("state", SWEEPERS)
def test_no_message_stays_for_ever_in_a_state_that_is_not_final(state):
    """Left alone with nothing but the sweeper and no deliverer, every message ends within a month."""
    claim = {"claim": "0" * 32, "lease_until": NOW} if state == "handing_over" else {}
    message = MessageFactory(state=state, written_at=NOW, state_at=NOW, next_try_at=None, **claim)
    for days in range(2 * STALE_AFTER.days + 2):
        sweep(at=later(days=days))
    assert fresh(message).state in SETTLED_ENOUGH
    assert message.error


def test_a_message_that_nobody_sent_for_two_weeks_is_stopped(due, provider):
    message = written()
    assert sweep(at=later(days=13))["ready"] == 0
    assert sweep(at=later(days=14))["ready"] == 1
    assert fresh(message).state == "stopped"
    assert "14 days" in message.error
