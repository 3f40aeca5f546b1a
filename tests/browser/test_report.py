"""A report signed by touch on a phone and by keyboard, then read by its keeper and checked by a stranger."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.phone import swipe
from tests.browser.watch import Watched, context_of, reads, settle

pytestmark = pytest.mark.browser


@pytest.fixture
def phone(browser, portal):
    """A technician's phone: 360 px, touch, signed in."""
    size = {"width": 360, "height": 740}
    context = context_of(browser, portal.address, viewport=size, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(portal.sign_in("technician"))
    yield Watched(page)
    context.close()


def pad_of(page) -> dict[str, float]:
    """Where the field for a signature stands, once it and what is above it stand still."""
    page.wait_for_load_state("networkidle")  # photos that come late move the field
    settle(page)
    field = page.locator(".pad svg")
    field.scroll_into_view_if_needed()
    return field.bounding_box()


def drafts_of(watched: Watched, vehicle_id: int) -> list[str]:
    """Addresses of the inspections of a vehicle that wait for a signature."""
    watched.open(f"/studio/vehicle/{vehicle_id}/reports/")
    links = watched.page.get_by_role("link", name="Show the report and have it signed")
    return [link.get_attribute("href") for link in links.all()]


def kept_vehicle(people) -> int:
    """The vehicle of the demo's customer."""
    page = people["customer"].new_page()
    page.goto("/my/")
    found = re.search(r"/my/vehicle/(\d+)/", page.url) or re.search(r"/my/vehicle/(\d+)/", page.content())
    page.close()
    return int(found[1])


def test_signed_by_touch_then_read_by_the_keeper_and_checked_by_a_stranger(phone, people, browser, portal):
    vehicle_id = kept_vehicle(people)
    waiting = drafts_of(phone, vehicle_id)
    assert waiting, "no inspection of the customer's vehicle waits for a signature"
    assert phone.problems() == []
    page = phone.page
    phone.open(waiting[0])
    assert phone.problems() == []
    box = pad_of(page)
    across = [(box["x"] + 20 + 8 * i, box["y"] + 30 + (25 if i % 2 else 0)) for i in range(20)]
    before = page.evaluate("window.scrollY")
    swipe(page, across)
    swipe(page, [(box["x"] + 60, box["y"] + 80), (box["x"] + 160, box["y"] + 82)])
    expect(page.locator(".pad polyline")).to_have_count(2)
    expect(page.get_by_text("Signed in the field.")).to_be_visible()
    assert page.evaluate("window.scrollY") == before, "drawing must not scroll the page"
    # A refusal loses nothing that was drawn.
    page.locator("#id_name").evaluate("field => { field.removeAttribute('required'); field.value = ''; }")
    with page.expect_navigation():
        page.get_by_role("button", name="Seal the report").click()
    expect(page.locator(".pad polyline")).to_have_count(2)
    page.locator("#id_name").fill("Tove Halvarsen")
    page.get_by_role("button", name="Seal the report").click()
    page.wait_for_url("**/studio/report/**")
    expect(page.locator("svg.signature polyline")).to_have_count(2)
    reads(page, "Signed on the screen by Tove Halvarsen")
    assert phone.problems() == []
    report_id = re.search(r"/report/(\d+)/", page.url)[1]
    phone.open(f"/studio/report/{report_id}/addendum/")
    assert phone.problems() == []
    check = page.goto(f"/studio/report/{report_id}/") and page.get_by_role("link", name="Check that it is unchanged")
    public = check.get_attribute("href")

    keeper = Watched(people["customer"].new_page())
    keeper.open(f"/my/vehicle/{vehicle_id}/")
    keeper.page.locator(f'a[href="/my/report/{report_id}/"]').click()
    keeper.page.wait_for_url("**/my/report/**")
    assert keeper.problems() == []
    with keeper.page.expect_download() as download:
        keeper.page.get_by_role("link", name="Keep it as a PDF").click()
    assert download.value.suggested_filename == f"report-{page.locator('h1').inner_text().split()[-1]}.pdf"
    keeper.page.close()

    context = context_of(browser, portal.address)
    stranger = Watched(context.new_page())
    stranger.open(public)
    reads(stranger.page, "Unchanged since it was sealed.")
    assert stranger.problems() == []
    context.close()


def test_signed_by_keyboard_alone(people, portal):
    page = people["technician"].new_page()
    watched = Watched(page)
    waiting: list[str] = []
    for vehicle_id in range(2, 40):
        waiting = drafts_of(watched, vehicle_id)
        if waiting:
            break
    watched.open(waiting[0])
    page.locator("#id_name").focus()
    page.keyboard.press("ControlOrMeta+A")
    page.keyboard.type("Ada Somebody")
    for _ in range(4):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "id_seen":
            break
    page.keyboard.press("Space")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Seal the report"
    page.keyboard.press("Enter")
    page.wait_for_url("**/studio/report/**")
    reads(page, "Ada Somebody on ", "typed the name and ticked “I have seen this report.”")
    page.close()


def test_a_correction_plan_is_agreed_to_in_the_same_field(phone):
    page = phone.page
    phone.open("/studio/vehicle/1/correction/plan/1/said/")
    page.get_by_label("How").select_option("spoken")
    expect(page.locator(".pad")).to_be_hidden()
    page.get_by_label("How").select_option("signed")
    assert phone.problems(schemes=("light",)) == []
    page.set_viewport_size({"width": 360, "height": 740})
    page.get_by_label("agrees", exact=True).check()
    box = pad_of(page)
    swipe(page, [(box["x"] + 20 + 8 * i, box["y"] + 30 + (25 if i % 2 else 0)) for i in range(20)])
    expect(page.get_by_text("Signed in the field.")).to_be_visible()
    page.get_by_role("button", name="Record").click()
    page.wait_for_url("**/plan/1/")
    expect(page.locator("svg.signature").first).to_be_visible()
    reads(page, "On record: the customer agrees.", where="body")
