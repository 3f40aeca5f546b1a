"""Figures that carry their range, unit, mark and source, read from small tables open to argument.

A studio may put its own figure in the place of one of the tables, for itself or for one of its products. Its figures
hold inside `overridden(...)`, in the thread or task that entered it and nowhere else.
"""

from __future__ import annotations

import csv
import hashlib
import math
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from lifecycle.wear.types import Mark

TABLES = Path(__file__).with_name("tables")
PARAMETERS = TABLES / "parameters.csv"
WEAR = TABLES / "wear.csv"
CORRECTION = TABLES / "correction.csv"
# Every table of this folder with the columns below; the layer kinds have a table of their own form.
STUDIO_TABLES = tuple(sorted(path for path in TABLES.glob("*.csv") if path.name != "chemistry.csv"))
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
def _shipped(path: Path) -> Mapping[str, Figure]:
    with path.open(encoding="utf-8", newline="") as lines:
        return MappingProxyType(parse_figures(lines, name=path.name))


@dataclass(frozen=True, slots=True, eq=False)
class Overrides:
    """Figures of one studio that stand for those of the tables, by key; `products` holds those of single products, by
    the product's name in `LayerInput.product`. `digest` is "" where there are none and differs where any differs.

    `derived` keeps tables worked out from these figures, so that they live and die with them.
    """

    figures: Mapping[str, Figure]
    products: Mapping[str, Mapping[str, Figure]]
    digest: str
    derived: dict[Any, Any] = field(default_factory=dict, repr=False)

    def table(self, path: Path) -> Mapping[str, Figure]:
        """A shipped table with the studio's figures in it."""
        found: Mapping[str, Figure] | None = self.derived.get(path)
        if found is None:
            found = _shipped(path)
            if self.figures and path in STUDIO_TABLES:
                own = {key: figure for key, figure in self.figures.items() if key in found}
                found = MappingProxyType({**found, **own})
            self.derived[path] = found
        return found


def checked_figure(figure: Figure, *, key: str) -> Figure:
    """A figure that did not come from a table, held to the same rules.

    Raises:
        TableError: not finite, not low <= value <= high, or without a source.
    """
    if not all(math.isfinite(number) for number in (figure.value, figure.low, figure.high)):
        raise TableError(f"{key}: value, low and high must be finite numbers.")
    if not figure.low <= figure.value <= figure.high:
        says = f"low {figure.low:g} <= value {figure.value:g} <= high {figure.high:g} does not hold"
        raise TableError(f"{key}: {says}; correct the range.")
    if not figure.source.strip():
        raise TableError(f"{key}: the source is empty; every figure says where it comes from.")
    return figure


def _digest(figures: Mapping[str, Figure], products: Mapping[str, Mapping[str, Figure]]) -> str:
    lines = [repr(("", key, figure)) for key, figure in figures.items()]
    lines += [repr((product, key, figure)) for product, own in products.items() for key, figure in own.items()]
    return hashlib.sha256("\n".join(sorted(lines)).encode()).hexdigest() if lines else ""


def make_overrides(
    figures: Mapping[str, Figure], *, products: Mapping[str, Mapping[str, Figure]] | None = None
) -> Overrides:
    """Overrides for `overridden`. Keys and what belongs together are checked by `figures.check_overrides`.

    Raises:
        TableError: see `checked_figure`.
    """
    by_product = {product: dict(own) for product, own in (products or {}).items() if own}
    for own in (figures, *by_product.values()):
        for key, figure in own.items():
            checked_figure(figure, key=key)
    return Overrides(MappingProxyType(dict(figures)), MappingProxyType(by_product), _digest(figures, by_product))


NO_OVERRIDES = make_overrides({})
_ACTIVE: ContextVar[Overrides] = ContextVar("lifecycle.wear figures of a studio", default=NO_OVERRIDES)


def active() -> Overrides:
    """The overrides that hold here and now."""
    return _ACTIVE.get()


@contextmanager
def overridden(given: Overrides | Mapping[str, Figure]) -> Iterator[Overrides]:
    """Let a studio's figures stand for those of the tables inside the block, in this thread or task only.

    They replace those of an outer block. Whatever is kept between calls must be keyed by `active().digest` or kept in
    `active().derived`, so that no cache serves one studio's figures to another.

    Raises:
        TableError: see `checked_figure`.
    """
    overrides = given if isinstance(given, Overrides) else make_overrides(given)
    token = _ACTIVE.set(overrides)
    try:
        yield overrides
    finally:
        _ACTIVE.reset(token)


def load_figures(path: Path = PARAMETERS) -> Mapping[str, Figure]:
    """All figures of one table, by key: validated and read once per process, the studio's own in their place.

    Raises:
        TableError: see `parse_figures`.
        FileNotFoundError: no such table.
    """
    return _ACTIVE.get().table(path)


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
