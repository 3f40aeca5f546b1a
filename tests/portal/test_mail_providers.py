"""A change of the mail provider is one setting: events of several, in the shapes they document, lead to the same rows.

Field names and nesting follow the providers' own pages, values are invented: Mailgun "Webhook Payloads" and "Securing
Webhooks" (documentation.mailgun.com), Brevo "Transactional webhooks" (developers.brevo.com), MailerSend "Webhooks",
payload example and "Security" (developers.mailersend.com); the last two from memory, checked against Anymail's parser.
Postmark's stand in test_mailhooks.
"""

from __future__ import annotations

import hashlib
import hmac
import json
from base64 import b64encode

import pytest
from django.urls import reverse

from lifecycle import models
from lifecycle.reminders.receipts import settle
from tests.factories import NOW, ConsentFactory, CustomerFactory, MessageFactory

pytestmark = pytest.mark.django_db

KEY, SECRET = "key-of-the-studio", "hook:a-long-secret"
WHEN = int(NOW.timestamp())


@pytest.fixture
def message(settings):
    settings.ANYMAIL = {
        "MAILGUN_WEBHOOK_SIGNING_KEY": KEY, "MAILERSEND_SIGNING_SECRET": KEY, "WEBHOOK_SECRET": SECRET,
        "SEND_DEFAULTS": {"track_opens": False, "track_clicks": False},
    }  # fmt: skip
    person = CustomerFactory()
    for purpose in models.Purpose.values:
        ConsentFactory(customer=person, purpose=purpose)
    return MessageFactory(customer=person, state="accepted", provider_id="5f8c1d2e")


def post(client, provider, event, **headers):
    basic = {"HTTP_AUTHORIZATION": "Basic " + b64encode(SECRET.encode()).decode()}
    address = reverse(f"mail:anymail:{provider}_tracking_webhook")
    return client.post(address, json.dumps(event), content_type="application/json", **(basic | headers))


def mailgun(client, message, kind, number=1, key=KEY):
    """HMAC-SHA256 of timestamp and token with the signing key, in the body."""
    word, more = {
        "delivered": ("delivered", {"delivery-status": {"code": 250, "message": "OK", "description": ""}}),
        "bounced": ("failed", {"severity": "permanent", "reason": "bounce", "delivery-status": {
            "code": 550, "message": "5.1.1 no such mailbox", "description": ""}}),
        "soft": ("failed", {"severity": "temporary", "reason": "generic", "delivery-status": {
            "code": 452, "message": "4.2.2 over quota", "description": ""}}),
        "complained": ("complained", {}), "unsubscribed": ("unsubscribed", {}), "opened": ("opened", {}),
    }[kind]  # fmt: skip
    token = f"{number:050d}"
    signature = hmac.new(key.encode(), f"{WHEN}{token}".encode(), hashlib.sha256).hexdigest()
    event = {
        "signature": {"timestamp": str(WHEN), "token": token, "signature": signature},
        "event-data": {
            "event": word, "id": "CCXMjJ7nQi2N3BPigGOdgQ", "timestamp": WHEN + 0.5, "log-level": "info",
            "recipient": message.to_email, "user-variables": {"uid": str(message.uid)}, "tags": [],
            "message": {"headers": {"message-id": f"{message.uid}@care.example.org", "to": message.to_email}}, **more,
        },
    }  # fmt: skip
    return post(client, "mailgun", event)


def brevo(client, message, kind, number=1, key=SECRET):
    word = {
        "delivered": "delivered", "bounced": "hard_bounce", "soft": "soft_bounce", "complained": "spam",
        "unsubscribed": "unsubscribe", "opened": "unique_opened",
    }[kind]  # fmt: skip
    event = {
        "event": word, "email": message.to_email, "id": number, "date": "2026-03-02 11:00:00", "ts": WHEN,
        "ts_event": WHEN, "ts_epoch": WHEN * 1000, "subject": message.subject, "sending_ip": "192.0.2.10",
        "message-id": f"<{message.uid}@care.example.org>", "X-Mailin-custom": json.dumps({"uid": str(message.uid)}),
        "reason": {"bounced": "550 5.1.1 no such mailbox", "soft": "mailbox is full"}.get(kind, ""),
    }  # fmt: skip
    return post(client, "brevo", event, HTTP_AUTHORIZATION="Basic " + b64encode(key.encode()).decode())


