"""A real SMTP server (aiosmtpd) that misbehaves in every way a hand-over can meet: state, next try and kind of error.

What the replies mean: RFC 5321, 4.2.1 (4yz transient, 5yz permanent), 4.2.3 (codes), 4.5.3.2 (a client must have
timeouts); what counts as handed over: RFC 5321, 6.1 (the server is responsible once it answered 250 to the content).
"""

from __future__ import annotations

import asyncio
import socket
from datetime import timedelta

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP

from lifecycle import models
from lifecycle.reminders.outbox import deliver, sweep
from lifecycle.reminders.retries import TABLE, Kind
from lifecycle.reminders.sweep import UNCONFIRMED_FOR
from tests.services.servers import free_port

from .conftest import NOW, fresh, later, written

pytestmark = pytest.mark.django_db
STALL_S, TIMEOUT_S = 6.0, 2.0  # what is not stalled must answer within the second, on a busy machine too


class Server:
    """Answers as told: `word` is where (MAIL, RCPT, content), `how` a reply, "close" or "stall"."""

    def __init__(self):
        self.word, self.how, self.taken = "", "", []

    async def _answer(self, server, word):
        if word != self.word:
            return None
        if self.how == "close":
            server.transport.abort()
            return "250 OK"
        if self.how == "stall":
            await asyncio.sleep(STALL_S)
        return "250 OK" if self.how == "stall" else self.how

    async def handle_MAIL(self, server, session, envelope, address, options):
        answer = await self._answer(server, "MAIL") or "250 OK"
        if answer.startswith("2"):
            envelope.mail_from = address
        return answer

    async def handle_RCPT(self, server, session, envelope, address, options):
        answer = await self._answer(server, "RCPT") or "250 OK"
        if answer.startswith("2"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server, session, envelope):
        answer = await self._answer(server, "content") or "250 OK"
        if answer.startswith("2"):
            self.taken.append(bytes(envelope.content))
        return answer


class Quiet(Controller):
    """The server without its own size limit and log of aborted conversations."""

    def factory(self):
        return SMTP(self.handler, hostname="mail.example.org")


@pytest.fixture
def server(settings):
    handler = Server()
    controller = Quiet(handler, hostname="127.0.0.1", port=free_port(), ready_timeout=60)
    controller.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", controller.port, 5
    yield handler
    controller.stop()


MINUTE, NEVER = timedelta(minutes=1), None
CASES = [
    # where, how, state, wait until the next try, tries used up, kind, whether the address is suppressed
    ("MAIL", "421 4.3.2 closing", "retry", 5 * MINUTE, 0, Kind.CONNECTION, False),
    ("MAIL", "451 4.7.1 too many messages, slow down", "retry", 15 * MINUTE, 1, Kind.RATE, False),
    ("MAIL", "530 5.7.0 authentication required", "retry", 15 * MINUTE, 0, Kind.AUTH, False),
    ("MAIL", "550 5.7.1 not your sender", "retry", 15 * MINUTE, 1, Kind.AUTH, False),
    ("MAIL", "552 5.3.4 larger than we take", "failed", NEVER, 1, Kind.TOO_LARGE, False),
    ("MAIL", "close", "retry", MINUTE, 1, Kind.CONNECTION, False),
    ("MAIL", "stall", "retry", 5 * MINUTE, 1, Kind.TIMEOUT, False),
    ("RCPT", "450 4.2.1 greylisted", "retry", MINUTE, 1, Kind.TEMPORARY, False),
    ("RCPT", "452 4.2.2 mailbox full", "retry", MINUTE, 1, Kind.TEMPORARY, False),
    ("RCPT", "550 5.1.1 no such mailbox", "failed", NEVER, 1, Kind.RECIPIENT, True),
    ("RCPT", "550 5.7.1 blocked by policy", "failed", NEVER, 1, Kind.PERMANENT, False),
    ("RCPT", "close", "retry", MINUTE, 1, Kind.CONNECTION, False),
    ("RCPT", "stall", "retry", 5 * MINUTE, 1, Kind.TIMEOUT, False),
    ("content", "451 4.3.0 try later", "retry", MINUTE, 1, Kind.TEMPORARY, False),
    ("content", "452 4.3.1 no space", "retry", MINUTE, 1, Kind.TEMPORARY, False),
    ("content", "552 5.3.4 too large", "failed", NEVER, 1, Kind.TOO_LARGE, False),
    ("content", "554 5.6.0 looks like spam", "failed", NEVER, 1, Kind.PERMANENT, False),
    ("content", "close", "unconfirmed", NEVER, 1, None, False),
    ("content", "stall", "unconfirmed", NEVER, 1, None, False),
]


