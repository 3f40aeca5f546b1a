"""`manage.py restore_studio FILE.zip`: bring a studio back that was taken out, row for row, all of it or nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from lifecycle.care import house_reads
from lifecycle.errors import DomainError
from lifecycle.taking_out.restoring import restore_studio
from portal.access.invitation import days_it_holds, password_link

ACTOR = "command"


class Command(BaseCommand):
    help = (
        "Bring back a studio from its zip. Nothing is written where anything of it is amiss or its numbers are taken."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="a zip of `manage.py export_studio` or of the page Take out")
        parser.add_argument(
            "--hold",
            action="store_true",
            help="hold its reminders back and switch its webhooks off: for a copy to look at while the original lives. "
            "Do not start the copy's cycle: mails that are written already, and answers about visits, would leave.",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            done = restore_studio(path=options["file"], hold=options["hold"], actor=ACTOR, at=timezone.now())
        except DomainError as error:
            raise CommandError(error.message) from error
        self.stdout.write(f"{done.studio} is back: {done.rows:,} rows and {done.files:,} files.")
        for name in done.missing:
            self.stdout.write(f"Gone already when it was taken out: {name}")
        self.stdout.write(f"Nobody has a password yet. Owners set theirs here, within {days_it_holds()} days, once:")
        for row in house_reads.team(done.studio):
            if row.role == "owner":
                self.stdout.write(f"  {row.name} ({row.email}): {password_link(house_reads.user_of(row))}")
        self.stdout.write("Other members get a link on the page Team. Now run `manage.py verify_reports`.")
