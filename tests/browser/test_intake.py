"""The intake on a phone: tapped in place, the link lost in the middle, everything arrived once; and by keyboard."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.phone import PLATE, Phone, place_one
from tests.browser.watch import Watched, reads
from tests.pictures import picture
from tests.services.installation import wait_for

pytestmark = pytest.mark.browser
WITH_PHOTOS = (
    "SELECT f.kind, s.code, f.on_outline, (SELECT count(*) FROM lifecycle_photo p WHERE p.finding_id = f.id) "
    "FROM lifecycle_finding f JOIN lifecycle_inspection i ON i.id = f.inspection_id "
    "LEFT JOIN lifecycle_surface s ON s.id = f.surface_id WHERE i.vehicle_id = ? AND i.key IS NOT NULL ORDER BY f.id"
)


@pytest.fixture
def phone(browser, portal):
    one = Phone(browser, portal)
    yield one
    one.context.close()


def vehicles(phone: Phone) -> list[int]:
    """Vehicles of the demo that are still looked after, the latest first; not one that another test registered."""
    return [
        row[0] for row in phone.rows(
            "SELECT v.id FROM lifecycle_vehicle v WHERE retired_on IS NULL AND v.plate <> ? AND EXISTS "
            "(SELECT 1 FROM lifecycle_surface s WHERE s.vehicle_id = v.id AND s.code = 'bonnet') ORDER BY v.id DESC",
            PLATE,
        )
    ]  # fmt: skip


def small_targets(page) -> list[str]:
    """Whatever is to be tapped and is less than 44 px high or wide (WCAG 2.2, 2.5.5)."""
    return page.evaluate("""() => [...document.querySelectorAll(
        "#intake button, #intake a.button, #intake select, #intake input:not([type=hidden], [type=radio], "
        + "[type=checkbox]), #intake .chips label, #intake .big-check label, #intake summary, #intake textarea")]
        .filter((e) => e.checkVisibility() && e.getClientRects().length)
        .filter((e) => { const box = e.getBoundingClientRect(); return box.height < 43.5 || box.width < 43.5; })
        .map((e) => e.outerHTML.slice(0, 90))""")


def test_the_link_is_lost_in_the_middle_and_everything_arrives_once(phone):
    page = phone.page
    phone.open(vehicles(phone)[0])
    phone.tap("form[data-step=open] >> text=Start the walk-around")
    page.locator("#place").wait_for()
    phone.all_sent()
    phone.tap_at("#place .findings-plan", 0.19, 0.5)
    phone.places("bonnet")
    phone.radio("kind", "chip")
    phone.keep()
    phone.all_sent()
    wait_for(phone.kept_offline, "the page to be kept for a lost link")
    phone.context.set_offline(True)
    # Exactly on the outline, with two photos; then one placed on the plan; both wait.
    phone.tap_at("#place .findings-plan", 0.19, 0.5)
    phone.tap_at("#finding-form .outline-field:not([hidden]) svg", 0.25, 0.8)
    phone.places("front left")
    phone.radio("kind", "water_etching")
    phone.shoot("one.jpg", "two.jpg")
    phone.keep()
    phone.says("1 finding and 2 photos wait on this device. The link is lost")
    phone.radio("kind", "scuff")
    phone.keep()
    phone.says("2 findings and 2 photos wait on this device.")
    # Half a finding is typed, then the page is loaded again without a link.
    page.locator("#finding-form [name=surface]").select_option(label="roof")
    wait_for(lambda: phone.drafts() == [phone.page.locator("#finding-form [name=surface]").input_value()], "the draft")
    page.reload()
    page.locator("#intake.scripted").wait_for()
    phone.says("2 findings and 2 photos wait on this device.")
    expect(page.locator("#finding-form [name=surface] option:checked")).to_have_text("roof")
    phone.radio("kind", "swirls")
    phone.keep()
    assert len(phone.rows(WITH_PHOTOS, phone.vehicle)) == 1
    assert small_targets(page) == []
    phone.context.set_offline(False)
    phone.all_sent()
    found = phone.rows(WITH_PHOTOS, phone.vehicle)
    assert [(row[0], row[2], row[3]) for row in found] == [
        ("chip", 0, 0), ("water_etching", 1, 2), ("scuff", 0, 0), ("swirls", 0, 0)
    ]  # fmt: skip
    assert [row[1] for row in found] == ["bonnet", "bonnet", None, "roof"]
    expect(page.locator("#seen ol.seen > li")).to_have_count(4)
    expect(page.locator("#seen ol.seen img")).to_have_count(2)
    page.reload()
    page.locator("#intake.scripted").wait_for()
    phone.all_sent()
    assert len(phone.rows(WITH_PHOTOS, phone.vehicle)) == 4


def test_an_answer_that_is_lost_makes_no_second_row(phone):
    """The server has stored it, but the device never hears so: it sends again."""
    page = phone.page
    phone.open(vehicles(phone)[1])
    lost = []

    def lose(route):
        if route.request.method == "POST" and len(lost) < 2:
            lost.append(route.fetch().status)
            route.abort()
        else:
            route.continue_()

    page.route("**/studio/intake/*/", lose)
    phone.tap("form[data-step=open] >> text=Start the walk-around")
    phone.says("The link is lost")
    phone.radio("kind", "chip")
    phone.keep()
    phone.tap("#send-now")
    phone.all_sent()
    assert lost == [200, 200]
    query = "SELECT count(*) FROM lifecycle_inspection WHERE vehicle_id = ? AND key IS NOT NULL"
    assert phone.rows(query, phone.vehicle) == [(1,)]
    assert len(phone.rows(WITH_PHOTOS, phone.vehicle)) == 1


def test_a_double_tap_makes_one_and_another_page_sends_what_waits(phone):
    page = phone.page
    phone.open(vehicles(phone)[6])
    wait_for(phone.kept_offline, "the page to be kept for a lost link")
    phone.context.set_offline(True)
    page.get_by_role("button", name="Start the walk-around").dblclick()
    phone.says("1 other entry waits on this device.")
    expect(page.get_by_role("button", name="Start the walk-around")).to_have_count(0)
    phone.radio("kind", "chip")
    page.locator("#finding-form button[type=submit]").dblclick()
    phone.says("1 finding and 1 other entry wait on this device.")
    phone.context.clear_cookies()
    phone.context.set_offline(False)
    phone.says("You are signed out.")
    page.goto(phone.portal.sign_in("owner"))  # another person signs in on the same device: nothing is sent in that name
    page.goto(f"/studio/intake/{phone.vehicle}/")
    phone.says("1 finding and 1 other entry of another person wait here too")
    page.goto(phone.portal.sign_in("technician"))
    wait_for(lambda: len(phone.rows(WITH_PHOTOS, phone.vehicle)) == 1, "the work list to send what waited")
    query = "SELECT count(*) FROM lifecycle_inspection WHERE vehicle_id = ? AND key IS NOT NULL"
    assert phone.rows(query, phone.vehicle) == [(1,)]


def test_what_is_refused_and_an_ended_session_lose_nothing(phone):
    page = phone.page
    phone.open(vehicles(phone)[2])
    phone.tap("form[data-step=open] >> text=Start the walk-around")
    page.locator("#place").wait_for()
    phone.all_sent()
    phone.radio("kind", "chip")
    page.locator("#finding-form [name=photos]").set_input_files(
        [{"name": "notes.jpg", "mimeType": "image/jpeg", "buffer": b"no picture"},
         {"name": "good.jpg", "mimeType": "image/jpeg", "buffer": picture()}]
    )  # fmt: skip
    phone.keep()
    phone.says("1 photo was not taken; see why below.")
    expect(page.locator("#waiting-list")).to_contain_text("notes.jpg")
    wait_for(lambda: phone.rows(WITH_PHOTOS, phone.vehicle) == [("chip", None, 0, 1)], "the finding and the good photo")
    watched = Watched(page)
    assert watched.problems() == []
    page.set_viewport_size({"width": 360, "height": 740})
    cookies = phone.context.cookies()
    phone.context.clear_cookies()
    phone.radio("kind", "scuff")
    phone.keep()
    phone.says("You are signed out. They stay here")
    expect(page.locator("#sign-in-again")).to_be_visible()
    assert not page.evaluate("caches.has('sheenward-intake-1')")  # it goes before the words come
    phone.context.add_cookies(cookies)
    phone.tap("#send-now")
    expect(page.locator("#waiting-words")).to_have_text(re.compile("^1 photo was not"))
    assert [row[0] for row in phone.rows(WITH_PHOTOS, phone.vehicle)] == ["chip", "scuff"]
    page.on("dialog", lambda dialog: dialog.accept())
    phone.tap(page.get_by_role("button", name="Discard photo notes.jpg"))
    phone.all_sent()


def test_signing_out_forgets_the_kept_page(phone):
    phone.open(vehicles(phone)[3])
    wait_for(phone.kept_offline, "the page to be kept for a lost link")
    phone.page.goto("/account/logout/")
    phone.page.locator("main form button[type=submit]").click()
    phone.page.wait_for_url(lambda url: "/logout/" not in url)
    wait_for(lambda: phone.page.evaluate("caches.keys()") == [], "the kept page to be forgotten")


def test_an_intake_by_keyboard_alone(browser, portal):
    one = Phone(browser, portal, touch=False)
    page, keys = one.page, one.page.keyboard
    one.open(vehicles(one)[4])

    def go_to(selector: str) -> None:
        for _ in range(140):
            if page.evaluate("(s) => document.activeElement.matches(s)", selector):
                return
            keys.press("Tab")
        raise AssertionError(f"Tab does not reach {selector}")

    page.locator("#content").focus()
    go_to("form[data-step=open] button[type=submit]")
    keys.press("Enter")
    page.locator("#place").wait_for()
    one.all_sent()
    go_to("#finding-form [name=surface]")
    keys.type("bon")
    go_to("#finding-form [data-outline]:not([hidden])")
    for key in ("ArrowLeft", "Shift+ArrowLeft", "Shift+ArrowLeft", "Shift+ArrowDown", "Shift+ArrowDown", "ArrowDown"):
        keys.press(key)
    one.places("front left")
    go_to("#finding-form [name=kind]")
    keys.press("ArrowDown")
    go_to("#finding-form button[type=submit]")
    keys.press("Enter")
    one.all_sent()
    page.locator("#seen ol.seen > li").wait_for()
    reads(page, "front left", where="#seen ol.seen")
    assert [(row[1], row[2]) for row in one.rows(WITH_PHOTOS, one.vehicle)] == [("bonnet", 1)]
    page.locator("#seen .change").click()
    watched = Watched(page)
    expect(page.locator("h1")).to_have_text(re.compile("^Finding 1"))
    assert watched.problems() == []
    one.context.close()


def test_a_walk_around_and_an_inspection_take_few_taps(phone):
    """Two findings each with a photo, washed, rough price named: the intake's share of at most 40 interactions."""
    page = phone.page
    phone.open(vehicles(phone)[5])
    phone.acts = 0
    phone.tap("form[data-step=open] >> text=Start the walk-around")
    page.locator("#place").wait_for()
    place_one(phone, "chip", 0.19, 0.5)
    for name, value in (("rough_low", "300"), ("rough_high", "450")):
        page.locator(f"#finish [name={name}]").fill(value)
        phone.acts += 1
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
    assert [row[0] for row in phone.rows(WITH_PHOTOS, phone.vehicle)] == ["chip", "swirls"]
    assert phone.acts <= 18
    print(f"{phone.acts} interactions")
