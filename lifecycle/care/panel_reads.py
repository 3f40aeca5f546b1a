"""Everything on record about one surface in one dated list with its evidence, newest first. Reads only, with a fixed
number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Final
from uuid import UUID

from lifecycle.care.correction_reads import RemovalLine, removal_lines
from lifecycle.care.history import EVENT_WORDS, READING_WORDS, STAGE_WORDS
from lifecycle.care.wording import capital, day_words, layer_words, spoken
from lifecycle.condition import Budget, budget_of
from lifecycle.errors import NotFoundHere
from lifecycle.models import CorrectionPanel, Finding, Inspection, Photo, Reading, Report, Studio, Surface
from lifecycle.wear.correction_plan import PanelPlan
from lifecycle.wear.stack import PAINTED

KINDS: Final = {
    "layer": "layers",
    "wash": "washes",
    "event": "events",
    "repaint": "repaints and parts",
    "inspection": "inspections",
    "reading": "readings",
    "finding": "findings",
    "photo": "photos",
    "correction": "corrections",
    "plan": "plans",
    "report": "reports",
}
REPAINTS: Final = ("repaint", "part_swap")
# A whole-vehicle look: it passed this panel too, whether or not it noted anything there.
WHOLE: Final = ("walk_around", "pre_detail", "after_work")


@dataclass(frozen=True, slots=True)
class PhotoRef:
    uid: UUID
    words: str


@dataclass(frozen=True, slots=True)
class FindingRef:
    """One finding on this panel, numbered by age from 1. `x`, `y`: 0 to 1, on the surface's outline or else on the
    vehicle's plan. `answer`: when it was first noted, and which looks before it noted none of its kind."""

    number: int
    id: int
    kind: str
    words: str
    on: date
    severity: int
    pre_existing: bool
    note: str
    on_outline: bool
    x: float | None
    y: float | None
    photos: tuple[PhotoRef, ...]
    answer: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the list. `evidence`: what it rests on, a sentence each; `number`: of a finding on the outline;
    `plan_id`, `report_id`, `inspection_id`: where more of it stands. `until`: first day of folded washes."""

    on: date
    kind: str
    title: str
    detail: str = ""
    by: str = ""
    evidence: tuple[str, ...] = ()
    photos: tuple[PhotoRef, ...] = ()
    number: int = 0
    plan_id: int | None = None
    report_id: int | None = None
    inspection_id: int | None = None
    count: int = 1
    until: date | None = None


@dataclass(frozen=True, slots=True)
class PanelRecord:
    """A surface with its list, its findings by age, and the ledger of its paint (None where there is none)."""

    surface_id: int
    code: str
    name: str
    orientation: str
    substrate: str
    body: str
    vehicle_id: int
    vehicle: str
    plate: str
    entries: tuple[Entry, ...]
    counts: tuple[tuple[str, str, int], ...]
    findings: tuple[FindingRef, ...]
    ledger: tuple[RemovalLine, ...]
    paint: PanelPlan | None
    refused: str


def _layers(surface: Surface) -> Iterable[Entry]:
    for row in surface.layers.all():
        words = row.product.name if row.product is not None else layer_words(row.kind)
        told = [f"{row.coats} coat{'s' if row.coats > 1 else ''}"] + ([f"batch {row.batch}"] if row.batch else [])
        yield Entry(row.applied, "layer", f"Put on: {words}", ", ".join(told))
        if row.ended is not None:
            yield Entry(row.ended, "layer", f"Ended: {words}", row.ended_why)


def _events(budget: Budget, surface: Surface) -> Iterable[Entry]:
    painted = surface.substrate in PAINTED
    for row in budget.vehicle.care_events.all():
        whole = row.surface_id is None and (painted or row.kind in ("wash", "flood", "decontamination"))
        if row.surface_id != surface.pk and not whole:
            continue
        kind = "repaint" if row.kind in REPAINTS else "wash" if row.kind == "wash" else "event"
        told = [f"{row.dwell_h:g} h before it was taken off"] if row.dwell_h is not None else []
        told += [f"{row.air_c:g} °C"] if row.air_c is not None else []
        yield Entry(
            row.on, kind, capital(EVENT_WORDS.get(row.kind, row.kind.replace("_", " "))), row.note,
            by="" if row.by == "studio" else row.by, evidence=tuple(told),
        )  # fmt: skip


def _reading_entries(inspection: Inspection, rows: Sequence[Reading]) -> Iterable[Entry]:
    values: dict[str, list[Reading]] = {}
    for row in rows:
        values.setdefault(row.kind, []).append(row)
    for kind, found in values.items():
        if kind == "works":
            said = "still works" if found[-1].value else "no longer works"
            yield Entry(inspection.on, "reading", capital(said), inspection_id=inspection.pk)
            continue
        words, unit = READING_WORDS[kind]
        numbers = [row.value for row in found]
        told = f"{capital(words)} {sum(numbers) / len(numbers):.1f}{unit}".replace(".0", "")
        evidence = []
        if len(numbers) > 1:
            evidence.append(f"mean of {len(numbers)}, from {min(numbers):g} to {max(numbers):g}{unit}")
        if found[0].method:
            evidence.append(f"{found[0].method} gauge, ± {found[0].gauge_sd_um or 1.0:g} µm")
        evidence.append(f"surface {inspection.clean_state}")
        yield Entry(
            inspection.on, "reading", told, by=_by(inspection), evidence=tuple(evidence), inspection_id=inspection.pk
        )


def _by(inspection: Inspection) -> str:
    return "the customer" if inspection.by == "customer" else ""


def _inspections(budget: Budget, surface: Surface, noted: set[int]) -> Iterable[Entry]:
    """Every look that passed this panel, with what it read there."""
    for row in budget.vehicle.inspections.all():
        rows = [reading for reading in row.readings.all() if reading.surface_id == surface.pk]
        if not rows and row.pk not in noted and row.kind not in WHOLE:
            continue
        detail = "" if row.pk in noted else "nothing noted on this panel"
        light = f"under {row.light}" if row.light else ""
        evidence = tuple(part for part in (f"surface {row.clean_state}", light) if part)
        yield Entry(
            row.on, "inspection", capital(row.get_kind_display()), detail, by=_by(row), evidence=evidence,
            inspection_id=row.pk,
        )  # fmt: skip
        yield from _reading_entries(row, rows)


def _answer(row: Finding, first: date, budget: Budget, passed: Sequence[Inspection]) -> str:
    """Was it there before? Said from what was noted and what was not."""
    words = row.get_kind_display()
    before = [one for one in passed if one.on < first]
    said = f"{capital(words)}: first noted here on {day_words(first)}"
    if row.inspection.on != first:
        said += f", again on {day_words(row.inspection.on)}"
    if not before:
        return f"{said}; no earlier look at this panel is on record, so nothing speaks for or against an earlier day."
    last = before[-1].on
    count = f"{len(before)} earlier look{'s' if len(before) > 1 else ''}"
    return f"{said}; {count} at this panel, the last on {day_words(last)}, noted none."


def _findings(budget: Budget, rows: Sequence[Finding], surface: Surface) -> tuple[FindingRef, ...]:
    noted = {row.inspection_id for row in rows}
    passed = [
        one
        for one in budget.vehicle.inspections.all()
        if one.pk in noted or one.kind in WHOLE or any(r.surface_id == surface.pk for r in one.readings.all())
    ]
    first: dict[str, date] = {}
    for row in rows:
        first.setdefault(row.kind, row.inspection.on)
    return tuple(
        FindingRef(
            number=number, id=row.pk, kind=row.kind, words=row.get_kind_display(), on=row.inspection.on,
            severity=row.severity, pre_existing=row.pre_existing, note=row.note, on_outline=row.on_outline, x=row.x,
            y=row.y, photos=tuple(_photo(photo) for photo in row.photos.all()),
            answer=_answer(row, first[row.kind], budget, passed),
        )
        for number, row in enumerate(rows, start=1)
    )  # fmt: skip


def _photo(row: Photo) -> PhotoRef:
    return PhotoRef(row.uid, row.caption or f"Photo of {day_words(row.added_at)}")


def _finding_entry(one: FindingRef, size_mm: float | None, inspection_id: int) -> Entry:
    evidence = [f"severity {one.severity} of 5", "there before the work" if one.pre_existing else "not there before"]
    if size_mm:
        evidence.append(f"{size_mm:g} mm")
    return Entry(
        one.on, "finding", capital(one.words), one.note, evidence=tuple(evidence), photos=one.photos,
        number=one.number, inspection_id=inspection_id,
    )  # fmt: skip


def _corrections(ledger: Sequence[RemovalLine]) -> Iterable[Entry]:
    for line in ledger:
        passes = f", {line.passes} passes" if line.passes > 1 else ""
        took = f"{line.low_um:g} to {line.high_um:g} µm {'measured' if line.measured else 'by estimate'}"
        evidence = [took] + ([line.check.says] if line.check is not None else [])
        if line.elsewhere:
            evidence.append("it happened elsewhere or earlier; no budget was asked")
        yield Entry(
            line.on, "correction", f"{capital(line.words)}{passes}", by=line.by, evidence=tuple(evidence),
            plan_id=line.plan_id,
        )  # fmt: skip


def _plans(surface: Surface) -> Iterable[Entry]:
    rows = CorrectionPanel.objects.filter(surface=surface).select_related("plan").prefetch_related("plan__consents")
    for row in rows:
        if not row.stage:
            continue
        said = list(row.plan.consents.all())
        evidence = [row.why]
        if said:
            last = said[-1]
            evidence.append(f"the customer {'agrees' if last.given else 'does not agree'}, {last.get_how_display()}")
        yield Entry(
            row.plan.on, "plan", f"{'Planned' if row.goes else 'Refused'}: {STAGE_WORDS[row.stage]}",
            evidence=tuple(evidence), plan_id=row.plan_id,
        )  # fmt: skip


def _reports(studio: Studio, inspection_ids: set[int]) -> Iterable[Entry]:
    for row in Report.objects.filter(inspection_id__in=inspection_ids).select_related("inspection"):
        day = row.inspection.on
        yield Entry(
            studio.day(row.sealed_at), "report", f"{capital(row.get_kind_display())} {row.number} sealed",
            f"of the inspection on {day_words(day)}", report_id=row.pk, inspection_id=row.inspection_id,
        )  # fmt: skip


def _photos(studio: Studio, surface: Surface) -> Iterable[Entry]:
    """Photos of the surface that belong to no finding; those stand with their finding."""
    for row in Photo.objects.filter(surface=surface, finding=None):
        by = "the customer" if row.by == "customer" else ""
        yield Entry(studio.day(row.added_at), "photo", row.caption or "Photo", by=by, photos=(_photo(row),))


def _folded(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Newest first, with washes that follow each other as one line. On one day, what was seen stands above what it was
    seen with."""
    order = list(KINDS)
    made: list[Entry] = []
    for entry in sorted(entries, key=lambda one: (-one.on.toordinal(), -order.index(one.kind))):
        last = made[-1] if made else None
        if last is not None and entry.kind == last.kind == "wash" and entry.by == last.by and not entry.detail:
            made[-1] = replace(last, count=last.count + 1, until=entry.on)
        else:
            made.append(entry)
    return tuple(made)


