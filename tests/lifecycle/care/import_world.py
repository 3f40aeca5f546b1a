"""A studio, lists as text, and the way of a list from its arrival to the record."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import pytest
from openpyxl import Workbook

from lifecycle.care import importing
from lifecycle.care.import_work import import_files
from lifecycle.models import ImportFile, Studio
from tests.factories import NOW

WHO: dict[str, Any] = {"actor": "member:1", "at": NOW}


@pytest.fixture
def stored(settings, tmp_path):
    """Files of this test lie in a folder of its own."""
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {"BACKEND": "django.core.files.storage.FileSystemStorage", "OPTIONS": {"location": tmp_path}},
    }
    return tmp_path


def csv_of(*rows: Sequence[Any], sep: str = ";") -> bytes:
    return "\n".join(sep.join(str(cell) for cell in row) for row in rows).encode()


def workbook(*rows: Sequence[Any], sheets: int = 1) -> bytes:
    book = Workbook()
    for number in range(sheets):
        sheet = book.active if number == 0 else book.create_sheet()
        for row in rows:
            sheet.append(list(row))
    kept = io.BytesIO()
    book.save(kept)
    return kept.getvalue()


def receive(studio: Studio, kind: str, data: bytes, **answers: str) -> ImportFile:
    """The file with its answers, looked through."""
    file = importing.receive_file(studio=studio, kind=kind, upload=data, name="list.csv", **WHO)
    if answers:
        importing.answer(studio=studio, import_id=file.pk, answers=answers, **WHO)
    importing.look_through(studio=studio, import_id=file.pk, **WHO)
    work()
    return fresh(file)


def work(at=NOW) -> dict[str, int]:
    return dict(import_files(at=at))


def fresh(file: ImportFile) -> ImportFile:
    return ImportFile.objects.get(pk=file.pk)


def record(file: ImportFile) -> ImportFile:
    importing.apply_import(studio=file.studio, import_id=file.pk, **WHO)
    work()
    return fresh(file)


def bring(studio: Studio, kind: str, data: bytes, **answers: str) -> ImportFile:
    """The whole way; the file must be without an error."""
    file = receive(studio, kind, data, **answers)
    assert file.wrong == 0, list(file.dry_run.values_list("line", "errors"))
    return record(file) if file.new or file.changed else file


def take_back(file: ImportFile) -> ImportFile:
    importing.take_import_back(studio=file.studio, import_id=file.pk, **WHO)
    work()
    return fresh(file)


def errors(file: ImportFile) -> list[tuple[int, str, str, str]]:
    return [(line, *cell) for line, found in file.dry_run.values_list("line", "errors") for cell in found]
