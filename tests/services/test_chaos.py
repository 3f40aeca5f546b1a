"""The promise of the outbox under accidents: 2,000 reminders, twenty killed workers, an emptied and restarted broker, a
database restarted in the middle, receipts early, late and doubled. None is lost, none doubled without a record.

Own PostgreSQL, Redis, Celery workers, beat, web server and SMTP server, all as processes. Only the workers' clock is
moved, so that leases and the six hours of doubt need not be waited for; where accidents happen is decided outside the
service's code (`tests.services.accidents`).
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import random
import signal
import subprocess
import threading
import time
import urllib.error
import urllib.request
from collections import Counter
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

import psycopg
import pytest
import redis

from tests.services import servers
from tests.services.installation import Installation, environment

pytestmark = pytest.mark.services
COUNT, WRITTEN, WORKERS, THINK_MS = 2000, 1500, 2, 20
KEY = "key-of-the-studio"
STEPS = ("before_claim", "after_claim", "before_hand_over", "after_answer")
# Twenty deaths: at each step the process that works, twice, and once its whole worker; and eight at any moment.
DEATHS = [(step, what) for step in (*STEPS, "any", "any") for what in ("process", "process", "worker")]
DEATHS += [("any", "worker")] * 2
SETTLED = ("accepted", "delivered", "bounced", "complained", "failed", "stopped")
BETWEEN = 40  # mails at least from one death to the next
LEASE_S, DAY_S = 11 * 60, 24 * 3600
LIMIT_S = 180  # for one step on a busy machine; at rest it takes seconds


class Stage:
    """The processes, and what can be done to them."""

    def __init__(self, stack: ExitStack, folder) -> None:
        self.stack, self.folder, self.draw = stack, folder, random.Random(5)
        self.database = stack.enter_context(servers.postgresql_server())
        self.broker = stack.enter_context(servers.redis_server())
        port, self.web_port = servers.free_port(), servers.free_port()
        self.orders = folder / "orders"
        self.orders.mkdir()
        self.shift_s = self.ended = 0
        self.shift(0)
        self.ledger = folder / "ledger"
        self.ledger.touch()
        self.here = Installation(
            environment(
                folder, DATABASE_URL=self.database.url, REDIS_URL=self.broker.url, SHEENWARD_MAIL="smtp",
                EMAIL_URL=f"smtp://127.0.0.1:{port}", ANYMAIL_MAILGUN_WEBHOOK_SIGNING_KEY=KEY,
                ACCIDENTS=str(self.orders),
            ),
            folder,
        )  # fmt: skip
        self.here.python("manage.py", "migrate", "--no-input", "-v", "0")
        self.here.python("-m", "tests.services.crowd", str(COUNT), str(WRITTEN))
        sink = ("-m", "tests.services.sink", str(port), str(self.ledger), str(THINK_MS))
        stack.enter_context(self.here.process("sink", *sink))
        web = ("-m", "gunicorn", "--no-control-socket", "--bind", f"127.0.0.1:{self.web_port}", "portal.wsgi")
        stack.enter_context(self.here.process("web", *web))
        self.workers = [self.worker() for _ in range(WORKERS)]
        beat = ("-A", "tests.services.accidents", "beat", "--schedule", str(folder / "beat"), "--pidfile=")
        stack.enter_context(self.here.process("beat", "-m", "celery", *beat))

    def worker(self) -> subprocess.Popen[bytes]:
        name = f"w{self.draw.getrandbits(32):x}@%h"
        more = ("--concurrency", "2", "--hostname", name, "--without-mingle", "--without-gossip")
        return self.stack.enter_context(
            self.here.process("worker", "-m", "celery", "-A", "tests.services.accidents", "worker", *more)
        )

    def shift(self, seconds: int) -> None:
        """Move the workers' clock on."""
        self.shift_s += seconds
        fresh = self.orders / "clock.new"
        fresh.write_text(str(self.shift_s))
        fresh.rename(self.orders / "clock")

    def watch(self) -> None:
        """Start a worker for each that is gone, as systemd and compose do (deploy/). Not all were killed: one that
        loses its broker with work in hand may end by itself (kombu 5.7, restore_unacked)."""
        gone = [one for one in self.workers if one.poll() is not None]
        self.workers = [one for one in self.workers if one not in gone] + [self.worker() for _ in gone]
        self.ended += len(gone)

    def wait(self, condition: Callable[[], object], what: str) -> None:
        """Wait as a supervisor would: whoever ends meanwhile is started again."""
        until = time.monotonic() + LIMIT_S
        while not condition():
            assert time.monotonic() < until, f"waited {LIMIT_S} s for {what}; messages: {dict(self.states())}"
            self.watch()
            time.sleep(0.1)

    def die(self, step: str, what: str) -> None:
        """Kill one worker, or the process of it that comes to this step next, and put another in its place."""
        if step == "any":
            time.sleep(self.draw.uniform(0.2, 1.2))
            self._kill(self.draw.choice(self.workers), what)
        else:
            died = self.orders / f"died-at-{step}"
            died.unlink(missing_ok=True)
            order = self.orders / "order.new"
            order.write_text(what)
            order.rename(self.orders / f"die-at-{step}")
            self.wait(died.exists, f"a worker to die {step.replace('_', ' ')}")
        self.watch()

    def _kill(self, worker: subprocess.Popen[bytes], what: str) -> None:
        children = Path(f"/proc/{worker.pid}/task/{worker.pid}/children").read_text().split()
        if what == "process" and children:  # a worker that has just begun has none
            os.kill(int(self.draw.choice(children)), signal.SIGKILL)
            return
        os.killpg(worker.pid, signal.SIGKILL)
        worker.wait()

    def states(self) -> Counter[str]:
        return Counter(dict(self.here.rows("SELECT state, count(*) FROM lifecycle_message GROUP BY state")))

    def handed(self) -> list[tuple[str, str]]:
        """Address and Message-ID of every mail that the provider took."""
        return [tuple(line.split()) for line in self.ledger.read_text().splitlines()]

    def flush(self) -> None:
        with redis.Redis.from_url(self.broker.url) as client:
            client.flushall()


