"""The owner's page of mails that wait, and the notice on the work list."""

from __future__ import annotations

import pytest
from django.urls import reverse

from lifecycle import models
from tests import people
from tests.factories import CareDueFactory, MessageFactory, ReminderFactory, SiteFactory, StudioFactory, VehicleFactory
from tests.portal.doors import as_member

pytestmark = pytest.mark.django_db
URL = "studio:approvals"


@pytest.fixture
def studio():
    return StudioFactory(approve_first=True)


@pytest.fixture
def waiting(studio):
    keeper = people.customer(studio, name="Tove Halvarsen")
    due = CareDueFactory(vehicle=VehicleFactory(site=SiteFactory(studio=studio), keeper=keeper))
    return MessageFactory(
        customer=keeper, reminder=ReminderFactory(due=due, state="written", send_at=None), state="waiting",
        approval_for=["first_send", "price"], subject="Wax for your saloon", words="a" * 64,
    )  # fmt: skip


@pytest.fixture
def browser(studio):
    return as_member(people.owner(studio))


def press(browser, do, **fields):
    return browser.post(reverse(URL), {"do": do, **fields})


def test_the_page_lists_what_waits_with_the_reason_and_the_mail_itself(browser, waiting):
    page = browser.get(reverse(URL)).content.decode()
    assert "Wax for your saloon" in page
    assert "nobody has approved a mail in these words yet; it names a price" in page
    assert reverse("studio:message", args=[waiting.pk]) in page
    assert f"{waiting.pk}" in page


def test_the_work_list_says_that_mails_wait_to_owner_and_desk(studio, waiting, browser):
    for member, link in ((browser, True), (as_member(people.desk(studio)), False)):
        page = member.get(reverse("studio:work")).content.decode()
        assert "Mails wait for approval" in page
        assert (f'href="{reverse(URL)}"' in page) is link
    models.Message.objects.update(state="stopped")
    assert "Mails wait for approval" not in browser.get(reverse("studio:work")).content.decode()


def test_chosen_ones_are_approved_and_a_whole_run_by_its_button(browser, waiting):
    assert press(browser, "approve", message=waiting.pk).status_code == 302
    waiting.refresh_from_db()
    assert waiting.state == "ready"
    models.Message.objects.update(state="waiting")
    page = browser.post(reverse(URL), {"do": "all", "batch": ""}, follow=True)
    assert "Approved: 1." in page.content.decode()


def test_refusing_asks_for_a_reason_and_keeps_what_was_chosen(browser, waiting):
    page = press(browser, "refuse", message=waiting.pk, why="")
    assert page.status_code == 422
    assert "Say why it is not sent" in page.content.decode()
    assert "checked" in page.content.decode()
    assert press(browser, "refuse", message=waiting.pk, why="They rang").status_code == 302
    waiting.refresh_from_db()
    assert (waiting.state, waiting.error) == ("stopped", "Not approved: They rang")


def test_an_empty_choice_sends_nothing_and_what_was_typed_stays(browser, waiting):
    page = press(browser, "refuse", why="They rang", batch="")
    assert page.status_code == 422
    assert "Nothing was chosen" in page.content.decode()
    assert 'value="They rang"' in page.content.decode()
    assert press(browser, "approve").status_code == 422
    waiting.refresh_from_db()
    assert waiting.state == "waiting"


def test_another_studios_mail_is_not_approved(waiting):
    other = as_member(people.owner(StudioFactory()))
    assert press(other, "approve", message=waiting.pk).status_code == 422
    assert b"Wax for" not in other.get(reverse(URL)).content
    waiting.refresh_from_db()
    assert waiting.state == "waiting"


def test_what_needs_approval_is_the_owners_choice(browser, studio):
    assert press(browser, "policy", prices="on").status_code == 302
    studio.refresh_from_db()
    assert (studio.approve_first, studio.approve_prices, studio.approve_batches) == (False, True, False)
