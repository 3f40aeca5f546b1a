"""Events of a mail provider, in the shapes that providers document, through Anymail's views."""

from __future__ import annotations

import json
from base64 import b64encode

import pytest
from django.urls import resolve, reverse

from lifecycle import models
from tests.factories import ConsentFactory, CustomerFactory, MessageFactory

pytestmark = pytest.mark.django_db

SECRET = "hook:a-long-secret"
GIVEN = {"HTTP_AUTHORIZATION": "Basic " + b64encode(SECRET.encode()).decode()}


@pytest.fixture
def secret(settings):
    settings.ANYMAIL = settings.ANYMAIL | {"WEBHOOK_SECRET": SECRET}


@pytest.fixture
def message():
    person = CustomerFactory()
    ConsentFactory(customer=person)
    return MessageFactory(customer=person, state="accepted")


def delivery(message, **fields):
    """Shape of Postmark's documented delivery webhook (developer documentation, "Delivery webhook", sample body);
    field names and value formats are the provider's, the values invented."""
    return {
        "RecordType": "Delivery", "ServerID": 23, "MessageStream": "outbound",
        "MessageID": "00000000-0000-0000-0000-000000000000", "Recipient": message.to_email, "Tag": "welcome-email",
        "DeliveredAt": "2026-03-02T10:05:01Z", "Details": "Test delivery webhook details",
        "Metadata": {"uid": str(message.uid)},
    } | fields  # fmt: skip


def bounce(message, **fields):
    """Shape of Postmark's documented bounce webhook."""
    return {
        "RecordType": "Bounce", "ID": 42, "Type": "HardBounce", "TypeCode": 1, "Name": "Hard bounce", "Tag": "Test",
        "MessageID": "00000000-0000-0000-0000-000000000000", "ServerID": 1234, "MessageStream": "outbound",
        "Description": "The server was unable to deliver your message (ex: unknown user, mailbox not found).",
        "Details": "Test bounce details", "Email": message.to_email, "From": "care@example.org",
        "BouncedAt": "2026-03-02T10:05:01Z", "DumpAvailable": True, "Inactive": True, "CanActivate": True,
        "Subject": "Test subject", "Metadata": {"uid": str(message.uid)},
    } | fields  # fmt: skip


def post(client, event, **extra):
    address = reverse("mail:anymail:postmark_tracking_webhook")
    return client.post(address, json.dumps(event), content_type="application/json", **(GIVEN | extra))


def state(message):
    message.refresh_from_db()
    return message.state


def test_a_delivery_settles_the_message(client, secret, message):
    assert post(client, delivery(message)).status_code == 200
    assert state(message) == "delivered"
    receipt = models.Receipt.objects.get()
    assert (receipt.provider, receipt.kind, receipt.message) == ("postmark", "delivered", message)
    assert receipt.occurred_at.isoformat() == "2026-03-02T10:05:01+00:00"


def test_an_event_that_is_posted_again_is_kept_once(client, secret, message):
    for _ in range(3):
        assert post(client, delivery(message)).status_code == 200
    assert models.Receipt.objects.count() == 1


def test_a_hard_bounce_suppresses_the_address(client, secret, message):
    post(client, bounce(message))
    assert state(message) == "bounced"
    assert models.Suppression.objects.get().email == message.to_email
    assert models.Receipt.objects.get().event_id == "bounced:42"


def test_a_soft_bounce_does_not(client, secret, message):
    post(client, bounce(message, Type="SoftBounce", TypeCode=4096, Inactive=False))
    assert state(message) == "bounced"
    assert not models.Suppression.objects.exists()


def test_a_spam_complaint_withdraws_consent(client, secret, message):
    post(client, bounce(message, RecordType="SpamComplaint", Type="SpamComplaint", TypeCode=100001))
    assert state(message) == "complained"
    assert not models.Consent.objects.filter(purpose="service").latest("id").given


def test_an_event_about_no_message_of_ours_is_answered_and_forgotten(client, secret, message):
    assert post(client, delivery(message, Metadata={})).status_code == 200
    assert post(client, delivery(message, Metadata={"uid": "zzz"})).status_code == 200
    assert not models.Receipt.objects.exists()


def test_opens_are_not_kept(client, secret, message):
    event = delivery(message, RecordType="Open", ReceivedAt="2026-03-02T10:06:01Z")
    assert post(client, event).status_code == 200
    assert not models.Receipt.objects.exists()


def test_a_wrong_secret_is_refused(client, secret, message):
    wrong = "Basic " + b64encode(b"hook:guess").decode()
    for header in (wrong, ""):
        assert post(client, delivery(message), HTTP_AUTHORIZATION=header).status_code == 400
    assert state(message) == "accepted"


def test_without_a_secret_the_hooks_do_not_exist(client, message, settings):
    settings.ANYMAIL = {name: value for name, value in settings.ANYMAIL.items() if name != "WEBHOOK_SECRET"}
    assert post(client, delivery(message)).status_code == 404
    assert not models.Receipt.objects.exists()


def test_only_tracking_hooks_are_connected():
    from portal.mail_urls import hooks

    assert len(hooks) >= 10
    assert not [hook.name for hook in hooks if "inbound" in hook.name]
    assert resolve("/mail/hooks/mailgun/tracking/").func.access_rule == "public"
