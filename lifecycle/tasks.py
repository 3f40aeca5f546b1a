"""The steps of the cycle, as Celery tasks and as plain calls.

The database is the queue; whoever calls is the alarm clock. A step may be lost, run twice or late without harm. Each
task is a one-liner around one domain verb and leaves a heartbeat.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib import import_module

import structlog
from celery import shared_task
from django.utils import timezone

from lifecycle.models import Heartbeat

log = structlog.get_logger("sheenward.cycle")

SILENT_AFTER = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what it does in words, the verb that does it, and how often it is woken."""

    name: str
    says: str
    verb: str
    every: timedelta

    def call(self, at: datetime) -> Mapping[str, int]:
        module, function = self.verb.rsplit(".", 1)
        counts: Mapping[str, int] = getattr(import_module(module), function)(at=at)
        return counts


STEPS: Mapping[str, Step] = {
    step.name: step
    for step in (
        Step("import_files", "Lists brought in", "lifecycle.care.import_work.import_files", timedelta(seconds=20)),
        Step("climate", "Climate of every place", "lifecycle.climate.store.refresh", timedelta(hours=6)),
        Step("condition", "Forecast of every vehicle", "lifecycle.condition.assess", timedelta(minutes=10)),
        Step("learn", "Durability learned here", "lifecycle.condition.learning.learn", timedelta(hours=6)),
        Step("outcomes", "Advice looked at again", "lifecycle.outlook.outcomes.judge", timedelta(hours=6)),
        Step("windows", "Care due", "lifecycle.care.windows.open_windows", timedelta(minutes=10)),
        Step("visits", "Visits that bundle it", "lifecycle.care.visits.propose", timedelta(minutes=15)),
        Step("plan", "Reminders decided", "lifecycle.reminders.planner.plan", timedelta(minutes=10)),
        Step("enqueue", "Messages written", "lifecycle.reminders.outbox.enqueue", timedelta(minutes=2)),
        Step("deliver", "Messages handed over", "lifecycle.reminders.outbox.deliver", timedelta(minutes=1)),
        Step("sweep", "Doubtful hand-overs looked after", "lifecycle.reminders.outbox.sweep", timedelta(minutes=2)),
        Step("settle", "Receipts settled", "lifecycle.reminders.receipts.settle", timedelta(minutes=2)),
        Step("handovers", "Offers to new keepers ended", "lifecycle.care.handover.expire", timedelta(minutes=30)),
        Step("offers", "Advice on record", "lifecycle.outlook.offers.recommend", timedelta(minutes=15)),
        Step("hooks", "Other programs told", "lifecycle.connect.hook_sending.deliver", timedelta(minutes=2)),
        Step("tidy", "Old answers to programs thrown away", "lifecycle.connect.tidy.tidy", timedelta(hours=6)),
        Step("outlook", "Outlook prepared", "lifecycle.outlook.prepared.prepare", timedelta(hours=1)),
        Step("monthly", "Owners' monthly letters", "lifecycle.monthly.post.send", timedelta(hours=1)),
    )
}


def run(name: str, *, at: datetime | None = None) -> Mapping[str, int]:
    """Run one step now and leave its heartbeat, whether it went well or not.

    Args:
        at: the time to work at; the wall clock if not given.

    Returns:
        The counts of the step.

    Raises:
        Whatever the step raises, after the heartbeat says so.
    """
    at = at or timezone.now()
    began = time.monotonic()
    try:
        counts = STEPS[name].call(at)
    except Exception as error:
        _beat(name, at, time.monotonic() - began, ok=False, note=f"{type(error).__name__}: {error}")
        log.error("step failed", step=name, error=str(error), exc_info=True)
        raise
    _beat(name, at, time.monotonic() - began, ok=True, note=", ".join(f"{k} {v}" for k, v in counts.items()))
    log.info("step done", step=name, **counts)
    return counts


def _beat(name: str, at: datetime, took_s: float, *, ok: bool, note: str) -> None:
    Heartbeat.objects.update_or_create(
        name=name, defaults={"last_at": at, "ok": ok, "took_s": took_s, "note": note[:300]}
    )


def run_all(*, at: datetime, told: Callable[[Step, Mapping[str, int]], None] | None = None) -> None:
    """The whole cycle once, in order."""
    for name, step in STEPS.items():
        counts = run(name, at=at)
        if told is not None:
            told(step, counts)


def due_steps(now: datetime) -> list[str]:
    """Steps whose time has come, by their heartbeats; for the loop of one machine without a broker."""
    last = dict(Heartbeat.objects.values_list("name", "last_at"))
    return [name for name, step in STEPS.items() if name not in last or now - last[name] >= step.every]


def stale(now: datetime) -> list[str]:
    """Names of steps that have been silent for longer than 15 minutes or three of their intervals, or have failed."""
    beats = {beat.name: beat for beat in Heartbeat.objects.filter(name__in=list(STEPS))}
    return [
        name
        for name, step in STEPS.items()
        if name not in beats or not beats[name].ok or now - beats[name].last_at > max(SILENT_AFTER, 3 * step.every)
    ]


def worker_silent_since(now: datetime) -> datetime | None:
    """When the worker was last heard of, if that is more than 15 minutes ago; the far past if never."""
    beats = Heartbeat.objects.filter(name__in=list(STEPS)).order_by("-last_at")
    newest = beats.values_list("last_at", flat=True).first()
    if newest is None:
        return datetime.min.replace(tzinfo=now.tzinfo)
    return newest if now - newest > SILENT_AFTER else None


@shared_task(name="lifecycle.import_files")
def import_files() -> None:
    run("import_files")


@shared_task(name="lifecycle.climate")
def climate() -> None:
    run("climate")


@shared_task(name="lifecycle.condition")
def condition() -> None:
    run("condition")


@shared_task(name="lifecycle.learn")
def learn() -> None:
    run("learn")


@shared_task(name="lifecycle.outcomes")
def outcomes() -> None:
    run("outcomes")


@shared_task(name="lifecycle.windows")
def windows() -> None:
    run("windows")


@shared_task(name="lifecycle.visits")
def visits() -> None:
    run("visits")


@shared_task(name="lifecycle.plan")
def plan() -> None:
    run("plan")


@shared_task(name="lifecycle.enqueue")
def enqueue() -> None:
    run("enqueue")


@shared_task(name="lifecycle.deliver")
def deliver() -> None:
    run("deliver")


@shared_task(name="lifecycle.sweep")
def sweep() -> None:
    run("sweep")


@shared_task(name="lifecycle.settle")
def settle() -> None:
    run("settle")


@shared_task(name="lifecycle.handovers")
def handovers() -> None:
    run("handovers")


@shared_task(name="lifecycle.offers")
def offers() -> None:
    run("offers")


@shared_task(name="lifecycle.hooks")
def hooks() -> None:
    run("hooks")


@shared_task(name="lifecycle.tidy")
def tidy() -> None:
    run("tidy")


@shared_task(name="lifecycle.outlook")
def outlook() -> None:
    run("outlook")


@shared_task(name="lifecycle.monthly")
def monthly() -> None:
    run("monthly")
