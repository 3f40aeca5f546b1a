"""`manage.py work`: the same steps as Celery's, in one process and with no broker."""

from __future__ import annotations

import signal
import threading
from types import FrameType
from typing import Any

import structlog
from django.core.management.base import BaseCommand, CommandParser
from django.db import close_old_connections
from django.utils import timezone

from lifecycle import tasks

log = structlog.get_logger("sheenward.work")


class Command(BaseCommand):
    help = "Keep the cycle going on one machine without a broker. Stop it with Ctrl-C."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--once", action="store_true", help="run the steps whose time has come, then stop")
        parser.add_argument("--pause", type=float, default=10.0, help="seconds between two looks at the clock")

    def handle(self, *args: Any, **options: Any) -> None:
        stop = threading.Event()

        def ask_to_stop(number: int, frame: FrameType | None) -> None:
            stop.set()

        if threading.current_thread() is threading.main_thread() and not options["once"]:
            signal.signal(signal.SIGTERM, ask_to_stop)
            signal.signal(signal.SIGINT, ask_to_stop)
        while not stop.is_set():
            close_old_connections()
            for name in tasks.due_steps(timezone.now()):
                if stop.is_set():
                    break
                try:
                    tasks.run(name)
                except Exception:
                    # The heartbeat carries the error and the health page shows it; the other steps must go on.
                    log.warning("step will be tried again", step=name)
            if options["once"]:
                break
            stop.wait(options["pause"])
