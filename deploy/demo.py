"""Prepare the demo studio, run the care cycle once and serve the portal on this machine until Ctrl-C.

Started by `sh deploy/demo`, which makes the virtual environment first. The web server and the loop of periodic work are
two processes of their own; this one starts them, waits, and ends both. It needs nothing but the standard library.
"""

# ruff: noqa: S603, S310, T201 - it starts programs of this checkout, asks loopback only, and speaks to a person

from __future__ import annotations

import argparse
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VAR = ROOT / "var"
ROLES = (
    ("owner", "the studio's owner: everything, and the outlook on repeat business"),
    ("technician", "who works on the vehicles: the work list, inspections, records"),
    ("desk", "who speaks with customers: bookings, reminders, the outbox"),
    ("customer", "a customer: their own vehicle and what it needs"),
)
# In one process, since most of the time of each would be its start. In the morning, since by night nothing would be
# sent, and a demo without mail shows little.
STEPS = """
from django.core.management import execute_from_command_line
for step in ("migrate --no-input -v 0", "createcachetable -v 0", "load_demo --if-empty", "cycle --morning"):
    execute_from_command_line(["manage.py", *step.split()])
"""
START_LIMIT_S = 60
STOP_LIMIT_S = 10


class Ending(Exception):
    """Somebody asked the demo to end."""


def environment(port: int, key: str) -> dict[str, str]:
    """The demo's settings: its own database, mail into files, no broker, whatever the caller's shell or var/env say."""
    return os.environ | {
        "DJANGO_SETTINGS_MODULE": "portal.settings",
        "SHEENWARD_MODE": "demo",
        "SHEENWARD_DEMO_KEY": key,
        "SHEENWARD_SITE_ADDRESS": f"http://127.0.0.1:{port}",
        "SHEENWARD_VAR": str(VAR),
        "SHEENWARD_MAIL": "folder",
        "SHEENWARD_MAIL_FROM": "care@example.org",
        "DATABASE_URL": f"sqlite:///{VAR / 'demo.sqlite3'}",
        "REDIS_URL": "",
        "PYTHONUNBUFFERED": "1",
    }


def free(port: int) -> bool:
    """Whether the port can be bound on loopback now."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return False
    return True


def choose_port(asked: int | None) -> int:
    """The asked port or an error; without one 8000, or any free port where 8000 is taken."""
    if asked is not None:
        if not 1 <= asked <= 65535:
            raise SystemExit(f"Port {asked} does not exist; give one from 1 to 65535.")
        if not free(asked):
            raise SystemExit(f"Port {asked} is in use or not allowed here. Give another: sh deploy/demo --port 8123")
        return asked
    if free(8000):
        return 8000
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def run_steps(env: dict[str, str]) -> None:
    """Run the management commands of `STEPS` in one process, their log apart from what they show.

    A failing one ends the demo with its reason.
    """
    log = VAR / "log" / "demo-prepare.log"
    with log.open("wb") as errors:
        done = subprocess.run([sys.executable, "-c", STEPS], cwd=ROOT, env=env, stderr=errors, check=False)
    if done.returncode:
        sys.stderr.write(log.read_text(errors="replace")[-4000:])
        raise SystemExit(f"Preparing the demo failed (code {done.returncode}); the reason stands above and in {log}.")


def prepare(env: dict[str, str], *, fresh: bool) -> None:
    """Database, demo studio and one run of the cycle. With `fresh` the demo's earlier data and mail go first."""
    if fresh:
        for name in ("demo.sqlite3", "demo.sqlite3-wal", "demo.sqlite3-shm"):
            (VAR / name).unlink(missing_ok=True)
        shutil.rmtree(VAR / "mail", ignore_errors=True)
    for name in ("mail", "static", "log"):
        (VAR / name).mkdir(parents=True, exist_ok=True)
    run_steps(env)


def start(env: dict[str, str], name: str, *arguments: str) -> subprocess.Popen[bytes]:
    """Start `python arguments` in a session of its own, so that Ctrl-C reaches this process only; log to var/log."""
    with (VAR / "log" / f"demo-{name}.log").open("wb") as log:
        return subprocess.Popen(
            [sys.executable, *arguments],
            cwd=ROOT,
            env=env,
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )


def wait_until_served(address: str, web: subprocess.Popen[bytes]) -> None:
    """Return once a page comes back; end the demo if the server dies or says nothing for a minute."""
    until = time.monotonic() + START_LIMIT_S
    while web.poll() is None and time.monotonic() < until:
        try:
            with urllib.request.urlopen(f"{address}/account/login/", timeout=5):
                return
        except urllib.error.HTTPError as error:
            raise SystemExit(f"The portal answers with an error ({error.code}); see var/log/demo-web.log.") from None
        except OSError:
            time.sleep(0.1)
    raise SystemExit("The portal did not start; the reason stands in var/log/demo-web.log.")


def end(processes: dict[str, subprocess.Popen[bytes]]) -> None:
    """Ask every process to end, then insist. A session of its own means that its children go with it."""
    for process in processes.values():
        if process.poll() is None:
            process.terminate()
    until = time.monotonic() + STOP_LIMIT_S
    for process in processes.values():
        try:
            process.wait(max(0.1, until - time.monotonic()))
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()


def serve(env: dict[str, str], port: int, key: str) -> None:
    """Serve until a signal arrives or one of the two processes ends by itself."""
    address = f"http://127.0.0.1:{port}"
    processes: dict[str, subprocess.Popen[bytes]] = {}
    try:
        web = ("-m", "gunicorn", "portal.wsgi:application", "--bind", f"127.0.0.1:{port}", "--workers", "2")
        # Its control socket would lie in the home directory.
        processes["web"] = start(
            env, "web", *web, "--threads", "4", "--no-control-socket", "--worker-tmp-dir", str(VAR / "tmp")
        )
        processes["work"] = start(env, "work", "manage.py", "work")
        wait_until_served(address, processes["web"])
        print("\nSheenward is running. One address for each kind of user; it signs you in:\n")
        for role, meaning in ROLES:
            print(f"  {role:<11} {address}/demo/{key}/{role}/\n              {meaning}")
        print(f"\nMail is written to {(VAR / 'mail').relative_to(ROOT)}/, logs to {(VAR / 'log').relative_to(ROOT)}/.")
        print("Everyone and everything in it is invented. Ctrl-C ends it.", flush=True)
        while True:
            for name, process in processes.items():
                if process.poll() is not None:
                    raise SystemExit(f"The {name} process ended by itself; see var/log/demo-{name}.log.")
            time.sleep(0.5)
    except (KeyboardInterrupt, Ending):
        print("\nEnding ...", flush=True)
    finally:
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, signal.SIG_IGN)
        end(processes)


def main() -> None:
    """Parse the command line, prepare, serve."""

    def ask_to_end(number: int, frame: object) -> None:
        raise Ending

    parser = argparse.ArgumentParser(prog="sh deploy/demo")
    parser.add_argument("--port", type=int, default=os.environ.get("SHEENWARD_PORT") or None)
    parser.add_argument("--fresh", action="store_true")
    parser.add_argument("--no-serve", action="store_true")
    options = parser.parse_args()
    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, ask_to_end)
    try:
        port = 8000 if options.no_serve else choose_port(options.port)
        key = secrets.token_urlsafe(12)
        env = environment(port, key)
        prepare(env, fresh=options.fresh)
        if options.no_serve:
            print("Prepared. `sh deploy/demo` serves it.")
        else:
            serve(env, port, key)
    except (KeyboardInterrupt, Ending):
        raise SystemExit(130) from None


if __name__ == "__main__":
    main()
