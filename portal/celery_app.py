"""The Celery application. Beat wakes the steps of the cycle; the work itself waits in the database."""

from __future__ import annotations

import os

import django
from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
django.setup()

from lifecycle.tasks import STEPS  # noqa: E402  (needs the apps)

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
