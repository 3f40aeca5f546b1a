"""A technician's phone, and what a hand does with it."""

from __future__ import annotations

import sqlite3
from contextlib import closing

from playwright.sync_api import expect

from tests.browser.watch import SIZES, context_of
from tests.pictures import picture

# Of the one vehicle that a test registers anew.
PLATE = "WALK 40"


class Phone:
    """A technician's phone; counts what the hand does."""

    def __init__(self, browser, portal, *, touch: bool = True) -> None:
        size = {"width": SIZES["phone"][0], "height": SIZES["phone"][1]}
        self.context = context_of(browser, portal.address, viewport=size, has_touch=touch, is_mobile=touch)
        self.page = self.context.new_page()
        self.portal = portal
        self.acts = 0
        self.page.goto(portal.sign_in("technician"))

    def open(self, vehicle: int) -> None:
        self.vehicle = vehicle
        self.page.goto(f"/studio/intake/{vehicle}/")
        self.page.locator("#intake.scripted").wait_for()

    def tap(self, what) -> None:
        self.acts += 1
        (self.page.locator(what) if isinstance(what, str) else what).tap()

    def tap_at(self, drawing: str, x: float, y: float) -> None:
        """Tap a point of a drawing, given in shares of it."""
        self.acts += 1
        target = self.page.locator(drawing)
        while (box := target.bounding_box()) is None:  # it is being drawn anew
            target.wait_for()
        target.tap(position={"x": box["width"] * x, "y": box["height"] * y})

    def radio(self, name: str, value: str) -> None:
        self.tap(f'#finding-form label:has([name="{name}"][value="{value}"])')

    def shoot(self, *names: str) -> None:
        self.acts += 1
        files = [{"name": name, "mimeType": "image/jpeg", "buffer": picture()} for name in names]
        self.page.locator("#finding-form [name=photos]").set_input_files(files)

    def keep(self) -> None:
        """Keep the finding. It is kept when the form is empty again and says so."""
        self.tap("#finding-form button[type=submit]")
        expect(self.page.locator("#finding-form [name=kind]:checked")).to_have_count(0)
        self.places("Noted: ")

    def places(self, words: str) -> None:
        """Wait until the words beside the drawings say so."""
        expect(self.page.locator("#place-words")).to_contain_text(words)

    def says(self, words: str) -> None:
        """Wait until the box of what waits says so."""
        expect(self.page.locator("#waiting")).to_be_visible()
        expect(self.page.locator("#waiting-words")).to_contain_text(words)

    def all_sent(self) -> None:
        expect(self.page.locator("#waiting")).to_be_hidden()

    def rows(self, query: str, *values: object) -> list[tuple]:
        with closing(sqlite3.connect(self.portal.installation.var / "demo.sqlite3")) as base:
            return base.execute(query, values).fetchall()

    def drafts(self) -> list[str]:
        """The surfaces of the findings that are half typed, as the device keeps them for a reload."""
        return self.page.evaluate(
            """() => new Promise((resolve, reject) => {
                const asked = indexedDB.open("sheenward-intake");
                asked.onerror = () => reject(asked.error);
                asked.onsuccess = () => {
                    const all = asked.result.transaction("drafts").objectStore("drafts").getAll();
                    all.onsuccess = () => {
                        asked.result.close();
                        resolve(all.result.filter((one) => "surface" in one).map((one) => one.surface));
                    };
                };
            })"""
        )

    def kept_offline(self) -> bool:
        return self.page.evaluate(
            "async () => !!navigator.serviceWorker.controller && !!(await caches.match(location.pathname)) && "
            "!!(await caches.match(document.querySelector('script[src*=\"intake.js\"]').src))"
        )


def place_one(phone: Phone, kind: str, x: float, y: float) -> None:
    phone.tap_at("#place .findings-plan", x, y)
    phone.radio("kind", kind)
    phone.shoot(f"{kind}.jpg")
    phone.keep()
    phone.all_sent()


def swipe(page, points: list[tuple[float, float]]) -> None:
    """One finger down, along these points, up."""
    session = page.context.new_cdp_session(page)
    for kind, (x, y) in zip(["touchStart", *["touchMove"] * (len(points) - 1)], points, strict=True):
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    session.detach()
