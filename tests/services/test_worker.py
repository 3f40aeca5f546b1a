"""The cycle on a real worker: PostgreSQL, Redis, Celery, separate processes. Only the people are invented."""

from __future__ import annotations

import json
import os
import signal
from collections import Counter
from datetime import UTC, datetime, timedelta

import pytest
import redis

from lifecycle.tasks import STEPS
from tests.services.installation import wait_for

pytestmark = pytest.mark.services
CUSTOMERS = 12
WRITTEN = "SELECT id, changed_at FROM lifecycle_reminder WHERE state = 'written' ORDER BY id"
TO_MESSAGES = ("climate", "condition", "windows", "visits", "offers", "plan", "enqueue")


@pytest.fixture
def studio(installation):
    """An installation whose customers' wax is worn."""
    installation.python("-m", "tests.services.scene", str(CUSTOMERS))
    return installation


def states(studio) -> dict[str, int]:
    """Messages by state."""
    return dict(studio.rows("SELECT state, count(*) FROM lifecycle_message GROUP BY state"))


def addresses(studio) -> list[str]:
    return sorted(mail["To"] for mail in studio.mails())


def test_a_worn_layer_becomes_one_delivered_mail_however_often_the_steps_run(studio):
    with studio.worker():
        for step in STEPS:
            studio.ask(step)
        assert {name for name, (_, ok, _) in studio.beats().items() if ok} == set(STEPS)
        first = studio.mails()
        assert sorted(mail["To"] for mail in first) == sorted(f"customer{n}@example.org" for n in range(CUSTOMERS))
        assert len({mail["Message-ID"] for mail in first}) == CUSTOMERS
        assert states(studio) == {"accepted": CUSTOMERS}
        written = studio.rows(WRITTEN)

        for step in (*STEPS, *STEPS):
            studio.ask(step)
    assert [mail["Message-ID"] for mail in studio.mails()] == [mail["Message-ID"] for mail in first]
    assert studio.rows(WRITTEN) == written


def test_alarms_that_pile_up_on_two_workers_send_nothing_twice(studio):
    with studio.worker(concurrency=3), studio.worker(concurrency=3):
        for step in TO_MESSAGES:
            studio.ask(step)
        assert states(studio) == {"ready": CUSTOMERS}
        studio.send(*["deliver", "enqueue", "plan"] * 8)
        wait_for(lambda: states(studio) == {"accepted": CUSTOMERS}, "every message to be accepted")
        wait_for(lambda: broker_is_empty(studio), "the alarms to be used up")
    assert addresses(studio) == sorted(f"customer{n}@example.org" for n in range(CUSTOMERS))


def broker_is_empty(studio) -> bool:
    with redis.Redis.from_url(studio.env["REDIS_URL"]) as client:
        return client.llen("celery") == 0 and client.hlen("unacked") == 0


def test_a_worker_killed_in_the_middle_of_a_hand_over_loses_nothing(studio):
    """Only the one message that was on its way is in doubt, and only it goes out again, once, as the same message."""
    now = datetime.now(UTC)
    with studio.worker(concurrency=1, SHEENWARD_MAIL="tests.services.slow_mail.EmailBackend") as worker:
        for step in TO_MESSAGES:
            studio.ask(step)
        studio.send("deliver")
        wait_for(lambda: len(studio.mails()) >= 3, "three mails to be handed over")
        os.killpg(worker.pid, signal.SIGKILL)
        worker.wait()
    handed = len(studio.mails())
    assert handed < CUSTOMERS
    assert states(studio) == {"accepted": handed - 1, "handing_over": 1, "ready": CUSTOMERS - handed}

    def later(**how_much: int) -> dict[str, int]:
        studio.python("manage.py", "cycle", "--at", (now + timedelta(**how_much)).isoformat())
        return states(studio)

    assert later(minutes=12) == {"accepted": CUSTOMERS - 1, "unconfirmed": 1}
    assert len(studio.mails()) == CUSTOMERS
    assert later(hours=6, minutes=20) == {"accepted": CUSTOMERS - 1, "ready": 1}
    assert later(hours=6, minutes=25) == {"accepted": CUSTOMERS}
    ids = Counter(mail["Message-ID"] for mail in studio.mails())
    assert sorted(ids.values()) == [1] * (CUSTOMERS - 1) + [2]
    assert studio.rows("SELECT resends, count(*) FROM lifecycle_message GROUP BY resends ORDER BY resends") == [
        (0, CUSTOMERS - 1),
        (1, 1),
    ]


def test_beat_wakes_every_step(installation):
    beat = ("beat", "--schedule", str(installation.var / "beat"), "--pidfile=")
    with installation.worker(), installation.process("beat", "-m", "celery", "-A", "tests.services.quick_beat", *beat):
        wait_for(lambda: set(installation.beats()) == set(STEPS), "a heartbeat of every step")
        before = installation.beats()
        wait_for(
            lambda: all(installation.beats()[name][0] > before[name][0] for name in STEPS), "a second heartbeat of each"
        )
    assert [name for name, (_, ok, _) in installation.beats().items() if not ok] == []


def test_a_fresh_installation_is_well_at_once_not_after_the_longest_interval(installation):
    """The service's own alarms, of up to six hours: only the start of beat can have sent these."""
    beat = ("-A", "portal.celery_app", "beat", "--schedule", str(installation.var / "fresh"), "--pidfile=")
    with installation.worker(), installation.process("beat", "-m", "celery", *beat):
        wait_for(lambda: set(installation.beats()) == set(STEPS), "a heartbeat of every step")
    assert [name for name, (_, ok, _) in installation.beats().items() if not ok] == []


def test_a_killed_worker_is_seen_within_fifteen_minutes(studio):
    """The real limits, a worker that is really dead, and a clock that is moved."""
    with studio.worker() as worker:
        for step in STEPS:
            studio.ask(step)
        os.killpg(worker.pid, signal.SIGKILL)
        worker.wait()

    told = studio.python("-m", "tests.services.at_a_later_time", "0", "12", "15")
    at_once, before, dead = json.loads(told)
    well = {"status": 200, "silent": [], "banner": False, "how to mend it": False}
    assert (at_once, before) == (well, well)
    assert (dead["status"], dead["banner"], dead["how to mend it"]) == (503, True, True)
    assert {"deliver", "enqueue", "sweep", "settle"} <= set(dead["silent"])
