"""The hand-over against a real SMTP conversation on a socket: one connection for many, and where it breaks decides."""

from __future__ import annotations

import socketserver
import threading
import time

import pytest

from lifecycle import models
from lifecycle.reminders import handing
from lifecycle.reminders.outbox import deliver, enqueue
from lifecycle.reminders.planner import plan
from lifecycle.reminders.transport import Postman
from tests.factories import ConsentFactory, CustomerFactory

from .conftest import NOW, later

pytestmark = pytest.mark.django_db


class Talk(socketserver.StreamRequestHandler):
    """As much of RFC 5321 as a client needs; hangs up where the test says."""

    def handle(self):
        self.server.connections += 1
        self.say("220 mail.example.org")
        while line := self.rfile.readline():
            word = line[:4].upper().decode()
            if self.server.hang_up == word:
                return
            if word == "DATA":
                time.sleep(self.server.waits.pop(0) if self.server.waits else 0)
                self.say("354 go on")
                lines = []
                while (line := self.rfile.readline()) not in (b".\r\n", b""):
                    lines.append(line)
                self.server.mails.append(b"".join(lines))
                if self.server.hang_up == "content":
                    return
            if word == "QUIT":
                self.say("221 bye")
                return
            self.say(self.server.answers.get(word, "250 ok"))

    def say(self, text):
        self.wfile.write(text.encode() + b"\r\n")


@pytest.fixture
def server(settings):
    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Talk) as one:
        one.daemon_threads = True
        one.mails, one.connections, one.hang_up, one.answers, one.waits = [], 0, "", {}, []
        threading.Thread(target=one.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True).start()
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = one.server_address
        settings.EMAIL_TIMEOUT = 5
        yield one
        one.shutdown()


@pytest.fixture
def three(studio, make_due):
    for _ in range(3):
        someone = CustomerFactory(studio=studio)
        ConsentFactory(customer=someone)
        make_due(keeper=someone)
    plan(at=NOW)
    enqueue(at=NOW)


def states():
    return sorted(models.Message.objects.values_list("state", flat=True))


def test_three_mails_go_over_one_connection(three, server):
    assert deliver(at=NOW)["accepted"] == 3
    assert (len(server.mails), server.connections) == (3, 1)


def test_a_connection_lost_before_the_content_is_only_tried_again(three, server):
    server.hang_up = "MAIL"
    assert deliver(at=NOW)["retry"] == 3
    assert states() == ["retry"] * 3
    server.hang_up = ""
    assert deliver(at=later(minutes=1))["accepted"] == 3
    assert len(server.mails) == 3


def test_a_connection_lost_after_the_content_leaves_the_outcome_unknown(three, server):
    server.hang_up = "content"
    assert deliver(at=NOW)["unconfirmed"] == 3
    assert states() == ["unconfirmed"] * 3
    assert len(server.mails) == 3
    server.hang_up = ""
    assert deliver(at=later(hours=1))["accepted"] == 0


def test_no_server_is_a_temporary_error(three, settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    with socketserver.TCPServer(("127.0.0.1", 0), Talk) as gone:
        settings.EMAIL_HOST, settings.EMAIL_PORT = gone.server_address
    assert deliver(at=NOW)["retry"] == 1
    assert "refused" in models.Message.objects.get(state="retry").error.lower()


@pytest.mark.parametrize(
    ("word", "answer"), [("AUTH", "535 5.7.8 credentials invalid"), ("MAIL", "530 5.7.0 authentication required")]
)
def test_a_wrong_password_uses_up_no_try(three, server, settings, word, answer):
    server.answers = {"EHLO": "250-mail.example.org\r\n250 AUTH PLAIN", "AUTH": "235 welcome", word: answer}
    settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD = "care", "old"
    for days in range(12):
        deliver(at=later(days=days))
    assert set(models.Message.objects.values_list("attempts", flat=True)) == {0}
    assert set(states()) <= {"retry", "ready"}
    assert answer[:3] in models.Message.objects.filter(state="retry").first().error
    server.answers = {"EHLO": "250-mail.example.org\r\n250 AUTH PLAIN", "AUTH": "235 welcome"}
    assert deliver(at=later(days=13))["accepted"] == 3


def test_an_address_that_the_server_refuses_for_good(three, server):
    server.answers["RCPT"] = "550 5.1.1 no such mailbox"
    assert deliver(at=NOW)["failed"] == 3
    assert models.Suppression.objects.count() == 3
    assert server.mails == []


def test_what_was_taken_back_and_written_anew_goes_out_in_its_new_words(three, server, monkeypatch):
    """The bytes of a mail are written ahead; those of a mail that changed after that are not sent."""
    monkeypatch.setattr(handing, "LOOK_HOLDS_S", 0.05)
    server.waits = [0.3]  # the first is stuck, so the second is taken back
    make_ready, changed = Postman.make_ready, []

    def then_it_changes(self, message):
        make_ready(self, message)
        if not changed:
            changed.append(message)
            models.Message.objects.filter(pk=message.pk).update(subject="Another day")

    monkeypatch.setattr(Postman, "make_ready", then_it_changes)
    assert deliver(at=NOW)["accepted"] == 3
    (message,) = changed
    (sent,) = [mail for mail in server.mails if message.headers["Message-ID"].encode() in mail]
    assert b"Subject: Another day\r\n" in sent
