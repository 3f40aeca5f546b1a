"""A page that is watched: what it complained about, what it fetched, how it measures."""

from __future__ import annotations

import gzip
import json
import re
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page, Response

# The longest wait for what usually comes at once. It costs nothing where it comes, and a busy machine needs it.
WAIT_MS = 60_000
expect.set_options(timeout=WAIT_MS)

# Runs before the page's own scripts. While somebody looks at the page, nothing that asks every few seconds changes it.
LISTEN = """
window.policyViolations = [];
document.addEventListener("securitypolicyviolation", (event) =>
    window.policyViolations.push(`${event.violatedDirective}: ${event.blockedURI} ${event.sample}`));
document.addEventListener("htmx:beforeRequest", (event) => {
    if (window.lookedAt && event.target.getAttribute("hx-trigger")?.startsWith("every")) { event.preventDefault(); }
});
"""
# What is still on its way: a fold that fetches, a question to the server, an answer that is being put in.
ON_ITS_WAY = "[aria-busy=true], .htmx-request, .htmx-swapping, .htmx-settling, .htmx-added"
# Type and pictures are there, what moves or fades has come to its end, and the last change has been painted.
STILL = """async () => {
    await document.fonts.ready;
    const ends = (motion) => Number.isFinite(motion.effect?.getComputedTiming().endTime);
    await Promise.all(document.getAnimations().filter(ends).map((motion) => motion.finished.catch(() => {})));
    await new Promise((painted) => requestAnimationFrame(() => requestAnimationFrame(painted)));
}"""
# Standard: WCAG 2.2 level AA, and the levels and versions that it includes.
AXE = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    "resultTypes": ["violations"],
}
AXE_SCRIPT = Axe().axe_script
SIZES = {"phone": (360, 740), "desk": (1280, 900)}
SCHEMES = ("light", "dark")


def context_of(browser: Browser, address: str, **options: Any) -> BrowserContext:
    """A browser context of its own for the portal at an address: watched, patient, in English, nothing moves."""
    english = {"locale": "en-GB", "timezone_id": "UTC", "reduced_motion": "reduce"}
    context = browser.new_context(base_url=address, **(english | options))
    context.add_init_script(LISTEN)
    context.set_default_timeout(WAIT_MS)
    return context


def reads(page: Page, *words: str | re.Pattern[str], where: str = "main") -> None:
    """Wait until these words stand on the page, however they are broken into lines."""
    for said in words:
        expect(page.locator(where)).to_contain_text(said, use_inner_text=True)


# Of many rows in a list or table that are alike but for their words, the first twenty stand for all: the same elements
# with the same classes, nothing to fill in or press but links, and none of them empty where the others say something.
ALIKE = """() => {
    const said = (e) => `${e.tagName}[${[...e.attributes].map((a) => ["class", "role", "style"].includes(a.name)
        ? `${a.name}=${a.value}` : a.name)}]${e.textContent.trim() === ""}(${[...e.children].map(said)})`;
    document.querySelectorAll("[data-alike]").forEach((row) => row.removeAttribute("data-alike"));
    document.querySelectorAll("ul, ol, tbody").forEach((list) => {
        const seen = {};
        if (list.children.length > 20 && !list.querySelector("input, select, textarea, button, label, [id]")) {
            [...list.children].forEach((row) => {
                const shape = said(row);
                seen[shape] = (seen[shape] || 0) + 1;
                if (seen[shape] > 20) { row.setAttribute("data-alike", ""); }
            });
        }
    });
}"""
LOOK = """(options) => axe.run({include: [["html"]], exclude: [["[data-alike]"]]}, options)
    .then((all) => all.violations)"""
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
        settle(self.page)
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
        self.page.wait_for_load_state()
        self.page.evaluate("document.querySelectorAll('details').forEach((part) => { part.open = true; })")
        expect(self.page.locator("[data-load]")).to_have_count(0)  # every fold fetches what it holds
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


def settle(page: Page) -> None:
    """Wait until nothing on the page is on its way, moves or fades."""
    expect(page.locator(ON_ITS_WAY)).to_have_count(0)
    page.evaluate(STILL)


def run_axe(page: Page) -> list[dict[str, Any]]:
    """The violations on a page that has come to rest; what asks every few seconds pauses meanwhile.

    axe is injected by evaluation, which the content policy allows to the debugger, and once a document.
    """
    page.evaluate("window.lookedAt = true")
    settle(page)
    if not page.evaluate("typeof window.axe === 'object'"):
        page.evaluate(AXE_SCRIPT)
    page.evaluate(ALIKE)
    found: list[dict[str, Any]] = page.evaluate(LOOK, AXE)
    page.evaluate("window.lookedAt = false")
    return found


def is_picture(answer: Response) -> bool:
    """Whether a response is a picture file of its own; drawings inside the page count as page."""
    return answer.header_value("content-type") in ("image/png", "image/jpeg", "image/webp", "image/svg+xml")
