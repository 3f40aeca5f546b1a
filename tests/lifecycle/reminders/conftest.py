"""One care window, its keeper who said yes, and shortcuts to the steps."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.mail.backends.locmem import EmailBackend as MemoryBackend

from lifecycle import models
from lifecycle.care.rules import TASKS
from lifecycle.reminders import claim as claims
from lifecycle.reminders.outbox import enqueue
from lifecycle.reminders.planner import plan
from tests.factories import NOW as NOON_BEFORE
from tests.factories import CareDueFactory, ConsentFactory, CustomerFactory, SiteFactory, StudioFactory, VehicleFactory

# Two tasks that the table calls something to buy, whichever they are.
OFFER, OTHER_OFFER = sorted(name for name, task in TASKS.items() if task.kind == "promotion")[:2]
NOW = NOON_BEFORE.replace(hour=10)  # 11:00 in Oslo: nobody sleeps


@pytest.fixture
def studio(db):
    return StudioFactory(reply_to="desk@example.org")


@pytest.fixture
def site(studio):
    return SiteFactory(studio=studio)


@pytest.fixture
def person(studio):
    one = CustomerFactory(studio=studio, name="Tove Halvarsen", email="tove.halvarsen@example.org")
    for purpose in models.Purpose.values:
        ConsentFactory(customer=one, purpose=purpose)
    return one


@pytest.fixture
def make_due(site, person):
    """Make a care window of one more vehicle of the person (or of `keeper`). A retest is service."""

    def make(*, keeper=None, task="retest", **fields):
        vehicle = fields.pop("vehicle", None) or VehicleFactory(site=site, keeper=keeper or person)
        return CareDueFactory(vehicle=vehicle, task=task, **fields)

    return make


@pytest.fixture
def due(make_due):
    return make_due()


def later(**span):
    return NOW + timedelta(**span)


class Killed(BaseException):
    """The process is killed: nothing catches it, as nothing catches a SIGKILL."""


def written(at=NOW):
    plan(at=at)
    enqueue(at=at)
    return models.Message.objects.order_by("pk").last()


def begin(message, token, *, at):
    """Begin one message as a deliverer begins a lot. False: it is not ours, or does not wait any more."""
    return message.pk in claims.turn(token, taken=(), begin=(message,), at=at)


def fresh(message):
    message.refresh_from_db()
    return message


@pytest.fixture
def provider(monkeypatch):
    """A provider that remembers what it got, and fails as told: before or after it took the mail."""

    class Provider:
        got: list[str] = []  # noqa: RUF012
        before: BaseException | None = None
        after: BaseException | None = None
        unreachable: OSError | None = None

    state = Provider()
    state.got = []
    plain = MemoryBackend.send_messages

    def send_messages(self, messages):
        if state.before is not None:
            raise state.before
        count = plain(self, messages)
        state.got += [one.extra_headers["Message-ID"] for one in messages]
        if state.after is not None:
            raise state.after
        return count

    def reach(self):
        if state.unreachable is not None:
            raise state.unreachable

    monkeypatch.setattr(MemoryBackend, "send_messages", send_messages)
    monkeypatch.setattr(MemoryBackend, "open", reach)
    return state
