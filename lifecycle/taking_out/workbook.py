"""A workbook written while its rows are read: nothing is held but one batch of them.

The library that reads workbooks here (openpyxl) writes to a file first and hands out the first byte when the last row
is done, which for a large table is longer than a proxy waits. Form of the parts: ECMA-376 part 1, SpreadsheetML
(published).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from typing import Any, Final
from xml.sax.saxutils import escape
from zipfile import ZIP_DEFLATED

from lifecycle.taking_out.pipe import ZipPipe

MOST_ROWS: Final = 1_048_576  # of a sheet; the rest goes on in the next one
MOST_TEXT: Final = 32_767  # characters of a cell
CUT: Final = " … (cut here: {length} characters in all, the CSV and the zip hold the whole)"
AT_ONCE: Final = 500
HEAD: Final = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
MAIN: Final = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
OFFICE: Final = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE: Final = "http://schemas.openxmlformats.org/package/2006"
TYPE: Final = "application/vnd.openxmlformats-officedocument.spreadsheetml"
# What no XML may hold, and what looks like the way to write it (ST_Xstring: _x0001_).
FORBIDDEN: Final = re.compile("[\x00-\x08\x0b\x0c\x0d\x0e-\x1f\ufffe\uffff\ud800-\udfff]|_(?=x[0-9A-Fa-f]{4}_)")


def _text(value: str) -> str:
    if len(value) > MOST_TEXT:
        end = CUT.format(length=len(value))
        value = value[: MOST_TEXT - len(end)] + end
    return escape(FORBIDDEN.sub(lambda found: f"_x{ord(found.group()):04X}_", value))


def _cell(value: str | int | float | Decimal | bool | None) -> str:
    if value is None:
        return "<c/>"
    if isinstance(value, bool):
        return f'<c t="b"><v>{int(value)}</v></c>'
    if isinstance(value, int | float | Decimal):
        return f"<c><v>{value}</v></c>"
    return f'<c t="inlineStr"><is><t xml:space="preserve">{_text(value)}</t></is></c>'


def _row(values: Iterable[Any]) -> str:
    return f"<row>{''.join(_cell(value) for value in values)}</row>"


def workbook(title: str, head: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[bytes]:
    """The bytes of an XLSX file, a piece at a time.

    Args:
        title: of the sheet, 25 characters at most.  head: the first row of every sheet.
        rows: of texts, numbers, truth values and None.
    """
    pipe, count, waiting = ZipPipe(), 0, iter(rows)
    first: Sequence[Any] | None = next(waiting, None)
    while count == 0 or first is not None:
        count += 1
        with pipe.member(f"xl/worksheets/sheet{count}.xml", ZIP_DEFLATED) as sheet:
            sheet.write(f'{HEAD}<worksheet xmlns="{MAIN}"><sheetData>{_row(head)}'.encode())
            held, number = [], 1
            while first is not None and number < MOST_ROWS:
                held.append(_row(first))
                number += 1
                first = next(waiting, None)
                if len(held) == AT_ONCE:
                    sheet.write("".join(held).encode())
                    held.clear()
                    yield pipe.taken()
            sheet.write(f"{''.join(held)}</sheetData></worksheet>".encode())
        yield pipe.taken()
    for name, text in _frame(title, count):
        with pipe.member(name, ZIP_DEFLATED) as part:
            part.write((HEAD + text).encode())
    yield pipe.closed()


def _frame(title: str, count: int) -> Iterator[tuple[str, str]]:
    """The parts around the sheets."""
    numbers = range(1, count + 1)
    over = "".join(
        f'<Override PartName="/xl/worksheets/sheet{n}.xml" ContentType="{TYPE}.worksheet+xml"/>' for n in numbers
    )
    yield (
        "[Content_Types].xml",
        (
            f'<Types xmlns="{PACKAGE}/content-types"><Default Extension="rels" '
            'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
            f'<Override PartName="/xl/workbook.xml" ContentType="{TYPE}.sheet.main+xml"/>{over}</Types>'
        ),
    )
    yield (
        "_rels/.rels",
        (
            f'<Relationships xmlns="{PACKAGE}/relationships"><Relationship Id="rId1" Type="{OFFICE}/officeDocument" '
            'Target="xl/workbook.xml"/></Relationships>'
        ),
    )
    sheets = "".join(
        f'<sheet name="{escape(title if n == 1 else f"{title} ({n})")}" sheetId="{n}" r:id="rId{n}"/>' for n in numbers
    )
    yield "xl/workbook.xml", f'<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><sheets>{sheets}</sheets></workbook>'
    parts = "".join(
        f'<Relationship Id="rId{n}" Type="{OFFICE}/worksheet" Target="worksheets/sheet{n}.xml"/>' for n in numbers
    )
    yield "xl/_rels/workbook.xml.rels", f'<Relationships xmlns="{PACKAGE}/relationships">{parts}</Relationships>'
