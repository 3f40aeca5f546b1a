"""When a message is tried again: each kind of error by its own row of the table."""

from __future__ import annotations

import smtplib
from datetime import timedelta

import pytest

from lifecycle import models
from lifecycle.reminders import retries, transport
from lifecycle.reminders.outbox import deliver
from tests.factories import ConsentFactory, CustomerFactory

from .conftest import NOW, fresh, later, written

pytestmark = pytest.mark.django_db

KINDS = [
    # kind, error before the content, minutes between the tries, and what ends it
    ("connection", ConnectionResetError(104, "reset"), (1, 5, 15, 60, 240)),
    ("timeout", TimeoutError("timed out"), (5, 15, 60, 240, 480)),
    ("temporary", smtplib.SMTPDataError(451, b"4.3.0 later"), (1, 5, 15, 60, 240)),
    ("rate", smtplib.SMTPDataError(451, b"4.4.5 congested"), (15, 60, 120, 240, 480)),
    ("auth", smtplib.SMTPSenderRefused(550, b"5.7.1 not your sender", "a@example.org"), (15, 30, 60, 240, 480)),
    ("permanent", smtplib.SMTPDataError(554, b"5.6.0 no"), ()),
    ("too_large", smtplib.SMTPSenderRefused(552, b"5.3.4 too big", "a@example.org"), ()),
    ("recipient", smtplib.SMTPRecipientsRefused({"a@example.org": (550, b"5.1.1 unknown")}), ()),
]  # fmt: skip


def test_every_kind_of_error_has_a_rule_and_a_case():
    assert set(retries.TABLE) == set(retries.Kind)
    assert {kind for kind, _, _ in KINDS} == {one.value for one in retries.Kind}
    assert len(retries.in_words()) == len(retries.Kind)


@pytest.mark.parametrize(("kind", "error", "waits"), KINDS, ids=[kind for kind, _, _ in KINDS])
def test_each_kind_of_error_is_tried_again_by_its_own_row(due, monkeypatch, kind, error, waits):
    message = written()
    # NOW is 11:00: the rules of the night are switched off, so that only the table decides when.
    monkeypatch.setattr("lifecycle.reminders.quiet.is_quiet", lambda *_: False)
    result = transport.classify(error, content_began=False)
    monkeypatch.setattr(transport.Postman, "hand_over", lambda self, message: result)
    at, found = NOW, []
    while deliver(at=at)["retry"]:
        found.append((fresh(message).next_try_at - at) / timedelta(minutes=1))
        at = message.next_try_at
    assert (result.kind.value, tuple(found), fresh(message).state) == (kind, waits, "failed")
    assert message.error.startswith(retries.TABLE[result.kind].words)
    assert models.Suppression.objects.exists() == (kind == "recipient")


@pytest.mark.parametrize(
    ("error", "minutes"),
    [
        (ConnectionRefusedError(111, "no"), 5),
        (TimeoutError("slow"), 10),
        (smtplib.SMTPAuthenticationError(535, b"no"), 15),
    ],
)
def test_an_outage_waits_as_long_as_its_kind_says(due, provider, error, minutes):
    message = written()
    provider.unreachable = error
    deliver(at=NOW)
    assert (fresh(message).next_try_at, message.attempts) == (later(minutes=minutes), 0)


# ---- Retry-After (RFC 9110, 10.2.3: seconds or an HTTP date; the worked examples of that section are "120" and a date)

DATE = "Fri, 31 Dec 1999 23:59:59 GMT"  # the section's own example
EARLIER = "Fri, 31 Dec 1999 23:29:59 GMT"


@pytest.mark.parametrize(
    ("headers", "minutes"),
    [
        ({"Retry-After": "120"}, 2),
        ({"Retry-After": DATE, "Date": EARLIER}, 30),
        ({"Retry-After": "1"}, 1),  # bounded below
        ({"Retry-After": "9999999999999"}, 360),  # and above
        ({"Retry-After": EARLIER, "Date": DATE}, 1),
        ({"Retry-After": DATE}, None),  # by which clock?
        ({"Retry-After": "soon"}, None),
        ({"Retry-After": "-5"}, None),
        ({"Retry-After": DATE, "Date": "Fri, 31 Dec 1999 23:29:59"}, None),
        ({}, None),
    ],
)
def test_how_long_a_provider_asks_us_to_wait(headers, minutes):
    assert retries.asked_to_wait(headers) == (None if minutes is None else timedelta(minutes=minutes))


@pytest.mark.parametrize("status", [429, 503])
def test_a_provider_that_says_when_to_come_again_is_left_alone_until_then(studio, make_due, monkeypatch, status):
    """Not one message knocks before: neither the one that was told nor those that waited beside it."""
    from anymail.exceptions import AnymailRequestsAPIError
    from requests import Response

    for _ in range(3):
        someone = CustomerFactory(studio=studio)
        ConsentFactory(customer=someone)
        make_due(keeper=someone)
    written()
    answer = Response()
    answer.status_code = status
    answer.headers["Retry-After"] = "1800"
    busy = transport.classify(AnymailRequestsAPIError(response=answer), content_began=None)
    knocks = []

    def hand_over(self, message):
        knocks.append(message.pk)
        return busy if len(knocks) == 1 else transport.Result(transport.Outcome.ACCEPTED)

    monkeypatch.setattr(transport.Postman, "hand_over", hand_over)
    assert deliver(at=NOW)["retry"] == 1
    assert set(models.Message.objects.values_list("next_try_at", "attempts")) == {(later(minutes=30), 0)}
    assert sum(deliver(at=later(minutes=29)).values()) == 0
    assert len(knocks) == 1
    assert deliver(at=later(minutes=30))["accepted"] == 3
