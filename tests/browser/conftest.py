"""A real Chromium against a real server: the demo studio, run through the cycle once, in a folder of its own."""

from __future__ import annotations

import os
import re
import secrets
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest

from tests.browser.watch import LISTEN
from tests.services import servers
from tests.services.installation import Installation, environment, wait_for

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

WAIT_MS = 15_000
FLEET = "hollin.parcel@example.org"
PROGRAMS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@dataclass(frozen=True)
class Portal:
    """The served demo: its address, its installation, and the word in its one-click sign-in addresses."""

    address: str
    installation: Installation
    key: str

    def sign_in(self, who: str) -> str:
        """The address that signs in one of the demo's people."""
        return f"{self.address}/demo/{self.key}/{who}/"

    def mails_to(self, address: str) -> list[str]:
        """The texts of the mails about signing in that went to an address, in order."""
        mails = [mail for mail in self.installation.mails() if mail["To"] == address and not mail["List-Unsubscribe"]]
        # File names begin with the second only.
        mails.sort(key=lambda mail: mail["Date"].datetime)
        return [mail.get_body(("plain",)).get_content() for mail in mails]

    def codes(self, address: str) -> list[str]:
        """The sign-in codes that were mailed to an address, in order."""
        return [match[1] for text in self.mails_to(address) if (match := re.search(r"^ {4}(\S+)\r?$", text, re.M))]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One Chromium for all tests, from the machine's own package."""
    from playwright.sync_api import sync_playwright

    program = next((path for name in PROGRAMS if (path := shutil.which(name))), None)
    if program is None:
        pytest.skip("Chromium is absent; install: apt-get install chromium")
    with sync_playwright() as playwright:
        # Its loop stays in this thread; without this Django refuses the database to every later test of the process.
        os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
        chromium = playwright.chromium.launch(executable_path=program, args=list(FLAGS))
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def portal(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Portal]:
    """The portal, served by gunicorn like in the demo."""
    var, port, key = tmp_path_factory.mktemp("portal"), servers.free_port(), secrets.token_urlsafe(12)
    address = f"http://127.0.0.1:{port}"
    (var / "static").mkdir()
    installation = Installation(
        environment(
            var,
            SHEENWARD_MODE="demo",
            SHEENWARD_DEMO_KEY=key,
            SHEENWARD_SITE_ADDRESS=address,
            DATABASE_URL=f"sqlite:///{var / 'demo.sqlite3'}",
        ),
        var,
    )
    installation.python("manage.py", "migrate", "--no-input", "--verbosity", "0")
    installation.python("manage.py", "createcachetable")
    installation.python("manage.py", "load_demo")
    installation.python("manage.py", "cycle", "--morning")
    command = ("-m", "gunicorn", "portal.wsgi:application", "--bind", f"127.0.0.1:{port}", "--workers", "2")
    with installation.process("web", *command, "--no-control-socket") as web:
        wait_for(lambda: servers.answers(port), "the portal to listen", web)
        yield Portal(address, installation, key)


def sign_in_by_code(page: Page, portal: Portal, address: str) -> None:
    """Sign in like a customer does: ask for a code, read it in the mail, type it."""
    before = len(portal.codes(address))
    page.goto("/account/login/code/")
    page.locator("#id_email").fill(address)
    page.get_by_role("button", name="Send me a code").click()
    page.wait_for_url("**/account/login/code/confirm/")
    wait_for(lambda: len(portal.codes(address)) > before, "the mail with the code")
    page.locator("#id_code").fill(portal.codes(address)[-1])
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/my/**")


@pytest.fixture(scope="session")
def people(browser: Browser, portal: Portal) -> Iterator[dict[str, BrowserContext]]:
    """A signed-in browser context for each kind of user, one of a keeper of many vehicles, and one of a stranger."""
    contexts = {}
    for who in ("owner", "technician", "desk", "customer", "fleet", "stranger"):
        contexts[who] = browser.new_context(base_url=portal.address, locale="en-GB", timezone_id="UTC")
        contexts[who].add_init_script(LISTEN)
        contexts[who].set_default_timeout(WAIT_MS)
        page = contexts[who].new_page()
        if who == "fleet":
            sign_in_by_code(page, portal, FLEET)
        elif who != "stranger":
            page.goto(portal.sign_in(who))
            assert "/account/" not in page.url, f"the one-click sign-in of the {who} led to {page.url}"
        page.close()
    yield contexts
    for context in contexts.values():
        context.close()