class Provider(threading.Thread):
    """Posts signed events to the service's own hook, as soon as it has a mail or later, and again until it hears 200.

    Shape and signature: Mailgun, "Webhook Payloads" and "Securing Webhooks" (documentation.mailgun.com).
    """

    def __init__(self, stage: Stage) -> None:
        super().__init__(daemon=True)
        self.stage, self.draw, self.done = stage, random.Random(6), threading.Event()
        self.told: dict[str, str] = {}
        self.posted, self.refused, self.seen = 0, 0, 0
        self.later: list[tuple[str, str, int]] = []

    def run(self) -> None:
        while not self.done.is_set():
            lines = self.stage.handed()
            for number, (address, uid) in enumerate(lines[self.seen :], start=self.seen):
                if number % 4 == 0 and uid not in self.told:
                    self.told[uid] = "bounced" if number % 40 == 0 else "delivered"
                    event = (address, uid, number)
                    self.post(*event) if number % 8 else self.later.append(event)
            self.seen = len(lines)
            time.sleep(0.1)

    def post(self, address: str, uid: str, number: int) -> None:
        """Once, or twice as providers do."""
        for _ in range(1 + (number % 16 == 4)):
            while not self.done.is_set() and self._answer(self._event(address, uid, number)) != 200:
                self.refused += 1
                time.sleep(0.2)
            self.posted += 1

    def tell_the_rest(self) -> None:
        """What was kept back: late, and in another order than it happened."""
        self.done.set()
        self.join()
        self.done.clear()
        self.draw.shuffle(self.later)
        for event in self.later:
            self.post(*event)

    def _event(self, address: str, message_id: str, number: int) -> bytes:
        uid, when, token = message_id.strip("<>").split("@")[0], str(int(time.time())), f"{number:050d}"
        signature = hmac.new(KEY.encode(), f"{when}{token}".encode(), hashlib.sha256).hexdigest()
        bad = self.told[message_id] == "bounced"
        what = (
            {"event": "failed", "severity": "permanent", "reason": "bounce", "delivery-status": {
                "code": 550, "message": "5.1.1 no such mailbox", "description": ""}}
            if bad else {"event": "delivered", "delivery-status": {"code": 250, "message": "OK", "description": ""}}
        )  # fmt: skip
        event = {
            "signature": {"timestamp": when, "token": token, "signature": signature},
            "event-data": {
                "id": f"event-{number}", "timestamp": float(when), "recipient": address, "tags": [],
                "user-variables": {"uid": uid}, "message": {"headers": {"message-id": message_id.strip("<>")}}, **what,
            },
        }  # fmt: skip
        return json.dumps(event).encode()

    def _answer(self, body: bytes) -> int:
        address = f"http://127.0.0.1:{self.stage.web_port}/mail/hooks/mailgun/tracking/"
        request = urllib.request.Request(address, body, {"Content-Type": "application/json"})
        try:
            with urllib.request.urlopen(request, timeout=10) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            return error.code
        except OSError:
            return 0


