"""Verbs that record what was put on, what happened and what was seen. Each asks for a new assessment of the vehicle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from lifecycle import journal
from lifecycle.care.find import one, plausible_day
from lifecycle.care.register import known
from lifecycle.errors import DomainError
from lifecycle.models import (
    CareEvent,
    Correction,
    Finding,
    Habits,
    Inspection,
    Layer,
    Member,
    Product,
    Reading,
    ReadingKind,
    Storage,
    Studio,
    Surface,
    Vehicle,
)
from lifecycle.wear import choices
from lifecycle.wear.types import Place

STUDIO_EVENT_KINDS = ("wash", *choices.EVENT_KINDS)
ENDS_COATS = ("correction", "repaint", "part_swap")
LIMITS = {
    "contact_angle_deg": (0.0, 180.0, "degrees"),
    "beading_score": (0.0, 5.0, "points"),
    "gloss_gu": (0.0, 2000.0, "GU"),
    "works": (0.0, 1.0, "0 or 1"),
    "thickness_um": (0.0, 5000.0, "µm"),
}
# A film is not polished away with the coats above the clear; its own top coat is.
FILM_BODIES = ("film_body", "wrap")


@dataclass(frozen=True, slots=True)
class ReadingEntry:
    surface_id: int
    kind: str
    value: float
    drops: int = 1
    method: str = ""
    gauge_sd_um: float | None = None


@dataclass(frozen=True, slots=True)
class FindingEntry:
    kind: str
    surface_id: int | None = None
    severity: int = 1
    pre_existing: bool = True
    note: str = ""


def _not_after(field: str, day: date, studio: Studio, at: datetime) -> None:
    plausible_day(field, day)
    if day > studio.day(at):
        raise DomainError(f"{field}: {day} lies in the future; give the day on which it happened.", field=field)


def _ask_for_assessment(vehicle_id: int) -> None:
    Vehicle.objects.filter(pk=vehicle_id).update(assess_again=True)


def record_layer(
    *,
    studio: Studio,
    surface_id: int,
    kind: str,
    applied: date,
    product_id: int | None = None,
    coats: int = 1,
    batch: str = "",
    applicator_id: int | None = None,
    actor: str,
    at: datetime,
) -> Layer:
    """Record a layer on a surface. A new layer of the same kind replaces the live one, except a booster's base."""
    known("kind", kind, choices.LAYER_KINDS)
    _not_after("applied", applied, studio, at)
    if not 1 <= coats <= 12:
        raise DomainError(f"coats: {coats} is not between 1 and 12.", field="coats")
    surface = one(Surface, studio, surface_id)
    product = one(Product, studio, product_id) if product_id is not None else None
    if product is not None and product.kind != kind:
        raise DomainError(f"product: {product} is of kind {product.kind}, not {kind}.", field="product")
    with transaction.atomic():
        for old in Layer.objects.filter(surface=surface, kind=kind, ended=None):
            if old.applied > applied:
                raise DomainError(
                    f"applied: a {kind.replace('_', ' ')} from {old.applied} is already on record for this surface; "
                    "give a later day, or end that one first.",
                    field="applied",
                )
            old.ended, old.ended_why = applied, "renewed"
            old.save(update_fields=["ended", "ended_why"])
        layer: Layer = Layer.objects.create(
            studio=studio, surface=surface, product=product, kind=kind, applied=applied, coats=coats, batch=batch,
            applicator=one(Member, studio, applicator_id) if applicator_id is not None else None,
        )  # fmt: skip
        _ask_for_assessment(surface.vehicle_id)
        journal.record(
            studio=studio, actor=actor, at=at, verb="layer recorded", subject="layer", subject_id=layer.pk,
            vehicle_id=surface.vehicle_id, kind=kind, surface=surface.code, applied=applied,
        )  # fmt: skip
    return layer


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
    actor: str,
    at: datetime,
) -> CareEvent:
    """Record a wash or an event. A correction, repaint or swapped part ends the coats of its surface."""
    known("kind", kind, STUDIO_EVENT_KINDS)
    known("by", by, ("studio", "customer"))
    _not_after("on", on, studio, at)
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
            note=note,
        )  # fmt: skip
        if kind in ENDS_COATS and surface is not None:
            end_coats(surface=surface, on=on, why=kind.replace("_", " "))
            if kind in ("repaint", "part_swap"):
                surface.finish = "refinish" if kind == "repaint" else "unknown"
                surface.refinished_on = on
                surface.save(update_fields=["finish", "refinished_on"])
        _ask_for_assessment(vehicle.pk)
        journal.record(
            studio=studio, actor=actor, at=at, verb="event recorded", subject="care event", subject_id=event.pk,
            vehicle_id=vehicle.pk, kind=kind, on=on, by=by,
        )  # fmt: skip
    return event


