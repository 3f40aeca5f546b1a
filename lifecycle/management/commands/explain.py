"""`manage.py explain vehicle PLATE|NUMBER` and `manage.py explain reminder NUMBER`: the chain with its numbers."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from lifecycle.management.chain import chain, find_vehicle
from lifecycle.models import Reminder


class Command(BaseCommand):
    help = "Print how the service came from climate and habits to a reminder, with every number on the way."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("what", choices=("vehicle", "reminder"))
        parser.add_argument("which", help="a vehicle's plate or number, or a reminder's number")

    def handle(self, *args: Any, **options: Any) -> None:
        which: str = options["which"]
        if options["what"] == "vehicle":
            vehicle = find_vehicle(which)
            if vehicle is None:
                raise CommandError(f"There is no vehicle with plate or number {which!r}.")
            lines = chain(vehicle)
        else:
            reminder = (
                Reminder.objects.select_related("vehicle__studio", "vehicle__site").filter(pk=which).first()
                if which.isdecimal()
                else None
            )
            if reminder is None:
                raise CommandError(f"There is no reminder {which!r}; numbers stand on the studio's reminder page.")
            lines = chain(reminder.vehicle, only=reminder)
        for line in lines:
            self.stdout.write(line)
