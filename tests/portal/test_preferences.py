"""The link in every mail's foot: choose without sign-in. GET shows, POST changes, each answer is on record."""

from __future__ import annotations

import re
from datetime import date, time, timedelta

import pytest
from django.core import signing
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lifecycle import models
from lifecycle.care import consents, register
from lifecycle.reminders.preferences import make_token
from lifecycle.reminders.unsubscribe import make_token as stop_token
from tests import people
from tests.factories import NOW, ConsentFactory, CustomerFactory, MessageFactory, StudioFactory
from tests.mails import Mails
from tests.portal.doors import as_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def person():
    one = CustomerFactory(name="Tove Halvarsen", email="tove.halvarsen@example.org")
    ConsentFactory(customer=one, purpose="service")
    return one


@pytest.fixture
def link(person):
    return reverse("mail:choices", args=[make_token(customer_id=person.pk, purpose="service")])


def said(person):
    rows = models.Consent.objects.filter(customer=person).order_by("id")
    return [(row.purpose, row.given, row.how) for row in rows]


def test_the_link_stands_in_the_foot_of_every_kind_of_mail_and_opens(client):
    for kind in Mails().kinds:
        mail = kind.write()
        paths = set(re.findall(r"https?://[^/\s]+(/mail/choices/[^\s\"<]+)", mail.text))
        assert len(paths) == 1, kind.name
        assert paths == set(re.findall(r"https?://[^/\s]+(/mail/choices/[^\s\"<]+)", mail.html)), kind.name
        assert "(no sign-in needed)" in mail.text
        assert client.get(paths.pop()).status_code == 200, kind.name


def test_opening_shows_what_holds_names_nobody_and_changes_nothing(client, link, person):
    for _ in range(2):
        page = client.get(link)
        client.head(link)
    text = page.content.decode()
    assert "Ossenmere Gloss Works" in text
    assert "Yes, since" in text
    assert "You have not been asked" in text
    assert "Tove" not in text
    assert "example.org" not in text
    assert "no-store" in page["Cache-Control"]
    assert said(person) == [("service", True, "paper form")]
    assert not models.JournalEntry.objects.exists()


def test_a_no_holds_at_once_stops_what_waits_and_is_kept_with_its_words(client, link, person):
    waiting = MessageFactory(customer=person, purpose="service", state="ready")
    answer = client.post(link, {"purpose": "service", "answer": "no"}, follow=True)
    assert "no more, from now on" in answer.content.decode()
    assert said(person)[-1] == ("service", False, "link in a mail")
    latest = models.Consent.objects.order_by("id").last()
    assert latest.wording.startswith("Please write to me by e-mail when care of my vehicle is due")
    waiting.refresh_from_db()
    assert waiting.state == "stopped"
    entry = models.JournalEntry.objects.get(verb="consent withdrawn")
    assert entry.actor == f"customer:{person.pk}"
    assert "Tove" not in str(entry.data)


def test_a_yes_is_kept_once_with_the_words_that_were_shown(client, link, person):
    for _ in range(2):
        client.post(link, {"purpose": "promotion", "answer": "yes"})
    assert said(person) == [("service", True, "paper form"), ("promotion", True, "link in a mail")]
    shown = client.get(link).content.decode()
    assert models.Consent.objects.order_by("id").last().wording in shown


def test_language_quiet_hours_and_pause_are_kept(client, link, person):
    until = date.today() + timedelta(days=30)  # noqa: DTZ011
    wishes = {"language": "de", "quiet_from": "21:00", "quiet_to": "07:30", "paused_until": until.isoformat()}
    assert client.post(link, wishes).status_code == 302
    person.refresh_from_db()
    assert (person.language, person.quiet_from, person.quiet_to) == ("de", time(21), time(7, 30))
    assert person.paused_until == until


def test_wrong_hours_are_said_and_nothing_typed_is_lost(client, link, person):
    page = client.post(link, {"language": "en", "quiet_from": "21:00", "quiet_to": "", "paused_until": ""})
    assert page.status_code == 422
    assert 'value="21:00"' in page.content.decode()
    assert "both ends" in page.content.decode()
    person.refresh_from_db()
    assert person.quiet_from is None


