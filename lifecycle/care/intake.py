"""Verbs of the intake: walk-around, wash and decontamination, pre-detail inspection, and the findings of each.

A device at the vehicle may lose its link and send again, so everything that it makes carries a key of its own: what
arrives twice is stored once. What a sealed report holds is altered no longer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, TypeVar
from uuid import UUID, uuid5

from django.db import IntegrityError, transaction

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.record import _surface_of, not_after, record_event
from lifecycle.care.register import known
from lifecycle.care.sealing import refuse_sealed
from lifecycle.errors import DomainError
from lifecycle.models import (
    CareEvent,
    Finding,
    FindingKind,
    Inspection,
    InspectionKind,
    JournalEntry,
    Member,
    Studio,
    Surface,
    Vehicle,
)
from lifecycle.wear import choices

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class FindingDetails:
    """What a finding says. `size_mm`: its longest extent. `x`, `y`: shares from 0 to 1 of the outline of its surface
    (`on_outline`), else of the vehicle plan."""

    kind: str
    surface_id: int | None = None
    severity: int = 1
    size_mm: float | None = None
    pre_existing: bool = True
    note: str = ""
    on_outline: bool = False
    x: float | None = None
    y: float | None = None


def _once(find: Callable[[], Row | None], make: Callable[[], Row]) -> Row:
    """The row that is there already, or the one that is made now; two at the same moment make one."""
    if (there := find()) is not None:
        return there
    try:
        with transaction.atomic():
            return make()
    except IntegrityError:
        if (there := find()) is not None:
            return there
        raise


def _price_range(low: Decimal | None, high: Decimal | None) -> tuple[Decimal | None, Decimal | None]:
    """One figure alone is a range of no width."""
    low, high = (high if low is None else low), (low if high is None else high)
    if low is not None and high is not None:
        if low < 0 or high >= 10_000_000:
            raise DomainError("rough_low: give an amount from 0 to 9999999.99.", field="rough_low")
        if high < low:
            raise DomainError(f"rough_high: {high} is less than the lower end, {low}.", field="rough_high")
    return low, high


def open_inspection(
    *,
    studio: Studio,
    vehicle_id: int,
    kind: str,
    on: date,
    clean_state: str,
    light: str = "",
    note: str = "",
    rough_low: Decimal | None = None,
    rough_high: Decimal | None = None,
    member_id: int | None = None,
    key: UUID | None = None,
    actor: str,
    at: datetime,
) -> Inspection:
    """Open an inspection, to which findings are added one by one. The one open before it is finished by this.

    Raises:
        DomainError: an unknown kind or state, a day ahead, or a price range the wrong way round.
        NotFoundHere: the vehicle is not of this studio.
    """
    known("kind", kind, tuple(InspectionKind.values))
    known("clean_state", clean_state, choices.CLEAN_STATES)
    not_after("on", on, studio, at)
    low, high = _price_range(rough_low, rough_high)
    vehicle = one(Vehicle, studio, vehicle_id)

    def find() -> Inspection | None:
        found = Inspection.objects.filter(studio=studio, key=key).first() if key is not None else None
        if found is not None and found.vehicle_id != vehicle.pk:
            raise DomainError("key: another vehicle's inspection has it; load the page anew.", field="key")
        return found

    def make() -> Inspection:
        for other in Inspection.objects.filter(vehicle=vehicle, open=True):
            finish_inspection(studio=studio, inspection_id=other.pk, actor=actor, at=at)
        inspection: Inspection = Inspection.objects.create(
            studio=studio, vehicle=vehicle, kind=kind, on=on, clean_state=clean_state, light=light.strip(), by="studio",
            note=note.strip(), rough_low=low, rough_high=high, key=key, open=True,
            member=one(Member, studio, member_id) if member_id is not None else None,
        )  # fmt: skip
        _journal(inspection, "inspection opened", actor, at, kind=kind, on=on, key=key)
        return inspection

    return _once(find, make)


def _journal(inspection: Inspection, verb: str, actor: str, at: datetime, **data: Any) -> None:
    journal.record(
        studio=inspection.studio, actor=actor, at=at, verb=verb, subject="inspection", subject_id=inspection.pk,
        vehicle_id=inspection.vehicle_id, **data,
    )  # fmt: skip


def finish_inspection(
    *,
    studio: Studio,
    inspection_id: int,
    note: str | None = None,
    rough_low: Decimal | None = None,
    rough_high: Decimal | None = None,
    actor: str,
    at: datetime,
) -> Inspection:
    """Finish an open inspection and ask for a new assessment. Said again, it only takes a changed note or price.

    Args:
        note: replaces the note; None leaves it. Likewise the rough price, where either end is given.
    """
    low, high = _price_range(rough_low, rough_high)
    with transaction.atomic():
        inspection = one(Inspection, studio, inspection_id, lock=True)
        changed = [
            name
            for name, value in (("note", None if note is None else note.strip()), ("rough_low", low),
                                ("rough_high", high))
            if value is not None and value != getattr(inspection, name)
        ]  # fmt: skip
        if not changed and not inspection.open:
            return inspection
        if changed:
            refuse_sealed(inspection)
            inspection.note = inspection.note if note is None else note.strip()
            if low is not None:
                inspection.rough_low, inspection.rough_high = low, high
        was_open, inspection.open = inspection.open, False
        inspection.save(update_fields=["note", "rough_low", "rough_high", "open"])
        Vehicle.objects.filter(pk=inspection.vehicle_id).update(assess_again=True)
        verb = "inspection finished" if was_open else "inspection altered"
        _journal(inspection, verb, actor, at, changed=changed, findings=inspection.findings.count())
    return inspection


def _checked(studio: Studio, vehicle: Vehicle, details: FindingDetails) -> dict[str, Any]:
    """The finding's fields, or what is wrong with them."""
    known("kind", details.kind, tuple(FindingKind.values))
    if not 1 <= details.severity <= 5:
        raise DomainError(f"severity: {details.severity} is not between 1 and 5.", field="severity")
    if details.size_mm is not None and not 0 < details.size_mm <= 5000:
        raise DomainError(f"size_mm: {details.size_mm:g} mm is not between 0 and 5000.", field="size_mm")
    if len(details.note) > 300:
        raise DomainError(f"note: {len(details.note)} characters are too many; 300 at most.", field="note")
    if (details.x is None) != (details.y is None):
        raise DomainError("x: a place has both x and y.", field="x")
    for name, value in (("x", details.x), ("y", details.y)):
        if value is not None and not 0 <= value <= 1:
            raise DomainError(f"{name}: {value:g} is not between 0 and 1.", field=name)
    surface: Surface | None = _surface_of(studio, vehicle, details.surface_id)
    if details.on_outline and (surface is None or details.x is None):
        raise DomainError("surface: say on which surface's outline the finding lies, and where.", field="surface")
    return {
        "surface": surface, "kind": details.kind, "severity": details.severity, "size_mm": details.size_mm,
        "pre_existing": details.pre_existing, "note": details.note.strip(), "on_outline": details.on_outline,
        "x": details.x, "y": details.y,
    }  # fmt: skip