@pytest.mark.parametrize(
    ("word", "how", "state", "wait", "tries", "kind", "suppressed"),
    CASES,
    ids=[f"{word} {how.split()[0]} {state}" for word, how, state, *_ in CASES],
)
def test_each_way_to_misbehave(due, server, settings, word, how, state, wait, tries, kind, suppressed):
    message = written()
    server.word, server.how = word, how
    if how == "stall":
        settings.EMAIL_TIMEOUT = TIMEOUT_S
    assert deliver(at=NOW)[state] == 1
    assert (fresh(message).state, message.attempts, message.claim) == (state, tries, None)
    assert message.next_try_at == (None if wait is None else NOW + wait)
    assert models.Suppression.objects.exists() is suppressed
    if kind is not None:
        assert message.error.startswith(TABLE[kind].words)
        assert how in ("close", "stall") or how[:3] in message.error, "the server's own words are shown"
    if state != "retry":
        assert sum(deliver(at=later(hours=1)).values()) == 0, "it is not tried again by itself"
        return
    server.word, settings.EMAIL_TIMEOUT = "", 5
    assert sum(deliver(at=message.next_try_at - timedelta(seconds=1)).values()) == 0
    assert deliver(at=message.next_try_at)["accepted"] == 1
    assert len(server.taken) == 1
    assert fresh(message).resends == 0, "it never left before, so this is no resend"


@pytest.mark.parametrize("how", ["close", "stall"])
def test_without_an_answer_to_the_content_it_waits_for_a_receipt_and_goes_out_once_more_at_most(
    due, server, settings, how
):
    message = written()
    server.word, server.how = "content", how
    settings.EMAIL_TIMEOUT = TIMEOUT_S
    deliver(at=NOW)
    assert fresh(message).state == "unconfirmed"
    server.word, settings.EMAIL_TIMEOUT = "", 5
    at = NOW + UNCONFIRMED_FOR
    assert sweep(at=at - timedelta(seconds=1))["unconfirmed"] == 0
    assert sweep(at=at)["unconfirmed"] == 1
    assert deliver(at=at)["accepted"] == 1
    assert fresh(message).resends == 1
    ids = {line for mail in server.taken for line in mail.splitlines() if line.lower().startswith(b"message-id:")}
    assert ids == {f"Message-ID: {message.headers['Message-ID']}".encode()}


def test_a_port_where_nobody_listens_costs_no_try(due, settings):
    message = written()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", free_port()
    assert deliver(at=NOW)["retry"] == 1
    assert (fresh(message).state, message.attempts, message.next_try_at) == ("retry", 0, later(minutes=5))
    assert message.error.startswith(TABLE[Kind.CONNECTION].words)


def test_a_server_that_takes_the_connection_and_says_nothing_costs_no_try(due, settings):
    """RFC 5321, 4.5.3.2.1: the greeting has a timeout of its own."""
    message = written()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_TIMEOUT = TIMEOUT_S
    with socket.create_server(("127.0.0.1", 0)) as mute:
        settings.EMAIL_HOST, settings.EMAIL_PORT = mute.getsockname()
        assert deliver(at=NOW)["retry"] == 1
    assert (fresh(message).state, message.attempts, message.next_try_at) == ("retry", 0, later(minutes=10))
    assert message.error.startswith(TABLE[Kind.TIMEOUT].words)
