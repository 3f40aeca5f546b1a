"""What a keeper reports of their vehicle, and takes back on the same day. Their word counts as hearsay: a water test
weighs a quarter of a studio's at most (`lifecycle.wear.evidence`)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils import timezone

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.photos import remove_photo
from lifecycle.care.reading_rows import ReadingEntry
from lifecycle.care.record import ask_for_assessment, record_event, record_inspection
from lifecycle.care.register import known
from lifecycle.care.sealing import refuse_sealed
from lifecycle.care.tongue.names import surface_name
from lifecycle.care.withdraw import withdraw
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import CareEvent, Habits, Inspection, JournalEntry, Keeper, Photo, Reading, Surface

MISHAPS: Final = ("bird_dropping", "sap", "fallout")
KINDS: Final = ("wash", *MISHAPS)
WATER_CLEAN: Final = ("washed", "dirty")
# What stands on water repellence on glass, paint or wheels can be tested with water; cloth, leather and bays cannot.
NO_WATER: Final = ("leather", "textile")
WHY: Final = "taken back by the keeper on the same day"
YEAR: Final = timedelta(days=365)


@dataclass(frozen=True, slots=True)
class LogSurface:
    """A surface that can be named in a report."""

    id: int
    name: str
    water: bool


@dataclass(frozen=True, slots=True)
class TodaysEntry:
    """Something that this keeper entered today. `kind`: event, test, habits, photo; `what`: the event's kind, the
    score, or ""."""

    kind: str
    id: int
    what: str
    surface: str
    on: date


@dataclass(frozen=True, slots=True)
class LogView:
    """`washes`: reported for the last 365 days; `counted`: washes a year that the forecast takes, None where nobody
    told."""

    vehicle_id: int
    plate: str
    description: str
    since: date
    today: date
    surfaces: tuple[LogSurface, ...]
    entries: tuple[TodaysEntry, ...]
    washes: int
    counted: float | None


def _refuse_day(keeper: Keeper, on: date, today: date) -> None:
    if on > today:
        raise DomainError(f"on: {on} lies in the future; give the day on which it happened.", field="on")
    if on < keeper.start:
        raise DomainError(f"on: you keep this vehicle since {keeper.start}; give a day from then on.", field="on")


def report_event(
    *, keeper: Keeper, kind: str, on: date, surface_id: int | None = None, dwell_h: float | None = None,
    key: UUID | None = None, today: date, at: datetime,
) -> CareEvent:  # fmt: skip
    """A wash, or what has come onto the paint. `today`: the day where the keeper is; a key is stored once.

    Raises:
        DomainError: a day in the future or before their time, an unknown kind, a surface of another vehicle.
    """
    known("kind", kind, KINDS)
    _refuse_day(keeper, on, today)
    return record_event(
        studio=keeper.studio, vehicle_id=keeper.vehicle_id, kind=kind, on=min(on, keeper.studio.day(at)),
        surface_id=surface_id, by="customer", dwell_h=dwell_h, key=key, actor=f"customer:{keeper.customer_id}", at=at,
    )  # fmt: skip


def report_water_test(
    *, keeper: Keeper, surface_id: int, score: int, clean_state: str, on: date, today: date, at: datetime
) -> Inspection:
    """A score of the picture scale on one surface. The same test told twice for a day is on record once.

    Raises:
        DomainError: as `report_event`; a surface on which water says nothing.
    """
    known("clean_state", clean_state, WATER_CLEAN)
    _refuse_day(keeper, on, today)
    surface = one(Surface, keeper.studio, surface_id)
    if surface.vehicle_id != keeper.vehicle_id:
        raise NotFoundHere(f"There is no surface {surface_id} here.")
    if surface.substrate in NO_WATER:
        raise DomainError(
            f"surface: on {surface.substrate} beads of water say nothing; choose another.", field="surface"
        )
    there: Inspection | None = Inspection.objects.filter(
        studio=keeper.studio, vehicle_id=keeper.vehicle_id, by="customer", on=on, clean_state=clean_state,
        readings__surface=surface, readings__kind="beading_score", readings__value=score,
    ).first()  # fmt: skip
    if there is not None:
        return there
    return record_inspection(
        studio=keeper.studio, vehicle_id=keeper.vehicle_id, on=min(on, keeper.studio.day(at)), clean_state=clean_state,
        readings=[ReadingEntry(surface_id=surface.pk, kind="beading_score", value=score)], by="customer",
        actor=f"customer:{keeper.customer_id}", at=at,
    )  # fmt: skip


def _made_today(keeper: Keeper, at: datetime) -> dict[str, list[int]]:
    """Ids of what this customer entered today, by the journal's subject."""
    zone = ZoneInfo(keeper.customer.zone or "UTC")
    local = at.astimezone(zone)
    start = local.replace(hour=0, minute=0, second=0, microsecond=0)
    rows = JournalEntry.objects.filter(
        studio=keeper.studio, vehicle_id=keeper.vehicle_id, actor=f"customer:{keeper.customer_id}", at__gte=start,
        verb__in=("event recorded", "inspection recorded", "habits recorded", "photo added"),
    ).values_list("subject", "subject_id")  # fmt: skip
    found: dict[str, list[int]] = {}
    for subject, subject_id in rows:
        found.setdefault(subject, []).append(subject_id)
    return found


