"""The customer's pages in German in a real browser: accessible, within the window, light, in one language; and the
switch at the door."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import FLEET
from tests.browser.pages import links_of, name_of, walk
from tests.browser.test_pages import mailed
from tests.browser.watch import MOST_BYTES, Watched, context_of
from tests.services.installation import wait_for

pytestmark = pytest.mark.browser
KEEPER = "bram.ostler@example.org"
# Before anybody signs in, and what is not there.
DOOR = ("/account/login/", "/account/login/code/", "/account/link/wrong/", "/check/wrong/", "/nowhere/")
# Every page that a keeper of one vehicle comes to by links.
REACHED = {
    "customer:vehicle", "customer:what_if", "customer:guide", "customer:log", "customer:choices", "customer:visits",
    "customer:ask", "customer:data", "devices", "mfa_index", "mfa_add_webauthn", "account_logout",
}  # fmt: skip


@pytest.fixture(scope="module")
def stranger(browser, portal):
    """Somebody with a German browser who has not signed in."""
    context = context_of(browser, portal.address, locale="de-DE")
    yield context
    context.close()


def enter(browser, portal, address):
    """A context signed in by the German door, with German chosen on the choices page."""
    context = context_of(browser, portal.address, locale="de-DE")
    page = context.new_page()
    portal.nobody_asked_lately()
    before = len(portal.codes(address))
    page.goto("/account/login/code/")
    page.locator("#id_email").fill(address)
    page.get_by_role("button", name="Code schicken").click()
    page.wait_for_url("**/account/login/code/confirm/")
    wait_for(lambda: len(portal.codes(address)) > before, "the mail with the code")
    page.locator("#id_code").fill(portal.codes(address)[-1])
    page.get_by_role("button", name="Anmelden").click()
    page.wait_for_url("**/my/**")
    page.goto("/my/choices/")
    page.locator("select[name=language]").first.select_option("de")
    page.get_by_role("button", name="Keep this").first.click()
    page.wait_for_selector("html[lang=de]")
    page.close()
    return context


@pytest.fixture(scope="module")
def keeper(browser, portal):
    context = enter(browser, portal, KEEPER)
    yield context
    context.close()


def fetcher(context, broken):
    def fetch(path):
        answer = context.request.get(path)
        if not answer.ok:
            broken[path] = answer.status
        return answer.url if answer.ok else None, links_of(answer.url, answer.text()) if answer.ok else []

    return fetch


def looked_at(context, paths):
    """What is wrong with these pages, in both widths and schemes, and their names."""
    page = context.new_page()
    watched, wrong, names = Watched(page), [], set()
    for path in paths:
        watched.open(path)
        if (language := page.evaluate("document.documentElement.lang")) != "de":
            wrong.append(f"{path}: its language is {language}")
        name = name_of(page.url)
        once = {"schemes": ("light",), "sizes": ("phone",)} if name in names else {}
        wrong += watched.problems(**once)
        names.add(name)
        if (weight := watched.bytes_without_pictures()) > MOST_BYTES:
            wrong.append(f"{path}: weighs {weight} bytes without pictures")
    page.close()
    return wrong, names


def test_every_page_of_a_keeper_is_sound_in_german(keeper):
    broken = {}
    paths = walk(fetcher(keeper, broken), ("/my/",))
    assert broken == {}
    wrong, names = looked_at(keeper, paths)
    assert not wrong, "\n".join(["", *wrong])
    assert REACHED - names <= {"customer:home"}, REACHED - names


def test_a_fleet_is_sound_in_german(browser, portal):
    context = enter(browser, portal, FLEET)
    try:
        wrong, _names = looked_at(context, ("/my/", "/my/fleet/"))
    finally:
        page = context.new_page()
        page.goto("/my/choices/")
        page.locator("select[name=language]").first.select_option("en")
        page.get_by_role("button", name="So speichern").first.click()
        page.wait_for_selector("html[lang=en]")
        context.close()
    assert not wrong, "\n".join(["", *wrong])


def test_the_door_is_sound_in_german(stranger, portal):
    page = stranger.new_page()
    watched, wrong = Watched(page), []
    for path in (*DOOR, *mailed(portal)):
        watched.open(path)
        watched.errors.clear()  # the browser itself complains about an answer of 404
        # A page behind a mail's link speaks the language of the customer who got it.
        assert path.startswith("/mail/") or page.evaluate("document.documentElement.lang") == "de", path
        wrong += watched.problems()
    page.close()
    assert not wrong, "\n".join(["", *wrong])


def test_the_switch_at_the_door_by_keyboard_alone(stranger):
    page = stranger.new_page()
    page.goto("/account/login/?next=/my/visits/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Anmelden")
    page.get_by_role("button", name="English").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("html[lang=en]")
    assert page.url.endswith("/account/login/?next=/my/visits/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    page.get_by_role("button", name="Deutsch").press("Enter")
    page.wait_for_selector("html[lang=de]")
    page.close()


def test_what_if_answers_in_german_without_reload(keeper):
    page = keeper.new_page()
    page.goto("/my/")
    page.get_by_role("link", name="Was wäre, wenn?").click()
    page.wait_for_url("**/what-if/")  # with its scripts
    page.locator("#u-parking").select_option("garage")
    for said in ("So genutzt|So wird es jetzt genutzt", "Monate|so lange wie jetzt|So wird es jetzt"):
        expect(page.locator("#said")).to_contain_text(re.compile(said), use_inner_text=True)
    page.close()