def _checked(studio: Studio, vehicle: Vehicle, entry: ReadingEntry) -> Surface:
    known("kind", entry.kind, tuple(ReadingKind.values))
    surface = one(Surface, studio, entry.surface_id)
    if surface.vehicle_id != vehicle.pk:
        raise DomainError("surface: it belongs to another vehicle.", field="surface")
    low, high, unit = LIMITS[entry.kind]
    if not low <= entry.value <= high:
        raise DomainError(
            f"value: {entry.value:g} on the {surface} is not between {low:g} and {high:g} {unit}.", field="value"
        )
    if entry.kind == "thickness_um" and entry.method == "magnetic" and surface.substrate != "steel":
        raise DomainError(
            f"method: a magnetic gauge reads nothing on {surface.substrate}; use eddy or ultrasonic.", field="method"
        )
    return surface


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
    _not_after("on", on, studio, at)
    if not readings and not findings and not note.strip():
        raise DomainError("readings: enter at least one reading, finding or note.", field="readings")
    vehicle = one(Vehicle, studio, vehicle_id)
    with transaction.atomic():
        inspection: Inspection = Inspection.objects.create(
            studio=studio, vehicle=vehicle, on=on, clean_state=clean_state, by=by, note=note,
            member=one(Member, studio, member_id) if member_id is not None else None,
        )  # fmt: skip
        Reading.objects.bulk_create(
            Reading(
                studio=studio, inspection=inspection, surface=_checked(studio, vehicle, entry), kind=entry.kind,
                value=entry.value, drops=entry.drops, method=entry.method, gauge_sd_um=entry.gauge_sd_um,
            )
            for entry in readings
        )  # fmt: skip
        for finding in findings:
            Finding.objects.create(
                studio=studio, inspection=inspection, kind=finding.kind, severity=finding.severity,
                pre_existing=finding.pre_existing, note=finding.note,
                surface=_surface_of(studio, vehicle, finding.surface_id),
            )  # fmt: skip
        _ask_for_assessment(vehicle.pk)
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
            before.delete()  # said again for the same day: a slip mended
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
        _ask_for_assessment(vehicle.pk)
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
        _ask_for_assessment(vehicle.pk)
        journal.record(
            studio=studio, actor=actor, at=at, verb="storage recorded", subject="storage", subject_id=storage.pk,
            vehicle_id=vehicle.pk, start=start, end=end,
        )  # fmt: skip
    return storage


def record_correction(
    *,
    studio: Studio,
    surface_id: int,
    on: date,
    stage: str,
    passes: int = 1,
    removal_low_um: float | None = None,
    removal_high_um: float | None = None,
    actor: str,
    at: datetime,
) -> Correction:
    """Record that clear coat was taken off. Every coat above the clear on that surface ends with it."""
    known("stage", stage, choices.REMOVAL_STAGES)
    _not_after("on", on, studio, at)
    if (removal_low_um is None) != (removal_high_um is None):
        raise DomainError("removal: give both ends of the range in µm, or neither.", field="removal_low_um")
    if removal_low_um is not None and removal_high_um is not None and not 0 <= removal_low_um <= removal_high_um:
        raise DomainError("removal: the low end must be 0 or more and not above the high end.", field="removal_low_um")
    surface = one(Surface, studio, surface_id)
    with transaction.atomic():
        correction: Correction = Correction.objects.create(
            studio=studio, surface=surface, on=on, stage=stage, passes=passes, removal_low_um=removal_low_um,
            removal_high_um=removal_high_um,
        )  # fmt: skip
        ended = 0 if stage == "unknown_past" else end_coats(surface=surface, on=on, why="correction")
        _ask_for_assessment(surface.vehicle_id)
        journal.record(
            studio=studio, actor=actor, at=at, verb="correction recorded", subject="correction",
            subject_id=correction.pk, vehicle_id=surface.vehicle_id, stage=stage, on=on, coats_ended=ended,
        )  # fmt: skip
    return correction
