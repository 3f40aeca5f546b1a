"""A visit from the proposal to its end: by touch on a customer's phone and at the desk, then by keyboard alone."""

from __future__ import annotations

import os
import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser.watch import SCHEMES, SIZES, Watched, context_of, reads

pytestmark = pytest.mark.browser
# Where pictures of every state go, for somebody who wants to look at them; none are taken without it.
PICTURES = os.environ.get("SHEENWARD_PICTURES")


class Hand:
    """Somebody's watched page; `looked` notes what is wrong with each state of it, in both schemes."""

    def __init__(self, browser, portal, who: str, *, touch: bool) -> None:
        width, height = SIZES["phone"]
        size = {"width": width, "height": height}
        self.context = context_of(browser, portal.address, viewport=size, has_touch=touch, is_mobile=touch)
        self.page = self.context.new_page()
        self.page.goto(portal.sign_in(who))
        self.watched = Watched(self.page)
        self.wrong: list[str] = []

    def look(self, name: str) -> None:
        """Note what axe, the console and the width say; the page stays as a phone shows it."""
        self.wrong += self.watched.problems()
        if PICTURES:
            for scheme in SCHEMES:
                self.page.emulate_media(color_scheme=scheme)
                for size, (width, height) in SIZES.items():
                    self.page.set_viewport_size({"width": width, "height": height})
                    self.page.screenshot(path=Path(PICTURES) / f"{name}-{size}-{scheme}.png", full_page=True)
        width, height = SIZES["phone"]
        self.page.set_viewport_size({"width": width, "height": height})

    def tap(self, role: str, name: str | re.Pattern[str]) -> None:
        """Tap what is named so, and wait for the page that it leads to."""
        with self.page.expect_navigation():
            self.page.locator("main").get_by_role(role, name=name).first.tap()

    def reads(self, *words: str) -> None:
        """The page comes to say so, however its words are broken into lines."""
        reads(self.page, *words)

    def day(self) -> date:
        """The day that the form has in it."""
        return date.fromisoformat(self.page.locator("#id_on").input_value())


@pytest.fixture
def hands(browser, portal):
    """The customer's phone, the desk's phone, and the customer at a keyboard."""
    all_of_them = {
        "customer": Hand(browser, portal, "customer", touch=True),
        "desk": Hand(browser, portal, "desk", touch=True),
        "keys": Hand(browser, portal, "customer", touch=False),
    }
    yield all_of_them
    for hand in all_of_them.values():
        hand.context.close()


def words(day: date) -> str:
    """The day as the pages write it."""
    return f"{day:%A} {day.day} {day:%B %Y}"


def answer(desk: Hand, plate: str, name: str) -> None:
    """Open the customer's request from the head of the work list."""
    desk.watched.open("/studio/")
    expect(desk.page.get_by_role("heading", name="Customers wait for an answer")).to_be_visible()
    desk.look(f"{name}-work")
    desk.tap("link", f"Answer the request of {plate}")
    desk.look(f"{name}-request")


