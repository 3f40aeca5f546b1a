"""One installation of the service as an operator has it: own database, folder and processes, seen from outside."""

from __future__ import annotations

import os
import secrets
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import psycopg
from celery import Celery

from tests.meta.checkout import ROOT

# The longest wait for what usually comes in a second. It costs nothing where it comes, and a busy machine needs it.
WAIT_S = 180


def environment(var: Path, **settings: str) -> dict[str, str]:
    """The environment of an installation in a folder of its own; nothing of the caller's own settings gets in."""
    ours = ("SHEENWARD_", "DJANGO_", "EMAIL_", "ANYMAIL_", "DATABASE_", "REDIS_")
    kept = {key: value for key, value in os.environ.items() if not key.startswith(ours)}
    return kept | {
        "DJANGO_SETTINGS_MODULE": "portal.settings",
        "SHEENWARD_MODE": "test",
        "SHEENWARD_VAR": str(var),
        "SHEENWARD_MAIL": "folder",
        "REDIS_URL": "",
        "PYTHONUNBUFFERED": "1",
        **settings,
    }


@dataclass(frozen=True)
class Installation:
    """One installation: its settings, its folder, and what can be seen of it from outside."""

    env: dict[str, str]
    var: Path

    def python(self, *arguments: str, **env: str) -> str:
        """Run a program of the checkout to its end and return what it says."""
        done = subprocess.run(
            [sys.executable, *arguments],
            cwd=ROOT,
            env=self.env | env,
            capture_output=True,
            text=True,
            check=False,
            timeout=600,
        )
        assert done.returncode == 0, f"{arguments} failed:\n{done.stdout}\n{done.stderr}"
        return done.stdout

    def rows(self, query: str) -> list[tuple[object, ...]]:
        """Ask the database."""
        with psycopg.connect(self.env["DATABASE_URL"]) as connection:
            return connection.execute(query).fetchall()

    def mails(self) -> list[EmailMessage]:
        """Every mail that was handed over, from the mail folder, the oldest first."""
        paths = sorted((self.var / "mail").rglob("*.eml"), key=lambda path: path.stat().st_mtime_ns)
        return [message_from_bytes(path.read_bytes(), policy=policy.default) for path in paths]

    def send(self, *steps: str) -> None:
        """Put alarms for steps into the broker, as beat does."""
        with Celery(broker=self.env["REDIS_URL"]) as app:
            for step in steps:
                app.send_task(f"lifecycle.{step}")

    def beats(self) -> dict[str, tuple[object, bool, str]]:
        """Heartbeats by step: when, whether it went well, what it said."""
        rows = self.rows("SELECT name, last_at, ok, note FROM lifecycle_heartbeat")
        return {str(name): (at, bool(ok), str(note)) for name, at, ok, note in rows}

    def ask(self, step: str) -> str:
        """Send one step, wait until the worker has done it, and return what its heartbeat says."""
        before = self.beats().get(step)
        self.send(step)
        wait_for(lambda: self.beats().get(step) != before, f"the worker to do {step}")
        _, ok, note = self.beats()[step]
        assert ok, f"{step} failed on the worker: {note}"
        return note

    @contextmanager
    def process(self, name: str, *arguments: str, **env: str) -> Iterator[subprocess.Popen[bytes]]:
        """Run a program of the checkout until the block ends; a failing block shows its log."""
        log = self.var / "log" / f"{name}-{secrets.token_hex(3)}.log"
        log.parent.mkdir(exist_ok=True)
        with log.open("wb") as out:
            process = subprocess.Popen(
                [sys.executable, *arguments],
                cwd=ROOT,
                env=self.env | env,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        try:
            yield process
        except BaseException as error:
            error.add_note(f"--- {name} said:\n{log.read_text(errors='replace')[-4000:]}")
            raise
        finally:
            process.terminate()
            try:
                process.wait(60)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()

    @contextmanager
    def worker(self, *, concurrency: int = 2, **env: str) -> Iterator[subprocess.Popen[bytes]]:
        """Run a real worker until the block ends."""
        name = f"test-{secrets.token_hex(4)}"
        arguments = ("worker", "--concurrency", str(concurrency), "--hostname", f"{name}@%h", "--without-mingle")
        with self.process("worker", "-m", "celery", "-A", "portal.celery_app", *arguments, **env) as process:
            with Celery(broker=self.env["REDIS_URL"]) as app:
                wait_for(
                    lambda: any(key.startswith(name) for key in app.control.inspect(timeout=0.5).ping() or {}),
                    "the worker to answer",
                    process,
                )
            yield process


def wait_for(condition: Callable[[], object], what: str, process: subprocess.Popen[bytes] | None = None) -> None:
    """Look until the condition holds. Other processes give no signal that could be waited for instead."""
    until = time.monotonic() + WAIT_S
    while not condition():
        assert process is None or process.poll() is None, f"waited for {what}, but the process ended"
        assert time.monotonic() < until, f"waited {WAIT_S} s for {what}"
        time.sleep(0.1)
