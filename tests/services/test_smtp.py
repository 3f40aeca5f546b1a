"""Mail through a real SMTP server, from a real worker: what is taken, put off, refused, and what nobody knows."""

from __future__ import annotations

from email import message_from_bytes, policy

import pytest
from aiosmtpd.controller import Controller

from tests.services import servers

pytestmark = pytest.mark.services
CUSTOMERS = 6
TO_MESSAGES = ("climate", "condition", "windows", "visits", "offers", "plan", "enqueue")
PUT_OFF, REFUSED, CUT = "customer1@example.org", "customer2@example.org", "customer3@example.org"


class Provider:
    """An SMTP server that takes mail, but for three addresses. Replies: RFC 5321, 4.2.1 and 4.2.3."""

    def __init__(self) -> None:
        self.taken = []
        self.asked = []

    async def handle_RCPT(self, server, session, envelope, address, options):
        self.asked.append(address)
        if address == PUT_OFF and self.asked.count(address) == 1:
            return "451 4.2.1 try again later"
        if address == REFUSED:
            return "550 5.1.1 no such mailbox"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        self.taken.append((envelope.rcpt_tos, message_from_bytes(envelope.content, policy=policy.SMTP)))
        if CUT in envelope.rcpt_tos:
            # Taken, but the line goes dead before the answer: the sender cannot know.
            server.transport.abort()
        return "250 OK"


@pytest.fixture
def provider():
    handler = Provider()
    controller = Controller(handler, hostname="127.0.0.1", port=servers.free_port(), ready_timeout=60)
    controller.start()
    handler.address = f"smtp://127.0.0.1:{controller.port}"
    yield handler
    controller.stop()


def test_what_an_smtp_server_answers_is_what_the_outbox_shows(installation, provider):
    installation.python("-m", "tests.services.scene", str(CUSTOMERS))
    with installation.worker(SHEENWARD_MAIL="smtp", EMAIL_URL=provider.address):
        for step in (*TO_MESSAGES, "deliver", "deliver", "deliver"):
            installation.ask(step)
    shown = dict(installation.rows("SELECT to_email, state FROM lifecycle_message"))
    assert shown == {
        "customer0@example.org": "accepted",
        PUT_OFF: "retry",
        REFUSED: "failed",
        CUT: "unconfirmed",
        "customer4@example.org": "accepted",
        "customer5@example.org": "accepted",
    }
    assert sorted(address for (address,), _ in provider.taken) == sorted(
        address for address in shown if address not in (PUT_OFF, REFUSED)
    ), "every mail that was taken was taken once"
    suppressed = installation.rows("SELECT email, why FROM lifecycle_suppression")
    assert [email for email, _ in suppressed] == [REFUSED]


def test_a_mail_on_the_wire_is_one_that_people_and_providers_can_act_on(installation, provider):
    """RFC 5322 (id, date), RFC 2369 and RFC 8058 (one-click unsubscribe), RFC 3834 (no answering machines)."""
    installation.python("-m", "tests.services.scene", "1")
    with installation.worker(SHEENWARD_MAIL="smtp", EMAIL_URL=provider.address):
        for step in (*TO_MESSAGES, "deliver"):
            installation.ask(step)
    ((addresses, mail),) = provider.taken
    assert addresses == ["customer0@example.org"]
    assert mail["To"] == "customer0@example.org"
    assert mail["Message-ID"].strip().startswith("<")
    assert mail["Date"]
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert "<http" in mail["List-Unsubscribe"]
    assert mail["Auto-Submitted"] == "auto-generated"
    text, html = mail.get_body(("plain",)).get_content(), mail.get_body(("html",)).get_content()
    assert "grey estate" in text
    assert "grey estate" in html
