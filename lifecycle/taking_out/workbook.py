"""One list as an XLSX file (openpyxl), such that no cell is a formula and no sheet is too long."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain, islice
from tempfile import TemporaryFile
from typing import Any, Final

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell

MOST_ROWS: Final = 1_048_576  # of a sheet; the rest goes on in the next one
MOST_TEXT: Final = 32_767  # characters of a cell
CUT: Final = " … (cut here: {length} characters in all, the CSV and the zip hold the whole)"
CHUNK: Final = 1 << 18
# What no XML may hold, and what looks like the way to write it (ECMA-376 part 1, ST_Xstring: _x0001_).
FORBIDDEN: Final = re.compile("[\x00-\x08\x0b\x0c\x0d\x0e-\x1f\ufffe\uffff\ud800-\udfff]|_(?=x[0-9A-Fa-f]{4}_)")


def _text(value: str) -> str:
    if len(value) > MOST_TEXT:
        end = CUT.format(length=len(value))
        value = value[: MOST_TEXT - len(end)] + end
    return FORBIDDEN.sub(lambda found: f"_x{ord(found.group()):04X}_", value)


def _cell(sheet: Any, value: Any) -> Any:
    """Numbers and truth values as they are; a text is a text, whatever it begins with."""
    if not isinstance(value, str):
        return value
    made = WriteOnlyCell(sheet, _text(value))
    made.data_type = "s"
    return made


def workbook(title: str, head: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[bytes]:
    """The bytes of an XLSX file, a piece at a time; rows wait on the disk meanwhile, not in memory.

    Args:
        title: of the sheet, 25 characters at most.  head: the first row of every sheet.
        rows: of texts, numbers, truth values and None.
    """
    book, waiting, count = Workbook(write_only=True), iter(rows), 0
    first: Sequence[Any] | None = next(waiting, None)
    while count == 0 or first is not None:
        count += 1
        sheet: Any = book.create_sheet(title if count == 1 else f"{title} ({count})")
        sheet.append(list(head))
        here = () if first is None else chain((first,), islice(waiting, MOST_ROWS - 2))
        for row in here:
            sheet.append([_cell(sheet, value) for value in row])
        first = next(waiting, None)
    with TemporaryFile() as file:
        book.save(file)
        file.seek(0)
        while chunk := file.read(CHUNK):
            yield chunk
