"""What one cell says: a day, a number, a word. Pure, no Django.

Nothing is mended silently. A cell that can be read in two ways is an error unless a person has said which way holds.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from lifecycle.care.typed import shown

from .refusal import MOST_CELL
from .workbook import Cell

ORDERS: Final = {"dmy": "day, month, year", "mdy": "month, day, year"}
DECIMALS: Final = {"comma": "a comma", "point": "a point"}
ISO: Final = re.compile(r"(\d{4})[-./](\d{1,2})[-./](\d{1,2})(?:[T ]\d{1,2}:\d{2}.*)?")
WRITTEN: Final = re.compile(r"(\d{1,2})\s?[-./]\s?(\d{1,2})\s?[-./]\s?(\d{4})(?:\s+\d{1,2}:\d{2}.*)?")
SHORT_YEAR: Final = re.compile(r"\d{1,2}\s?[-./]\s?\d{1,2}\s?[-./]\s?\d{2}")
PLAIN: Final = re.compile(r"[-+]?\d+")
GROUPED: Final = {
    "comma": re.compile(r"[-+]?(?:\d{1,3}(?:[. '’]\d{3})+|\d+)(?:,\d+)?"),
    "point": re.compile(r"[-+]?(?:\d{1,3}(?:[, '’]\d{3})+|\d+)(?:\.\d+)?"),
}
MONEY: Final = re.compile(r"^(?:€|\$|£|EUR|USD|GBP|CHF|NOK|SEK|DKK)\s*|\s*(?:€|\$|£|EUR|USD|GBP|CHF|NOK|SEK|DKK|,-)$")
EMAIL: Final = re.compile(r"[^@\s\"(),:;<>\[\\\]]{1,64}@(?:[A-Za-z0-9](?:[A-Za-z0-9-]*[A-Za-z0-9])?\.)+[A-Za-z]{2,}")
PHONE: Final = re.compile(r"\+?[\d ()./-]{3,}")
SHEET_ERRORS: Final = frozenset({"#REF!", "#N/A", "#VALUE!", "#DIV/0!", "#NAME?", "#NULL!", "#NUM!"})
YES: Final = frozenset({"yes", "y", "true", "1", "x", "ja", "j", "wahr"})
NO: Final = frozenset({"no", "n", "false", "0", "", "nein", "falsch"})
# Seventeen characters without I, O and Q (ISO 3779, the vehicle identification number; from memory).
VIN: Final = re.compile(r"[A-HJ-NPR-Z0-9]{17}")
FIRST_YEAR, LAST_YEAR = 1950, 2100


class CellError(ValueError):
    """The cell cannot be read; says what is wrong and how to mend it."""


def text(cell: Cell, *, most: int, formula_ok: bool = False) -> str:
    """The words of a cell on one line.

    Raises:
        CellError: too long, control characters, letters lost before, or something that a sheet would run.
    """
    if cell is None:
        return ""
    if isinstance(cell, float):
        said = str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    else:
        said = str(cell)
    if len(said) > MOST_CELL:
        raise CellError(f"has {len(said)} characters; write {most} at most.")
    if any(
        (ord(char) < 32 and char not in "\t\r\n") or ord(char) == 127 or 0xD800 <= ord(char) < 0xE000 for char in said
    ):
        raise CellError("holds a control character; type it anew.")
    said = " ".join(said.split())
    if "\ufffd" in said:
        raise CellError("lost a letter in an earlier save (�); type it anew.")
    if said in SHEET_ERRORS:
        raise CellError(f"{said} is an error of the sheet; mend its formula and save again.")
    if said[:1] in ("=", "@") or (said[:1] in ("+", "-") and not formula_ok):
        raise CellError("begins like a formula; put the value there, without = + - or @ before it.")
    if len(said) > most:
        raise CellError(f"has {len(said)} characters; write {most} at most.")
    return said


def _day(year: int, month: int, day: int) -> date:
    if not 1 <= month <= 12:
        raise CellError(f"{month} is no month; is it {ORDERS['dmy']} or {ORDERS['mdy']}?")
    try:
        found = date(year, month, day)
    except ValueError as error:
        name = date(2000, month, 1).strftime("%B")
        raise CellError(f"there is no {day} {name} {year}; give the right day.") from error
    if not FIRST_YEAR <= year < LAST_YEAR:
        raise CellError(f"the year {year} is not between {FIRST_YEAR} and {LAST_YEAR}.")
    return found


def day(cell: Cell, *, order: str) -> date | None:
    """A day. A time of day behind it is left out.

    Args:
        order: dmy or mdy for days written like 3/4/2025; "" where nobody said.

    Raises:
        CellError: no day, one that does not exist, or one that can be read two ways.
    """
    if isinstance(cell, date):
        return _day(cell.year, cell.month, cell.day)
    if isinstance(cell, (int, float)):
        raise CellError("is a number, not a day; format the column as a date, or write 2025-03-31.")
    said = (cell or "").strip()
    if not said:
        return None
    if len(said) > 40 or not said.isascii():
        raise CellError("is no day; write it like 2025-03-31.")
    if found := ISO.fullmatch(said):
        return _day(int(found[1]), int(found[2]), int(found[3]))
    if found := WRITTEN.fullmatch(said):
        if order not in ORDERS:
            raise CellError("can be read as day or month first; say which order holds.")
        first, second, year = int(found[1]), int(found[2]), int(found[3])
        return _day(year, second, first) if order == "dmy" else _day(year, first, second)
    if SHORT_YEAR.fullmatch(said):
        raise CellError("has a year of two digits; write all four, like 2025-03-31.")
    raise CellError("is no day; write it like 2025-03-31.")


def number(cell: Cell, *, decimal: str) -> Decimal | None:
    """A number, with the currency taken off.

    Args:
        decimal: comma or point, what parts the decimals; "" where nobody said.

    Raises:
        CellError: no number, or one that can be read two ways.
    """
    if isinstance(cell, (bool, date)):
        raise CellError("is no number; write it like 112 or 4.5.")
    if isinstance(cell, (int, float)):
        found = Decimal(repr(cell))
        if not found.is_finite():
            raise CellError("is no number; write it like 112 or 4.5.")
        return found
    said = MONEY.sub("", (cell or "").strip().replace("\u00a0", " ").replace("\u202f", " ")).strip()
    if not said:
        return None
    if len(said) > 40 or not said.replace("’", "'").isascii():
        raise CellError("is no number; write it like 112 or 4.5.")
    if PLAIN.fullmatch(said):
        return Decimal(said)
    if decimal not in DECIMALS:
        raise CellError("may have a decimal comma or a point for thousands; say which holds.")
    if not GROUPED[decimal].fullmatch(said):
        raise CellError(f"is no number with {DECIMALS[decimal]} before the decimals; write it like 112 or 4.5.")
    bare = re.sub(r"[ '’]", "", said)
    bare = bare.replace(".", "").replace(",", ".") if decimal == "comma" else bare.replace(",", "")
    try:
        return Decimal(bare)
    except InvalidOperation as error:  # never met: the pattern above is one of numbers
        raise CellError("is no number; write it like 112 or 4.5.") from error


def flag(cell: Cell) -> bool | None:
    """Yes or no; None where the cell is empty."""
    if isinstance(cell, bool):
        return cell
    said = text(cell, most=20).lower()
    if not said:
        return None
    if said in YES or said in NO:
        return said in YES
    raise CellError("is neither yes nor no; write yes or no.")


def email(cell: Cell) -> str:
    """An e-mail address in small letters."""
    said = text(cell, most=254).lower()
    if said and not EMAIL.fullmatch(said):
        raise CellError("is no e-mail address; write it like name@example.org, one to a cell.")
    return said


def phone(cell: Cell) -> str:
    said = text(cell, most=40, formula_ok=True)
    if said and not PHONE.fullmatch(said):
        raise CellError("is no phone number; write digits, spaces and one + before them.")
    return said


def zone(cell: Cell) -> str:
    said = text(cell, most=64)
    try:
        if said:
            ZoneInfo(said)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise CellError("is no time zone; write it like Europe/Oslo.") from error
    return said


def vin(cell: Cell) -> str:
    """A vehicle identification number, in capitals and without gaps."""
    said = text(cell, most=40).upper().replace(" ", "").replace("-", "")
    if said and not VIN.fullmatch(said):
        raise CellError("is no vehicle identification number: it has 17 characters, never I, O or Q.")
    return said


def word(cell: Cell, allowed: Iterable[str], also: dict[str, str]) -> str:
    """One of the allowed words, whatever its case; `also`: other words for them."""
    said = text(cell, most=60)
    if not said:
        return ""
    plain = said.casefold().replace("_", " ").replace("-", " ")
    names = {name.casefold().replace("_", " "): name for name in allowed}
    found = names.get(plain) or also.get(plain)
    if not found:
        raise CellError(f"is not known; use one of {', '.join(names)}.")
    return found


def quoted(cell: Cell) -> str:
    """The cell as it stands beside its error."""
    return "" if cell is None else shown(str(cell)[:200], 60)
