"""The Celery application. Beat wakes the steps of the cycle; the work itself waits in the database."""

from __future__ import annotations

import os
from typing import Any

import django
import structlog
from celery import Celery
from celery.signals import beat_init

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
django.setup()

from django.db import DatabaseError, connection  # noqa: E402  (needs the apps)
from django.utils import timezone  # noqa: E402

from lifecycle.tasks import STEPS, due_steps  # noqa: E402

log = structlog.get_logger("sheenward.beat")

app = Celery("sheenward")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.conf.beat_schedule = {
    name: {
        "task": f"lifecycle.{name}",
        "schedule": step.every,
        # An alarm that nobody heard is worth nothing later: the next one does the same work.
        "options": {"expires": step.every.total_seconds()},
    }
    for name, step in STEPS.items()
}


@beat_init.connect
def wake_at_once(**kwargs: Any) -> None:
    """Wake what was never done, or is overdue, when beat starts, in the order of the cycle.

    Beat's own first alarm comes after one interval: without this a fresh installation would be unwell for hours.
    """
    try:
        names = due_steps(timezone.now())
    except DatabaseError as error:  # not migrated yet, or away: beat goes on and its alarms come in their time
        log.warning("beat could not ask what is overdue", error=str(error))
        return
    finally:
        if not connection.in_atomic_block:
            connection.close()  # beat needs the database no more
    for name in names:
        app.send_task(f"lifecycle.{name}", expires=STEPS[name].every.total_seconds())
