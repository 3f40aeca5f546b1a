"""What a file may be at most, and how it is refused. Pure, no Django."""

from __future__ import annotations

from typing import Final

MOST_BYTES: Final = 25_000_000
MOST_ROWS: Final = 100_000
MOST_COLUMNS: Final = 200
MOST_CELL: Final = 4_000  # characters; longer is an error of its row
MOST_SHEETS: Final = 50
MOST_ENTRIES: Final = 2_000
MOST_UNPACKED: Final = 400_000_000
MOST_RATIO: Final = 200  # unpacked to packed, of one part of a workbook; lists reach 10 to 40 (measured on own files)
RATIO_FROM: Final = 5_000_000  # unpacked bytes below which the ratio says nothing


class FileRefused(ValueError):
    """The file as a whole cannot be read; says why and how to mend it."""
