"""Reads for the pages about imported lists; scoped to a studio, with queries that do not grow with the rows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from lifecycle.care.find import one
from lifecycle.care.import_work import KINDS, UNDO_DAYS, WAIT_DAYS
from lifecycle.care.importing import columns_of, look_at
from lifecycle.care.imports.columns import consent_columns, wrong_columns
from lifecycle.care.imports.detect import Look, words_of
from lifecycle.care.imports.fields import FIELDS, Field
from lifecycle.care.imports.refusal import FileRefused
from lifecycle.models import (
    WAITING_IMPORTS,
    WORKING_IMPORTS,
    ImportFile,
    ImportKind,
    ImportRow,
    ImportState,
    Studio,
    Verdict,
)

PAGE: Final = 50
MOST_FILES: Final = 100


@dataclass(frozen=True, slots=True)
class ImportView:
    """A file with where it stands. `until`: when it is put away, or until when it can be taken back."""

    id: int
    kind: str
    kind_words: str
    name: str
    state: str
    state_words: str
    state_at: datetime
    made_at: datetime
    rows: int
    new: int
    changed: int
    same: int
    wrong: int
    progress: int
    note: str
    how: tuple[tuple[str, str], ...]
    until: datetime | None
    working: bool
    waiting: bool
    undoable: bool

    @property
    def does_something(self) -> bool:
        return bool(self.new or self.changed)


@dataclass(frozen=True, slots=True)
class RowView:
    """What one row would do: from and to for each field, or what is wrong with which cell."""

    line: int
    verdict: str
    words: str
    key: str
    changes: tuple[tuple[str, str, str], ...]
    errors: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class RowPage:
    rows: tuple[RowView, ...]
    number: int
    pages: int
    total: int


@dataclass(frozen=True, slots=True)
class Column:
    """A column of the file with its heading, some of its cells, and the field it is taken for ("": left out)."""

    number: int
    heading: str
    sample: tuple[str, ...]
    field: str
    consent: bool


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be said about a waiting file. `refused`: why it cannot be read at all, then nothing else holds."""

    refused: str
    look: Look | None
    columns: tuple[Column, ...]
    fields: tuple[Field, ...]
    consent: tuple[str, ...]
    wrong: tuple[str, ...]


def kinds() -> tuple[tuple[str, str], ...]:
    """What lists can hold, as (code, words)."""
    return tuple((kind.value, str(kind.label)) for kind in ImportKind if kind.value in KINDS)


def fields_of(kind: str) -> tuple[Field, ...]:
    """What the columns of a kind of list can hold."""
    return FIELDS[kind]


def _view(row: Any) -> ImportView:
    until = None
    if row.state in WAITING_IMPORTS:
        until = row.state_at + timedelta(days=WAIT_DAYS)
    elif row.state == ImportState.DONE and row.done_at is not None and row.forgotten_at is None:
        until = row.done_at + timedelta(days=UNDO_DAYS)
    return ImportView(
        id=row.pk, kind=row.kind, kind_words=str(row.get_kind_display()), name=row.name, state=row.state,
        state_words=str(row.get_state_display()), state_at=row.state_at, made_at=row.made_at, rows=row.rows,
        new=row.new, changed=row.changed, same=row.same, wrong=row.wrong, progress=row.progress, note=row.note,
        how=words_of(row.how), until=until, working=row.state in WORKING_IMPORTS, waiting=row.state in WAITING_IMPORTS,
        undoable=row.state == ImportState.DONE and row.forgotten_at is None,
    )  # fmt: skip


def imports(studio: Studio) -> tuple[ImportView, ...]:
    """The newest files of the studio; one query."""
    return tuple(_view(row) for row in ImportFile.objects.of(studio)[:MOST_FILES])


def import_file(studio: Studio, import_id: int) -> ImportView:
    """One file; one query.

    Raises:
        NotFoundHere: it is not of this studio.
    """
    return _view(one(ImportFile, studio, import_id))


def asked(studio: Studio, import_id: int) -> Asked:
    """What is still to be said about a file, with samples of it; one query, and the file itself is read.

    Raises:
        NotFoundHere: it is not of this studio.
    """
    file = one(ImportFile, studio, import_id)
    try:
        seen = look_at(file)
    except FileRefused as error:
        return Asked(str(error), None, (), (), (), ())
    chosen = columns_of(file)
    spoken = set(consent_columns(seen.headings))
    columns = tuple(
        Column(
            number, heading, tuple(row[number - 1] for row in seen.sample if number <= len(row)),
            chosen.get(number, ""), heading in spoken,
        )
        for number, heading in enumerate(seen.headings, 1)
    )  # fmt: skip
    wrong = wrong_columns(file.kind, seen.headings, chosen)
    return Asked("", seen, columns, FIELDS[file.kind], consent_columns(seen.headings), wrong)


def _row(row: Any) -> RowView:
    return RowView(
        line=row.line, verdict=row.verdict, words=str(row.get_verdict_display()), key=row.key,
        changes=tuple((a, b, c) for a, b, c in row.changes), errors=tuple((a, b, c) for a, b, c in row.errors),
    )  # fmt: skip


def rows(studio: Studio, import_id: int, *, verdict: str = "", page: int = 1) -> RowPage:
    """What the rows of a file would do, some at a time; three queries.

    Args:
        verdict: only these; "" for all.

    Raises:
        NotFoundHere: the file is not of this studio.
    """
    file = one(ImportFile, studio, import_id)
    found = ImportRow.objects.filter(file=file)
    if verdict in Verdict.values:
        found = found.filter(verdict=verdict)
    total = found.count()
    pages = max(1, -(-total // PAGE))
    number = min(max(page, 1), pages)
    return RowPage(tuple(_row(row) for row in found[(number - 1) * PAGE : number * PAGE]), number, pages, total)


def errors(studio: Studio, import_id: int) -> Iterator[tuple[int, str, str, str]]:
    """(row, column, value, what is wrong and how to mend it) of every cell in error.

    Raises:
        NotFoundHere: the file is not of this studio.
    """
    file = one(ImportFile, studio, import_id)
    wrong = ImportRow.objects.filter(file=file, verdict__in=(Verdict.ERROR, Verdict.STANDS))
    for line, found in wrong.values_list("line", "errors").iterator(chunk_size=2_000):
        for column, value, says in found:
            yield line, column, value, says
