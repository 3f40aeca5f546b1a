"""The steps of the cycle: heartbeats, what is stale, and that Celery, beat and the loop know the same steps."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

import pytest
from django.core.management import call_command

from lifecycle import tasks
from lifecycle.models import Heartbeat
from tests.factories import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def one_connection(monkeypatch):
    """The loop lets go of old connections; a test's transaction lives in the one it has."""
    monkeypatch.setattr("lifecycle.management.commands.work.close_old_connections", lambda: None)


@pytest.fixture
def quiet(monkeypatch):
    """Steps that only count how often they were called."""
    calls: list[str] = []

    def call(self: tasks.Step, at) -> Mapping[str, int]:
        calls.append(self.name)
        return {"calls": 1}

    monkeypatch.setattr(tasks.Step, "call", call)
    return calls


def test_every_step_is_a_task_and_a_beat_entry():
    from portal.celery_app import app

    app.loader.import_default_modules()
    for name, step in tasks.STEPS.items():
        assert f"lifecycle.{name}" in app.tasks
        entry = app.conf.beat_schedule[name]
        assert (entry["task"], entry["schedule"]) == (f"lifecycle.{name}", step.every)
    assert set(app.conf.beat_schedule) == set(tasks.STEPS)


def test_every_verb_exists_and_takes_a_time():
    import inspect
    from importlib import import_module

    for step in tasks.STEPS.values():
        module, function = step.verb.rsplit(".", 1)
        signature = inspect.signature(getattr(import_module(module), function))
        assert signature.parameters["at"].kind is inspect.Parameter.KEYWORD_ONLY, step.verb


def test_a_celery_task_runs_its_step(quiet):
    tasks.deliver()
    assert quiet == ["deliver"]
    assert Heartbeat.objects.get().name == "deliver"


def test_all_steps_run_in_the_order_of_the_data(quiet):
    told = []
    tasks.run_all(at=NOW, told=lambda step, counts: told.append(step.name))
    assert quiet == told == list(tasks.STEPS)
    assert quiet.index("condition") < quiet.index("windows") < quiet.index("plan") < quiet.index("deliver")


def test_a_failed_step_leaves_a_heartbeat_that_says_so(monkeypatch):
    def fail(self, at):
        raise RuntimeError("the climate source is away")

    monkeypatch.setattr(tasks.Step, "call", fail)
    with pytest.raises(RuntimeError):
        tasks.run("climate", at=NOW)
    beat = Heartbeat.objects.get()
    assert (beat.ok, beat.last_at) == (False, NOW)
    assert "the climate source is away" in beat.note
    assert "climate" in tasks.stale(NOW)


def test_stale_means_silent_for_fifteen_minutes_or_three_intervals(quiet):
    assert tasks.stale(NOW) == list(tasks.STEPS), "never heard of is stale"
    tasks.run_all(at=NOW)
    assert tasks.stale(NOW + timedelta(minutes=15)) == []
    assert "deliver" in tasks.stale(NOW + timedelta(minutes=15, seconds=1))
    assert "climate" not in tasks.stale(NOW + timedelta(hours=17))
    assert "climate" in tasks.stale(NOW + timedelta(hours=18, seconds=1))


def test_the_banner_knows_since_when_the_worker_is_silent(quiet):
    assert tasks.worker_silent_since(NOW) is not None
    tasks.run("deliver", at=NOW)
    assert tasks.worker_silent_since(NOW + timedelta(minutes=15)) is None
    assert tasks.worker_silent_since(NOW + timedelta(minutes=16)) == NOW


def test_the_loop_runs_what_is_due_and_no_more(quiet, time_machine):
    time_machine.move_to(NOW, tick=False)
    call_command("work", "--once")
    assert quiet == list(tasks.STEPS)
    call_command("work", "--once")
    assert len(quiet) == len(tasks.STEPS)
    time_machine.move_to(NOW + timedelta(minutes=1), tick=False)
    call_command("work", "--once")
    assert quiet[len(tasks.STEPS) :] == ["import_files", "deliver"]


def test_one_failing_step_does_not_stop_the_loop(monkeypatch):
    seen = []

    def call(self, at):
        seen.append(self.name)
        if self.name == "climate":
            raise RuntimeError("away")
        return {}

    monkeypatch.setattr(tasks.Step, "call", call)
    call_command("work", "--once")
    assert seen == list(tasks.STEPS)


class TestBeatStarts:
    """Beat's own first alarm comes after one interval, for the climate after six hours."""

    @pytest.fixture
    def sent(self, monkeypatch):
        from portal.celery_app import app

        names: list[tuple[str, float]] = []
        monkeypatch.setattr(app, "send_task", lambda name, *, expires: names.append((name, expires)))
        return names

    def start(self) -> None:
        from celery.signals import beat_init

        beat_init.send(sender=None)

    def test_a_fresh_installation_is_woken_whole_and_in_order(self, sent):
        self.start()
        assert sent == [(f"lifecycle.{name}", step.every.total_seconds()) for name, step in tasks.STEPS.items()]

    def test_what_has_run_lately_is_left_to_its_alarm(self, sent, quiet, time_machine):
        time_machine.move_to(NOW, tick=False)
        for name in tasks.STEPS:
            if name not in ("climate", "plan"):
                tasks.run(name, at=NOW)
        self.start()
        assert [name for name, _ in sent] == ["lifecycle.climate", "lifecycle.plan"]

    def test_beat_starts_though_the_database_is_away(self, sent, monkeypatch):
        from django.db import DatabaseError

        def away(now):
            raise DatabaseError("no such table: lifecycle_heartbeat")

        monkeypatch.setattr("portal.celery_app.due_steps", away)
        self.start()
        assert sent == []
