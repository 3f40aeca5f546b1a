"""The front door for customers, in a real browser: by code, by link, by passkey; on a phone and by keyboard alone."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import sign_in_by_code
from tests.browser.watch import Watched, context_of, reads
from tests.services.installation import wait_for

pytestmark = pytest.mark.browser
# Customers of the demo whom no other test signs in, so that no limit is met.
BY_LINK = "hollin.parcel@example.org"
BY_PASSKEY = "tove.halvarsen@example.org"
# Its style stands in the page itself; the script that marks it as old is a file.
KEPT = """async (path) => Boolean(await caches.match(path, {ignoreVary: true}))
    && Boolean(await caches.match(document.querySelector("script[src*=keep-status]").src, {ignoreVary: true}))"""


def phone_of(browser, portal) -> Watched:
    """A phone of 360 px. A passkey belongs to a name; an address of numbers has none."""
    address = portal.address.replace("127.0.0.1", "localhost")
    context = context_of(browser, address, viewport={"width": 360, "height": 740})
    return Watched(context.new_page())


@pytest.fixture
def phone(browser, portal):
    watched = phone_of(browser, portal)
    yield watched
    watched.page.context.close()


def link_of(portal, address: str, before: int) -> str:
    wait_for(lambda: len(portal.mails_to(address)) > before, "the mail with the link")
    return re.search(r"^https?://[^/\s]+(/account/link/\S+/)\r?$", portal.mails_to(address)[-1], re.M)[1]


def press(page, name: str) -> None:
    """Tab to the thing of this name and press Enter, as who has no mouse does."""
    for _ in range(60):
        page.keyboard.press("Tab")
        said = page.evaluate("(document.activeElement.textContent || '').trim()")
        if said == name:
            page.keyboard.press("Enter")
            return
    raise AssertionError(f"the Tab key does not reach {name!r}")


def test_by_link_by_keyboard_alone_then_ended_from_elsewhere(browser, portal, phone):
    portal.nobody_asked_lately()
    before = len(portal.mails_to(BY_LINK))
    page = phone.page
    phone.open("/my/choices/")
    assert phone.problems() == []
    page.set_viewport_size({"width": 360, "height": 740})
    page.locator("#code_email").focus()
    page.keyboard.type(BY_LINK)
    page.keyboard.press("Enter")
    page.wait_for_url("**/code/confirm/")
    assert phone.problems() == []
    link = link_of(portal, BY_LINK, before)
    other = phone_of(browser, portal)
    other.open(link)
    assert other.problems() == []
    other.page.reload()  # looking twice uses nothing up
    press(other.page, "Sign in")
    other.page.wait_for_url("**/my/choices/")
    phone.open(link)
    expect(page.get_by_role("heading", name="This link has ended")).to_be_visible()
    assert phone.problems() == []
    other.page.context.close()


def test_by_passkey_after_adding_one_and_then_removed(portal, phone):
    page = phone.page
    developer = page.context.new_cdp_session(page)
    developer.send("WebAuthn.enable")
    options = {"protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True}
    options |= {"isUserVerified": True, "automaticPresenceSimulation": True}
    developer.send("WebAuthn.addVirtualAuthenticator", {"options": options})
    sign_in_by_code(page, portal, BY_PASSKEY)
    phone.open("/account/devices/")
    assert phone.problems() == []
    phone.open("/account/2fa/")
    assert phone.problems() == []
    page.get_by_role("link", name="Add a passkey").click()
    page.wait_for_url("**/webauthn/add/")
    assert phone.problems() == []
    page.locator("[name=name]").fill("My phone")
    expect(page.locator("[name=passwordless]")).to_be_checked()
    page.locator("#mfa_webauthn_add").click()
    page.wait_for_url("**/account/2fa/")
    reads(page, "My phone")
    assert phone.problems() == []
    # In by the passkey alone, to where the link led.
    page.context.clear_cookies()
    phone.open("/my/choices/")
    assert "/account/login/" in page.url
    page.get_by_role("button", name="Use a passkey").click()
    page.wait_for_url(lambda url: urlsplit(url).path == "/my/choices/")
    # And still by the code alone: a passkey is no second lock.
    page.context.clear_cookies()
    sign_in_by_code(page, portal, BY_PASSKEY)
    phone.open("/account/2fa/")
    page.get_by_role("link", name="Remove “My phone”").click()
    page.wait_for_url("**/remove/")
    assert phone.problems() == []
    page.locator("main form button").first.click()
    page.wait_for_url("**/webauthn/")
    phone.open("/account/2fa/")
    reads(page, "You have none yet.")
    assert phone.complaints() == []


def test_the_last_seen_status_opens_without_a_link_marked_as_old_and_goes_at_sign_out(portal, phone):
    page = phone.page
    sign_in_by_code(page, portal, BY_PASSKEY)
    phone.open("/my/choices/")
    page.get_by_role("link", name="Have me erased").click()
    page.wait_for_url("**/my/erase/**")
    expect(page.get_by_role("button", name="Erase me for good")).to_be_visible()
    assert phone.problems() == []
    page.set_viewport_size({"width": 360, "height": 740})
    phone.open("/account/devices/")
    phone.open("/my/")
    page.wait_for_url(re.compile(r"/my/vehicle/\d+/$"))
    path = urlsplit(page.url).path
    wait_for(lambda: page.evaluate("navigator.serviceWorker.controller !== null"), "the worker")
    page.goto(path)  # now through the worker
    wait_for(lambda: page.evaluate(KEPT, path), "the page to be kept with its script")
    lead = page.locator("p.lead").inner_text()
    expect(page.locator("#kept-words")).to_be_hidden()
    page.context.set_offline(True)
    page.goto(path)
    expect(page.locator("p.lead")).to_have_text(lead, use_inner_text=True)
    reads(page, "You are offline. This is how it was as of", where="#kept-words")
    assert page.locator("#kept-at").get_attribute("datetime")
    assert phone.barriers() == []
    # Nothing but the status is kept.
    with pytest.raises(Exception, match=r"ERR_INTERNET_DISCONNECTED|ERR_FAILED"):
        page.goto("/my/choices/")
    page.context.set_offline(False)
    page.goto("/account/logout/")
    page.locator("main form button").click()
    page.wait_for_url("**/account/login/**")
    wait_for(lambda: page.evaluate("caches.keys()") == [], "the kept pages to be forgotten")
    page.context.set_offline(True)
    with pytest.raises(Exception, match=r"ERR_INTERNET_DISCONNECTED|ERR_FAILED"):
        page.goto(path)


def test_choices_data_and_fleet_are_sound(people, portal):
    watched = Watched(people["fleet"].new_page())
    for path in ("/my/choices/", "/my/data/", "/my/fleet/"):
        watched.open(path)
        # The data of a fleet are very long; their style is that of one vehicle's, which test_pages looks at in full.
        once = {"schemes": ("light",), "sizes": ("phone",)} if path == "/my/data/" else {}
        assert watched.problems(**once) == []
        assert watched.bytes_without_pictures() < 100_000, path
    watched.page.close()
