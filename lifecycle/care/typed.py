"""Numbers as people and gauges write them. Pure, no Django."""

from __future__ import annotations

import re
from typing import Final

UM_PER_MIL: Final = 25.4  # the international inch of 25.4 mm (1959), divided by a thousand
NUMBER: Final = re.compile(r"\d{1,6}(?:[.,]\d{1,6})?")
PARTS: Final = re.compile(r"\s*;\s*|,\s+|\s+")
MOST_VALUES: Final = 20


def number(text: str) -> float:
    """A number that is not below zero, with a decimal point or comma.

    Raises:
        ValueError: what is wrong and how to mend it.
    """
    said = text.strip()
    if said[:1] in ("-", "−"):
        raise ValueError(f"{shown(said)} lies below zero; zero the gauge on bare metal and read again.")
    if not said.isascii() or not NUMBER.fullmatch(said):
        raise ValueError(f"{shown(said)} is not a number; write it like 112 or 4.5.")
    if re.fullmatch(r"\d{1,3},\d{3,}", said):
        raise ValueError(f"{shown(said)} may be two values or one; part values by a space, or write a decimal point.")
    return float(said.replace(",", "."))


def numbers(text: str) -> list[tuple[str, float]]:
    """The numbers of a field, parted by spaces, semicolons, or a comma and a space: (as typed, value).

    Raises:
        ValueError: a part is no number, or there are too many.
    """
    parts = [part for part in PARTS.split(text.strip()) if part]
    if len(parts) > MOST_VALUES:
        raise ValueError(f"{len(parts)} values are too many for one field; {MOST_VALUES} at most.")
    return [(part, number(part)) for part in parts]


def to_um(value: float, unit: str) -> float:
    """µm of a thickness in `um` or `mil`; 1 mil = 25.4 µm exactly."""
    return round(value * UM_PER_MIL, 6) if unit == "mil" else value


def shown(text: str, most: int = 30) -> str:
    """Foreign text for a message: no control characters, cut to a sane length, in quotation marks."""
    plain = "".join(char if char.isprintable() else "�" for char in text)
    return f"“{plain[: most - 1]}…”" if len(plain) > most else f"“{plain}”"
