"""The whole way of a new vehicle on a phone, every act of the hand counted: at most 40 of them."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.phone import PLATE, Phone, place_one, swipe

pytestmark = pytest.mark.browser
MOST_ACTS = 40
STACK = (
    "SELECT s.code, l.kind, l.batch, l.ended FROM lifecycle_layer l JOIN lifecycle_surface s ON s.id = l.surface_id "
    "WHERE s.vehicle_id = ?"
)
FILM = ("112", "114", "113", "115", "111")


@pytest.fixture
def phone(browser, portal):
    one = Phone(browser, portal)
    yield one
    one.context.close()


def register(people) -> int:
    """A vehicle that the desk puts on record; nobody of the studio has looked at it yet."""
    page = people["desk"].new_page()
    page.goto("/studio/vehicles/new/")
    page.locator("ul.choose a").first.click()
    page.locator("ul.bodies a", has_text="Saloon").click()
    for name, value in (("plate", PLATE), ("description", "grey saloon, just come in")):
        page.locator(f"#id_{name}").fill(value)
    page.locator("#id_site").select_option(index=1)
    page.locator("#id_size").select_option("M")
    page.locator("#id_colour").select_option("mid")
    page.get_by_role("button", name="Register", exact=True).click()
    page.wait_for_url(re.compile(r"/vehicle/\d+/$"))
    found = re.search(r"/vehicle/(\d+)/", page.url)
    page.close()
    return int(found[1])


def fill(phone: Phone, what, value: str) -> None:
    phone.acts += 1
    what.fill(value)


def intake(phone: Phone) -> None:
    """Walk-around with a rough price, wash and decontamination, inspection under light; a finding and photo in each."""
    page = phone.page
    phone.tap(page.get_by_role("link", name="Intake", exact=True))
    page.locator("#intake.scripted").wait_for()
    phone.tap("form[data-step=open] >> text=Start the walk-around")
    page.locator("#place").wait_for()
    place_one(phone, "chip", 0.19, 0.5)
    fill(phone, page.locator("#finish [name=rough_low]"), "300")
    fill(phone, page.locator("#finish [name=rough_high]"), "450")
    phone.tap("#finish button[type=submit]")
    page.get_by_text("rough price 300 to 450").wait_for()
    phone.tap("form[data-step=cleaning] >> xpath=.. >> summary")
    phone.tap("form[data-step=cleaning] label:has([name=decontaminated])")
    phone.tap("form[data-step=cleaning] button[type=submit]")
    page.get_by_text("washed").first.wait_for()
    phone.all_sent()
    phone.tap("form[data-step=open] >> text=Start the inspection")
    page.locator("#place").wait_for()
    place_one(phone, "swirls", 0.5, 0.5)
    phone.tap("#finish button[type=submit]")
    page.locator("#place").wait_for(state="hidden")
    phone.all_sent()


def readings(phone: Phone) -> None:
    """Five spots of film on the bonnet, as part of the inspection under light."""
    page = phone.page
    phone.tap(page.get_by_role("link", name="Record readings", exact=True))
    part_of = page.locator("#id_inspection")
    expect(part_of.locator("option").nth(1)).to_contain_text("pre-detail")
    phone.acts += 1
    part_of.select_option(index=1)
    spots = page.locator("fieldset.panel").filter(has=page.locator("legend", has_text="Bonnet")).locator("input")
    for number, value in enumerate(FILM):
        fill(phone, spots.nth(number), value)
    phone.tap(page.get_by_role("button", name="Record the readings"))
    page.wait_for_url(re.compile(r"/vehicle/\d+/$"))


def report(phone: Phone) -> str:
    """The report of the inspection, signed with a finger and sealed."""
    page = phone.page
    phone.tap(page.get_by_role("link", name="Inspections and their sealed reports"))
    phone.tap(page.get_by_role("link", name="Show the report and have it signed").first)
    page.wait_for_url("**/inspection/*/report/")
    page.wait_for_load_state("networkidle")  # photos that come late move the field
    field = page.locator(".pad svg")
    field.scroll_into_view_if_needed()
    box = field.bounding_box()
    phone.acts += 1
    swipe(page, [(box["x"] + 20 + 8 * i, box["y"] + 30 + (25 if i % 2 else 0)) for i in range(20)])
    page.get_by_text("Signed in the field.").wait_for()
    phone.acts += 1
    page.get_by_role("button", name="Seal the report").click()  # a tap at once after a raw swipe may be swallowed
    page.wait_for_url(re.compile(r"/studio/report/\d+/"))
    page.get_by_role("link", name="Check that it is unchanged").wait_for()
    return page.locator("main").inner_text()


def layers(phone: Phone) -> None:
    """A package of several products in one action; what was not measured is read, and then recorded."""
    page = phone.page
    phone.tap(page.get_by_role("link", name="Record a layer", exact=True))
    phone.tap(page.get_by_role("link", name="Three-year care"))
    page.wait_for_url("**/package/*/")
    batches = page.locator("input[name$='-batch']")
    batches.first.wait_for()
    for number in range(batches.count()):
        fill(phone, batches.nth(number), f"B-{number}")
    record = page.get_by_role("button", name="Record", exact=True)
    phone.tap(record)
    page.get_by_text("Not recorded yet: read what stands below").wait_for()  # nothing was measured: that is said first
    phone.tap(record)
    page.get_by_text(re.compile(r"Three-year care: \d+ layers recorded")).wait_for()


def test_a_new_vehicle_from_walk_around_to_sealed_report_and_layer_stack(phone, people):
    vehicle = register(people)
    page, back = phone.page, f"p.kicker a[href='/studio/vehicle/{vehicle}/']"
    page.goto(f"/studio/vehicle/{vehicle}/")
    intake(phone)
    phone.tap(back)
    readings(phone)
    said = report(phone)
    for part in ("swirl marks", "112, 114, 113, 115, 111 µm", "washed and decontaminated", "Signed on the screen by"):
        assert part in said
    phone.tap(page.locator(back).first)
    layers(phone)
    print(f"{phone.acts} interactions")
    assert phone.acts <= MOST_ACTS
    stack = phone.rows(STACK, vehicle)
    for put_on in (("bonnet", "ceramic_mid"), ("windscreen", "windscreen_coat"), ("wheels", "wheel_coat")):
        assert put_on in {row[:2] for row in stack}
    assert all(batch.startswith("B-") and ended is None for _code, _kind, batch, ended in stack)
