"""A list comes in by hand and keyboard: every step of it without a barrier, and the bar follows the work."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser.watch import Watched

pytestmark = pytest.mark.browser

OLD = "Nr;Name;E-Mail;Kunde seit;Newsletter\n9001;Søren Tamm;soeren.tamm@example.org;03.04.2024;ja\n".encode("cp1252")
WRONG = b"Number;Name;E-mail\n9002;Ada Wren;no address\n9003;=1+1;ada@example.org\n"


def send(watched: Watched, data: bytes) -> None:
    page = watched.page
    watched.open("/studio/imports/")
    page.locator("#id_kind").select_option("customers")
    page.locator("#id_file").set_input_files({"name": "list.csv", "mimeType": "text/csv", "buffer": data})
    page.get_by_role("button", name="Look at the file").click()
    page.wait_for_url("**/studio/imports/*/")


def test_a_list_from_question_to_taking_back(people, portal):
    page = people["owner"].new_page()
    watched = Watched(page)
    send(watched, OLD)
    assert watched.problems() == []
    page.get_by_label("Western European, Windows").check()
    page.get_by_role("button", name="Go on").press("Enter")
    page.get_by_text("it is never imported").wait_for()
    assert watched.problems() == []
    page.get_by_label("Day, month, year").check()
    page.get_by_role("button", name="Look every row through").click()
    page.get_by_role("progressbar").wait_for()
    assert watched.problems() == []
    work(portal)
    page.get_by_text("1 new, 0 changed").wait_for()  # the page came by itself
    assert watched.problems() == []
    page.get_by_role("button", name="Record all of it").click()
    page.get_by_role("progressbar").wait_for()
    work(portal)
    page.get_by_text("1 new and 0 changed are on record").wait_for()
    assert watched.problems() == []
    page.get_by_role("button", name="Take the list back").click()
    page.get_by_role("progressbar").wait_for()
    work(portal)
    page.get_by_text("The list was taken back").wait_for()
    assert watched.problems() == []
    page.close()


def work(portal) -> None:
    """The step itself, whether or not its next alarm has come."""
    program = "import django; django.setup(); from lifecycle.tasks import run; run('import_files')"
    portal.installation.python("-c", program)


def test_errors_are_shown_row_by_row(people, portal):
    page = people["owner"].new_page()
    watched = Watched(page)
    send(watched, WRONG)
    page.get_by_role("button", name="Look every row through").click()
    page.get_by_role("progressbar").wait_for()
    work(portal)
    page.get_by_text("2 of 2 rows cannot be read").wait_for()
    assert watched.problems() == []
    expect(page.get_by_role("button", name="Record all of it")).to_have_count(0)
    page.get_by_role("button", name="Delete the file").click()
    page.wait_for_url("**/studio/imports/")
    page.close()
