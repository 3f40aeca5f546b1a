"""Verbs that record what happened, what was seen and taken off (what was put on: `layering`). Each asks for a new
assessment of the vehicle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db import transaction

from lifecycle import journal
from lifecycle.care.find import one, plausible_day
from lifecycle.care.reading_rows import ReadingEntry, write_readings
from lifecycle.care.register import known
from lifecycle.care.undo import as_before
from lifecycle.errors import DomainError
from lifecycle.models import (
    CareEvent,
    Finding,
    FindingKind,
    Habits,
    Inspection,
    Layer,
    Member,
    Storage,
    Studio,
    Surface,
    Vehicle,
)
from lifecycle.wear import choices
from lifecycle.wear.types import Place

# A correction is not among them: it goes through the clear-coat budget (`corrections.record_correction`).
STUDIO_EVENT_KINDS = (
    "wash", "iron_removal", "iron_specks", *(kind for kind in choices.EVENT_KINDS if kind != "correction"),
)  # fmt: skip
FINDING_KINDS: tuple[tuple[str, str], ...] = tuple((kind.value, str(kind.label)) for kind in FindingKind)
ENDS_COATS = ("repaint", "part_swap")
# A film is not polished away with the coats above the clear; its own top coat is.
FILM_BODIES = ("film_body", "wrap")


@dataclass(frozen=True, slots=True)
class FindingEntry:
    kind: str
    surface_id: int | None = None
    severity: int = 1
    pre_existing: bool = True
    note: str = ""


def not_after(field: str, day: date, studio: Studio, at: datetime) -> None:
    """Refuse a day that has not come yet at the studio.

    Raises:
        DomainError: names the field.
    """
    plausible_day(field, day)
    if day > studio.day(at):
        raise DomainError(f"{field}: {day} lies in the future; give the day on which it happened.", field=field)


def ask_for_assessment(vehicle_id: int) -> None:
    """The next round of the cycle assesses this vehicle anew."""
    Vehicle.objects.filter(pk=vehicle_id).update(assess_again=True)


def _surface_of(studio: Studio, vehicle: Vehicle, surface_id: int | None) -> Surface | None:
    if surface_id is None:
        return None
    surface = one(Surface, studio, surface_id)
    if surface.vehicle_id != vehicle.pk:
        raise DomainError("surface: it belongs to another vehicle.", field="surface")
    return surface


def end_coats(*, surface: Surface, on: date, why: str) -> int:
    """End every live coat above the clear on a surface (a polish takes them). A film stays, its top coat does not.

    Returns:
        How many layers ended.
    """
    live = Layer.objects.filter(surface=surface, ended=None, applied__lte=on)
    if why == "correction":
        live = live.exclude(kind__in=FILM_BODIES)
    return live.update(ended=on, ended_why=why)


def record_event(
    *,
    studio: Studio,
    vehicle_id: int,
    kind: str,
    on: date,
    surface_id: int | None = None,
    by: str = "studio",
    dwell_h: float | None = None,
    air_c: float | None = None,
    note: str = "",
    key: UUID | None = None,
    actor: str,
    at: datetime,
) -> CareEvent:
    """Record a wash or an event. A repaint or swapped part ends the coats of its surface.

    With `key`, what is sent twice is stored once.
    """
    there: CareEvent | None = CareEvent.every.filter(studio=studio, key=key).first() if key is not None else None
    if there is not None:
        return there
    if kind == "correction":
        raise DomainError("kind: a correction takes clear coat; record it as a correction of its panels.", field="kind")
    known("kind", kind, STUDIO_EVENT_KINDS)
    known("by", by, ("studio", "customer"))
    not_after("on", on, studio, at)
    if dwell_h is not None and not 0 <= dwell_h <= 10_000:
        raise DomainError(f"dwell_h: {dwell_h} hours is not between 0 and 10000.", field="dwell_h")
    if air_c is not None and not -60 <= air_c <= 60:
        raise DomainError(f"air_c: {air_c} °C is not between -60 and 60.", field="air_c")
    vehicle = one(Vehicle, studio, vehicle_id)
    surface = _surface_of(studio, vehicle, surface_id)
    if kind in ENDS_COATS and surface is None:
        raise DomainError(f"surface: say which surface the {kind.replace('_', ' ')} was on.", field="surface")
    with transaction.atomic():
        event: CareEvent = CareEvent.objects.create(
            studio=studio, vehicle=vehicle, surface=surface, kind=kind, on=on, by=by, dwell_h=dwell_h, air_c=air_c,
            note=note, key=key, before=as_before(surface, on) if kind in ENDS_COATS and surface is not None else {},
        )  # fmt: skip
        if kind in ENDS_COATS and surface is not None:
            end_coats(surface=surface, on=on, why=kind.replace("_", " "))
            surface.finish = "refinish" if kind == "repaint" else "unknown"
            surface.refinished_on = on
            if kind == "part_swap":
                surface.part_since, surface.removed_on = on, None
            surface.save(update_fields=["finish", "refinished_on", "part_since", "removed_on"])
        ask_for_assessment(vehicle.pk)
        journal.record(
            studio=studio, actor=actor, at=at, verb="event recorded", subject="care event", subject_id=event.pk,
            vehicle_id=vehicle.pk, kind=kind, on=on, by=by,
        )  # fmt: skip
    return event


def record_inspection(
    *,
    studio: Studio,
    vehicle_id: int,
    on: date,
    clean_state: str,
    readings: Sequence[ReadingEntry] = (),
    findings: Sequence[FindingEntry] = (),
    by: str = "studio",
    member_id: int | None = None,
    note: str = "",
    actor: str,
    at: datetime,
) -> Inspection:
    """Record what was seen on one day, all or nothing."""
    known("clean_state", clean_state, choices.CLEAN_STATES)
    known("by", by, ("studio", "customer"))
    not_after("on", on, studio, at)
    if not readings and not findings and not note.strip():
        raise DomainError("readings: enter at least one reading, finding or note.", field="readings")
    vehicle = one(Vehicle, studio, vehicle_id)
    with transaction.atomic():
        inspection: Inspection = Inspection.objects.create(
            studio=studio, vehicle=vehicle, on=on, clean_state=clean_state, by=by, note=note,
            member=one(Member, studio, member_id) if member_id is not None else None,
        )  # fmt: skip
        write_readings(inspection=inspection, vehicle=vehicle, entries=readings)
        for finding in findings:
            known("kind", finding.kind, tuple(FindingKind.values))
            Finding.objects.create(
                studio=studio, inspection=inspection, kind=finding.kind, severity=finding.severity,
                pre_existing=finding.pre_existing, note=finding.note,
                surface=_surface_of(studio, vehicle, finding.surface_id),
            )  # fmt: skip
        ask_for_assessment(vehicle.pk)
        journal.record(
            studio=studio, actor=actor, at=at, verb="inspection recorded", subject="inspection",
            subject_id=inspection.pk, vehicle_id=vehicle.pk, on=on, readings=len(readings), by=by,
        )  # fmt: skip
    return inspection


def record_habits(
    *,
    studio: Studio,
    vehicle_id: int,
    start: date,
    parking: str,
    km_per_year: float,
    wash_method: str,
    washes_per_year: float,
    wash_ph: str = "unknown",
    road_salt: str = "none",
    trees_birds: int = 1,
    source: str = "asked",
    place: Place | None = None,
    actor: str,
    at: datetime,
) -> Habits:
    """Record how the vehicle is used from `start` on. The period before ends there; wear already summed stays."""
    for field, value, allowed in (
        ("parking", parking, choices.PARKING),
        ("wash_method", wash_method, choices.WASH_METHODS),
        ("wash_ph", wash_ph, choices.WASH_PH),
        ("road_salt", road_salt, choices.ROAD_SALT),
        ("source", source, choices.HABIT_SOURCES),
    ):
        known(field, value, allowed)
    if not 0 <= km_per_year <= 500_000:
        raise DomainError(f"km_per_year: {km_per_year:g} is not between 0 and 500000.", field="km_per_year")
    if not 0 <= washes_per_year <= 400:
        raise DomainError(f"washes_per_year: {washes_per_year:g} is not between 0 and 400.", field="washes_per_year")
    if trees_birds not in range(4):
        raise DomainError(f"trees_birds: {trees_birds} is not 0, 1, 2 or 3.", field="trees_birds")
    plausible_day("start", start)
    vehicle = one(Vehicle, studio, vehicle_id)
    with transaction.atomic():
        before = Habits.objects.filter(vehicle=vehicle, end=None).first()
        if before is not None and before.start == start:
            before.withdrawn_at, before.withdrawn_why = at, "said again for the same day"
            before.save(update_fields=["withdrawn_at", "withdrawn_why"])
        elif before is not None:
            if start < before.start:
                raise DomainError(
                    f"start: {start} lies before the start of the present habits, {before.start}.", field="start"
                )
            before.end = start
            before.save(update_fields=["end"])
        habits: Habits = Habits.objects.create(
            studio=studio, vehicle=vehicle, start=start, parking=parking, km_per_year=km_per_year,
            wash_method=wash_method, washes_per_year=washes_per_year, wash_ph=wash_ph, road_salt=road_salt,
            trees_birds=trees_birds, source=source, lat=place.lat if place else None, lon=place.lon if place else None,
            height_m=place.height_m if place else None, sea_distance_m=place.sea_distance_m if place else None,
        )  # fmt: skip
        ask_for_assessment(vehicle.pk)
        journal.record(
            studio=studio, actor=actor, at=at, verb="habits recorded", subject="habits", subject_id=habits.pk,
            vehicle_id=vehicle.pk, start=start, source=source,
        )  # fmt: skip
    return habits


def record_storage(
    *, studio: Studio, vehicle_id: int, start: date, end: date | None = None, actor: str, at: datetime
) -> Storage:
    """The vehicle stands unused from `start` to `end`. It still ages, but nothing is due and nobody is reminded."""
    plausible_day("start", start)
    plausible_day("end", end)
    if end is not None and end <= start:
        raise DomainError(f"end: {end} is not after the start, {start}.", field="end")
    vehicle = one(Vehicle, studio, vehicle_id)
    with transaction.atomic():
        storage: Storage = Storage.objects.create(studio=studio, vehicle=vehicle, start=start, end=end)
        ask_for_assessment(vehicle.pk)
        journal.record(
            studio=studio, actor=actor, at=at, verb="storage recorded", subject="storage", subject_id=storage.pk,
            vehicle_id=vehicle.pk, start=start, end=end,
        )  # fmt: skip
    return storage
