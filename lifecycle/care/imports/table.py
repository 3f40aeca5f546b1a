"""The lines of a file, whatever its form. Pure, no Django."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from .encodings import text_of
from .refusal import MOST_COLUMNS, MOST_ROWS, FileRefused
from .workbook import Cell, is_workbook, sheet_rows

DELIMITERS: Final = {"semicolon": ";", "comma": ",", "tab": "\t", "bar": "|", "none": "\x1f"}
DELIMITER_WORDS: Final = {
    "semicolon": "semicolons", "comma": "commas", "tab": "tabs", "bar": "upright bars", "none": "nothing: one column",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the table with the number of its first line in the file (or its row in the sheet), from 1."""

    number: int
    cells: tuple[Cell, ...]


def _csv_lines(text: str, delimiter: str) -> Iterator[Line]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=DELIMITERS[delimiter], strict=True)
    before = 0
    while True:
        try:
            cells = next(reader, None)
        except csv.Error as error:
            raise FileRefused(_csv_trouble(str(error), before + 1)) from error
        if cells is None:
            return
        yield Line(before + 1, tuple(cells))
        before = reader.line_num


def _csv_trouble(says: str, line: int) -> str:
    if "field limit" in says:
        return f"Line {line} holds a cell of more than {csv.field_size_limit()} characters. Shorten it, or take it out."
    if "unexpected end" in says:
        return f"Line {line}: a quotation mark opens a cell and none closes it. Close it, or take it out."
    return f"Line {line}: a quotation mark stands inside a cell. Write it twice, or take it out."


def _any(cells: tuple[Cell, ...]) -> bool:
    return any(cell is not None and (not isinstance(cell, str) or cell.strip()) for cell in cells)


def lines_of(data: bytes, how: Mapping[str, str], *, text: str | None = None) -> Iterator[Line]:
    """The rows that hold anything, in order.

    Args:
        how: encoding and delimiter, or sheet.  text: the decoded text, where it is at hand.

    Raises:
        FileRefused: malformed, too many rows or columns.
    """
    count = 0
    if is_workbook(data):
        rows: Iterator[Line] = (Line(number, cells) for number, cells in sheet_rows(data, how.get("sheet", "")))
    else:
        said = text if text is not None else text_of(data, how.get("encoding", ""))
        rows = _csv_lines(said.removeprefix("\ufeff"), how.get("delimiter", "none"))
    for line in rows:
        if len(line.cells) > MOST_COLUMNS:
            raise FileRefused(f"Line {line.number} has {len(line.cells)} columns; {MOST_COLUMNS} at most.")
        if line.number > 10 * MOST_ROWS:
            raise FileRefused(f"The list goes on beyond row {10 * MOST_ROWS}. Take out the empty rows.")
        if _any(line.cells):
            count += 1
            if count > MOST_ROWS:
                raise FileRefused(f"The list has more than {MOST_ROWS} rows. Split it into several files.")
            yield line


def shown_cell(cell: Cell) -> str:
    """A cell for people to look at: one line, no control characters, cut."""
    text = "" if cell is None else f"{cell:g}" if isinstance(cell, float) else str(cell)
    plain = "".join(char if char.isprintable() else "�" for char in " ".join(text[:200].split()))
    return plain if len(plain) <= 60 else f"{plain[:59]}…"
