"""The one action of the outlook, by keyboard: spread the invitations of a site, and read what moved."""

from __future__ import annotations

import pytest

from tests.browser.watch import Watched, context_of

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_owner_spreads_invitations_by_keyboard(browser, portal, width, scheme):
    context = context_of(browser, portal.address, viewport={"width": width, "height": 800}, color_scheme=scheme)
    page = context.new_page()
    page.goto(portal.sign_in("owner"))
    watched = Watched(page)
    watched.open("/studio/outlook/")
    page.get_by_role("navigation", name="Sites").get_by_role("link").nth(1).focus()
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Spread the invitations").focus()
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="What moved").wait_for()
    assert watched.problems(schemes=(scheme,), sizes=("phone" if width == 360 else "desk",)) == []
    context.close()