def add_finding(
    *,
    studio: Studio,
    inspection_id: int,
    details: FindingDetails,
    key: UUID | None = None,
    actor: str,
    at: datetime,
) -> Finding:
    """Add a finding to an inspection, open or finished, that no sealed report holds.

    Raises:
        DomainError: names the field; or the finding was removed in the meantime, or the inspection is sealed.
        NotFoundHere: the inspection is not of this studio.
    """
    inspection = one(Inspection, studio, inspection_id)

    def find() -> Finding | None:
        return Finding.objects.filter(inspection=inspection, key=key).first() if key is not None else None

    def make() -> Finding:
        refuse_sealed(one(Inspection, studio, inspection.pk, lock=True))
        if key is not None and _was_removed(inspection, key):
            raise DomainError("This finding arrived before and was removed since; place it anew if it is there.")
        finding: Finding = Finding.objects.create(
            studio=studio, inspection=inspection, key=key, **_checked(studio, inspection.vehicle, details)
        )
        _journal(inspection, "finding added", actor, at, finding=finding.pk, kind=finding.kind,
                 surface=finding.surface_id, severity=finding.severity)  # fmt: skip
        return finding

    return _once(find, make)


def _was_removed(inspection: Inspection, key: UUID) -> bool:
    """A copy that was long on its way must not bring back what was removed."""
    return JournalEntry.objects.filter(
        studio=inspection.studio, subject="inspection", subject_id=inspection.pk, verb="finding removed",
        data__key=str(key),
    ).exists()  # fmt: skip


def _values(finding: Finding) -> dict[str, Any]:
    """What the journal keeps of a finding; never its note."""
    return {
        "kind": finding.kind, "surface": finding.surface_id, "severity": finding.severity, "size_mm": finding.size_mm,
        "pre_existing": finding.pre_existing, "on_outline": finding.on_outline, "x": finding.x, "y": finding.y,
    }  # fmt: skip


def alter_finding(*, studio: Studio, finding_id: int, details: FindingDetails, actor: str, at: datetime) -> Finding:
    """Say anew what a finding is, while no sealed report holds it. The journal keeps what it was."""
    with transaction.atomic():
        finding = one(Finding, studio, finding_id, lock=True)
        inspection = one(Inspection, studio, finding.inspection_id, lock=True)
        refuse_sealed(inspection)
        was = _values(finding)
        fields = _checked(studio, inspection.vehicle, details)
        for name, value in fields.items():
            setattr(finding, name, value)
        finding.save(update_fields=list(fields))
        _journal(inspection, "finding altered", actor, at, finding=finding.pk, was=was, now=_values(finding))
    return finding


def remove_finding(*, studio: Studio, finding_id: int, actor: str, at: datetime) -> None:
    """Take a finding out again, while no sealed report holds it. Its photos stay with the inspection."""
    with transaction.atomic():
        finding = one(Finding, studio, finding_id, lock=True)
        inspection = one(Inspection, studio, finding.inspection_id, lock=True)
        refuse_sealed(inspection)
        finding.photos.update(finding=None)
        _journal(inspection, "finding removed", actor, at, finding=finding.pk, key=finding.key, was=_values(finding))
        finding.delete()


def note_cleaning(
    *,
    studio: Studio,
    vehicle_id: int,
    on: date,
    washed: bool,
    decontaminated: bool,
    note: str = "",
    key: UUID | None = None,
    actor: str,
    at: datetime,
) -> list[CareEvent]:
    """Note that the vehicle was washed, decontaminated or both before it is looked at under inspection light."""
    done = [kind for kind, said in (("wash", washed), ("decontamination", decontaminated)) if said]
    if not done:
        raise DomainError("washed: say which was done, the wash, the decontamination or both.", field="washed")
    if len(note) > 300:
        raise DomainError(f"note: {len(note)} characters are too many; 300 at most.", field="note")
    with transaction.atomic():
        return [
            record_event(
                studio=studio, vehicle_id=vehicle_id, kind=kind, on=on, note=note.strip(), actor=actor, at=at,
                key=uuid5(key, kind) if key is not None else None,
            )
            for kind in done
        ]  # fmt: skip
