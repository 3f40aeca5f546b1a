"""What each kind of layer is made to stand: life, weights of the mechanisms, water angles, shielding. One table,
validated.

`tables/chemistry.csv` holds one row per kind with its marks and sources; nothing else in the model knows a kind by
name. Lives are months until renewal is sensible (10 % and 90 % points) at the reference duty; `mild` is the column that
no forecast goes beyond, `harsh` is kept for checks. All of it is common practice or judgement and is marked so.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np

from lifecycle.wear.marks import TABLES, TableError
from lifecycle.wear.types import FloatArray, Mark, Mechanism

CHEMISTRY = TABLES / "chemistry.csv"
UNKNOWN_KIND = "unknown"


@dataclass(frozen=True, slots=True)
class Range:
    """10 % and 90 % points."""

    low: float
    high: float

    @property
    def middle(self) -> float:
        """Geometric middle: the median of the lognormal through both points."""
        return math.sqrt(self.low * self.high)


@dataclass(frozen=True, slots=True)
class Angles:
    """Water contact angles in degrees: new, at the end of useful life, and of the bare substrate."""

    new: float
    end: float
    bare: float


@dataclass(frozen=True, slots=True)
class Chemistry:
    """One kind of layer.

    `home` is the orientation on which its life was told (`flat` for paint); `shield` the share of the load that a
    new layer keeps from the one below; `replaces` says that a new layer of the kind ends the old one.
    """

    kind: str
    family: str
    home: str
    months: Range
    mild_months: Range
    upright_mild_months: Range
    harsh_months: Range
    km: Range | None
    weights: tuple[float, ...]
    angles: Angles | None
    shield: float
    thickness_um: float
    replaces: bool
    life_mark: Mark
    life_source: str
    weights_mark: Mark
    weights_source: str
    angle_mark: Mark
    angle_source: str

    def weight_array(self) -> FloatArray:
        """Weights in the order of `Mechanism`, summing to 1."""
        return np.asarray(self.weights, dtype=float)

    def mild_for(self, *, orientation: str) -> Range:
        """The mild column for an orientation: a few kinds last longer upright than flat."""
        return self.mild_months if orientation in ("flat", "screen") else self.upright_mild_months


def _number(row: Mapping[str, str], column: str, where: str) -> float:
    try:
        number = float(row[column])
    except ValueError as error:
        raise TableError(f"{where}: {column} is {row[column]!r}; write a number.") from error
    if not math.isfinite(number) or number < 0:
        raise TableError(f"{where}: {column} is {row[column]!r}; write a finite number, 0 or more.")
    return number


def _range(row: Mapping[str, str], name: str, where: str) -> Range:
    low, high = _number(row, f"{name}_low", where), _number(row, f"{name}_high", where)
    if not 0 < low <= high:
        raise TableError(f"{where}: {name} {low:g} to {high:g}; write 0 < low <= high.")
    return Range(low, high)


def _mark(row: Mapping[str, str], column: str, where: str) -> Mark:
    try:
        return Mark(row[column])
    except ValueError as error:
        raise TableError(f"{where}: {column} is {row[column]!r}; use one of {', '.join(Mark)}.") from error


def _angles(row: Mapping[str, str], where: str) -> Angles | None:
    if not row["angle_new"]:
        return None
    angles = Angles(*(_number(row, f"angle_{name}", where) for name in ("new", "end", "bare")))
    if not 0 < angles.bare < angles.end < angles.new < 180:
        raise TableError(f"{where}: angles must rise from bare over end to new, between 0 and 180 degrees.")
    return angles


def _weights(row: Mapping[str, str], where: str) -> tuple[float, ...]:
    weights = tuple(_number(row, f"w_{mechanism}", where) for mechanism in Mechanism)
    if not math.isclose(sum(weights), 1.0, abs_tol=1e-6):
        raise TableError(f"{where}: the weights sum to {sum(weights):g}; make them sum to 1.")
    return tuple(weight / sum(weights) for weight in weights)


def _chemistry(row: Mapping[str, str], where: str) -> Chemistry:
    for column in ("life_source", "weights_source", "angle_source"):
        if not row[column].strip():
            raise TableError(f"{where}: {column} is empty; every figure says where it comes from.")
    mild = _range(row, "mild", where)
    shield = _number(row, "shield", where)
    if shield > 1:
        raise TableError(f"{where}: shield is {shield:g}; write a share from 0 to 1.")
    months = _range(row, "months", where)
    if mild.middle < months.middle:
        raise TableError(f"{where}: the mild column ends before the reference life; check the months.")
    return Chemistry(
        kind=row["kind"],
        family=row["family"],
        home=row["home"],
        months=months,
        mild_months=mild,
        upright_mild_months=_range(row, "upright_mild", where) if row["upright_mild_low"] else mild,
        harsh_months=_range(row, "harsh", where),
        km=_range(row, "km", where) if row["km_low"] else None,
        weights=_weights(row, where),
        angles=_angles(row, where),
        shield=shield,
        thickness_um=_number(row, "thickness_um", where),
        replaces=row["replaces"] == "1",
        life_mark=_mark(row, "life_mark", where),
        life_source=row["life_source"],
        weights_mark=_mark(row, "weights_mark", where),
        weights_source=row["weights_source"],
        angle_mark=_mark(row, "angle_mark", where),
        angle_source=row["angle_source"],
    )


def parse_chemistry(lines: Iterable[str], *, name: str) -> dict[str, Chemistry]:
    """Read the table from CSV lines; `name` stands in the messages.

    Raises:
        TableError: a missing column or cell, a figure out of its bounds, weights that do not sum to 1, a kind twice.
    """
    table: dict[str, Chemistry] = {}
    reader = csv.DictReader(lines)
    for row in reader:
        where = f"{name}, line {reader.line_num}"
        if None in row or None in row.values():
            raise TableError(f"{where}: wrong number of cells; put a text with commas in double quotes.")
        if not row.get("kind"):
            raise TableError(f"{where}: the kind is empty; name it.")
        if row["kind"] in table:
            raise TableError(f"{where}: {row['kind']} stands here twice; keep one row.")
        try:
            table[row["kind"]] = _chemistry(row, f"{where} ({row['kind']})")
        except KeyError as error:
            raise TableError(f"{where}: the column {error} is missing.") from error
    return table


@lru_cache(maxsize=1)
def chemistries() -> Mapping[str, Chemistry]:
    """All kinds by name, read once per process.

    Raises:
        TableError: see `parse_chemistry`.
    """
    with CHEMISTRY.open(encoding="utf-8", newline="") as lines:
        return MappingProxyType(parse_chemistry(lines, name=CHEMISTRY.name))


def chemistry(kind: str) -> Chemistry:
    """One kind.

    Raises:
        KeyError: not in the table; `unknown` is no chemistry.
    """
    try:
        return chemistries()[kind]
    except KeyError:
        raise KeyError(f"{kind!r} is no kind of layer; use one of {', '.join(chemistries())}.") from None