def _entries(keeper: Keeper, at: datetime) -> tuple[TodaysEntry, ...]:
    made = _made_today(keeper, at)
    events = CareEvent.objects.filter(pk__in=made.get("care event", ()), by="customer").select_related("surface")
    entries = [
        TodaysEntry("event", row.pk, row.kind, surface_name(row.surface.code) if row.surface else "", row.on)
        for row in events
    ]
    tests = Reading.objects.filter(
        inspection__in=made.get("inspection", ()), inspection__by="customer", kind="beading_score"
    ).select_related("surface", "inspection")
    entries += [
        TodaysEntry("test", row.inspection_id, f"{row.value:.0f}", surface_name(row.surface.code), row.inspection.on)
        for row in tests
    ]
    habits = Habits.objects.filter(pk__in=made.get("habits", ()), end=None, source="reported")
    entries += [TodaysEntry("habits", row.pk, "", "", row.start) for row in habits]
    photos = Photo.objects.filter(pk__in=made.get("photo", ()), by="customer").select_related("surface")
    entries += [
        TodaysEntry(
            "photo", row.pk, "", surface_name(row.surface.code) if row.surface else "", timezone.localdate(row.added_at)
        )
        for row in photos
    ]
    return tuple(entries)


def log_view(*, keeper: Keeper, today: date, at: datetime) -> LogView:
    """What the log's page shows, in a constant number of queries."""
    vehicle = keeper.vehicle
    surfaces = Surface.objects.filter(vehicle=vehicle, removed_on=None).order_by("id")
    washes = CareEvent.objects.filter(
        vehicle=vehicle, kind="wash", by="customer", on__gt=today - YEAR, on__gte=keeper.start
    ).count()
    habits = Habits.objects.filter(vehicle=vehicle, end=None, start__gte=keeper.start).first()
    return LogView(
        vehicle_id=vehicle.pk, plate=vehicle.plate, description=vehicle.description, since=keeper.start, today=today,
        surfaces=tuple(LogSurface(row.pk, surface_name(row.code), row.substrate not in NO_WATER) for row in surfaces),
        entries=_entries(keeper, at), washes=washes, counted=habits.washes_per_year if habits is not None else None,
    )  # fmt: skip


def _drop_test(keeper: Keeper, inspection_id: int, actor: str, at: datetime) -> None:
    """A keeper's own test leaves the record; the journal keeps that it was there and what it said."""
    with transaction.atomic():
        row = one(Inspection, keeper.studio, inspection_id, lock=True)
        refuse_sealed(row)
        told = [[reading.surface_id, reading.kind, reading.value] for reading in row.readings.all()]
        journal.record(
            studio=keeper.studio, actor=actor, at=at, verb="inspection withdrawn", subject="inspection",
            subject_id=row.pk, vehicle_id=keeper.vehicle_id, on=row.on, clean_state=row.clean_state, readings=told,
        )  # fmt: skip
        row.delete()
        ask_for_assessment(keeper.vehicle_id)


def take_back(*, keeper: Keeper, kind: str, entry_id: int, at: datetime) -> None:
    """Withdraw what this keeper entered today.

    Raises:
        NotFoundHere: they entered no such thing today, or have taken it back already.
        DomainError: something stands on it.
    """
    if not any((entry.kind, entry.id) == (kind, entry_id) for entry in _entries(keeper, at)):
        raise NotFoundHere(f"There is no entry {kind} {entry_id} of today here.")
    actor = f"customer:{keeper.customer_id}"
    if kind == "test":
        _drop_test(keeper, entry_id, actor, at)
    elif kind == "photo":
        remove_photo(studio=keeper.studio, photo_id=entry_id, actor=actor, at=at)
    else:
        withdraw(studio=keeper.studio, kind=kind, entry_id=entry_id, why=WHY, actor=actor, at=at)