def panel_record(*, studio: Studio, vehicle_id: int, surface_id: int, at: datetime) -> PanelRecord:
    """One surface of one vehicle with everything on record about it.

    Raises:
        NotFoundHere: this studio's vehicle has no such surface.
    """
    budget = budget_of(studio=studio, vehicle_id=vehicle_id, as_of=studio.day(at))
    surface = next((row for row in budget.vehicle.surfaces.all() if row.pk == surface_id), None)
    if surface is None:
        raise NotFoundHere(f"There is no surface {surface_id} on this vehicle.")
    rows = list(
        Finding.objects.filter(surface=surface)
        .select_related("inspection")
        .prefetch_related("photos")
        .order_by("inspection__on", "id")
    )
    findings = _findings(budget, rows, surface)
    noted = {row.inspection_id for row in rows}
    ledger = removal_lines(budget, [surface.pk]).get(surface.pk, ())
    looks = list(_inspections(budget, surface, noted))
    touched = {one.inspection_id for one in looks if one.inspection_id is not None}
    entries = _folded(
        [
            *_layers(surface), *_events(budget, surface), *looks, *_corrections(ledger), *_plans(surface),
            *_reports(studio, touched), *_photos(studio, surface),
            *(_finding_entry(one, row.size_mm, row.inspection_id) for one, row in zip(findings, rows, strict=True)),
        ]
    )  # fmt: skip
    paint = budget.panel(surface.code)
    return PanelRecord(
        surface_id=surface.pk, code=surface.code, name=spoken(surface.code), orientation=surface.orientation,
        substrate=surface.substrate, body=budget.vehicle.body, vehicle_id=budget.vehicle.pk,
        vehicle=budget.vehicle.description, plate=budget.vehicle.plate, entries=entries,
        counts=tuple((kind, words, n) for kind, words in KINDS.items() if (n := _count(entries, kind))),
        findings=findings, ledger=ledger, paint=paint,
        refused="" if paint is None else (budget.fresh(surface.code) or _none_offered(paint)),
    )  # fmt: skip


def _count(entries: Sequence[Entry], kind: str) -> int:
    return sum(one.count for one in entries if one.kind == kind)


def _none_offered(paint: PanelPlan) -> str:
    return "" if any(option.offered for option in paint.options) else paint.why