def mailersend(client, message, kind, number=1, key=KEY):
    """HMAC-SHA256 of the body in the header Signature. It hands no metadata back: its own message id has to do."""
    word = {
        "delivered": "delivered", "bounced": "hard_bounced", "soft": "soft_bounced", "complained": "spam_complaint",
        "unsubscribed": "unsubscribed", "opened": "opened",
    }[kind]  # fmt: skip
    event = {
        "type": f"activity.{word}", "created_at": "2026-03-02T10:00:01.000000Z", "webhook_id": "7z3m5jgrogdpyo6n",
        "data": {
            "object": "activity", "id": f"62f1a9{number}", "type": word, "created_at": "2026-03-02T10:00:00.000000Z",
            "email": {"object": "email", "id": "62f1a9", "from": "care@example.org", "subject": message.subject,
                      "status": "rejected", "message": {"object": "message", "id": message.provider_id},
                      "recipient": {"object": "recipient", "email": message.to_email}, "tags": None},
            "morph": {"object": "recipient_bounce", "reason": "told"} if kind in ("bounced", "soft") else None,
        },
    }  # fmt: skip
    body = json.dumps(event)
    return post(
        client, "mailersend", event, HTTP_SIGNATURE=hmac.new(key.encode(), body.encode(), hashlib.sha256).hexdigest()
    )


PROVIDERS = pytest.mark.parametrize("tell", [mailgun, brevo, mailersend], ids=lambda one: one.__name__)


def outcome(message):
    message.refresh_from_db()
    consents = {
        row.purpose: row.given for row in models.Consent.objects.filter(customer=message.customer).order_by("at", "id")
    }
    return message.state, models.Suppression.objects.filter(email=message.to_email).exists(), consents


YES = {"service": True, "promotion": True}


@PROVIDERS
@pytest.mark.parametrize(
    ("kind", "after"),
    [
        ("delivered", ("delivered", False, YES)),
        ("bounced", ("bounced", True, YES)),
        ("complained", ("complained", True, {"service": False, "promotion": False})),
        ("unsubscribed", ("accepted", False, YES | {"service": False})),
    ],
)
def test_an_event_means_the_same_from_each_provider_and_doubled_nothing_more(client, message, tell, kind, after):
    for _ in range(2):
        assert tell(client, message, kind).status_code == 200
    assert outcome(message) == after
    assert models.Receipt.objects.count() == 1


@PROVIDERS
def test_a_full_mailbox_is_no_bad_address(client, message, tell):
    assert tell(client, message, "soft").status_code == 200
    state, suppressed, _ = outcome(message)
    assert state in ("bounced", "accepted")  # a provider that says "temporary" goes on trying by itself
    assert not suppressed


@PROVIDERS
def test_out_of_order_the_furthest_holds_and_opens_are_not_kept(client, message, tell):
    for number, kind in enumerate(("opened", "bounced", "delivered")):
        assert tell(client, message, kind, number=number).status_code == 200
    assert outcome(message)[:2] == ("bounced", True)
    assert sorted(models.Receipt.objects.values_list("kind", flat=True)) == ["bounced", "delivered"]


@pytest.mark.parametrize("tell", [mailgun, brevo], ids=lambda one: one.__name__)
def test_an_event_before_our_own_note_of_the_hand_over_stands(client, message, tell):
    models.Message.objects.update(
        state="handing_over", claim="0" * 32, lease_until=NOW, provider_id=""
    )  # the answer to the hand-over is not written yet
    assert tell(client, message, "delivered").status_code == 200
    assert outcome(message)[0] == "delivered"


def test_where_only_the_providers_id_is_known_an_early_event_waits_for_it(client, message):
    """MailerSend hands no metadata back: its event is kept until the answer to the hand-over is written."""
    given = message.provider_id
    models.Message.objects.update(state="handing_over", claim="0" * 32, lease_until=NOW, provider_id="")
    assert mailersend(client, message, "bounced").status_code == 200
    assert outcome(message)[:2] == ("handing_over", False)
    models.Message.objects.update(state="accepted", claim=None, lease_until=None, provider_id=given)
    assert settle(at=NOW) == {"early": 1}
    assert outcome(message)[:2] == ("bounced", True)


@PROVIDERS
def test_a_wrong_signature_or_secret_is_refused(client, message, tell):
    assert tell(client, message, "bounced", key="x:wrong").status_code == 400
    assert outcome(message)[:2] == ("accepted", False)
    assert not models.Receipt.objects.exists()


def test_a_signed_hook_needs_no_shared_secret_and_an_unsigned_one_is_not_there_without(client, message, settings):
    settings.ANYMAIL = {"MAILGUN_WEBHOOK_SIGNING_KEY": KEY}
    assert mailgun(client, message, "delivered").status_code == 200
    assert brevo(client, message, "delivered").status_code == 404
    assert mailersend(client, message, "delivered").status_code == 404
