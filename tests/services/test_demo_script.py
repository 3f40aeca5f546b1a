"""`sh deploy/demo` as a newcomer types it, in a copy of the checkout with a home directory of its own."""

from __future__ import annotations

import filecmp
import http.cookiejar
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from tests.meta.checkout import ROOT, files
from tests.services import servers

pytestmark = pytest.mark.services
ROLES = ("owner", "technician", "desk", "customer")


@pytest.fixture
def newcomer(tmp_path):
    """A copy of the checkout that shares this one's packages, and the environment of somebody with an empty home."""
    packages, lock = Path(sys.prefix), "requirements.txt"
    stamp = packages / lock
    if not (stamp.is_file() and filecmp.cmp(stamp, ROOT / "deploy" / lock, shallow=False)):
        pytest.skip("the packages of this Python were not installed by the scripts; run: sh deploy/test")
    checkout, home = tmp_path / "checkout", tmp_path / "home"
    home.mkdir()
    for path in files():
        (checkout / path).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(ROOT / path, checkout / path)
    (checkout / ".venv").symlink_to(packages)
    kept = {name: os.environ[name] for name in ("PATH", "LANG") if name in os.environ}
    # Settings of the caller's shell must not reach the demo.
    strange = {"DATABASE_URL": "postgres://nobody@127.0.0.1:1/none", "REDIS_URL": "redis://127.0.0.1:1/0"}
    return checkout, kept | strange | {"HOME": str(home), "SHEENWARD_MODE": "production"}


# What runs behind another program may have been told to take no notice of Ctrl-C; what a person starts has not.
FROM_A_TERMINAL = (
    "import os, signal, sys; signal.signal(signal.SIGINT, signal.SIG_DFL); os.execvp(sys.argv[1], sys.argv[1:])"
)


def visit(address: str) -> tuple[int, str, str]:
    """Open a one-click sign-in like a browser: with cookies, redirects followed."""
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
    with opener.open(address, timeout=120) as page:
        return page.status, page.url, page.read().decode()


def test_the_demo_serves_every_kind_of_user_and_leaves_nothing_behind(newcomer):
    checkout, env = newcomer
    port = servers.free_port()
    demo = subprocess.Popen(
        [sys.executable, "-c", FROM_A_TERMINAL, "sh", "deploy/demo", "--port", str(port)],
        cwd=checkout,
        env=env,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
    )
    said = []
    try:
        for line in demo.stdout:
            said.append(line)
            if "Ctrl-C" in line:
                break
        text = "".join(said)
        addresses = dict(re.findall(r"^ +(\w+) +(http://127\.0\.0\.1:\d+/demo/\S+/)$", text, re.M))
        assert tuple(addresses) == ROLES, text
        for who, address in addresses.items():
            status, url, page = visit(address)
            assert status == 200
            assert ("/my/" if who == "customer" else "/studio/") in url, f"the {who} came to {url}"
            assert "<h1" in page
        status, _, health = visit(f"http://127.0.0.1:{port}/healthz")
        assert (status, '"ok": true' in health) == (200, True), health
        # Ctrl-C reaches the whole group in the foreground of a terminal.
        os.killpg(demo.pid, signal.SIGINT)
        rest = demo.stdout.read()
        assert demo.wait(60) == 0, rest
    finally:
        if demo.poll() is None:
            demo.terminate()
            demo.wait(60)
        demo.stdout.close()
    assert not servers.answers(port)
    assert list((checkout / "var/mail").glob("*.eml"))
    assert "Vehicles assessed" in text
    assert list(Path(env["HOME"]).iterdir()) == [], "something was written into the home directory"
    known = {path.parts[0] for path in files()} | {"var", ".venv"}
    assert {path.name for path in checkout.iterdir()} - known == set()


def test_a_taken_port_that_was_asked_for_is_an_error_that_says_so(newcomer):
    checkout, env = newcomer
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        command = ["sh", "deploy/demo", "--port", str(port)]
        done = subprocess.run(command, cwd=checkout, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert f"Port {port} is in use" in done.stderr


def test_without_a_fitting_python_the_scripts_say_what_is_needed(newcomer, tmp_path):
    checkout, env = newcomer
    (checkout / ".venv").unlink()
    bare = tmp_path / "bin"
    bare.mkdir()
    for program in ("sh", "dirname", "mkdir", "cmp", "cat", "rm"):
        (bare / program).symlink_to(shutil.which(program))
    done = subprocess.run(
        ["sh", "deploy/demo"], cwd=checkout, env=env | {"PATH": str(bare)}, capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert "Sheenward needs Python 3.11, 3.12 or 3.13" in done.stderr
    assert not (checkout / ".venv").exists()
