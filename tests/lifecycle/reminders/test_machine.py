"""The outbox as a state machine: whatever happens in whatever order, the promise holds after every step.

The invariants are the promise itself: never more hand-overs than one and the recorded resend; what has ended stays so
but for a receipt or a person's word; and left alone, every message ends.
"""

from __future__ import annotations

import contextlib
import itertools
import smtplib
from datetime import timedelta

import pytest
from django.core.mail.backends.locmem import EmailBackend as MemoryBackend
from django.db import DEFAULT_DB_ALIAS, connections, transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from lifecycle import models
from lifecycle.care.register import pause_studio, set_consent
from lifecycle.errors import DomainError
from lifecycle.reminders import receipts, tending
from lifecycle.reminders.outbox import deliver, enqueue, sweep
from lifecycle.reminders.planner import plan
from lifecycle.reminders.sweep import SETTLED_ENOUGH
from lifecycle.reminders.unsubscribe import withdraw
from tests.factories import CareDueFactory, ConsentFactory, CustomerFactory, SiteFactory, StudioFactory, VehicleFactory

from .conftest import NOW, Killed

pytestmark = pytest.mark.django_db
NUMBERS = itertools.count()
OUTCOMES = {
    "taken": (None, None),
    "put off": (smtplib.SMTPDataError(451, b"4.7.1 later"), None),
    "refused": (smtplib.SMTPDataError(554, b"5.7.1 no"), None),
    "line lost": (None, ConnectionResetError(104, "reset")),
    "killed before": (Killed(), None),
    "killed after": (None, Killed()),
    "told on the way": (None, None),
    "told on the way and killed": (None, Killed()),
}


