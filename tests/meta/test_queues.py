"""Every queue that an alarm goes to has a consumer in every way of running the service."""

from __future__ import annotations

import re

import pytest

from lifecycle.tasks import STEPS
from tests.meta.checkout import ROOT

WAYS = ("deploy/systemd/sheenward-worker.service", "deploy/compose.yaml")


def consumed(text: str, default: str) -> set[str]:
    """Queues of every `celery … worker` command in a file: those of -Q or --queues, else the default one."""
    queues: set[str] = set()
    for line in text.splitlines():
        words = re.findall(r"[^\s\[\],\"']+(?:,[^\s\[\],\"']+)*", line)
        if "celery" not in words or "worker" not in words:
            continue
        named = re.search(r"(?:-Q|--queues)[\s=\",]+([\w,]+)", line)
        queues |= set(named.group(1).split(",")) if named else {default}
    return queues


def addressed() -> set[str]:
    """Queues that beat's alarms and our tasks are routed to."""
    from portal.celery_app import app

    app.loader.import_default_modules()
    queues = set()
    for entry in app.conf.beat_schedule.values():
        assert entry["task"] in app.tasks, f"{entry['task']} is woken, but no worker knows it"
        route = app.amqp.router.route({**entry.get("options", {})}, entry["task"])
        queues.add(route["queue"].name)
    return queues


def test_beat_wakes_exactly_the_steps():
    from portal.celery_app import app

    assert set(app.conf.beat_schedule) == set(STEPS)


@pytest.mark.parametrize("way", WAYS)
def test_every_queue_has_a_consumer(way):
    from portal.celery_app import app

    missing = addressed() - consumed((ROOT / way).read_text(), app.conf.task_default_queue)
    assert not missing, f"{way} starts no worker for the queues {missing}"


def test_the_check_would_notice():
    line = "ExecStart=python -m celery -A portal.celery_app worker -Q slow,mail"
    assert consumed(line, "celery") == {"slow", "mail"}
    assert consumed("python -m celery -A portal.celery_app beat", "celery") == set()
    assert consumed('command: ["python", "-m", "celery", "-A", "x", "worker"]', "celery") == {"celery"}
