"""Which vehicle and which surface a row is about. A usual surface that nobody entered yet comes with the row."""

from __future__ import annotations

from typing import Any, Final

from lifecycle.care.imports.rows import Row
from lifecycle.care.surface_presets import presets_of
from lifecycle.models import ImportMade, Studio, Surface

from .base import insert
from .vehicles import KnownVehicles, plain_plate

WHICH: Final = ("vehicle_number", "vin", "plate")


def vehicle_of(row: Row, known: KnownVehicles) -> Any:
    """The vehicle that a row names; a trouble where it names none, or one that is not on record."""
    named = [name for name in WHICH if name in row.values]
    found = known.find(row, WHICH) if named else None
    if not named and not row.troubles:
        row.trouble("plate", "this row names no vehicle; give its number, VIN or plate.")
    elif found is None and not row.troubles:
        row.trouble(named[0], "no vehicle is on record by that; import or register the vehicles first.")
    return found


def vehicle_words(row: Row) -> str:
    """What a row calls its vehicle."""
    said = next((str(row.values[name]) for name in WHICH if name in row.values), "")
    return plain_plate(said) if "plate" in row.values else said


def plain_code(text: str) -> str:
    return "_".join("".join(char if char.isalnum() else " " for char in text.casefold()).split())


class KnownSurfaces:
    """The surfaces on record, and those of the usual list that rows of this file bring along."""

    def __init__(self, studio: Studio) -> None:
        self.studio = studio
        self.by_code = {(row.vehicle_id, row.code): row for row in Surface.objects.of(studio)}

    def find(self, row: Row, vehicle: Any) -> Surface | None:
        """The surface that a row names, unsaved where it is one of the body's usual ones and not on record yet."""
        code = plain_code(row.values.get("surface", ""))
        if not code:
            row.trouble("surface", "this row names no surface; write one like bonnet.")
            return None
        found = self.by_code.get((vehicle.pk, code))
        if found is None:
            usual = {preset.code: preset for preset in presets_of(vehicle.body)}
            if code not in usual:
                row.trouble("surface", f"is no surface of this vehicle; write one of {', '.join(usual)}.")
                return None
            preset = usual[code]
            found = Surface(
                studio=self.studio, vehicle_id=vehicle.pk, code=code, orientation=preset.orientation,
                substrate=preset.substrate,
            )  # fmt: skip
            self.by_code[vehicle.pk, code] = found
        return found


def save_surfaces(wanted: list[tuple[int, Surface]]) -> list[ImportMade]:
    """Write the surfaces that came along, each once: (line, surface)."""
    fresh: dict[int, tuple[int, Surface]] = {}
    for line, surface in wanted:
        if surface.pk is None:
            fresh.setdefault(id(surface), (line, surface))
    return insert(list(fresh.values()))


def whole(row: Row, name: str, low: int, high: int) -> int | None:
    """A whole number of a row between two bounds; else a trouble."""
    value = row.values.get(name)
    if value is None:
        return None
    if value != int(value) or not low <= value <= high:
        row.trouble(name, f"is no whole number between {low} and {high}.")
        return None
    return int(value)


def not_ahead(row: Row, name: str, today: Any) -> None:
    """A trouble where a day has not come yet."""
    if name in row.values and row.values[name] > today:
        row.trouble(name, "lies in the future; give the day on which it happened.")
