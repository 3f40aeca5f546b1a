"""Putting layers on at the vehicle, on a phone: what stands against it appears while it is typed."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.watch import Watched, reads, settle

pytestmark = pytest.mark.browser
PHONE = {"width": 360, "height": 740}


@pytest.fixture
def watched(people):
    page = people["technician"].new_page()
    page.set_viewport_size(PHONE)
    yield Watched(page)
    page.close()


def open_layer_form(watched) -> None:
    """The record form of the first vehicle of the list, as a technician gets there."""
    page = watched.page
    watched.open("/")
    page.get_by_role("link", name="Vehicles", exact=True).click()
    page.wait_for_url("**/studio/vehicles/**")  # the list before it has links like these too
    page.locator("table th[scope=row] a").first.click()
    with page.expect_navigation():
        page.get_by_role("link", name="Record a layer").click()


def test_a_cold_panel_is_told_while_it_is_typed_and_asks_for_a_reason(watched):
    """Dew point by Magnus, 3 °C above it published: 28 °C and 75 % need 26.2 °C."""
    page = watched.page
    open_layer_form(watched)
    page.locator("input[name=surfaces]").first.check()
    page.locator("#id_kind").select_option("sealant")
    for name, value in (("air_c", "28"), ("rh_pct", "75"), ("surface_c", "25")):
        page.locator(f"#id_{name}").fill(value)
    with page.expect_response(lambda answer: "KEEP-ME" in (answer.request.post_data or "")):  # the last of the checks
        page.locator("#id_batch").fill("KEEP-ME")
        page.locator("#id_batch").blur()
    settle(page)
    page.get_by_text(re.compile("needs 26.2 °C or more")).wait_for()
    assert page.locator("#id_batch").input_value() == "KEEP-ME", "nothing typed was touched"
    page.locator("#override_reason").fill("a fan stands on the panel")
    assert watched.problems() == []
    with page.expect_navigation():
        page.get_by_role("button", name="Record", exact=True).click()
    if page.locator("#findings").count():  # warnings that came after the last look are read first
        assert page.locator("#id_batch").input_value() == "KEEP-ME"
        assert watched.problems() == []
        with page.expect_navigation():
            page.get_by_role("button", name="Record", exact=True).click()
    reads(page, "Layer recorded on 1 surface", "Still curing")
    assert watched.problems() == []


def test_a_package_goes_on_in_one_form(watched):
    page = watched.page
    open_layer_form(watched)
    with page.expect_navigation():
        page.get_by_role("link", name="Three-year care").click()
    page.locator("input[name$='-batch']").first.fill("C-2611")
    page.get_by_role("button", name="Check only").click()
    page.locator(".findings li").first.wait_for()
    expect(page.locator("input[name$='-batch']").first).to_have_value("C-2611")
    assert watched.problems() == []
