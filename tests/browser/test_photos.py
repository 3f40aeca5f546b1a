"""Photos and data sheets by touch at 360 px: kept, refused in words, and no violation on the pages on the way."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser.watch import SCHEMES, SIZES, Watched, context_of, reads
from tests.pictures import pdf, picture
from tests.services.installation import wait_for

pytestmark = pytest.mark.browser
# A folder for pictures of these pages, for a person who wants to look at them.
PICTURES = os.environ.get("SHEENWARD_TEST_PICTURES", "")


def look(watched: Watched, name: str) -> list[str]:
    """What is wrong with the open page; afterwards its folds are open, at phone size."""
    wrong = watched.problems()
    for scheme in SCHEMES if PICTURES else ():
        for size, (width, height) in SIZES.items():
            watched.page.emulate_media(color_scheme=scheme)
            watched.page.set_viewport_size({"width": width, "height": height})
            watched.page.screenshot(path=Path(PICTURES) / f"{name}-{size}-{scheme}.png", full_page=True)
    watched.page.set_viewport_size({"width": 360, "height": 740})
    return wrong


@pytest.fixture
def technician(browser, portal):
    size = {"width": 360, "height": 740}
    context = context_of(browser, portal.address, viewport=size, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(portal.sign_in("technician"))
    yield Watched(page)
    context.close()


def files(*named: tuple[str, str, bytes]) -> list[dict[str, object]]:
    return [{"name": name, "mimeType": kind, "buffer": data} for name, kind, data in named]


def test_photos_are_kept_and_a_wrong_file_is_named(technician):
    page, wrong = technician.page, []
    technician.open("/studio/vehicles/")
    page.locator("main a[href*='/studio/vehicle/']").first.tap()
    page.get_by_role("link", name="Add photos").tap()
    page.get_by_label("Photos", exact=True).set_input_files(
        files(
            ("bonnet.jpg", "image/jpeg", picture(size=(1600, 1000))),
            ("roof.png", "image/png", picture("PNG", size=(600, 900))),
            ("letter.jpg", "image/jpeg", b"<!doctype html><script>document.title = 'run'</script>"),
            ("IMG_0042.HEIC", "image/heic", b"\x00\x00\x00\x18ftypheic" + bytes(80)),
        )
    )
    page.get_by_label("What they show").fill("before the wash")
    page.get_by_role("button", name="Keep the photos").tap()
    refused = ("letter.jpg: by its content this is a web page", "IMG_0042.HEIC: this is a HEIC picture")
    reads(page, "2 files were not kept", *refused, where="[role=alert]")
    pictures = page.locator(".gallery img")
    expect(pictures).to_have_count(2)
    for shown in pictures.all():
        shown.scroll_into_view_if_needed()
        wait_for(lambda shown=shown: shown.evaluate("i => i.complete && i.naturalWidth > 0"), "the picture")
    assert pictures.first.evaluate("i => [i.naturalWidth, i.naturalHeight]") == [320, 200]
    wrong += look(technician, "photos")
    page.locator(".gallery [name=caption]").first.fill("the bonnet, stone chip at the edge")
    page.get_by_role("button", name="Keep the words").first.tap()
    page.get_by_text("What the photo shows is on record.").wait_for()
    page.locator(".kicker a").tap()
    page.wait_for_url(re.compile(r"/studio/vehicle/\d+/$"))
    expect(page.locator(".gallery img").first).to_have_attribute("alt", "the bonnet, stone chip at the edge")
    wrong += look(technician, "vehicle")
    page.locator(".gallery a").first.tap()
    page.wait_for_url(re.compile("/studio/photos/"))
    assert page.evaluate("document.contentType") == "image/jpeg"
    assert wrong == []


def test_sheets_are_added_and_stand_beside_the_product_that_is_chosen(technician):
    page, wrong = technician.page, []
    technician.open("/studio/documents/")
    first = page.locator(".sheets > li").first
    product = first.locator("h2").inner_text()
    number = (first.get_attribute("id") or "").removeprefix("product-")
    reads(page, "No safety data sheet.", where=".sheets > li >> nth=0")
    first.get_by_role("link", name="Add a sheet").tap()
    expect(page.get_by_label("Product").locator("option:checked")).to_have_text(product)
    page.get_by_label(re.compile("^Revision")).fill("4")
    page.get_by_label("Revised on").fill("2017-05-02")
    page.get_by_label("File").set_input_files(files(("wrong.pdf", "application/pdf", picture())))
    page.get_by_role("button", name="Keep the sheet").tap()
    page.get_by_text("by its content this is no PDF").wait_for()
    wrong += look(technician, "sheet-refused")
    page.get_by_label("File").set_input_files(files(("sheet.pdf", "application/pdf", pdf())))
    page.get_by_role("button", name="Keep the sheet").tap()
    page.get_by_text("is on record.").first.wait_for()
    reads(page, "Older than five years", where=".sheets > li >> nth=0")
    wrong += look(technician, "sheets")
    with page.expect_download() as saved:
        page.get_by_role("link", name=re.compile("revision 4")).first.tap()
    assert saved.value.suggested_filename.endswith("-sds-2017-05-02-en.pdf")
    technician.open("/studio/vehicles/")
    vehicle = page.locator("main a[href*='/studio/vehicle/']").first.get_attribute("href")
    technician.open(f"{vehicle}layer/")
    for fold in page.locator(".cautions summary").all():
        fold.tap()
    rows = page.locator("[data-sheets] li:visible")
    expect(rows.nth(1)).to_be_visible()
    page.locator("select[name=product]").select_option(value=number)
    expect(rows).to_have_count(1)
    expect(rows).to_contain_text("revision 4")
    wrong += look(technician, "layer")
    assert wrong == []
