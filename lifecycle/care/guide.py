"""The care guide of a vehicle's layers: what to do, what to leave, cautions. From `guide.csv`, each line marked."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

from django.utils.translation import gettext

from lifecycle.care.guide_words import TEXTS
from lifecycle.care.tongue.names import layer_name
from lifecycle.care.vehicle_view import SurfaceView
from lifecycle.wear.choices import LAYER_KINDS
from lifecycle.wear.marks import TableError
from lifecycle.wear.types import Mark

SORTS: Final = ("do", "dont", "caution")
TABLE: Final = Path(__file__).with_name("guide.csv")
# Nobody can say how to care for what nobody knows: the gentle wash and the cautions hold.
UNKNOWN: Final = ("wash_two_buckets", "rinse_first", "no_polish", "no_strong_cleaner", "sheet_first", "drain")


@dataclass(frozen=True, slots=True)
class Advice:
    """One line of the guide for the kinds of layer that it concerns."""

    key: str
    sort: str
    kinds: frozenset[str]
    mark: Mark
    source: str

    @property
    def text(self) -> str:
        """In the language that is active."""
        return str(TEXTS[self.key])

    @property
    def origin(self) -> str:
        """Mark and source in the language that is active."""
        return f"{gettext(self.mark)}: {gettext(self.source)}"


@dataclass(frozen=True, slots=True)
class LayerGuide:
    """What one kind of layer asks for, and where it lies."""

    kind: str
    layer: str
    surfaces: tuple[str, ...]
    do: tuple[Advice, ...]
    dont: tuple[Advice, ...]
    cautions: tuple[Advice, ...]


def _advice(row: dict[str, str], line: int) -> Advice:
    kinds = frozenset(row["kinds"].split())
    wrong = kinds - set(LAYER_KINDS)
    if row["sort"] not in SORTS or not kinds or wrong or not row["source"] or row["key"] not in TEXTS:
        raise TableError(
            f"guide.csv, line {line}: {row['key']!r} needs one of {', '.join(SORTS)}, known kinds of layer "
            f"(not {', '.join(sorted(wrong)) or 'none'}), a source, and a text in guide_words.TEXTS."
        )
    return Advice(row["key"], row["sort"], kinds, Mark(row["mark"]), row["source"])


@lru_cache(maxsize=1)
def table() -> tuple[Advice, ...]:
    """All lines of the guide.

    Raises:
        TableError: a line without mark, source or text, a text without a line, or a kind of layer left out.
    """
    with TABLE.open(encoding="utf-8", newline="") as lines:
        found = tuple(_advice(row, line) for line, row in enumerate(csv.DictReader(lines), start=2))
    unused = set(TEXTS) - {one.key for one in found}
    if unused:
        raise TableError(f"guide_words.TEXTS: no line of guide.csv uses {', '.join(sorted(unused))}.")
    for kind in set(LAYER_KINDS) - {"unknown"}:
        for sort in SORTS:
            if not any(kind in one.kinds and one.sort == sort for one in found):
                raise TableError(f"guide.csv: no line of sort {sort!r} for the kind of layer {kind!r}.")
    return found


def advice_for(kind: str, *, electric: bool = True) -> tuple[Advice, ...]:
    """The lines for one kind of layer. `electric`: whether the vehicle has a drive battery."""
    lines = [one for one in table() if kind in one.kinds or (kind == "unknown" and one.key in UNKNOWN)]
    return tuple(one for one in lines if electric or one.key != "orange_cables")


def guide_of(surfaces: Sequence[SurfaceView], *, powertrain: str) -> tuple[LayerGuide, ...]:
    """The guide of the layers that lie on a vehicle, those on most surfaces first."""
    where: dict[str, list[str]] = {}
    for surface in surfaces:
        for layer in surface.layers:
            names = where.setdefault(layer.kind, [])
            if surface.name not in names:
                names.append(surface.name)
    made = []
    for kind, names in where.items():
        lines = advice_for(kind, electric=powertrain in ("electric", "hybrid"))
        do, dont, cautions = (tuple(one for one in lines if one.sort == sort) for sort in SORTS)
        made.append(LayerGuide(kind, layer_name(kind), tuple(names), do, dont, cautions))
    return tuple(sorted(made, key=lambda guide: (-len(guide.surfaces), guide.kind)))
