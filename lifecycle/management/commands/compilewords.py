"""Write the .mo files of all languages from their .po files; needs no gettext tools."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from lifecycle.management.catalogues import CatalogueError, catalogues, read_po, to_mo
from lifecycle.reminders.house import setting


class Command(BaseCommand):
    help = __doc__ or ""

    def handle(self, *args: Any, **options: Any) -> None:
        base = setting("BASE_DIR")
        for path in catalogues(base):
            try:
                entries = read_po(path)
            except CatalogueError as error:
                raise CommandError(str(error)) from error
            path.with_suffix(".mo").write_bytes(to_mo(entries))
            self.stdout.write(f"{path.relative_to(base)}: {len(entries)} texts")
