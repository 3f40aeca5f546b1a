"""How fast a list comes in, beside bare pandas reading the same bytes, and what memory it takes.

    python tests/bench/imports.py [rows] [file, like customers.csv; all of them without]

Invents customers, vehicles and layers, in a database of its own in memory, and brings each list in as CSV and the
customers as XLSX too: dry run, recording, taking back. Prints seconds of the clock and of the processor, rows a second
of the processor, the ratio to `pandas.read_csv` or `pandas.read_excel` of the same file, and by how much the peak of
resident memory grew.
"""

from __future__ import annotations

import csv
import io
import os
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ["SHEENWARD_MODE"] = "test"
os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
os.environ["DATABASE_URL"] = "sqlite://:memory:"

import django
from django.conf import settings
from django.core.management import call_command
from django.db import connection

PRODUCTS = ("C36", "C18", "B4")
SURFACES = ("bonnet", "roof", "tailgate", "doors_left", "doors_right")


def text_of(rows: list[list[Any]]) -> bytes:
    kept = io.StringIO()
    csv.writer(kept, delimiter=";").writerows(rows)
    return kept.getvalue().encode()


def workbook_of(rows: list[list[Any]]) -> bytes:
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    sheet = book.create_sheet()
    for row in rows:
        sheet.append(row)
    kept = io.BytesIO()
    book.save(kept)
    return kept.getvalue()


def people(count: int) -> list[list[Any]]:
    head = ["number", "name", "email", "phone", "language", "customer since"]
    return [head] + [
        [f"K{n}", f"Person {n} Halvarsen", f"p{n}@example.org", f"+47 {n:08d}", "en", f"2024-03-{n % 28 + 1:02d}"]
        for n in range(count)
    ]


def cars(count: int) -> list[list[Any]]:
    head = ["vehicle number", "plate", "customer number", "description", "body", "size", "colour", "first seen"]
    return [head] + [
        [f"V{n}", f"T{n:06d}", f"K{n}", "grey estate", "estate", "M", "mid", "2024-03-13"] for n in range(count)
    ]


def layers(count: int) -> list[list[Any]]:
    head = ["vehicle number", "surface", "product", "applied", "coats"]
    return [head] + [
        [f"V{n // 5}", SURFACES[n % 5], PRODUCTS[n % 3], f"2024-0{n % 9 + 1}-15", 1 + n % 2] for n in range(count)
    ]


def timed(doing: Callable[[], Any]) -> tuple[float, float]:
    """Seconds of the clock and of the processor."""
    start, cpu = time.perf_counter(), time.process_time()
    doing()
    return time.perf_counter() - start, time.process_time() - cpu


def bare(data: bytes) -> float:
    """Processor seconds of pandas alone for the same bytes, as text."""
    import pandas as pd

    if data.startswith(b"PK"):
        return timed(lambda: pd.read_excel(io.BytesIO(data), dtype=str))[1]
    return min(timed(lambda: pd.read_csv(io.BytesIO(data), sep=";", dtype=str))[1] for _ in range(3))


def resident_mb() -> float:
    """The highest resident memory of this process so far; Linux counts in kilobytes."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000


def bring(studio: Any, kind: str, data: bytes, name: str, *, back: bool) -> None:
    from lifecycle.care import importing
    from lifecycle.care.import_work import import_files
    from lifecycle.models import ImportFile
    from tests.factories import NOW

    who: dict[str, Any] = {"studio": studio, "actor": "member:1", "at": NOW}
    alone, before = bare(data), resident_mb()
    took = {}

    def step(verb: Callable[..., Any], name: str, state: str) -> None:
        verb(import_id=file.pk, **who)
        took[name] = timed(lambda: import_files(at=NOW))
        found = ImportFile.objects.get(pk=file.pk)
        assert found.state == state, (name, found.state, found.note, found.wrong)

    file = importing.receive_file(kind=kind, upload=data, name=name, **who)
    step(importing.look_through, "dry run", "checked")
    step(importing.apply_import, "recorded", "done")
    if back:
        step(importing.take_import_back, "taken back", "undone")
    rows = ImportFile.objects.get(pk=file.pk).rows
    both = took["dry run"][1] + took["recorded"][1]
    said = ", ".join(f"{name} {clock:.1f} s ({cpu:.1f} s of the processor)" for name, (clock, cpu) in took.items())
    print(
        f"{name}: {rows} rows, {len(data) / 1e6:.1f} MB; {said}; {rows / both:.0f} rows/s, dry run and recording "
        f"{both / alone:.0f} times bare pandas ({alone:.2f} s); peak of memory + {resident_mb() - before:.0f} MB",
        flush=True,
    )


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    django.setup()
    with tempfile.TemporaryDirectory() as folder:
        settings.STORAGES["default"] = {
            "BACKEND": "django.core.files.storage.FileSystemStorage", "OPTIONS": {"location": folder},
        }  # fmt: skip
        connection.creation.create_test_db(verbosity=0)
        call_command("check")
        from tests.factories import ProductFactory, SiteFactory, StudioFactory

        studio = StudioFactory()
        SiteFactory(studio=studio)
        for code, kind in zip(PRODUCTS, ("ceramic_mid", "ceramic_entry", "booster"), strict=True):
            ProductFactory(studio=studio, code=code, kind=kind)
        lists: list[tuple[str, Callable[[list[list[Any]]], bytes], Callable[[int], list[list[Any]]]]] = [
            ("customers.xlsx", workbook_of, people), ("customers.csv", text_of, people),
            ("vehicles.csv", text_of, cars), ("layers.csv", text_of, layers),
        ]  # fmt: skip
        for name, form, rows in lists:
            if name in (sys.argv[2:] or [name]):
                kept = name in ("customers.csv", "vehicles.csv") and not sys.argv[2:]  # the next list rests on it
                bring(studio, name.partition(".")[0], form(rows(count)), name, back=not kept)


if __name__ == "__main__":
    main()
