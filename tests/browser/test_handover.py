"""A keeper offers a vehicle, the new keeper looks at the mail's page and declines; each state looked at by axe."""

from __future__ import annotations

import re

import pytest

from tests.browser.conftest import FLEET, sign_in_by_code
from tests.browser.watch import Watched, context_of, reads

pytestmark = pytest.mark.browser
BUYER = "jory.tamm.new@example.org"


@pytest.fixture
def phone(browser, portal):
    """A phone without a session."""
    context = context_of(browser, portal.address, viewport={"width": 360, "height": 740}, has_touch=True)
    yield Watched(context.new_page())
    context.close()


def link_for(portal, address: str) -> str:
    """The path in the newest mail to an address."""
    portal.installation.python("manage.py", "cycle")
    mails = [mail for mail in portal.installation.mails() if mail["To"] == address]
    return re.search(r"(/handover/[^/\s]+/)", mails[-1].get_body(("plain",)).get_content())[1]


def test_offered_looked_at_and_declined(browser, portal, phone):
    page = phone.page
    sign_in_by_code(page, portal, FLEET)
    vehicle = re.search(r"/my/vehicle/(\d+)/", page.content())[1]
    phone.open(f"/my/vehicle/{vehicle}/handover/")
    assert phone.problems() == []
    page.locator("#id_email").fill(BUYER)
    page.get_by_role("button", name="Send the mail").press("Enter")
    page.wait_for_selector("text=Until they agree, nothing changes.")
    assert phone.problems() == []
    path = link_for(portal, BUYER)

    context = context_of(browser, portal.address)
    buyer = Watched(context.new_page())
    buyer.open(path)
    assert buyer.problems() == []
    wanted, reached = buyer.tab_through()
    assert set(wanted) - reached == set()
    buyer.page.get_by_role("button", name="I do not; forget my address").press("Enter")
    buyer.page.wait_for_selector("text=your address is forgotten here")
    assert buyer.problems() == []
    assert buyer.open(path).status == 404
    assert [line for line in buyer.problems() if "404" not in line] == []
    context.close()
    phone.open(f"/my/vehicle/{vehicle}/handover/")
    reads(page, "declined")
    assert phone.problems() == []
