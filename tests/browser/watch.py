"""A page that is watched: what it complained about, what it fetched, how it measures."""

from __future__ import annotations

import gzip
import json
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

if TYPE_CHECKING:
    from playwright.sync_api import Page, Response

# Runs before the page's own scripts.
LISTEN = """
window.policyViolations = [];
document.addEventListener("securitypolicyviolation", (event) =>
    window.policyViolations.push(`${event.violatedDirective}: ${event.blockedURI} ${event.sample}`));
"""
# Standard: WCAG 2.2 level AA, and the levels and versions that it includes.
AXE = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    "resultTypes": ["violations"],
}
SIZES = {"phone": (360, 740), "desk": (1280, 900)}
SCHEMES = ("light", "dark")


# What a keyboard must reach: everything that can be pressed or filled in and is shown.
MARK = """() => {
    const shown = (e) => e.checkVisibility({visibilityProperty: true}) && e.getClientRects().length;
    const all = [...document.querySelectorAll(
        "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex]")];
    const names = {}, groups = {};
    all.filter((e) => !e.disabled && e.tabIndex >= 0 && shown(e)).forEach((e, n) => {
        const number = e.type === "radio" ? (groups[e.name] ??= n) : n;
        e.dataset.tab = number;
        names[number] ??= e.outerHTML.slice(0, 120);
    });
    return names;
}"""
TOO_WIDE = """() => [...document.querySelectorAll("body *")]
    .filter((e) => e.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
    .slice(0, 5).map((e) => [e.tagName.toLowerCase(), ...e.classList].join("."))"""


# Bytes of page, style and script as deploy/proxy sends them, compressed; pictures are apart.
MOST_BYTES = 100_000


class Watched:
    """A page with its console and its network watched from before the first request."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.errors: list[str] = []
        self.fetched: list[Response] = []
        page.on("console", lambda message: self.errors.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("response", self.note)

    def note(self, answer: Response) -> None:
        """Remember what was fetched."""
        self.fetched.append(answer)

    def open(self, path: str) -> Response:
        """Go to a path and return the answer to it, redirects followed."""
        self.errors.clear()
        self.fetched.clear()
        answer = self.page.goto(path)
        assert answer is not None
        return answer

    def complaints(self) -> list[str]:
        """Errors on the console, errors of scripts, and what the content policy refused."""
        return [*self.errors, *self.page.evaluate("window.policyViolations || []")]

    def bytes_without_pictures(self) -> int:
        """Bytes of everything the page fetched but pictures, compressed by gzip like behind the proxy."""
        return sum(
            len(gzip.compress(answer.body(), 6)) for answer in self.fetched if answer.ok and not is_picture(answer)
        )

    def overflow_px(self) -> int:
        """How far the page is wider than the window: 0 where nothing scrolls sideways."""
        return int(self.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))

    def too_wide(self) -> list[str]:
        """The first elements that reach beyond the window."""
        found: list[str] = self.page.evaluate(TOO_WIDE)
        return found

    def tab_through(self) -> tuple[dict[str, str], set[str]]:
        """Press Tab through the whole page.

        Returns:
            what has to be reached (number -> its markup; of radio buttons one a group), and the numbers reached.
        """
        wanted: dict[str, str] = self.page.evaluate(MARK)
        reached: set[str] = set()
        # A day or a time is several stops: one for each of its parts and one for its picker.
        parts: int = self.page.evaluate("document.querySelectorAll('input[type=date], input[type=time]').length")
        for _ in range(len(wanted) + 4 * parts + 5):
            self.page.keyboard.press("Tab")
            number = self.page.evaluate("document.activeElement?.dataset?.tab")
            if number is not None:
                reached.add(number)
        return wanted, reached

    def problems(self, *, schemes: tuple[str, ...] = SCHEMES, sizes: tuple[str, ...] = tuple(SIZES)) -> list[str]:
        """Everything wrong with the page that is open, in all widths and schemes, its folded parts unfolded."""
        said = []
        self.page.evaluate("document.querySelectorAll('details').forEach((part) => { part.open = true; })")
        expect(self.page.locator("[data-load], [aria-busy=true]")).to_have_count(0)  # what a fold fetches is there
        for scheme in schemes:
            self.page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
            for size in sizes:
                width, height = SIZES[size]
                self.page.set_viewport_size({"width": width, "height": height})
                said += [f"{barrier} ({size}, {scheme})" for barrier in self.barriers()]
                if size == "phone" and (over := self.overflow_px()) > 0:
                    said.append(f"scrolls sideways by {over} px at {width} px: {self.too_wide()}")
        said += [f"complains: {complaint}" for complaint in self.complaints()]
        path = urlsplit(self.page.url).path
        return [f"{path}: {line}" for line in dict.fromkeys(said)]

    def barriers(self) -> list[str]:
        """What axe finds against WCAG 2.2 AA: rule, and where."""
        return [
            f"{found['id']} at {json.dumps([node['target'] for node in found['nodes'][:4]])}: {found['help']}"
            for found in run_axe(self.page)
        ]


def run_axe(page: Page) -> list[dict[str, Any]]:
    """The violations on a page. axe is injected by evaluation, which the content policy allows to the debugger."""
    found: list[dict[str, Any]] = Axe().run(page, options=AXE).response["violations"]
    return found


def is_picture(answer: Response) -> bool:
    """Whether a response is a picture file of its own; drawings inside the page count as page."""
    return answer.header_value("content-type") in ("image/png", "image/jpeg", "image/webp", "image/svg+xml")
