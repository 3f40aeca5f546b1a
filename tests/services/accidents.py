"""The service's own Celery application with accidents to order, for the workers of a test alone.

`ACCIDENTS` is a folder. `clock` in it holds how many seconds the workers' clock runs ahead; `die-at-STEP` is an order
that the first process to reach that step of a delivery takes, and dies of. Alarms come every second or few.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from celery.signals import beat_init

from portal.celery_app import app, wake_at_once

FOLDER = Path(os.environ["ACCIDENTS"])

from django.utils import timezone  # noqa: E402  (the application sets Django up)

from lifecycle import tasks  # noqa: E402
from lifecycle.reminders import claim, transport  # noqa: E402

STEPS = ("before_claim", "after_claim", "before_hand_over", "after_answer")
SECONDS = {"plan": 10, "enqueue": 5, "deliver": 1, "sweep": 2, "settle": 2}

app.conf.beat_schedule = {
    name: {"task": f"lifecycle.{name}", "schedule": timedelta(seconds=every), "options": {"expires": every}}
    for name, every in SECONDS.items()
}
app.conf.beat_max_loop_interval = 0.5
beat_init.disconnect(wake_at_once)  # the other steps have nothing to do here


class Clock:
    """The wall clock, ahead by what the test says."""

    @staticmethod
    def now() -> datetime:
        return timezone.now() + timedelta(seconds=float((FOLDER / "clock").read_text()))


def die_here(step: str) -> None:
    """Take the order for this step, if there is one: SIGKILL, which nothing can catch."""
    order = FOLDER / f"die-at-{step}"
    try:
        whole = order.read_text() == "worker"
        order.rename(FOLDER / f"died-at-{step}")
    except FileNotFoundError:
        return
    if whole:
        os.killpg(os.getpgrp(), signal.SIGKILL)
    os.kill(os.getpid(), signal.SIGKILL)


def around(function: Callable[..., Any], *, before: str = "", after: str = "") -> Callable[..., Any]:
    """The function with the steps of an accident before and after it."""

    def called(*args: Any, **kwargs: Any) -> Any:
        if before:
            die_here(before)
        result = function(*args, **kwargs)
        if after:
            die_here(after)
        return result

    return called


tasks.timezone = Clock  # type: ignore[misc,assignment]
claim.take = around(claim.take, before="before_claim", after="after_claim")
transport.Postman.hand_over = around(  # type: ignore[method-assign]
    transport.Postman.hand_over, before="before_hand_over", after="after_answer"
)
