"""`manage.py cycle`: the whole cycle once, with progress and a summary."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from lifecycle import tasks
from lifecycle.management.demo.when import last_morning
from lifecycle.models import LIVE_DUE, Assessment, CareDue, Message, Reminder


class Command(BaseCommand):
    help = "Run the whole cycle once: climate, forecast, care due, visits, reminders, delivery."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--at", help="work as if it were this time, e.g. 2026-03-02T09:00:00+01:00")
        parser.add_argument("--morning", action="store_true", help="work as if it were the last 10:00 UTC")

    def handle(self, *args: Any, **options: Any) -> None:
        at = _aware(options["at"]) if options["at"] else timezone.now()
        if options["morning"]:
            at = last_morning(at)
        number = 0

        def told(step: tasks.Step, counts: Mapping[str, int]) -> None:
            nonlocal number
            number += 1
            width = len(tasks.STEPS)
            bar = "=" * number + "." * (width - number)
            said = ", ".join(f"{name.replace('_', ' ')} {count}" for name, count in counts.items())
            self.stdout.write(f"[{bar}] {number:2}/{width}  {step.says:<36} {said}")
            sys.stdout.flush()

        tasks.run_all(at=at, told=told)
        self._summary()

    def _summary(self) -> None:
        self.stdout.write("")
        self.stdout.write(f"Vehicles assessed    {Assessment.objects.filter(latest=True).count()}")
        today = timezone.localdate()
        known = CareDue.objects.filter(state__in=LIVE_DUE)
        open_now = known.filter(earliest__lte=today).count()
        self.stdout.write(f"Care windows open    {open_now} (and {known.count() - open_now} that open later)")
        states = Counter(Message.objects.values_list("state", flat=True))
        listed = ", ".join(f"{state.replace('_', ' ')} {count}" for state, count in sorted(states.items()))
        self.stdout.write(f"Messages written     {sum(states.values())}{f' ({listed})' if listed else ''}")
        skipped = Counter(Reminder.objects.filter(state="skipped").values_list("reason_code", flat=True))
        later = skipped.pop("first_comes_first", 0)
        self.stdout.write(f"Follow-ups to come   {later}")
        self.stdout.write(f"Reminders not sent   {sum(skipped.values())}, because:")
        for code, count in skipped.most_common():
            self.stdout.write(f"  {count:5}  {code.replace('_', ' ')}")


def _aware(text: str) -> datetime:
    try:
        at = parse_datetime(text)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        raise CommandError(f"--at: {text!r} is not a time with a zone; write it as 2026-03-02T09:00:00+01:00.")
    return at
