"""`manage.py verify_reports [--studio SLUG]`: are all sealed reports still what was sealed?"""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from lifecycle.care.reports.check import Difference, check_studio
from lifecycle.models import Report, Studio


class Command(BaseCommand):
    help = (
        "Recompute every digest and the chain, compare rows and photo files with the sealed text, and name whatever "
        "differs. Exit code 1 where anything does."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--studio", help="the short name of one studio; all of them without")

    def handle(self, *args: Any, **options: Any) -> None:
        studios = Studio.objects.order_by("pk")
        if options["studio"]:
            studios = studios.filter(slug=options["studio"])
            if not studios:
                raise CommandError(f"There is no studio {options['studio']!r}.")
        differences = 0
        for studio in studios:
            here = 0
            for found in check_studio(studio):
                if isinstance(found, Difference):
                    here += 1
                    self.stdout.write(f"{studio.slug}: {found.words()}")
                else:
                    self.stdout.write(f"{studio.slug}: note: {found.words()}")
            count = Report.objects.filter(studio=studio).count()
            head = Report.objects.filter(studio=studio).order_by("-number").first()
            newest = f"; newest digest {head.digest}" if head else ""
            self.stdout.write(f"{studio.slug}: {count} sealed, {here} differences{newest}")
            differences += here
        if differences:
            raise CommandError(f"{differences} differences; the lines above name each.", returncode=1)