def test_a_proposal_is_asked_for_confirmed_moved_and_cancelled_by_touch(hands):
    customer, desk = hands["customer"], hands["desk"]
    customer.watched.open("/my/")
    customer.look("vehicle")
    customer.tap("link", "Ask for this visit")
    plate = customer.page.locator(".kicker").inner_text().split(", ")[-1]
    customer.look("accept")
    day = customer.day()
    assert customer.page.locator("#id_on").get_attribute("min") <= day.isoformat()
    assert day.isoformat() <= customer.page.locator("#id_on").get_attribute("max")
    customer.page.get_by_label("morning").tap()
    customer.tap("button", "Ask the studio")
    customer.reads(f"{words(day)}, morning Asked for. The studio has not answered yet; nothing is booked.")
    customer.look("visits-asked")

    answer(desk, plate, "asked")
    desk.page.locator("#confirm_starts").fill("09:00")
    desk.tap("button", "Book it")
    desk.look("requests")
    desk.watched.open("/studio/calendars/")
    desk.tap("button", "Make an address")
    assert desk.page.locator("main input[readonly]").first.input_value().startswith("http")
    desk.look("calendars")

    customer.watched.open("/my/visits/")
    customer.reads(f"{words(day)}, 09:00 Booked.")
    customer.tap("button", re.compile("Make a calendar address"))
    assert customer.page.locator("main input[readonly]").first.input_value().startswith("http")
    customer.look("visits-booked")
    with customer.page.expect_download() as got:
        customer.page.evaluate("document.querySelector('a[href$=\".ics\"]').setAttribute('download', '')")
        customer.page.get_by_role("link", name="Add to calendar").tap()
    assert "BEGIN:VEVENT" in Path(got.value.path()).read_text()

    customer.tap("link", "Ask for another day")
    customer.look("move")
    customer.page.locator("#id_on").fill(day.isoformat())
    customer.tap("button", "Ask the studio")
    customer.reads("on that day already")
    assert customer.day() == day, "what was typed is kept"
    customer.look("move-refused")
    other = day + timedelta(days=2)
    customer.page.locator("#id_on").fill(other.isoformat())
    customer.tap("button", "Ask the studio")
    customer.reads(f"You have asked for {other.day} {other:%B %Y} instead.")
    customer.look("visits-wanted")
    answer(desk, plate, "wanted")
    desk.tap("button", "Move the visit")

    customer.watched.open("/my/visits/")
    customer.reads(f"{words(other)}, 09:00 Booked.")
    customer.tap("link", "Cancel")
    customer.look("cancel")
    customer.tap("button", "Cancel the visit")
    customer.reads("Nothing is asked for or booked.")
    customer.reads(f"{other.day} {other:%B %Y}, {plate}: cancelled.")
    customer.look("visits-over")
    assert customer.wrong + desk.wrong == []


def test_offered_days_by_keyboard_alone(hands):
    """Asked for in own words, the care named by the desk, other days offered, one chosen, and called off."""
    one, desk = hands["keys"], hands["desk"]
    page, keys = one.page, one.page.keyboard

    def go_to(selector: str) -> None:
        for _ in range(120):
            if page.evaluate("(s) => document.activeElement.matches(s)", selector):
                return
            keys.press("Tab")
        raise AssertionError(f"Tab does not reach {selector} on {page.url}")

    def press(selector: str) -> None:
        go_to(selector)
        with page.expect_navigation():
            keys.press("Enter")

    one.watched.open("/my/visits/")
    press("main a[href$='/ask/']")
    one.look("ask")
    soon = datetime.now(UTC).date() + timedelta(days=30)
    go_to("#id_on")
    for order in ("%m%d%Y", "%d%m%Y"):  # the order of a date field's parts is the machine's own
        page.locator("#id_on").focus()
        keys.type(soon.strftime(order))
        if page.locator("#id_on").input_value() == soon.isoformat():
            break
    assert one.day() == soon
    go_to("[name=part]")
    keys.press("ArrowDown")
    go_to("[name=tasks]")
    keys.press("Space")
    go_to("#id_wish")
    keys.type("Please look at the door edge, too.")
    press("main form button[type=submit]")
    one.reads(f"{words(soon)}, morning Asked for.")
    one.reads("Please look at the door edge, too.")

    desk.watched.open("/studio/requests/")
    plate = page.locator(".choice .nowrap").first.inner_text()
    desk.look("requests-waiting")
    desk.tap("link", f"Answer the request of {plate}")
    for name, days in (("first", 1), ("second", 2)):
        desk.page.locator(f"#offer_{name}").fill(f"{soon + timedelta(days=days)}T13:30")
    desk.tap("button", "Offer these days")
    desk.look("requests-offered")

    one.watched.open("/my/visits/")
    one.look("visits-offered")
    press("button[name=offer]:last-of-type")
    one.reads(f"{words(soon + timedelta(days=2))}, 13:30 Booked.")
    press("main a[href$='/cancel/']")
    press("main form button[type=submit]")
    one.reads("Nothing is asked for or booked.")
    assert one.wrong + desk.wrong == []
