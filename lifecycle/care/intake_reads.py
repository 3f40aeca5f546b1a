"""What the intake page shows: the present intake's inspections with findings and photos, and the cleaning between."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import Prefetch

from lifecycle.care.find import one
from lifecycle.care.sealing import sealed_among
from lifecycle.care.wording import spoken
from lifecycle.errors import NotFoundHere
from lifecycle.models import CareEvent, Finding, Inspection, InspectionKind, Photo, Studio, Surface, Vehicle


@dataclass(frozen=True, slots=True)
class SurfaceRow:
    id: int
    code: str
    name: str
    orientation: str
    substrate: str


@dataclass(frozen=True, slots=True)
class PhotoRow:
    uid: UUID
    caption: str


@dataclass(frozen=True, slots=True)
class FindingRow:
    """`number` counts within its inspection from 1. `x`, `y`: shares of the outline (`on_outline`) or of the plan."""

    id: int
    number: int
    kind: str
    kind_words: str
    surface_id: int | None
    surface: str
    severity: int
    size_mm: float | None
    pre_existing: bool
    note: str
    on_outline: bool
    x: float | None
    y: float | None
    photos: tuple[PhotoRow, ...]


@dataclass(frozen=True, slots=True)
class InspectionRow:
    """`rough_low`, `rough_high` in the studio's currency. `photos`: those that belong to no finding."""

    id: int
    key: UUID | None
    kind: str
    kind_words: str
    on: date
    light: str
    clean_state: str
    note: str
    rough_low: Decimal | None
    rough_high: Decimal | None
    open: bool
    sealed: bool
    findings: tuple[FindingRow, ...]
    photos: tuple[PhotoRow, ...]


@dataclass(frozen=True, slots=True)
class Intake:
    """The present intake of a vehicle: since its last walk-around. `cleaned`: kind and day of washes since then."""

    vehicle_id: int
    vehicle: str
    plate: str
    body: str
    powertrain: str
    currency: str
    surfaces: tuple[SurfaceRow, ...]
    walk_around: InspectionRow | None
    pre_detail: InspectionRow | None
    cleaned: tuple[tuple[str, date], ...]

    @property
    def inspections(self) -> tuple[InspectionRow, ...]:
        return tuple(row for row in (self.walk_around, self.pre_detail) if row is not None)


def _photos(rows: Any) -> tuple[PhotoRow, ...]:
    return tuple(PhotoRow(row.uid, row.caption) for row in rows)


def _finding(number: int, row: Finding) -> FindingRow:
    return FindingRow(
        id=row.pk, number=number, kind=row.kind, kind_words=row.get_kind_display(), surface_id=row.surface_id,
        surface=spoken(row.surface.code) if row.surface else "the whole vehicle", severity=row.severity,
        size_mm=row.size_mm, pre_existing=row.pre_existing, note=row.note, on_outline=row.on_outline, x=row.x, y=row.y,
        photos=_photos(row.photos.all()),
    )  # fmt: skip


def _inspection(row: Inspection | None, sealed: frozenset[int]) -> InspectionRow | None:
    if row is None:
        return None
    return InspectionRow(
        id=row.pk, key=row.key, kind=row.kind, kind_words=row.get_kind_display(), on=row.on, light=row.light,
        clean_state=row.clean_state, note=row.note, rough_low=row.rough_low, rough_high=row.rough_high, open=row.open,
        sealed=row.pk in sealed, photos=_photos(photo for photo in row.photos.all() if photo.finding_id is None),
        findings=tuple(_finding(number, finding) for number, finding in enumerate(row.findings.all(), start=1)),
    )  # fmt: skip


def intake(studio: Studio, vehicle_id: int) -> Intake:
    """The present intake of a vehicle, by inspections that were opened one finding at a time.

    Raises:
        NotFoundHere: the vehicle is not of this studio.
    """
    vehicle = one(Vehicle, studio, vehicle_id)
    photos = Photo.objects.order_by("added_at", "id")
    inspections = (
        Inspection.objects.filter(vehicle=vehicle, key__isnull=False)
        .order_by("-on", "-id")
        .prefetch_related(
            Prefetch("findings", queryset=Finding.objects.select_related("surface").order_by("id")),
            Prefetch("findings__photos", queryset=photos),
            Prefetch("photos", queryset=photos),
        )
    )
    walk = inspections.filter(kind=InspectionKind.WALK_AROUND).first()
    detail = inspections.filter(kind=InspectionKind.PRE_DETAIL).first()
    if walk is not None and detail is not None and (detail.on, detail.pk) < (walk.on, walk.pk):
        detail = None  # of an earlier intake
    since = walk.on if walk is not None else detail.on if detail is not None else None
    sealed = sealed_among([row.pk for row in (walk, detail) if row is not None])
    cleaned = CareEvent.objects.filter(vehicle=vehicle, kind__in=("wash", "decontamination"), by="studio")
    return Intake(
        vehicle_id=vehicle.pk,
        vehicle=vehicle.description,
        plate=vehicle.plate,
        body=vehicle.body,
        powertrain=vehicle.powertrain,
        currency=studio.currency,
        surfaces=tuple(
            SurfaceRow(row.pk, row.code, spoken(row.code), row.orientation, row.substrate)
            for row in Surface.objects.filter(vehicle=vehicle).order_by("id")
        ),
        walk_around=_inspection(walk, sealed),
        pre_detail=_inspection(detail, sealed),
        cleaned=tuple((row.kind, row.on) for row in cleaned.filter(on__gte=since).order_by("on", "id"))
        if since
        else (),
    )


def inspection_id_of(studio: Studio, vehicle_id: int, key: UUID) -> int:
    """The inspection of a vehicle that a device knows by its key.

    Raises:
        NotFoundHere: there is none (yet).
    """
    pk = Inspection.objects.filter(studio=studio, vehicle_id=vehicle_id, key=key).values_list("pk", flat=True).first()
    if pk is None:
        raise NotFoundHere("The inspection of this finding is not on record; it has to arrive first.")
    return int(pk)


def finding_id_of(studio: Studio, vehicle_id: int, key: UUID) -> int:
    """The finding of a vehicle that a device knows by its key.

    Raises:
        NotFoundHere: there is none (yet).
    """
    rows = Finding.objects.filter(studio=studio, inspection__vehicle_id=vehicle_id, key=key)
    pk = rows.values_list("pk", flat=True).first()
    if pk is None:
        raise NotFoundHere("The finding of this photo is not on record; it has to arrive first.")
    return int(pk)


def finding_of(studio: Studio, vehicle_id: int, finding_id: int) -> tuple[FindingRow, bool]:
    """One finding of a vehicle with its number, and whether it is sealed.

    Raises:
        NotFoundHere: it is not of this vehicle or studio.
    """
    row = (
        Finding.objects.filter(studio=studio, inspection__vehicle_id=vehicle_id, pk=finding_id)
        .select_related("surface", "inspection")
        .prefetch_related(Prefetch("photos", queryset=Photo.objects.order_by("added_at", "id")))
        .first()
    )
    if row is None:
        raise NotFoundHere(f"There is no finding {finding_id} on this vehicle.")
    number = Finding.objects.filter(inspection=row.inspection, pk__lte=row.pk).count()
    return _finding(number, row), row.inspection_id in sealed_among([row.inspection_id])
