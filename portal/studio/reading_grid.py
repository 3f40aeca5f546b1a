"""The grid of the readings page: film values by panel and spot, and what was read of gloss and water beside them.

Kept apart from Django's form sets: one field a spot, several values in a field, nothing that was typed is ever lost.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from lifecycle.care.reading_checks import Doubt
from lifecycle.care.reading_rows import LIMITS, MOST_DROPS, MOST_SPOTS, ReadingEntry
from lifecycle.care.readings import Sheet, SheetPanel
from lifecycle.care.typed import number, numbers, to_um
from portal.drawings.beading import BeadingScale, beading_scale

from .reading_forms import SheetForm

USUAL_SPOTS: Final = 5  # SSPC-PA 2: an area is the mean of five spots
MORE_SPOTS: Final = 5
MOST_TYPED: Final = 200


@dataclass(slots=True)
class Cell:
    """One field."""

    name: str
    label: str
    value: str = ""
    error: str = ""


@dataclass(slots=True)
class PanelFields:
    """The fields of one surface, with what looks wrong about them."""

    panel: SheetPanel
    spots: list[Cell]
    gloss: Cell
    angle: Cell
    drops: Cell
    bead_name: str
    bead: str = ""
    errors: list[str] = field(default_factory=list)
    doubts: list[Doubt] = field(default_factory=list)

    @property
    def beading(self) -> BeadingScale:
        chosen = int(self.bead) if self.bead in ("0", "1", "2", "3", "4", "5") else None
        return beading_scale(self.bead_name, legend=f"Beading on the {self.panel.name}", chosen=chosen)

    @property
    def more_filled(self) -> bool:
        """Whether something besides film was typed, so that the fold stays open."""
        return bool(self.bead or any(cell.value or cell.error for cell in self.water_cells))

    @property
    def water_cells(self) -> list[Cell]:
        return [self.gloss, self.angle, self.drops]

    @property
    def cells(self) -> list[Cell]:
        return [*self.spots, *self.water_cells]


class Grid:
    """All fields of a sheet, from what was sent or from nothing."""

    def __init__(self, sheet: Sheet, data: Mapping[str, Any] | None = None) -> None:
        sent = data or {}
        count = str(sent.get("spots", ""))
        self.spots = min(max(int(count), 1), MOST_SPOTS) if count.isascii() and count.isdecimal() else USUAL_SPOTS
        if "more_spots" in sent:
            self.spots = min(self.spots + MORE_SPOTS, MOST_SPOTS)
        self.rows = [self._fields(panel, sent) for panel in sheet.panels]
        self.by_code = {row.panel.code: row for row in self.rows}

    @property
    def may_grow(self) -> bool:
        return self.spots < MOST_SPOTS

    @property
    def film_rows(self) -> list[PanelFields]:
        return [row for row in self.rows if row.panel.films]

    def _fields(self, panel: SheetPanel, sent: Mapping[str, Any]) -> PanelFields:
        def cell(name: str, label: str) -> Cell:
            return Cell(name, label, str(sent.get(name, ""))[:MOST_TYPED])

        key = panel.id
        spots = [cell(f"f-{key}-{n}", f"spot {n}") for n in range(1, self.spots + 1)] if panel.films else []
        fields = PanelFields(
            panel, spots, cell(f"g-{key}", "Gloss at 20°, GU"), cell(f"a-{key}", "Contact angle, degrees"),
            cell(f"d-{key}", "of how many drops"), f"b-{key}",
        )  # fmt: skip
        fields.bead = str(sent.get(f"b-{key}", ""))[:2]
        return fields

    @property
    def wrong(self) -> bool:
        return any(row.errors or any(cell.error for cell in row.cells) for row in self.rows)

    def entries(self, form: SheetForm) -> list[ReadingEntry]:
        """Everything that can be read as a value; what cannot has its error in its cell."""
        return [entry for row in self.rows for entry in self._entries(row, form)]

    def _entries(self, row: PanelFields, form: SheetForm) -> Iterable[ReadingEntry]:
        unit, gauge, method = form.typed_unit(), form.gauge_id("gauge"), form.method()
        for place, cell in enumerate(row.spots, 1):
            for typed, value in self._numbers(cell, unit):
                yield ReadingEntry(
                    row.panel.id, "thickness_um", to_um(value, unit), method=method, gauge_id=gauge, spot=place,
                    typed=typed, unit=unit,
                )  # fmt: skip
        gloss = self._one(row.gloss, LIMITS["gloss_gu"])
        if gloss is not None:
            yield ReadingEntry(row.panel.id, "gloss_gu", gloss, gauge_id=form.gauge_id("gloss_gauge"))
        angle = self._one(row.angle, LIMITS["contact_angle_deg"])
        drops = self._one(row.drops, (1, MOST_DROPS, "drops"))
        if drops is not None and drops != int(drops):
            row.drops.error = f"{row.drops.value} is no whole number of drops."
        elif drops is not None and angle is None and not row.angle.error:
            row.angle.error = "the number of drops stands beside it, but no angle; give both or empty both."
        if angle is not None:
            count = int(drops) if drops is not None else 1
            angle_gauge = form.gauge_id("angle_gauge")
            yield ReadingEntry(row.panel.id, "contact_angle_deg", angle, drops=count, gauge_id=angle_gauge)
        if row.bead in ("0", "1", "2", "3", "4", "5") and row.panel.beads:
            yield ReadingEntry(row.panel.id, "beading_score", float(row.bead))

    def _numbers(self, cell: Cell, unit: str) -> list[tuple[str, float]]:
        low, high, _unit = LIMITS["thickness_um"]
        try:
            found = numbers(cell.value)
        except ValueError as error:
            cell.error = str(error)
            return []
        beyond = next((typed for typed, value in found if not low <= to_um(value, unit) <= high), None)
        if beyond is not None:
            cell.error = f"{beyond} {unit.replace('um', 'µm')} is not between {low:g} and {high:g} µm."
            return []
        return found

    def _one(self, cell: Cell, limits: tuple[float, float, str]) -> float | None:
        if not cell.value.strip():
            return None
        try:
            value = number(cell.value)
        except ValueError as error:
            cell.error = str(error)
            return None
        low, high, unit = limits
        if not low <= value <= high:
            cell.error = f"{value:g} is not between {low:g} and {high:g} {unit}."
            return None
        return value

    def show(self, doubts: Iterable[Doubt]) -> None:
        """Put doubts beside the panels that they are of."""
        for row in self.rows:
            row.doubts = []
        for doubt in doubts:
            self.by_code[doubt.surface].doubts.append(doubt)

    def refuse(self, field_name: str, message: str) -> bool:
        """Put a verb's refusal beside the panel whose name stands in it; says whether one was found."""
        row = next((row for row in self.rows if f"the {row.panel.code.replace('_', ' ')} " in message), None)
        if row is None or field_name not in ("method", "value", "drops", "spot"):
            return False
        row.errors.append(message)
        return True
