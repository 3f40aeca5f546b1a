"""A keeper shares the care record on a phone, a stranger reads it, the keeper ends it; by touch and by keyboard."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser.test_customer_flows import tab_to
from tests.browser.watch import Watched, context_of, reads

pytestmark = pytest.mark.browser


@pytest.fixture
def stranger(browser, portal):
    """Somebody without an account, on a phone."""
    context = context_of(browser, portal.address, viewport={"width": 360, "height": 740}, has_touch=True)
    yield Watched(context.new_page())
    context.close()


def test_shared_by_keyboard_read_by_a_stranger_and_ended(people, portal, stranger):
    keeper = Watched(people["customer"].new_page())
    keeper.open(portal.sign_in("customer"))
    page = keeper.page
    tab_to(page, "a[href$='/record/']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/record/")
    assert keeper.problems() == []
    # Nothing chosen: it is said, and the choice is asked for again.
    page.eval_on_selector_all("input[name=days]", "all => all.forEach((one) => one.removeAttribute('required'))")
    tab_to(page, "button[value=make]")
    page.keyboard.press("Enter")
    page.wait_for_selector("#days-error")
    assert [line for line in keeper.problems() if "422" not in line] == []
    keeper.open(page.url)
    tab_to(page, "input[name=days]")
    page.keyboard.press("ArrowDown")
    tab_to(page, "button[value=make]")
    page.keyboard.press("Enter")
    link = page.locator("#id_link").input_value()
    assert keeper.problems() == []

    stranger.open(link)
    assert stranger.problems() == []
    reads(stranger.page, "Care record")
    assert "Tove" not in stranger.page.locator("main").inner_text()
    wanted, reached = stranger.tab_through()
    assert set(wanted) - reached == set()
    check = stranger.page.locator("dl.facts a[href*='/check/record/']").get_attribute("href")
    stranger.open(check)
    reads(stranger.page, "This is what Sheenward issued on")
    assert stranger.problems() == []

    keeper.open(page.url)
    reads(page, "opened 1 time;")
    expect(page.locator("#id_link"), "a link is shown once").to_have_count(0)
    page.get_by_role("button", name="End it now").first.click()
    page.wait_for_selector("text=The link opens nothing any more.")
    assert keeper.problems() == []
    answer = stranger.open(link)
    assert answer.status == 410
    assert [line for line in stranger.problems() if "410" not in line] == []
    answer = stranger.open("/record/nobody-has-this/")
    assert answer.status == 404
    assert [line for line in stranger.problems() if "404" not in line] == []
    page.close()
