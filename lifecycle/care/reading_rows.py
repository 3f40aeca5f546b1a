"""One measured value as it is entered, checked and written as a row of an inspection."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from lifecycle.care.find import one
from lifecycle.care.register import known
from lifecycle.errors import DomainError
from lifecycle.models import Gauge, Inspection, Reading, ReadingKind, Surface, Vehicle

LIMITS: Final = {
    "contact_angle_deg": (0.0, 180.0, "degrees"),
    "beading_score": (0.0, 5.0, "points"),
    "gloss_gu": (0.0, 2000.0, "GU"),
    "works": (0.0, 1.0, "0 or 1"),
    "thickness_um": (0.0, 5000.0, "µm"),
}
# What kind of reading an instrument gives. A combined gauge tells steel from other metals by itself.
FILM_METHODS: Final = ("magnetic", "eddy", "combined", "ultrasonic")
METHODS: Final = (*FILM_METHODS, "gloss", "goniometer")
MEASURES: Final = {
    "thickness_um": FILM_METHODS,
    "gloss_gu": ("gloss",),
    "contact_angle_deg": ("goniometer",),
}
METALS: Final = ("steel", "aluminium")
MOST_SPOTS: Final = 25
MOST_DROPS: Final = 50


@dataclass(frozen=True, slots=True)
class ReadingEntry:
    """One value. Thickness is in µm; `typed` and `unit` (um, mil) keep what the person typed. `gauge_id` names one of
    the studio's gauges; its method and uncertainty then count, not those given here."""

    surface_id: int
    kind: str
    value: float
    drops: int = 1
    method: str = ""
    gauge_sd_um: float | None = None
    gauge_id: int | None = None
    spot: int | None = None
    x: float | None = None
    y: float | None = None
    typed: str = ""
    unit: str = ""


def method_on(method: str, substrate: str) -> str:
    """What a gauge's method is on a substrate: a combined gauge reads steel magnetically, all else by eddy current."""
    if method != "combined":
        return method
    return "magnetic" if substrate == "steel" else "eddy"


def reads_nothing(method: str, substrate: str) -> str:
    """Why a film gauge cannot read on a substrate, "" where it can.

    Magnetic methods need a ferrous substrate, eddy-current methods a conducting one (ISO 2808, ISO 2360; from memory).
    """
    mend = "read it with ultrasound"
    if method == "magnetic" and substrate != "steel":
        other = "use an eddy-current probe, or ultrasound" if substrate == "aluminium" else mend
        return f"a magnetic gauge reads nothing on {substrate}; {other}."
    if method == "eddy" and substrate not in METALS:
        return f"an eddy-current gauge reads nothing on {substrate}; {mend}."
    return ""


def _surface(surfaces: dict[int, Surface], vehicle: Vehicle, surface_id: int) -> Surface:
    found = surfaces.get(surface_id)
    if found is None:
        one(Surface, vehicle.studio, surface_id)  # of another studio: not here
        raise DomainError("surface: it belongs to another vehicle.", field="surface")
    return found


def _check(entry: ReadingEntry, surface: Surface, method: str) -> None:
    known("kind", entry.kind, tuple(ReadingKind.values))
    low, high, unit = LIMITS[entry.kind]
    if not low <= entry.value <= high:
        typed = f" ({entry.typed} mil)" if entry.unit == "mil" else ""
        raise DomainError(
            f"value: {entry.value:g}{typed} on the {surface} is not between {low:g} and {high:g} {unit}.", field="value"
        )
    if entry.kind == "thickness_um" and (why := reads_nothing(method, surface.substrate)):
        raise DomainError(
            f"method: on the {surface} {why} If the gauge does show a value, mend what the surface is made of.",
            field="method",
        )
    if not 1 <= entry.drops <= MOST_DROPS:
        raise DomainError(f"drops: {entry.drops} is not between 1 and {MOST_DROPS}.", field="drops")
    if entry.spot is not None and not 1 <= entry.spot <= MOST_SPOTS:
        raise DomainError(f"spot: {entry.spot} is not between 1 and {MOST_SPOTS}.", field="spot")
    if entry.unit not in ("", "um", "mil"):
        raise DomainError(f"unit: {entry.unit!r} is not known; use um or mil.", field="unit")


def _gauges(vehicle: Vehicle, inspection: Inspection, entries: Sequence[ReadingEntry]) -> dict[int, Gauge]:
    """The gauges that the entries name; each was in use on the day and measures what it is said to have measured."""
    asked = {entry.gauge_id for entry in entries if entry.gauge_id is not None}
    found = {gauge.pk: gauge for gauge in Gauge.objects.filter(studio=vehicle.studio, pk__in=asked)}
    for pk in asked - found.keys():
        one(Gauge, vehicle.studio, pk)
    for entry in entries:
        if entry.gauge_id is None:
            continue
        gauge = found[entry.gauge_id]
        if gauge.retired_on is not None and gauge.retired_on < inspection.on:
            raise DomainError(
                f"gauge: {gauge} was retired on {gauge.retired_on}; choose the one that was used.", field="gauge"
            )
        if gauge.method not in MEASURES.get(entry.kind, ()):
            what = ReadingKind(entry.kind).label if entry.kind in ReadingKind.values else entry.kind
            raise DomainError(f"gauge: {gauge} ({gauge.method}) does not measure {what}.", field="gauge")
    return found


def write_readings(*, inspection: Inspection, vehicle: Vehicle, entries: Sequence[ReadingEntry]) -> int:
    """Write values as rows of an inspection, all or nothing; a number of queries that does not grow with them.

    Returns:
        How many were written.

    Raises:
        DomainError: a value out of range, a gauge that cannot read there, a surface of another vehicle.
        NotFoundHere: a surface or gauge of another studio.
    """
    surfaces = {row.pk: row for row in Surface.objects.filter(vehicle=vehicle)} if entries else {}
    gauges = _gauges(vehicle, inspection, entries)
    rows = []
    for entry in entries:
        surface = _surface(surfaces, vehicle, entry.surface_id)
        gauge = gauges.get(entry.gauge_id) if entry.gauge_id is not None else None
        method = method_on(gauge.method if gauge else entry.method, surface.substrate)
        _check(entry, surface, method)
        rows.append(
            Reading(
                studio=inspection.studio, inspection=inspection, surface=surface, kind=entry.kind, value=entry.value,
                drops=entry.drops, method=method, gauge=gauge,
                gauge_sd_um=gauge.sd_um if gauge else entry.gauge_sd_um,
                gauge_checked_on=gauge.checked_on if gauge else None, spot=entry.spot, x=entry.x, y=entry.y,
                typed=entry.typed[:12], unit=entry.unit,
            )
        )  # fmt: skip
    return len(Reading.objects.bulk_create(rows))
