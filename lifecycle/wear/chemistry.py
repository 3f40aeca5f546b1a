"""What each kind of layer is made to stand: life, weights of the mechanisms, water angles, shielding. One table,
validated.

`tables/chemistry.csv` holds one row per kind with its marks and sources; nothing else in the model knows a kind by
name. Lives are months until renewal is sensible (10 % and 90 % points) at the reference duty; `mild` is the column that
no forecast goes beyond, `harsh` is kept for checks. All of it is common practice or judgement and is marked so.

Every cell is a figure `layer.<kind>.<column>` that a studio may replace, for itself or for one product. A weight that
it sets keeps its value and the others share what is left in their old proportion, so that a kind's weights sum to 1.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np

from lifecycle.wear.marks import TABLES, Figure, TableError, active
from lifecycle.wear.types import FloatArray, Mark, Mechanism

CHEMISTRY = TABLES / "chemistry.csv"
UNKNOWN_KIND = "unknown"
# A lognormal's median lies at the geometric middle of its ends; rounding may move it this much.
MIDDLE_TOLERANCE = 0.02
RANGES = {"months": "months", "mild": "months", "harsh": "months", "upright_mild": "months", "km": "km"}
ANGLE_COLUMNS = ("angle_new", "angle_end", "angle_bare")
OTHERS = {"shield": "1", "thickness_um": "µm"}
ENDS = ("low", "high")
# Whose figure marks the whole group of a row.
MARKED = {"months": "life", **dict.fromkeys(ANGLE_COLUMNS, "angle")}


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


def _judged(row: Mapping[str, str], where: str) -> None:
    """Spread, range, mark and source of what is not a life."""
    for column in ("w_spread", *(("angle_spread",) if row["angle_new"] else ())):
        if not _number(row, column, where) > 0:
            raise TableError(f"{where}: {column} is 0; nothing here is known exactly.")
    for name, column in (("shield", "shield"), ("thickness", "thickness_um")):
        value, low, high = _number(row, column, where), *(_number(row, f"{name}_{end}", where) for end in ENDS)
        if not low <= value <= high:
            raise TableError(f"{where}: {name} {low:g} <= {value:g} <= {high:g} does not hold; correct the range.")
        _mark(row, f"{name}_mark", where)
        if not row[f"{name}_source"].strip():
            raise TableError(f"{where}: {name}_source is empty; every figure says where it comes from.")


def _chemistry(row: Mapping[str, str], where: str) -> Chemistry:
    for column in ("life_source", "weights_source", "angle_source"):
        if not row[column].strip():
            raise TableError(f"{where}: {column} is empty; every figure says where it comes from.")
    mild = _range(row, "mild", where)
    shield = _number(row, "shield", where)
    if shield > 1:
        raise TableError(f"{where}: shield is {shield:g}; write a share from 0 to 1.")
    _judged(row, where)
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
def _rows() -> Mapping[str, tuple[str, Mapping[str, str]]]:
    """Rows of the shipped table as text, by kind, with the place to name in messages."""
    with CHEMISTRY.open(encoding="utf-8", newline="") as lines:
        reader = csv.DictReader(lines)
        return {row["kind"]: (f"{CHEMISTRY.name}, line {reader.line_num} ({row['kind']})", row) for row in reader}


@lru_cache(maxsize=1)
def _shipped() -> Mapping[str, Chemistry]:
    with CHEMISTRY.open(encoding="utf-8", newline="") as lines:
        return MappingProxyType(parse_chemistry(lines, name=CHEMISTRY.name))


def _own(kind: str, product: str) -> dict[str, Figure]:
    """The studio's figures of one kind by column, those of the product before those of the studio."""
    start, overrides = f"layer.{kind}.", active()
    found = {**overrides.figures, **overrides.products.get(product, {})}
    return {key[len(start) :]: figure for key, figure in found.items() if key.startswith(start)}


def _reweighted(row: Mapping[str, str], own: Mapping[str, Figure], where: str) -> dict[str, str]:
    columns = [f"w_{mechanism}" for mechanism in Mechanism]
    mine = {column: own[column].value for column in columns if column in own}
    others = {column: float(row[column]) for column in columns if column not in own}
    left, rest = 1.0 - sum(mine.values()), sum(others.values())
    if left < -1e-9 or (rest <= 0 and not math.isclose(left, 0.0, abs_tol=1e-6)):
        raise TableError(f"{where}: the weights that were set sum to {1.0 - left:g}; together they may take 1 at most.")
    scale = max(left, 0.0) / rest if rest > 0 else 0.0
    mine.update({column: weight * scale for column, weight in others.items()})
    return {column: repr(weight) for column, weight in mine.items()}