def test_the_form_cannot_speak_for_somebody_else(client, link, person):
    other = CustomerFactory(studio=person.studio)
    client.post(link, {"customer": other.pk, "purpose": "promotion", "answer": "yes"})
    client.post(link, {"customer": other.pk, "language": "de", "quiet_from": "", "quiet_to": "", "paused_until": ""})
    other.refresh_from_db()
    assert said(other) == []
    assert other.language == "en"
    assert said(person)[-1] == ("promotion", True, "link in a mail")


def test_another_site_cannot_press_the_buttons(link, person):
    strict = Client(enforce_csrf_checks=True)
    assert strict.post(link, {"purpose": "promotion", "answer": "yes"}).status_code == 403
    assert len(said(person)) == 1


def test_a_choice_that_cannot_be_read_changes_nothing(client, link, person):
    page = client.post(link, {"purpose": "everything", "answer": "yes"}, follow=True)
    assert "could not be read" in page.content.decode()
    assert len(said(person)) == 1


def test_wrong_links_and_links_for_another_use_are_unknown(client, person):
    good = make_token(customer_id=person.pk, purpose="service")
    salt = "lifecycle.reminders.preferences"
    wrong = (
        good[:-6],
        "nonsense",
        stop_token(customer_id=person.pk, purpose="service"),
        signing.Signer(salt=salt).sign("999999999.service"),
        signing.Signer(salt=salt).sign(f"{person.pk}.everything"),
    )
    for token in wrong:
        for answer in (client.get, client.post):
            page = answer(reverse("mail:choices", args=[token]))
            assert page.status_code == 404
            assert b"This link does not work" in page.content
    # Nor does the link of the foot unsubscribe.
    assert client.post(reverse("mail:unsubscribe", args=[good])).status_code == 404


def test_the_link_of_somebody_who_was_erased_is_unknown(client, link, person):
    models.Customer.objects.filter(pk=person.pk).update(erased_at=NOW, name="", email="")
    assert client.get(link).status_code == 404


def test_the_page_speaks_the_language_of_the_mails(client, link, person, settings):
    settings.LANGUAGES = [("en", "English"), ("de", "Deutsch")]
    models.Customer.objects.filter(pk=person.pk).update(language="de")
    assert b'<html lang="de"' in client.get(link, headers={"accept-language": "en"}).content
    models.Customer.objects.filter(pk=person.pk).update(language="en")
    assert b'<html lang="en"' in client.get(link, headers={"accept-language": "de"}).content


# ---- every statement with its words


def state(person, given, words, *, days, how="own page"):
    register.set_consent(
        studio=person.studio, customer_id=person.pk, purpose="service", given=given, how=how, wording=words,
        actor="member:1", at=NOW + timedelta(days=days),
    )  # fmt: skip


def test_the_history_numbers_the_wordings_and_says_when_each_yes_ended(person):
    other = CustomerFactory(studio=person.studio)
    state(other, True, "Write to me, newer words.", days=1)
    state(person, False, "Stop, please.", days=2, how="link in a mail")
    state(person, True, "Write to me, newer words.", days=3)
    lines = consents.history((person.pk,))
    assert [(one.given, one.wording, one.version, one.how) for one in lines] == [
        (True, "Write to me, newer words.", 2, "own page"),
        (False, "Stop, please.", 0, "link in a mail"),
        (True, "Please write to me when care is due.", 1, "paper form"),
    ]
    assert [one.ended_at for one in lines] == [None, None, NOW + timedelta(days=2)]
    # Another studio counts its own words.
    stranger = CustomerFactory(studio=StudioFactory())
    state(stranger, True, "Write to me, newer words.", days=1)
    assert [one.version for one in consents.history((stranger.pk,))] == [1]


def test_thirty_statements_need_as_many_queries_as_one(person, django_assert_num_queries):
    with CaptureQueriesContext(connection) as seen:
        consents.history((person.pk,))
    for number in range(29):
        state(person, number % 2 == 0, f"Words {number}.", days=number)
    with django_assert_num_queries(len(seen)):
        assert len(consents.history((person.pk,))) == 30


def test_the_choices_page_shows_what_was_said_in_which_words_when_and_how():
    person = people.customer()
    state(person, True, "Write to me about care. <b>", days=1, how="paper form")
    state(person, False, "No more of it.", days=9)
    page = as_user(person.user).get(reverse("customer:choices")).content.decode()
    for words in ("Write to me about care. &lt;b&gt;", "on a paper form", "No more of it.", "on your own page",
                  "3 March 2026", "withdrawn on 11 March 2026", "(wording 1 of the studio)"):  # fmt: skip
        assert words in page
