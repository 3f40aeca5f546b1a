"""The rows of a file as values of fields, each trouble with row, column, value and how to mend it. Pure, no Django."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from . import cells
from .detect import settled_headings
from .fields import FIELDS, Field
from .table import lines_of
from .workbook import Cell

MOST_ERRORS_A_ROW: Final = 20


@dataclass(frozen=True, slots=True)
class Trouble:
    """One cell that cannot be taken: the heading of its column, the value as it stands, what is wrong."""

    column: str
    value: str
    says: str

    def as_list(self) -> list[str]:
        return [self.column, self.value, self.says]


@dataclass(slots=True)
class Row:
    """One row. `values` holds the fields whose cell is not empty; `titles`: field -> heading of its column."""

    line: int
    values: dict[str, Any]
    troubles: list[Trouble] = field(default_factory=list)
    titles: Mapping[str, str] = field(default_factory=dict)

    def trouble(self, name: str, says: str) -> None:
        """Something is wrong with the value of a field, found later."""
        value = self.values.get(name)
        self.troubles.append(
            Trouble(self.titles.get(name, name), cells.quoted(None if value is None else str(value)), says)
        )


def _reader(field: Field, how: Mapping[str, str]) -> Callable[[Cell], Any]:
    order, decimal = how.get("dates", ""), how.get("decimal", "")
    readers: dict[str, Callable[[Cell], Any]] = {
        "text": lambda cell: cells.text(cell, most=field.most),
        "email": cells.email,
        "phone": cells.phone,
        "zone": cells.zone,
        "vin": cells.vin,
        "flag": cells.flag,
        "day": lambda cell: cells.day(cell, order=order),
        "number": lambda cell: cells.number(cell, decimal=decimal),
        "word": lambda cell: cells.word(cell, field.words, field.also),
    }
    return readers[field.form]


def read_rows(data: bytes, *, kind: str, how: Mapping[str, str], columns: Mapping[int, str]) -> Iterator[Row]:
    """Read the rows below the headings.

    Args:
        how, columns: as answered; nothing of them may be open any more.

    Raises:
        FileRefused: malformed somewhere on the way.
    """
    by_name = {one.name: one for one in FIELDS[kind]}
    header = int(how.get("header", "0"))
    headings: tuple[str, ...] = ()
    readers = [(number - 1, name, _reader(by_name[name], how)) for number, name in sorted(columns.items())]
    titles: dict[str, str] = {}
    for line in lines_of(data, how):
        if not titles and line.number >= header:
            headings = settled_headings(line, header)
            titles = {name: headings[n] if n < len(headings) else f"Column {n + 1}" for n, name, _ in readers}
        if line.number <= header:
            continue
        row = Row(line.number, {}, [], titles)
        beyond = [cell for cell in line.cells[len(headings) :] if cell is not None and str(cell).strip()]
        if beyond and header:
            row.troubles.append(
                Trouble(
                    "", cells.quoted(beyond[0]), "stands beyond the last heading; is a delimiter too many in this row?"
                )
            )
        for place, name, read in readers:
            _take(row, name, line.cells[place] if place < len(line.cells) else None, read, titles)
        yield row


def _take(row: Row, name: str, cell: Cell, read: Callable[[Cell], Any], titles: Mapping[str, str]) -> None:
    try:
        value = read(cell)
    except cells.CellError as error:
        if len(row.troubles) < MOST_ERRORS_A_ROW:
            row.troubles.append(Trouble(titles[name], cells.quoted(cell), str(error)))
        return
    if value is not None and value != "":
        row.values[name] = value
