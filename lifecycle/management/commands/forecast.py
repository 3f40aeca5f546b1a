"""`manage.py forecast --file scenario.json [--json]`: forecast and care due for one vehicle in a file. No database."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from lifecycle.care.answer import answer_file, decode, table_lines
from lifecycle.wear.strict import ScenarioError

WRONG_FILE = 2


class Command(BaseCommand):
    """Answer a scenario file; a wrong one gives one line on stderr with the path of the field, and status 2."""

    help = "Forecast wear and care due for the vehicle in a scenario file (JSON). Reads and writes no database."
    requires_system_checks: list[str] = []  # noqa: RUF012 (declared so by Django; no checks: no database is needed)
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        """`--file` and `--json`."""
        parser.add_argument("--file", required=True, help="the scenario file; - reads standard input")
        parser.add_argument("--json", action="store_true", help="print JSON instead of a table")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the answer."""
        name = str(options["file"])
        try:
            raw = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
            answer = answer_file(decode(raw), folder=Path() if name == "-" else Path(name).parent)
        except ScenarioError as error:
            self._refuse(str(error))
        except (OSError, ValueError) as error:
            said = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
            self._refuse(f"{name}: {said}")
        if options["json"]:
            self.stdout.write(json.dumps(answer, ensure_ascii=False, indent=1))
        else:
            self.stdout.write("\n".join(table_lines(answer)))

    def _refuse(self, said: str) -> None:
        self.stderr.write(" ".join(said.split()))
        raise SystemExit(WRONG_FILE)
