"""XLSX workbooks of strangers: checked as an archive before anything in them is read. Pure, no Django.

Only cell values are read. Formulas count by the value that was last saved; macros, links to other files and pictures
are never looked at.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterator
from datetime import date, datetime, time
from typing import Any, Final

from .refusal import MOST_COLUMNS, MOST_ENTRIES, MOST_RATIO, MOST_SHEETS, MOST_UNPACKED, RATIO_FROM, FileRefused

Cell = str | int | float | bool | date | None
NEEDED: Final = ("[Content_Types].xml", "xl/workbook.xml")
# An XLSX needs no document type; with one, a small text can unfold into gigabytes.
DOCTYPES: Final = tuple("<!DOCTYPE".encode(name) for name in ("utf-8", "utf-16-le", "utf-16-be"))
CHUNK: Final = 1 << 18
OLD: Final = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
SAVE_ANEW: Final = "Save the list once more as XLSX, or as CSV (UTF-8)."


def is_workbook(data: bytes) -> bool:
    """Whether the bytes begin like an archive; then it can only be a workbook."""
    return data.startswith(b"PK")


def refuse_old(data: bytes) -> None:
    """Raises FileRefused for the older binary format, which is also that of workbooks with a password."""
    if data.startswith(OLD):
        raise FileRefused("This is an old XLS file, or one with a password. Save it as XLSX without a password.")


def _unpacked(archive: zipfile.ZipFile, part: zipfile.ZipInfo, most: int) -> int:
    """Bytes that a part really unpacks to; what its entry says may be a lie."""
    size, tail = 0, b""
    is_xml = part.filename.lower().endswith((".xml", ".rels", ".vml"))
    with archive.open(part) as stream:
        while chunk := stream.read(CHUNK):
            size += len(chunk)
            if size > most:
                raise FileRefused(
                    f"Unpacked, this workbook is larger than {MOST_UNPACKED // 1_000_000} MB. {SAVE_ANEW}"
                )
            if size > RATIO_FROM and size > MOST_RATIO * max(part.compress_size, 1):
                raise FileRefused(
                    f"A part of this workbook unpacks to more than {MOST_RATIO} times its size. {SAVE_ANEW}"
                )
            if is_xml and any(mark in tail + chunk for mark in DOCTYPES):
                raise FileRefused(f"This workbook declares a document type, which no workbook needs. {SAVE_ANEW}")
            tail = chunk[-32:]
    return size


def check_workbook(data: bytes) -> None:
    """Refuse an archive that is no workbook, or one made to fill memory.

    Raises:
        FileRefused: see above.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
            names = {part.filename for part in parts}
            if len(parts) > MOST_ENTRIES or len(names) != len(parts):
                raise FileRefused(f"This archive has too many parts, or two of one name. {SAVE_ANEW}")
            if any(part.flag_bits & 1 for part in parts):
                raise FileRefused("This archive has a password. Save the list without one.")
            if not all(name in names for name in NEEDED):
                raise FileRefused(f"By its content this is no XLSX workbook. {SAVE_ANEW}")
            left = MOST_UNPACKED
            for part in parts:
                left -= _unpacked(archive, part, left)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, EOFError, OSError) as error:
        raise FileRefused(f"The workbook is damaged or cut off. {SAVE_ANEW}") from error


def _open(data: bytes) -> Any:
    """The workbook, checked beforehand. Whatever the reader stumbles over is the file's fault."""
    from openpyxl import load_workbook

    try:
        return load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False, keep_vba=False)
    except Exception as error:
        raise FileRefused(f"The workbook cannot be read. {SAVE_ANEW}") from error


def sheets_of(data: bytes) -> tuple[str, ...]:
    """Names of the sheets that can be seen and hold cells.

    Raises:
        FileRefused: there is none, or there are too many.
    """
    book = _open(data)
    try:
        shown = [sheet for sheet in book.worksheets if getattr(sheet, "sheet_state", "visible") == "visible"]
        if len(shown) > MOST_SHEETS:
            raise FileRefused(f"This workbook has {len(shown)} sheets; {MOST_SHEETS} at most.")
        return tuple(sheet.title for sheet in shown)
    finally:
        book.close()


def _value(value: Any) -> Cell:
    if isinstance(value, datetime):
        return value.date() if value.time() == time(0) else value.isoformat(sep=" ")
    if value is None or isinstance(value, (str, bool, int, float, date)):
        return value
    return str(value)


def sheet_rows(data: bytes, sheet: str) -> Iterator[tuple[int, tuple[Cell, ...]]]:
    """(row number, cells) of a sheet, empty rows too.

    Raises:
        FileRefused: no such sheet, too many columns, or damaged cells.
    """
    book = _open(data)
    try:
        if sheet not in book.sheetnames:
            raise FileRefused("There is no sheet of that name.")
        table = book[sheet]
        table.reset_dimensions()  # what the file says of its size may be a lie
        rows = table.iter_rows(max_col=MOST_COLUMNS + 1, values_only=True)
        for number, cells in enumerate(rows, 1):
            if len(cells) > MOST_COLUMNS and cells[MOST_COLUMNS] is not None:
                raise FileRefused(f"Row {number} has more than {MOST_COLUMNS} columns. Keep those that are needed.")
            yield number, tuple(_value(cell) for cell in cells[:MOST_COLUMNS])
    except FileRefused:
        raise
    except Exception as error:  # damaged XML, impossible dates, unknown types: all in a stranger's file
        raise FileRefused(f"The sheet “{sheet[:40]}” cannot be read. {SAVE_ANEW}") from error
    finally:
        book.close()
