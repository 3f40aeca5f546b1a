"""The service's own Celery application with every alarm set to one second, so that a test need not wait for minutes."""

from __future__ import annotations

from datetime import timedelta

from portal.celery_app import app

for entry in app.conf.beat_schedule.values():
    entry["schedule"] = timedelta(seconds=1)
app.conf.beat_max_loop_interval = 0.5
