"""The link in every mail: GET asks, POST does it at once, without sign-in (RFC 8058)."""

from __future__ import annotations

import pytest
from django.core import signing
from django.urls import reverse

from lifecycle import models
from lifecycle.reminders.unsubscribe import make_token
from tests.factories import NOW, ConsentFactory, CustomerFactory, MessageFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def person():
    one = CustomerFactory(name="Tove Halvarsen")
    for purpose in ("service", "promotion"):
        ConsentFactory(customer=one, purpose=purpose)
    return one


@pytest.fixture
def link(person):
    return reverse("mail:unsubscribe", args=[make_token(customer_id=person.pk, purpose="service")])


def latest(person):
    return {row.purpose: row.given for row in models.Consent.objects.filter(customer=person).order_by("at", "id")}


def test_opening_the_link_asks_and_changes_nothing(client, link, person):
    for _ in range(3):
        page = client.get(link)
    assert page.status_code == 200
    assert b"Ossenmere Gloss Works" in page.content
    assert b"<form" in page.content
    assert "no-store" in page["Cache-Control"]
    assert latest(person) == {"service": True, "promotion": True}
    assert not models.JournalEntry.objects.exists()


BODIES = [
    ({"data": {"List-Unsubscribe": "One-Click"}}, "form, as RFC 8058 section 3.1 asks"),
    ({"data": "List-Unsubscribe=One-Click", "content_type": "application/x-www-form-urlencoded"}, "urlencoded"),
    ({"data": "", "content_type": "application/octet-stream"}, "no body"),
]


@pytest.mark.parametrize(("post", "what"), BODIES, ids=[what for _, what in BODIES])
def test_one_click_does_it_at_once_without_cookies_or_sign_in(link, person, post, what):
    from django.test import Client

    stranger = Client(enforce_csrf_checks=True)
    answer = stranger.post(link, **post)
    assert answer.status_code == 200
    assert latest(person) == {"service": False, "promotion": True}
    verbs = list(models.JournalEntry.objects.values_list("verb", flat=True))
    assert sorted(verbs) == ["consent withdrawn", "unsubscribed"]


def test_clicking_twice_is_as_good_as_once(client, link, person):
    assert [client.post(link).status_code for _ in range(2)] == [200, 200]
    assert models.Consent.objects.filter(customer=person, given=False).count() == 1


def test_what_waits_to_be_sent_is_stopped_with_the_click(client, link, person):
    waiting = MessageFactory(customer=person, purpose="service", state="retry")
    other = MessageFactory(customer=person, purpose="promotion", state="ready")
    gone = MessageFactory(customer=person, purpose="service", state="accepted")
    client.post(link)
    states = {one.pk: models.Message.objects.get(pk=one.pk).state for one in (waiting, other, gone)}
    assert states == {waiting.pk: "stopped", other.pk: "ready", gone.pk: "accepted"}


def test_somebody_whose_wish_was_unknown_can_say_no(client):
    person = CustomerFactory()
    client.post(reverse("mail:unsubscribe", args=[make_token(customer_id=person.pk, purpose="promotion")]))
    assert latest(person) == {"promotion": False}


def wrong_links(person):
    good = make_token(customer_id=person.pk, purpose="service")
    salt = "lifecycle.reminders.unsubscribe"
    return [
        good[:-1] + ("A" if good[-1] != "A" else "B"),
        good[:-6],
        "nonsense",
        signing.Signer(salt="another").sign(f"{person.pk}.service"),
        signing.Signer(salt=salt).sign("999999999.service"),
        signing.Signer(salt=salt).sign(f"{person.pk}.everything"),
        signing.Signer(salt=salt).sign("somebody"),
    ]


@pytest.mark.parametrize("number", range(7))
def test_a_wrong_link_gets_a_clear_page_that_leaks_nothing(client, person, number):
    link = reverse("mail:unsubscribe", args=[wrong_links(person)[number]])
    for answer in (client.get(link), client.post(link)):
        assert answer.status_code == 404
        assert b"This link does not work" in answer.content
        assert b"Tove" not in answer.content
        assert b"Ossenmere" not in answer.content
    assert latest(person) == {"service": True, "promotion": True}


def test_the_link_never_expires(client, link, person, monkeypatch):
    import time

    monkeypatch.setattr(time, "time", lambda: NOW.timestamp() + 20 * 365 * 86400)
    assert client.get(link).status_code == 200


def test_other_methods_are_refused(client, link):
    assert client.put(link).status_code == 405
