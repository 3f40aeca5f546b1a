"""Pictures of the main pages, of the demo studio on a fixed day, so that they change only when the pages do.

Run by `sh deploy/screenshots`. With the word `every` it takes each page that a customer, the desk or the owner reaches
by a link instead, whole, in three widths, light and dark, the customer's in German too, into var/screenshots: to be
looked at.
"""

# ruff: noqa: T201 - it speaks to a person

from __future__ import annotations

import io
import os
import secrets
import shutil
import sys
import tempfile
from datetime import UTC, datetime
from itertools import product
from pathlib import Path
from socketserver import ThreadingMixIn
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server

import django
import time_machine
from PIL import Image
from playwright.sync_api import BrowserContext, sync_playwright

from tests.browser.conftest import FLAGS, PROGRAMS
from tests.browser.pages import STARTS, UNLINKED, links_of, walk
from tests.services import servers
from tests.services.installation import Installation, environment, wait_for

ROOT = Path(__file__).resolve().parent.parent
TARGET = ROOT / "fixtures" / "screenshots"
NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
SIZES = {"phone": (360, 760), "desk": (1280, 860)}
SCHEMES = ("light", "dark")
COLOURS = 96
EVERY = ROOT / "var" / "screenshots"
WIDTHS = (360, 768, 1280)
WALKERS = ("customer", "desk", "owner")
OTHERWISE = "parking=garage&wash_method=two_bucket&washes_per_year=26&km_per_year=12000&road_salt=regular"
# Name -> who looks, the path, and what is opened and scrolled into view (nothing: the top).
PAGES = {
    "work-list": ("owner", "/studio/", None),
    "vehicle": ("owner", "/studio/vehicle/1/", None),
    "outlook": ("owner", "/studio/outlook/", None),
    "correction": ("owner", "/studio/vehicle/1/correction/plan/", None),
    "what-if": ("customer", f"/my/vehicle/1/what-if/?{OTHERWISE}", None),
    "customer": ("customer", "/my/vehicle/1/", None),
    "layers": ("customer", "/my/vehicle/1/", "section[aria-labelledby=h-surfaces] details"),
}


class Server(ThreadingMixIn, WSGIServer):
    """Several requests at once: a page asks for its style and scripts together."""

    daemon_threads = True


class Quiet(WSGIRequestHandler):
    """No line for every request."""

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing."""


def serve(port: int) -> None:
    """Serve the portal as if it were the fixed day; the clock goes on from there."""
    with time_machine.travel(NOW, tick=True):
        from portal.wsgi import application

        make_server("127.0.0.1", port, application, server_class=Server, handler_class=Quiet).serve_forever()


def shrink(png: bytes) -> bytes:
    """The picture with few colours: drawings and text lose nothing that the eye would see."""
    out = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(
        out, "PNG", optimize=True
    )
    return out.getvalue()


def take(address: str, key: str) -> None:
    """Take every picture."""
    TARGET.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=browser(), args=list(FLAGS))
        for size, (width, height) in SIZES.items():
            for who in dict.fromkeys(who for who, _, _ in PAGES.values()):
                context = chromium.new_context(
                    base_url=address, viewport={"width": width, "height": height}, reduced_motion="reduce"
                )
                page = context.new_page()
                page.goto(f"/demo/{key}/{who}/")
                for name, (looks, path, part) in PAGES.items():
                    if looks != who:
                        continue
                    page.goto(path)
                    for scheme in SCHEMES:
                        page.emulate_media(color_scheme=scheme)
                        if part:
                            page.locator(part).first.evaluate("part => { part.open = true; part.scrollIntoView(); }")
                            page.locator(part).first.locator("svg.section").wait_for()  # the fold fetches it
                        file = TARGET / f"{name}-{size}-{scheme}.png"
                        file.write_bytes(shrink(page.screenshot(animations="disabled")))
                        print(f"{file.relative_to(ROOT)}  {file.stat().st_size // 1024} kB")
                context.close()
        chromium.close()


def reached(context: BrowserContext, who: str) -> dict[str, str]:
    """Path -> URL name of what this person reaches by links."""

    def fetch(path: str) -> tuple[str | None, list[str]]:
        answer = context.request.get(path)
        return answer.url if answer.ok else None, links_of(answer.url, answer.text()) if answer.ok else []

    return walk(fetch, (*STARTS[who], *UNLINKED.get(who, ())))


def take_every(address: str, key: str, studio: Installation) -> None:
    """Take every page that is reached by links, the customer's once more in German."""
    os.environ.update(studio.env)
    django.setup()  # the walk asks which addresses there are
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=browser(), args=list(FLAGS))
        for who, language in (*((who, "en") for who in WALKERS), ("customer", "de")):
            say = f"from lifecycle.models import Customer; Customer.objects.update(language={language!r})"
            studio.python("manage.py", "shell", "-c", say)
            context = chromium.new_context(base_url=address, reduced_motion="reduce")
            page = context.new_page()
            page.goto(f"/demo/{key}/{who}/")
            folder = EVERY / f"{who}-{language}"
            folder.mkdir(parents=True, exist_ok=True)
            for path, name in reached(context, who).items():
                page.goto(path)
                for width, scheme in product(WIDTHS, SCHEMES):
                    page.set_viewport_size({"width": width, "height": 900})
                    page.emulate_media(color_scheme=scheme)
                    file = folder / f"{name.replace(':', '-')}{path.replace('/', '-').rstrip('-')}-{width}-{scheme}.png"
                    page.screenshot(path=file, full_page=True, animations="disabled")
                print(f"{who} {language} {path}")
            context.close()
        chromium.close()


def browser() -> str:
    """The machine's Chromium."""
    program = next((path for name in PROGRAMS if (path := shutil.which(name))), None)
    if program is None:
        raise SystemExit("Chromium is absent; install: apt-get install chromium")
    return program


def main(*, every: bool = False) -> None:
    """Load the demo on the fixed day, serve it, take the pictures."""
    port, key = servers.free_port(), secrets.token_urlsafe(12)
    address = f"http://127.0.0.1:{port}"
    with tempfile.TemporaryDirectory() as folder:
        var = Path(folder)
        (var / "static").mkdir()
        settings = {
            "SHEENWARD_MODE": "demo",
            "SHEENWARD_DEMO_KEY": key,
            "SHEENWARD_SITE_ADDRESS": address,
            "DATABASE_URL": f"sqlite:///{var / 'demo.sqlite3'}",
        }
        studio = Installation(environment(var, **settings), var)
        studio.python("manage.py", "migrate", "--no-input", "--verbosity", "0")
        studio.python("manage.py", "createcachetable")
        studio.python("manage.py", "load_demo", "--today", NOW.date().isoformat())
        studio.python("manage.py", "cycle", "--at", NOW.isoformat())
        with studio.process("web", "-m", "deploy.screenshots", "serve", str(port)) as web:
            wait_for(lambda: servers.answers(port), "the portal to listen", web)
            if every:
                take_every(address, key, studio)
            else:
                take(address, key)


if __name__ == "__main__":
    if sys.argv[1:2] == ["serve"]:
        serve(int(sys.argv[2]))
    else:
        main(every=sys.argv[1:2] == ["every"])