class Outbox(RuleBasedStateMachine):
    """One person, one reminder, and everything that can happen to its message."""

    def __init__(self) -> None:
        super().__init__()
        self.world = transaction.atomic()
        self.world.__enter__()
        self.connection = connections[DEFAULT_DB_ALIAS]
        self.connection.inc_thread_sharing()
        self.at, self.got, self.before, self.after = NOW, 0, None, None
        self.on_the_way, self.told = False, []
        studio = StudioFactory()
        self.person = CustomerFactory(studio=studio)
        ConsentFactory(customer=self.person)
        vehicle = VehicleFactory(site=SiteFactory(studio=studio), keeper=self.person)
        CareDueFactory(vehicle=vehicle, task="retest")
        plan(at=self.at)
        enqueue(at=self.at)
        self.message = models.Message.objects.get()
        self.state, self.by = self.message.state, "nothing"
        self.plain = MemoryBackend.send_messages
        machine = self

        def send_messages(backend, mails):
            if machine.before is not None:
                raise machine.before
            machine.got += len(mails)
            if machine.on_the_way:  # the provider is quicker than its own answer
                machine.told_meanwhile()
            if machine.after is not None:
                raise machine.after
            return len(mails)

        MemoryBackend.send_messages = send_messages

    def told_meanwhile(self) -> None:
        """Mails are sent in a thread of their own; the receipt must come into this test's transaction."""
        connections[DEFAULT_DB_ALIAS] = self.connection
        try:
            self.tell("delivered", self.at)
        finally:
            del connections[DEFAULT_DB_ALIAS]

    def teardown(self) -> None:
        """Left alone with the steps of the cycle and a provider that takes everything, it ends."""
        try:
            self.before, self.after, self.on_the_way = None, None, False
            pause_studio(studio=self.message.studio, paused=False, actor="member:1", at=self.at)
            for _ in range(36):
                self.at += timedelta(hours=11)
                sweep(at=self.at)
                deliver(at=self.at)
            self.message.refresh_from_db()
            assert self.message.state in SETTLED_ENOUGH
            assert self.got <= 1 + self.message.resends
        finally:
            MemoryBackend.send_messages = self.plain
            transaction.set_rollback(True)
            self.world.__exit__(None, None, None)
            self.connection.dec_thread_sharing()

    @rule(outcome=st.sampled_from(sorted(OUTCOMES)))
    def deliver(self, outcome) -> None:
        self.by = "deliver"
        self.before, self.after = OUTCOMES[outcome]
        self.on_the_way = "told" in outcome
        paused, got = models.Studio.objects.get().paused_at is not None, self.got
        with contextlib.suppress(Killed):
            deliver(at=self.at)
        assert not (paused and self.got > got), "handed over although the studio has paused"
        if self.got > got and self.on_the_way:
            self.by = "receipt"

    @rule()
    def sweep(self) -> None:
        self.by = "sweep"
        sweep(at=self.at)

    @rule(minutes=st.sampled_from([1, 11, 60, 400, 1440]))
    def wait(self, minutes) -> None:
        self.by = "wait"
        self.at += timedelta(minutes=minutes)

    def tell(self, kind, occurred_at) -> None:
        """A receipt, remembered so that it may come again."""
        self.told.append((f"m{next(NUMBERS)}", kind, occurred_at))
        self.post(*self.told[-1])

    def post(self, event_id, kind, occurred_at) -> object:
        return receipts.take(
            provider="postal", event_id=event_id, uid=str(self.message.uid), kind=kind, occurred_at=occurred_at,
            detail="told", at=self.at,
        )  # fmt: skip

    @rule(kind=st.sampled_from(receipts.KINDS), late_h=st.sampled_from([0, 0, 5, 80]))
    def receipt(self, kind, late_h) -> None:
        self.by = "receipt"
        self.tell(kind, self.at - timedelta(hours=late_h))

    @precondition(lambda self: self.told)
    @rule(which=st.integers(min_value=0))
    def receipt_again(self, which) -> None:
        """Posted a second time it changes nothing."""
        self.by = "the same receipt again"
        before = models.Message.objects.values().get()
        assert self.post(*self.told[which % len(self.told)]) is None
        assert models.Message.objects.values().get() == before

    @rule()
    def settle(self) -> None:
        """The step that lets kept receipts act where their message has moved since."""
        self.by = "receipt"
        receipts.settle(at=self.at)

    @rule(verb=st.sampled_from([tending.retry, tending.stop]))
    def tend(self, verb) -> None:
        self.by = verb.__name__
        with contextlib.suppress(DomainError):
            verb(studio=self.message.studio, message_id=self.message.pk, actor="member:1", at=self.at)

    @rule(paused=st.booleans())
    def pause(self, paused) -> None:
        self.by = "pause"
        pause_studio(studio=self.message.studio, paused=paused, actor="member:1", at=self.at)

    @rule(given=st.booleans())
    def say(self, given) -> None:
        self.by = "unsubscribe"
        told = {"how": "phone", "wording": "Told.", "actor": "member:1", "at": self.at}
        if given:
            set_consent(studio=self.person.studio, customer_id=self.person.pk, purpose="service", given=True, **told)
        else:
            withdraw(customer=self.person, purpose="service", **told)
            self.message.refresh_from_db()
            assert self.message.resends or self.message.state not in ("ready", "retry"), "a no holds in the same second"

    @invariant()
    def the_promise(self) -> None:
        self.message.refresh_from_db()
        assert self.got <= 1 + self.message.resends, "handed over again without a record"
        noted = models.JournalEntry.objects.filter(
            verb="message to be sent again", subject_id=self.message.pk, studio=self.message.studio
        )
        assert noted.count() >= self.message.resends
        if self.state in models.FINAL_STATES and self.message.state != self.state:
            assert self.by in ("receipt", "retry"), f"{self.state} became {self.message.state} by {self.by}"
        self.state = self.message.state


def test_the_promise_holds_whatever_happens() -> None:
    run_state_machine_as_test(
        Outbox,
        settings=settings(
            max_examples=15, stateful_step_count=12, deadline=None, suppress_health_check=list(HealthCheck)
        ),
    )
