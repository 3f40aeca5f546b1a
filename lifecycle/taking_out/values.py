"""Values on their way out and back: lossless for the zip, and such that no sheet takes them for a formula for lists."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import models

from lifecycle.taking_out.registry import Column

# What a sheet may take for the start of a formula (OWASP, "CSV Injection"; from memory), and the sign that is put
# before it. Not only at the start of a text: a sheet that expects another separator cuts the text there.
STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
CUTS: Final = (";", "|", '"', "\t", "\r", "\n")
SIGN: Final = "'"
_FRONT: Final = f"(^|[{re.escape(''.join(CUTS))}])"
# A sign that stands there already gets another one, so that taking one away always gives the text back.
_UNSAFE: Final = re.compile(f"{_FRONT}(?=[{re.escape(''.join((*STARTS, SIGN)))}])")
_SAFE: Final = re.compile(f"{_FRONT}{SIGN}")
LARGEST: Final = 2**53  # whole numbers up to here are exact in every program that reads JSON


def safe(text: str) -> str:
    """The text with an apostrophe wherever a sheet would take what follows for a formula: at its start, and after a
    semicolon, bar, quote, tab or new line."""
    return _UNSAFE.sub(rf"\1{SIGN}", text)


def unsafe(text: str) -> str:
    """The reverse of `safe`."""
    return _SAFE.sub(r"\1", text)


def stamp(value: datetime) -> str:
    """A moment in UTC, like 2026-03-02T09:00:00Z; parts of a second only where there are some."""
    return value.astimezone(UTC).isoformat().replace("+00:00", "Z")


def lossless(value: Any) -> Any:
    """A value of the database as JSON holds it: days, moments, exact decimals and ids as text."""
    if isinstance(value, datetime):
        return stamp(value)
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, Decimal | UUID):
        return str(value)
    return value


def json_text(value: Any) -> str:
    """One way only to write a value: names in order, no spaces."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def line(columns: Sequence[Column], row: Sequence[Any]) -> bytes:
    """A row as a line of JSON."""
    values = {column.name: lossless(value) for column, value in zip(columns, row, strict=True)}
    return json_text(values).encode() + b"\n"


def cell(value: Any) -> str | int | float | Decimal | bool | None:
    """A value for a list: numbers stay numbers, everything else is a text that no sheet reckons with."""
    if value is None or isinstance(value, bool | int | Decimal):
        return value
    if isinstance(value, float):
        return value if value - value == 0 else str(value)  # not a number, or without end: a text
    if isinstance(value, list | dict):
        return safe(json_text(value))
    return safe(str(lossless(value)))


_KINDS: Final[Mapping[str, type | tuple[type, ...]]] = {
    "BooleanField": bool, "FloatField": (int, float), "DecimalField": str, "DateField": str, "DateTimeField": str,
    "TimeField": str, "UUIDField": str, "CharField": str, "TextField": str, "FileField": str, "SlugField": str,
}  # fmt: skip


def back(column: Column, value: Any) -> Any:
    """The value that `lossless` wrote, as the field wants it.

    Raises:
        ValueError: it is no value of this column; says why.
    """
    field: Any = column.field
    field = field.target_field if field.is_relation else field
    if value is None:
        if not column.field.null:
            raise ValueError("is empty and may not be")
        return None
    if isinstance(field, models.JSONField):
        return value
    kind = _KINDS.get(field.get_internal_type(), int)
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        raise ValueError(f"holds {type(value).__name__}, which does not belong there")
    if isinstance(value, int) and not -LARGEST < value < LARGEST:
        raise ValueError("is too large a number")
    longest = field.max_length if isinstance(field, models.CharField | models.FileField) else None
    if longest and len(str(value)) > longest:
        raise ValueError(f"is longer than {longest} characters")
    try:
        return field.to_python(value)
    except ValidationError as error:
        raise ValueError(" ".join(error.messages)) from error
