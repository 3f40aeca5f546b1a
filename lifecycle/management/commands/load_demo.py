"""`manage.py load_demo`: an invented studio with two years of history, told relative to today."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from lifecycle.errors import DomainError
from lifecycle.management.demo.load import load
from lifecycle.management.demo.when import last_morning
from lifecycle.models import Studio


class Command(BaseCommand):
    help = "Load the invented demo studio into an empty database."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--today", type=date.fromisoformat, metavar="YYYY-MM-DD", help="the day it is in the demo")
        parser.add_argument("--if-empty", action="store_true", help="do nothing where there is a studio already")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["if_empty"] and Studio.objects.exists():
            self.stdout.write("There is a studio already; nothing was loaded.")
            return
        today = options["today"] or last_morning(timezone.now()).date()
        try:
            counts = load(today=today)
        except DomainError as error:
            raise CommandError(error.message) from error
        self.stdout.write(
            "Demo studio loaded: " + ", ".join(f"{number} {what}" for what, number in counts.items()) + "."
        )
