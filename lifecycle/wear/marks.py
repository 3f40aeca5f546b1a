"""Figures that carry their range, unit, mark and source, read from small tables open to argument."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

from lifecycle.wear.types import Mark

TABLES = Path(__file__).with_name("tables")
PARAMETERS = TABLES / "parameters.csv"
COLUMNS = ("key", "value", "low", "high", "unit", "mark", "source")


class TableError(ValueError):
    """A table cannot be used; the message names the file, the line and what to write instead."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure with its plausible range (`low <= value <= high`), unit ("1" where none), mark and source."""

    value: float
    low: float
    high: float
    unit: str
    mark: Mark
    source: str


def _number(row: Mapping[str, str], column: str, where: str) -> float:
    try:
        number = float(row[column])
    except ValueError as error:
        raise TableError(f"{where}: {column} is {row[column]!r}; write a number.") from error
    if not math.isfinite(number):
        raise TableError(f"{where}: {column} is {row[column]!r}; write a finite number.")
    return number


def _figure(row: Mapping[str, str], where: str) -> Figure:
    value, low, high = (_number(row, column, where) for column in ("value", "low", "high"))
    if not low <= value <= high:
        raise TableError(f"{where}: low {low:g} <= value {value:g} <= high {high:g} does not hold; correct the range.")
    try:
        mark = Mark(row["mark"])
    except ValueError as error:
        known = ", ".join(known.value for known in Mark)
        raise TableError(f"{where}: mark is {row['mark']!r}; use one of {known}.") from error
    for column in ("unit", "source"):
        if not row[column].strip():
            raise TableError(f"{where}: {column} is empty; every figure says its {column}.")
    return Figure(value, low, high, row["unit"], mark, row["source"])


def parse_figures(lines: Iterable[str], *, name: str) -> dict[str, Figure]:
    """Read figures from CSV lines with the columns of `COLUMNS`; `name` stands in the messages.

    Raises:
        TableError: wrong columns, a cell that is not a number, low > value or value > high, an unknown mark, an empty
            unit or source, or a key twice.
    """
    reader = csv.DictReader(lines)
    if tuple(reader.fieldnames or ()) != COLUMNS:
        raise TableError(f"{name}, line 1: columns are {reader.fieldnames}; write {','.join(COLUMNS)}.")
    figures: dict[str, Figure] = {}
    for row in reader:
        where = f"{name}, line {reader.line_num}"
        if None in row or None in row.values():
            raise TableError(f"{where}: not {len(COLUMNS)} cells; put a text with commas in double quotes.")
        key = row["key"].strip()
        if not key:
            raise TableError(f"{where}: the key is empty; name the figure.")
        if key in figures:
            raise TableError(f"{where}: {key} stands here twice; keep one row.")
        figures[key] = _figure(row, f"{where} ({key})")
    return figures


@lru_cache(maxsize=16)
def load_figures(path: Path = PARAMETERS) -> Mapping[str, Figure]:
    """All figures of one table, by key, validated and read once per process.

    Raises:
        TableError: see `parse_figures`.
        FileNotFoundError: no such table.
    """
    with path.open(encoding="utf-8", newline="") as lines:
        return MappingProxyType(parse_figures(lines, name=path.name))


def parameter(key: str, *, path: Path = PARAMETERS) -> Figure:
    """The figure `key` of a table (default: parameters.csv).

    Raises:
        KeyError: no such key; the message names the table.
        TableError: see `parse_figures`.
    """
    try:
        return load_figures(path)[key]
    except KeyError:
        raise KeyError(f"{key!r} is not in {path.name}; add a row with its mark and source.") from None


def value(key: str, *, path: Path = PARAMETERS) -> float:
    """Short for `parameter(key).value`."""
    return parameter(key, path=path).value


def ladder(prefix: str, *, path: Path = PARAMETERS) -> tuple[tuple[float, float], ...]:
    """The rows `prefix.<number>` of a table as sorted (number, value) points, for interpolation.

    Raises:
        KeyError: no row with that prefix.
    """
    points = sorted(
        (float(key[len(prefix) + 1 :]), figure.value)
        for key, figure in load_figures(path).items()
        if key.startswith(f"{prefix}.")
    )
    if not points:
        raise KeyError(f"No rows {prefix}.* in {path.name}.")
    return tuple(points)