def _replaced(row: Mapping[str, str], own: Mapping[str, Figure], where: str) -> dict[str, str]:
    """A row of the table with a studio's figures in it, as text, so that it passes the same checks."""
    new = dict(row)
    for column, figure in own.items():
        group = MARKED.get(column, "weights" if column.startswith("w_") else "")
        if column in RANGES:
            if figure.low <= 0 or abs(math.log(figure.value**2 / (figure.low * figure.high))) > 2 * MIDDLE_TOLERANCE:
                middle = math.sqrt(max(figure.low * figure.high, 0.0))
                raise TableError(
                    f"{where}: {column} {figure.value:g} is not the middle of {figure.low:g} to {figure.high:g}; "
                    f"the median of such a range is {middle:.3g}."
                )
            new[f"{column}_low"], new[f"{column}_high"] = repr(figure.low), repr(figure.high)
        else:
            new[column] = repr(figure.value)
        if group:
            new[f"{group}_mark"], new[f"{group}_source"] = figure.mark.value, figure.source
    if any(column.startswith("w_") for column in own):
        new.update(_reweighted(row, own, where))
    return new


def chemistries(*, product: str = "") -> Mapping[str, Chemistry]:
    """All kinds by name: the table, read once per process, with the studio's own figures where it has any.

    Args:
        product: name of a product whose own figures stand before those of the studio.

    Raises:
        TableError: see `parse_chemistry`; or a studio's figure does not fit into its row.
    """
    overrides = active()
    if not overrides.digest:
        return _shipped()
    product = product if product in overrides.products else ""
    key = ("chemistry", product)
    if key not in overrides.derived:
        made = dict(_shipped())
        for kind, (where, row) in _rows().items():
            own = _own(kind, product)
            if own:
                made[kind] = _chemistry(_replaced(row, own, where), where)
        overrides.derived[key] = MappingProxyType(made)
    found: Mapping[str, Chemistry] = overrides.derived[key]
    return found


def chemistry(kind: str, *, product: str = "") -> Chemistry:
    """One kind, with the figures of a product where the studio has set any.

    Raises:
        KeyError: not in the table; `unknown` is no chemistry.
    """
    known = chemistries(product=product)
    try:
        return known[kind]
    except KeyError:
        raise KeyError(f"{kind!r} is no kind of layer; use one of {', '.join(known)}.") from None


def _spread_figure(value: float, spread: float, *, unit: str, mark: str, source: str, most: float) -> Figure:
    low, high = round(max(value - spread, 0.0), 9), round(min(value + spread, most), 9)
    return Figure(value, low, high, unit, Mark(mark), source)


def _row_figures(row: Mapping[str, str]) -> dict[str, Figure]:
    """The figures of one shipped row by column."""
    found: dict[str, Figure] = {}
    for column, unit in RANGES.items():
        if row[f"{column}_low"]:
            low, high = float(row[f"{column}_low"]), float(row[f"{column}_high"])
            middle = math.sqrt(low * high)
            found[column] = Figure(middle, low, high, unit, Mark(row["life_mark"]), row["life_source"])
    for mechanism in Mechanism:
        found[f"w_{mechanism}"] = _spread_figure(
            float(row[f"w_{mechanism}"]),
            float(row["w_spread"]),
            unit="1",
            mark=row["weights_mark"],
            source=row["weights_source"],
            most=1.0,
        )
    for column in ANGLE_COLUMNS if row["angle_new"] else ():
        found[column] = _spread_figure(
            float(row[column]),
            float(row["angle_spread"]),
            unit="deg",
            mark=row["angle_mark"],
            source=row["angle_source"],
            most=180.0,
        )
    for column, unit in OTHERS.items():
        name = column.removesuffix("_um")
        found[column] = Figure(
            float(row[column]),
            float(row[f"{name}_low"]),
            float(row[f"{name}_high"]),
            unit,
            Mark(row[f"{name}_mark"]),
            row[f"{name}_source"],
        )
    return found


@lru_cache(maxsize=1)
def _shipped_figures() -> Mapping[str, Figure]:
    return MappingProxyType(
        {
            f"layer.{kind}.{column}": figure
            for kind, (_, row) in _rows().items()
            for column, figure in _row_figures(row).items()
        }
    )


def layer_figures(*, product: str = "") -> dict[str, Figure]:
    """All figures of the layer kinds, by `layer.<kind>.<column>`, the studio's own in their place.

    A weight that was not set but made room for one that was shows the share that it is left with.
    """
    found = dict(_shipped_figures())
    table = chemistries(product=product)
    for kind in _rows():
        own = _own(kind, product)
        found.update({f"layer.{kind}.{column}": figure for column, figure in own.items()})
        if any(column.startswith("w_") for column in own):
            for mechanism, weight in zip(Mechanism, table[kind].weights, strict=True):
                key = f"layer.{kind}.w_{mechanism}"
                if f"w_{mechanism}" not in own:
                    old = found[key]
                    found[key] = Figure(
                        weight, min(old.low, weight), max(old.high, weight), old.unit, old.mark, old.source
                    )
    return found