@pytest.fixture
def stage(tmp_path):
    if reason := servers.missing():
        pytest.skip(reason)
    with ExitStack() as stack:
        yield Stage(stack, tmp_path)


def test_two_thousand_reminders_survive_twenty_deaths(stage, capsys):
    began = time.monotonic()
    accidents = {
        3: stage.flush, 6: lambda: stage.broker.restart(signal.SIGKILL), 12: stage.flush,
        9: lambda: stage.database.restart(signal.SIGQUIT), 15: lambda: stage.database.restart(signal.SIGQUIT),
    }  # fmt: skip
    stage.wait(lambda: len(stage.handed()) > 20, "the first mails to go out")
    provider = Provider(stage)
    provider.start()
    deaths = DEATHS.copy()
    stage.draw.shuffle(deaths)
    for number, (step, what) in enumerate(deaths, start=1):
        enough = len(stage.handed()) + BETWEEN
        stage.wait(lambda: len(stage.handed()) >= enough, "mails to go out between two deaths")  # noqa: B023  (at once)
        stage.die(step, what)
        if number in accidents:
            accidents[number]()
        if number % 4 == 0:
            stage.shift(LEASE_S)
    killed = time.monotonic() - began
    under_fire = len(stage.handed())

    def all_left() -> bool:
        try:
            states = stage.states()
        except psycopg.OperationalError:
            return False
        return sum(states.values()) == COUNT and sum(states[one] for one in ("ready", "retry", "handing_over")) == 0

    stage.shift(LEASE_S)  # what the last of the dead had claimed is free again
    stage.wait(all_left, "every message to have left or to be in doubt")
    doubt = stage.states()["unconfirmed"]
    provider.tell_the_rest()
    stage.shift(DAY_S - stage.shift_s)  # the six hours are over, and it is about noon again
    stage.wait(lambda: stage.states()["unconfirmed"] == 0, "what was in doubt to be sent again or settled")
    stage.wait(all_left, "what was sent again to have left")
    provider.done.set()
    handed = Counter(stage.handed())
    took = time.monotonic() - began
    twice = sum(handed.values()) - len(handed)
    with capsys.disabled():
        print(
            f"\n{COUNT} reminders, {len(deaths)} kills in {killed:.0f} s ({under_fire} mails handed over meanwhile, "
            f"{stage.ended} workers started again), {took:.0f} s in all; {doubt} in doubt after it, {twice} handed "
            f"over twice, each on record; {dict(stage.states())}; {provider.posted} events, {provider.refused} again"
        )
    check_the_promise(stage, handed, provider)


def check_the_promise(stage: Stage, handed: Counter[tuple[str, str]], provider: Provider) -> None:
    rows = stage.here.rows(
        "SELECT m.id, m.to_email, m.headers->>'Message-ID', m.state, m.resends, m.claim IS NULL, m.reminder_id "
        "FROM lifecycle_message m"
    )
    assert len(rows) == COUNT == len({row[1] for row in rows}) == len({row[6] for row in rows}), "one message each"
    assert {row[3] for row in rows} <= set(SETTLED), "every message has ended"
    assert all(row[5] for row in rows), "and nobody holds it"
    assert {(address, uid) for _, address, uid, *_ in rows} == set(handed), "none is lost, none is a stranger"
    doubled = {uid for (_, uid), times in handed.items() if times > 1}
    recorded = {uid for _, _, uid, _, resends, *_ in rows if resends}
    assert doubled <= recorded, "none doubled without a record"
    assert max(handed.values()) <= 2
    noted = stage.here.rows(
        "SELECT subject_id, count(*) FROM lifecycle_journalentry WHERE verb = 'message to be sent again' GROUP BY 1"
    )
    assert dict(noted) == {row[0]: 1 for row in rows if row[4]}, "the journal has each resend once"
    reached = {row[2]: row[3] for row in rows}
    assert {uid: reached[uid] for uid in provider.told} == provider.told, "a receipt has the last word"
    assert len(provider.told) > COUNT / 5
    ((receipts,),) = stage.here.rows("SELECT count(*) FROM lifecycle_receipt")
    assert receipts == len(provider.told), "however often an event was posted, it is kept once"
    reminders = stage.here.rows("SELECT state, count(*) FROM lifecycle_reminder WHERE step = 'first' GROUP BY state")
    assert reminders == [("written", COUNT)]
