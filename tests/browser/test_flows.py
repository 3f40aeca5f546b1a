"""What people do, from end to end, in a real browser; and their mails, as pages."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import sign_in_by_code
from tests.browser.watch import SCHEMES, SIZES, Watched, context_of

pytestmark = pytest.mark.browser
CUSTOMER = "tove.halvarsen@example.org"


@pytest.fixture
def visitor(browser, portal):
    """A watched page of somebody who has never been here, on a phone."""
    context = context_of(browser, portal.address, viewport={"width": 360, "height": 740})
    yield Watched(context.new_page())
    context.close()


def test_a_customer_signs_in_with_a_mailed_code(portal, visitor):
    sign_in_by_code(visitor.page, portal, CUSTOMER)
    expect(visitor.page.locator("h1")).to_have_count(1)
    assert visitor.complaints() == []


def test_a_wrong_code_lets_nobody_in_and_an_unknown_address_is_not_given_away(portal, visitor):
    page, said = visitor.page, []
    for address in (CUSTOMER, "nobody@example.org"):
        portal.nobody_asked_lately()
        visitor.open("/account/login/code/")
        page.locator("#id_email").fill(address)
        page.get_by_role("button", name="Send me a code").click()
        page.wait_for_url("**/account/login/code/confirm/")
        said.append(page.locator("main").inner_text().replace(address, "..."))
        assert visitor.problems() == []
        page.locator("#id_code").fill("WRONG1")
        with page.expect_navigation():
            page.get_by_role("button", name="Sign in").click()
        assert "/account/" in page.url
        page.context.clear_cookies()
    assert said[0] == said[1]
    assert portal.mails_to("nobody@example.org") == []


def test_the_mails_that_the_cycle_wrote_are_accessible(portal, browser):
    """Each written mail's HTML as a page of its own, narrow and wide, light and dark."""
    mails = [mail for mail in portal.installation.mails() if mail["List-Unsubscribe"]]
    assert mails, "the cycle wrote no mail"
    by_subject = {re.sub(r"\d+", "#", mail["Subject"]): mail for mail in mails}
    # Remote content is not wanted in a mail at all, so none is allowed here.
    context = browser.new_context(offline=True, reduced_motion="reduce")
    watched = Watched(context.new_page())
    wrong = []
    for subject, mail in list(by_subject.items())[:6]:
        watched.page.set_content(mail.get_body(("html",)).get_content())
        for scheme in SCHEMES:
            watched.page.emulate_media(color_scheme=scheme)
            for size, (width, height) in SIZES.items():
                watched.page.set_viewport_size({"width": width, "height": height})
                wrong += [f"{subject}: {barrier} ({size}, {scheme})" for barrier in watched.barriers()]
                wrong += [f"{subject}: scrolls sideways at {width} px"] if watched.overflow_px() > 0 else []
        wrong += [f"{subject}: fetches {answer.url}" for answer in watched.fetched]
    context.close()
    assert not wrong, "\n".join(["", *wrong])
