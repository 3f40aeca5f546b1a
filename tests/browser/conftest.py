"""A real Chromium against a real server: the demo studio, run through the cycle once, in a folder of its own."""

from __future__ import annotations

import fcntl
import os
import re
import secrets
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser.watch import context_of
from tests.conftest import copy, keep
from tests.services import servers
from tests.services.installation import Installation, environment, wait_for

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

DATABASE = "demo.sqlite3"
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
        return [mail.get_body(("plain",)).get_content() for mail in mails]

    def codes(self, address: str) -> list[str]:
        """The sign-in codes that were mailed to an address, in order."""
        return [match[1] for text in self.mails_to(address) if (match := re.search(r"^ {4}(\S+)\r?$", text, re.M))]

    def nobody_asked_lately(self) -> None:
        """Earlier requests for a code become an hour old: fast tests meet no limit of a quarter of an hour."""
        with closing(sqlite3.connect(self.installation.var / DATABASE, timeout=60)) as base, base:
            base.execute("UPDATE lifecycle_signinkey SET made_at = datetime(made_at, '-1 hour')")


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


def demo_in(var: Path, address: str, key: str) -> Installation:
    """The demo as an installation in a folder, served at an address."""
    settings = {"SHEENWARD_MODE": "demo", "SHEENWARD_DEMO_KEY": key, "SHEENWARD_SITE_ADDRESS": address}
    return Installation(environment(var, **settings, DATABASE_URL=f"sqlite:///{var / DATABASE}"), var)


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory, kept_migrated: Path) -> Path:
    """A folder with the demo studio, run through the cycle once. It is built once for all processes of a test run."""
    base = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        base = base.parent
    built, part = base / "demo-built", base / "demo-in-the-making"
    with (base / "demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not built.exists():
            (part / "static").mkdir(parents=True)
            installation = demo_in(part, "http://127.0.0.1:1", "unused")
            if kept_migrated.exists():
                copy(kept_migrated, part / DATABASE)
            else:
                installation.python("manage.py", "migrate", "--no-input", "--verbosity", "0")
                keep(part / DATABASE, kept_migrated)
            installation.python("manage.py", "createcachetable")
            installation.python("manage.py", "load_demo")
            installation.python("manage.py", "cycle", "--morning")
            part.rename(built)
    return built


@pytest.fixture(scope="session")
def portal(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Portal]:
    """The portal, served by gunicorn like in the demo, on a copy of the demo's folder."""
    var, port, key = tmp_path_factory.mktemp("portal"), servers.free_port(), secrets.token_urlsafe(12)
    shutil.copytree(demo, var, dirs_exist_ok=True)
    address = f"http://127.0.0.1:{port}"
    installation = demo_in(var, address, key)
    command = ("-m", "gunicorn", "portal.wsgi:application", "--bind", f"127.0.0.1:{port}", "--workers", "2")
    with installation.process("web", *command, "--timeout", "120", "--no-control-socket") as web:
        wait_for(lambda: servers.answers(port), "the portal to listen", web)
        yield Portal(address, installation, key)


def sign_in_by_code(page: Page, portal: Portal, address: str) -> None:
    """Sign in like a customer does: ask for a code, read it in the mail, type it."""
    portal.nobody_asked_lately()
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
        contexts[who] = context_of(browser, portal.address)
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
