"""Readings typed on a phone with a thumb: what looks wrong stands beside its field before anything is sent."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.pages import links_of
from tests.browser.watch import Watched, context_of, reads

pytestmark = pytest.mark.browser


@pytest.fixture
def phone(browser, portal):
    """A technician's phone: 360 px, touch."""
    size = {"width": 360, "height": 740}
    context = context_of(browser, portal.address, viewport=size, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(portal.sign_in("technician"))
    yield Watched(page)
    context.close()


def readings_page(watched) -> str:
    """The readings page of the first vehicle of the list that has a bonnet, a roof and a bumper."""
    page = watched.page
    answer = page.request.get("/studio/vehicles/")
    for link in links_of(answer.url, answer.text()):
        if re.fullmatch(r"/studio/vehicle/\d+/", link):
            told = page.request.get(f"{link}readings/")
            if told.ok and all(f"<legend>{name}" in told.text() for name in ("Bonnet", "Roof", "Front bumper")):
                return f"{link}readings/"
    raise AssertionError("no vehicle of the demo has a bonnet, a roof and a front bumper")


def panel(page, name):
    return page.locator("fieldset.panel").filter(has=page.locator("legend", has_text=name))


def test_doubts_come_while_typing_go_when_mended_and_are_kept_when_recorded(phone):
    page = phone.page
    page.goto(readings_page(phone))
    page.locator("#id_gauge").select_option(label="Steel probe, ± 1 µm")
    bonnet, bumper = panel(page, "Bonnet"), panel(page, "Front bumper")
    spots = bonnet.locator("input")
    spots.nth(0).tap()
    page.keyboard.type("4.5")
    bonnet.get_by_text("Did you mean mil?").wait_for()
    expect(spots.nth(0), "what was typed stays, and so does the place of typing").to_have_value("4.5")
    spots.nth(0).fill("112 113 112")
    bonnet.get_by_text("Did you mean mil?").wait_for(state="detached")
    bumper.locator("input").nth(0).fill("110")
    bumper.get_by_text("does not read paint on plastic").wait_for()
    bumper.locator("input").nth(0).fill("")
    bumper.get_by_text("does not read paint on plastic").wait_for(state="detached")
    for number, value in enumerate(("66", "113", "112", "114"), 1):
        spots.nth(number).fill(value)
    bonnet.get_by_text("nothing more is taken off below 70").wait_for()
    page.locator("#anyway").get_by_text("to look at above").wait_for()
    assert phone.problems(schemes=("light", "dark"), sizes=("phone",)) == []
    page.get_by_role("button", name="Record the readings").tap()
    page.wait_for_url(re.compile(r"/studio/vehicle/\d+/$"))
    expect(page.get_by_text("Recorded in spite of").first).to_be_attached()
    assert phone.complaints() == []


def test_beading_is_chosen_by_its_picture_and_a_gauge_text_fills_the_sheet(phone):
    page = phone.page
    path = readings_page(phone)
    page.goto(f"{path}paste/")
    page.locator("#id_text").fill("Panel;Spot;µm\nBonnet;1;112,5\nBonnet;2;113\nRoof;1;OL\nRoof;2;98")
    page.get_by_role("button", name="Show what would be read").tap()
    page.get_by_role("heading", name="What would be read").wait_for()
    reads(page, "Line 4", where=".error-summary")
    assert phone.problems(schemes=("light", "dark"), sizes=("phone", "desk")) == []
    page.set_viewport_size({"width": 360, "height": 740})
    page.get_by_role("button", name="Put 3 values into the sheet").tap()
    expect(panel(page, "Bonnet").locator("input").nth(0)).to_have_value("112,5")
    fold = page.locator("details.water").first
    fold.locator("summary").tap()
    fold.locator(".beadings label").nth(4).tap()
    expect(fold.locator("input[type=radio][value='4']")).to_be_checked()
    assert phone.problems(schemes=("light", "dark"), sizes=("phone", "desk")) == []
    assert phone.complaints() == []
