"""Readings from a list, each vehicle and day as one inspection. A reading that is there already is known by its value,
for several values of one spot are several readings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from lifecycle.care.imports.rows import Row
from lifecycle.care.reading_rows import (
    FILM_METHODS,
    LIMITS,
    MEASURES,
    MOST_DROPS,
    MOST_SPOTS,
    method_on,
    reads_nothing,
)
from lifecycle.care.typed import to_um
from lifecycle.models import Gauge, ImportMade, Inspection, Reading, Report, Studio, Verdict

from .base import Planned, ask_for_assessment, insert, spoken, wrong
from .places import KnownSurfaces, not_ahead, save_surfaces, vehicle_of, vehicle_words, whole
from .vehicles import KnownVehicles

WATER: Final = ("contact_angle_deg", "beading_score")
NOTE: Final = "From a list."

Known = tuple[int, date, int, str, int | None, float]


@dataclass(slots=True)
class _New:
    vehicle_id: int
    on: date
    clean_state: str
    surface: Any
    reading: Reading
    inspection: Any


class _Record:
    """Inspections that readings can be added to, and how often each reading is there."""

    def __init__(self, studio: Studio) -> None:
        sealed = set(Report.objects.of(studio).values_list("inspection_id", flat=True))
        self.open: dict[tuple[int, date, str], Any] = {}
        for row in Inspection.objects.of(studio).filter(by="studio", open=False):
            if row.pk not in sealed:
                self.open.setdefault((row.vehicle_id, row.on, row.clean_state), row)
        self.there: Counter[Known] = Counter()
        names = ("inspection__vehicle_id", "inspection__on", "surface_id", "kind", "spot", "value")
        self.there.update(Reading.objects.of(studio).filter(inspection__by="studio").values_list(*names))
        self.gauges = {row.name.casefold(): row for row in Gauge.objects.of(studio)}


def plan(studio: Studio, rows: Iterable[Row], *, at: datetime) -> list[Planned]:
    """What each row would do; a handful of queries, whatever their number."""
    known, surfaces, record = KnownVehicles(studio), KnownSurfaces(studio), _Record(studio)
    today, planned = studio.day(at), []
    seen: Counter[Known] = Counter()
    fresh: dict[tuple[int, date, str], Inspection] = {}
    for row in rows:
        vehicle = vehicle_of(row, known)
        surface = surfaces.find(row, vehicle) if vehicle is not None else None
        key = f"{vehicle_words(row)}, {row.values.get('surface', '')}, {spoken(row.values.get('on'))}"
        _needs(row, today)
        gauge, value = _gauge(row, record), _value(row)
        spot, drops = whole(row, "spot", 1, MOST_SPOTS), whole(row, "drops", 1, MOST_DROPS)
        method = _method(row, gauge, surface)
        if row.troubles or value is None or surface is None:
            planned.append(wrong(row, key))
            continue
        on, kind = row.values["on"], row.values["kind"]
        what: Known = (vehicle.pk, on, surface.pk or 0, kind, spot, value)
        seen[what if surface.pk else (*what[:2], -id(surface), *what[3:])] += 1
        if surface.pk and seen[what] <= record.there[what]:
            planned.append(Planned(row.line, Verdict.SAME, key))
            continue
        state = row.values.get("clean_state", "washed")
        place = (vehicle.pk, on, state)
        inspection = record.open.get(place) or fresh.setdefault(
            place, Inspection(studio=studio, vehicle_id=vehicle.pk, on=on, clean_state=state, note=NOTE)
        )
        reading = Reading(
            studio=studio, kind=kind, value=value, drops=drops or 1, method=method, gauge=gauge,
            gauge_sd_um=gauge.sd_um if gauge else None, gauge_checked_on=gauge.checked_on if gauge else None, spot=spot,
            typed=f"{row.values['value']:f}"[:12], unit=row.values.get("unit", "um") if kind == "thickness_um" else "",
        )  # fmt: skip
        changes = [[spoken(reading.get_kind_display()), "", f"{value:g}"]]
        if inspection.pk is None:
            changes.insert(0, ["inspection", "", f"{on}, {state}"])
        planned.append(Planned(row.line, Verdict.NEW, key, changes,
                               act=_New(vehicle.pk, on, state, surface, reading, inspection)))  # fmt: skip
    return planned


def _needs(row: Row, today: date) -> None:
    for name, what in (("on", "day"), ("kind", "kind of reading"), ("value", "value")):
        if name not in row.values and not row.troubles:
            row.trouble(name, f"this row has no {what}; give one.")
    not_ahead(row, "on", today)
    if row.values.get("kind") in WATER and "clean_state" not in row.values and not row.troubles:
        row.trouble("clean_state", "say whether the surface was dirty, washed or decontaminated: water tells by that.")


def _value(row: Row) -> float | None:
    """The value in the unit of its kind; a trouble where it cannot be."""
    said, kind = row.values.get("value"), row.values.get("kind")
    if said is None or kind not in LIMITS:
        return None
    unit = row.values.get("unit", "um")
    if kind != "thickness_um" and "unit" in row.values:
        row.trouble("unit", "only a thickness has a unit here; empty this cell.")
    value = to_um(float(said), unit) if kind == "thickness_um" else float(said)
    low, high, words = LIMITS[kind]
    if not low <= value <= high or (kind == "works" and value not in (0.0, 1.0)):
        row.trouble("value", f"is not between {low:g} and {high:g} {words}.")
    return value


def _gauge(row: Row, record: _Record) -> Any:
    said = row.values.get("gauge")
    if said is None:
        return None
    gauge = record.gauges.get(said.casefold())
    if gauge is None:
        row.trouble("gauge", "is no gauge of this studio; write its name as it stands under Gauges.")
    elif gauge.method not in MEASURES.get(row.values.get("kind", ""), ()):
        row.trouble("gauge", f"{gauge} ({gauge.method}) does not measure that.")
    elif "on" in row.values and gauge.retired_on is not None and gauge.retired_on < row.values["on"]:
        row.trouble("gauge", f"was retired on {gauge.retired_on}; write the one that was used.")
    return gauge


def _method(row: Row, gauge: Any, surface: Any) -> str:
    said: str = gauge.method if gauge is not None else row.values.get("method", "")
    if surface is None or not said:
        return said
    method = method_on(said, surface.substrate)
    if row.values.get("kind") == "thickness_um" and said in FILM_METHODS:
        why = reads_nothing(method, surface.substrate)
        if why:
            row.trouble("gauge" if gauge is not None else "method", why)
    return method


def write(studio: Studio, planned: Sequence[Planned], *, at: datetime) -> list[ImportMade]:
    """Write what was planned; needs a plan without an error."""
    fresh = [(item.line, item.act) for item in planned if item.verdict == Verdict.NEW]
    made = save_surfaces([(line, act.surface) for line, act in fresh])
    looks: dict[int, tuple[int, Inspection]] = {}
    for line, act in fresh:
        if act.inspection.pk is None:
            looks.setdefault(id(act.inspection), (line, act.inspection))
    made += insert(list(looks.values()))
    for _, act in fresh:
        act.reading.inspection_id, act.reading.surface_id = act.inspection.pk, act.surface.pk
    made += insert([(line, act.reading) for line, act in fresh])
    ask_for_assessment(act.vehicle_id for _, act in fresh)
    return made
