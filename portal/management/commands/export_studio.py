"""`manage.py export_studio SLUG FILE.zip`: a whole studio as a zip that `restore_studio` brings back."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from lifecycle.errors import DomainError
from lifecycle.taking_out import packing
from lifecycle.taking_out.reads import studio_called
from lifecycle.taking_out.zip_reading import missing

ACTOR = "command"


class Command(BaseCommand):
    help = "Take a whole studio out as a zip: every table, photos, data sheets, and a README of the columns."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("slug", help="short name of the studio")
        parser.add_argument("file", type=Path, help="the zip; it is not there yet")

    def handle(self, *args: Any, **options: Any) -> None:
        target: Path = options["file"]
        if target.exists():
            raise CommandError(f"{target} is there already; name another file.")
        try:
            studio = studio_called(options["slug"])
            going = packing.take_studio(studio=studio, actor=ACTOR, at=timezone.now())
        except DomainError as error:
            raise CommandError(error.message) from error
        # Under another name until it is whole, and readable by nobody else: it holds every customer's data.
        part = target.with_name(target.name + ".part")
        try:
            with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
                file.writelines(going.pieces)
            os.replace(part, target)
        except OSError as error:
            raise CommandError(
                f"The studio cannot be taken out to {target}: {error}. Nothing is left of it."
            ) from error
        finally:
            part.unlink(missing_ok=True)
        for name in missing(target):
            self.stdout.write(f"Gone already, so not in the zip: {name}")
        self.stdout.write(f"{studio} is in {target} ({target.stat().st_size:,} bytes). Keep it as a secret.")
