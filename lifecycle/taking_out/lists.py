"""One table as CSV or XLSX, a piece at a time, such that no sheet takes a text of it for a formula."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from lifecycle import journal
from lifecycle.errors import DomainError
from lifecycle.models import Studio
from lifecycle.taking_out.moment import one_moment
from lifecycle.taking_out.registry import Table, table, tables
from lifecycle.taking_out.values import cell
from lifecycle.taking_out.workbook import workbook

AT_ONCE: Final = 500
TYPES: Final = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


@dataclass(frozen=True, slots=True)
class ListRow:
    """A list as the page shows it; `columns` are names with their sentences."""

    name: str
    title: str
    says: str
    columns: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Outgoing:
    """What is handed out: its bytes come a piece at a time, and reading them asks the database."""

    name: str
    kind: str
    pieces: Iterator[bytes]


def lists() -> tuple[tuple[str, tuple[ListRow, ...]], ...]:
    """Every list by its group, in the order of `tables.csv`. Asks no database."""
    groups: dict[str, list[ListRow]] = {}
    for one in tables():
        columns = tuple((column.name, column.says) for column in one.columns)
        groups.setdefault(one.group, []).append(ListRow(one.name, one.title, one.says, columns))
    return tuple((name, tuple(rows)) for name, rows in groups.items())


def take_list(*, studio: Studio, name: str, form: str, actor: str, at: datetime) -> Outgoing:
    """Hand out one table of the studio. The journal says so before the first byte leaves.

    Args:
        name: of `tables.csv`.  form: "csv" or "xlsx".

    Raises:
        DomainError: no such list or form.
    """
    wanted = table(name)
    if form not in TYPES:
        raise DomainError(f"form: {form!r} is neither csv nor xlsx.", field="form")
    journal.record(
        studio=studio, actor=actor, at=at, verb="list taken out", subject="studio", subject_id=studio.pk,
        table=name, form=form,
    )  # fmt: skip
    write: Callable[[Table, Studio], Iterator[bytes]] = _csv if form == "csv" else _xlsx
    return Outgoing(f"{studio.slug}-{name}-{studio.day(at):%Y-%m-%d}.{form}", TYPES[form], write(wanted, studio))


def _rows(wanted: Table, studio: Studio) -> Generator[list[Any], None, None]:
    names = [column.name for column in wanted.columns]
    for row in wanted.rows(studio).values_list(*names).iterator(chunk_size=AT_ONCE):
        yield [cell(value) for value in row]


def _csv(wanted: Table, studio: Studio) -> Iterator[bytes]:
    """RFC 4180 with a mark of UTF-8 before it: texts in quotes, numbers not, nothing at all where there is no value."""
    yield b"\xef\xbb\xbf" + _csv_line([column.name for column in wanted.columns]).encode()
    held: list[str] = []
    with one_moment(), closing(_rows(wanted, studio)) as rows:
        for row in rows:
            held.append(_csv_line(row))
            if len(held) == AT_ONCE:
                yield "".join(held).encode()
                held.clear()
    yield "".join(held).encode()


def _csv_line(values: Sequence[Any]) -> str:
    return ",".join(map(_csv_cell, values)) + "\r\n"


def _csv_cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace('"', '""') + '"'
    return str(value)


def _xlsx(wanted: Table, studio: Studio) -> Iterator[bytes]:
    with one_moment(), closing(_rows(wanted, studio)) as rows:
        yield from workbook(wanted.name, [column.name for column in wanted.columns], rows)
