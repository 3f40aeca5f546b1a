"""The owner's pages for the words of mails: seen, tried, kept, taken back; what is refused keeps what was typed."""

from __future__ import annotations

import pytest
from django.core import mail
from django.urls import reverse

from lifecycle import models
from lifecycle.reminders import trials
from lifecycle.reminders.words import KINDS
from tests import people
from tests.factories import CareDueFactory, ConsentFactory, ReminderFactory, SiteFactory, StudioFactory, VehicleFactory
from tests.portal.doors import as_member

pytestmark = pytest.mark.django_db


@pytest.fixture
def studio():
    return StudioFactory()


@pytest.fixture
def sample(studio):
    keeper = people.customer(studio, name="Tove Halvarsen")
    ConsentFactory(customer=keeper)
    due = CareDueFactory(vehicle=VehicleFactory(site=SiteFactory(studio=studio), keeper=keeper))
    return ReminderFactory(due=due, purpose="service")


@pytest.fixture
def browser(studio):
    return as_member(people.owner(studio))


URL = ("studio:wording", ["service", "en"])


def press(browser, do, sample=None, **texts):
    return browser.post(
        reverse(URL[0], args=URL[1]), {"do": do, "sample": sample.pk if sample is not None else "", **texts}
    )


def test_the_list_names_every_kind_in_every_language(browser):
    page = browser.get(reverse("studio:words")).content.decode()
    for kind in KINDS.values():
        for language in ("English", "Deutsch"):
            assert f"{kind.label}, {language}" in page
    assert page.count("built in") == len(KINDS) * 2


def test_the_page_shows_the_built_in_words_and_what_may_stand_in_them(browser):
    page = browser.get(reverse("studio:wording", args=["visit_confirmed", "de"])).content.decode()
    assert "Ihr Besuch mit Ihrem Fahrzeug, {vehicle} ({plate}), ist für den {day}" in page
    assert "Needed: {day}." in page
    assert "nothing on record yet" in page


def test_shown_kept_listed_and_taken_back(browser, sample, studio):
    shown = press(browser, "show", sample, closing="Yours, Piet <b>")
    assert shown.status_code == 200
    assert "Yours, Piet &lt;b&gt;" in shown.content.decode()
    assert not models.MailWording.objects.exists()
    assert press(browser, "keep", sample, closing="Yours, Piet").status_code == 302
    page = browser.get(reverse(URL[0], args=URL[1])).content.decode()
    assert "Yours, Piet" in page
    assert "Earlier words" in page
    assert "own, in 1 part" in browser.get(reverse("studio:words")).content.decode()
    assert press(browser, "back", sample).status_code == 302
    page = browser.get(reverse(URL[0], args=URL[1])).content.decode()
    assert "back to the built-in words" in page
    assert "Back to the built-in words" not in page


def test_what_is_refused_stands_beside_its_field_and_nothing_typed_is_lost(browser, sample):
    for do in ("keep", "show", "try"):
        page = press(browser, do, sample, subject="{titel} now", closing="Yours, Piet")
        text = page.content.decode()
        assert page.status_code == 422
        assert "{titel} is no placeholder here" in text
        assert 'value="{titel} now"' in text
        assert "Yours, Piet" in text
    assert not models.MailWording.objects.exists()
    assert mail.outbox == []


def test_the_page_of_a_draft_is_the_mails_html_in_a_policy_of_its_own(browser, sample, studio):
    url = reverse("studio:wording_page", args=["service", "en"])
    answer = browser.post(url, {"sample": sample.pk, "closing": "Yours, Piet"})
    assert "Yours, Piet" in answer.content.decode()
    assert "default-src 'none'" in answer["Content-Security-Policy"]
    assert "sandbox" in answer["Content-Security-Policy"]
    assert browser.post(url, {"sample": sample.pk, "subject": "{nothing}"}).status_code == 422
    assert browser.post(url, {"sample": ""}).status_code == 422


def test_a_trial_is_sent_to_whoever_presses(browser, sample, studio):
    page = press(browser, "try", sample, closing="Yours, Piet").content.decode()
    (sent,) = mail.outbox
    owner = models.Member.objects.get(studio=studio, role="owner")
    assert sent.to == [owner.user.email]
    assert "The trial went to your own address" in page
    assert "Yours, Piet" in page, "what was typed is still there"
    assert [row.outcome for row in trials.trials(studio, kind="service", language="en")] == ["accepted"]


def test_without_anything_real_to_show_it_with_the_page_says_so(browser):
    page = press(browser, "show", closing="Yours")
    assert page.status_code == 422
    assert "nothing on record yet that this mail could be about" in page.content.decode()


def test_a_sample_of_another_studio_is_refused(browser, sample):
    other = as_member(people.owner(StudioFactory()))
    assert press(other, "show", sample).status_code == 422
    assert b"Tove" not in press(other, "show", sample).content


@pytest.mark.parametrize("wrong", [["nonsense", "en"], ["service", "fr"]])
def test_unknown_kinds_and_languages_are_not_there(browser, wrong):
    assert browser.get(reverse("studio:wording", args=wrong)).status_code == 404
    assert browser.post(reverse("studio:wording_page", args=wrong)).status_code == 404
