"""Readings of a vehicle entered as one sheet: what can be read where, what looks wrong, and the verb that records."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final
from uuid import UUID

from django.db import transaction

from lifecycle import journal
from lifecycle.care.find import one, plausible_day
from lifecycle.care.gauges import GaugeRow, gauges
from lifecycle.care.reading_checks import Doubt, PanelRead, angle_doubt, film_doubts, gloss_doubt
from lifecycle.care.reading_rows import ReadingEntry, method_on, write_readings
from lifecycle.care.register import known
from lifecycle.care.sealing import refuse_sealed, sealed_among
from lifecycle.care.wording import day_words, spoken
from lifecycle.condition import rows_for, vehicle_input
from lifecycle.condition.film import USUAL_GAUGE_SD_UM
from lifecycle.errors import DomainError
from lifecycle.models import Gauge, Inspection, JournalEntry, Member, ReadingDoubt, Studio, Surface, Vehicle
from lifecycle.wear.choices import CLEAN_STATES
from lifecycle.wear.clearcoat import film_over_um
from lifecycle.wear.stack import PAINTED, layers_of

DRY_PARTS: Final = ("leather",)  # nobody scores beads on leather
RECENT: Final = 8


class NotConfirmed(DomainError):
    """Readings were not recorded: something about them wants a word first."""

    def __init__(self, doubts: Sequence[Doubt]) -> None:
        count = len(doubts)
        super().__init__(
            f"{count} thing{'s' if count > 1 else ''} about these readings look{'' if count > 1 else 's'} wrong. Mend "
            "them, or record them anyway: what is said here is then kept with them."
        )
        self.doubts = tuple(doubts)


@dataclass(frozen=True, slots=True)
class SheetPanel:
    """One surface of the sheet. `film_um`: the film on it, "" without one; `films`: a gauge may read paint here."""

    id: int
    code: str
    name: str
    substrate: str
    films: bool
    beads: bool
    film_um: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """What the readings page offers. `inspections`: recent ones of the studio that readings can be added to."""

    vehicle_id: int
    vehicle: str
    plate: str
    powertrain: str
    panels: tuple[SheetPanel, ...]
    gauges: tuple[GaugeRow, ...]
    inspections: tuple[tuple[int, str], ...]


def reading_sheet(studio: Studio, vehicle_id: int, *, today: date) -> Sheet:
    """The readings page of a vehicle; a constant number of queries.

    Raises:
        NotFoundHere: this studio has no such vehicle.
    """
    one(Vehicle, studio, vehicle_id)
    vehicle = rows_for([vehicle_id])[0]
    given = vehicle_input(vehicle, as_of=today)
    ids = {row.code: row.pk for row in vehicle.surfaces.all()}
    panels = []
    for surface in given.surfaces:
        film = film_over_um(layers_of(surface, given.events, as_of=today), on=None)
        panels.append(
            SheetPanel(
                id=ids[surface.code],
                code=surface.code,
                name=spoken(surface.code),
                substrate=surface.substrate,
                films=surface.substrate in PAINTED and surface.orientation not in ("inside", "wheel"),
                beads=surface.substrate not in DRY_PARTS,
                film_um=f"about {film.value:.0f} µm" if film else "",
            )
        )
    recent = [row for row in vehicle.inspections.all() if row.by == "studio"][-RECENT:]
    sealed = sealed_among(row.pk for row in recent)
    open_ones = [row for row in reversed(recent) if row.pk not in sealed]
    return Sheet(
        vehicle_id=vehicle.pk,
        vehicle=vehicle.description,
        plate=vehicle.plate,
        powertrain=vehicle.powertrain,
        panels=tuple(panels),
        gauges=gauges(studio, today=today, in_use=True),
        inspections=tuple((row.pk, f"{day_words(row.on)}, {row.get_kind_display()}") for row in open_ones),
    )


def _panels_read(
    surfaces: Mapping[int, Surface], gauges_by_id: Mapping[int, Gauge], entries: Sequence[ReadingEntry]
) -> list[PanelRead]:
    grouped: dict[int, list[ReadingEntry]] = {}
    for entry in entries:
        if entry.kind == "thickness_um" and entry.surface_id in surfaces:
            grouped.setdefault(entry.surface_id, []).append(entry)
    found = []
    for surface_id, rows in grouped.items():
        spots: dict[int, list[float]] = {}
        for number, row in enumerate(rows, 1):
            spots.setdefault(row.spot if row.spot is not None else 1000 + number, []).append(row.value)
        gauge = gauges_by_id.get(rows[0].gauge_id or 0)
        found.append(
            PanelRead(
                code=surfaces[surface_id].code,
                method=method_on(gauge.method if gauge else rows[0].method, surfaces[surface_id].substrate),
                gauge_sd_um=(gauge.sd_um if gauge else rows[0].gauge_sd_um) or USUAL_GAUGE_SD_UM,
                unit=rows[0].unit or "um",
                spots={spot: tuple(values) for spot, values in spots.items()},
            )
        )
    return found


def doubts_about(studio: Studio, vehicle_id: int, *, on: date, entries: Sequence[ReadingEntry]) -> tuple[Doubt, ...]:
    """What looks wrong about readings that are being entered; a constant number of queries.

    Raises:
        NotFoundHere: this studio has no such vehicle.
    """
    one(Vehicle, studio, vehicle_id)
    vehicle = rows_for([vehicle_id])[0]
    given = vehicle_input(vehicle, as_of=on)
    surfaces = {row.pk: row for row in vehicle.surfaces.all()}
    asked = {entry.gauge_id for entry in entries if entry.gauge_id is not None}
    by_id = {row.pk: row for row in Gauge.objects.filter(studio=studio, pk__in=asked)}
    stacks = {one.code: layers_of(one, given.events, as_of=on) for one in given.surfaces}
    found = list(film_doubts(_panels_read(surfaces, by_id, entries), surfaces=given.surfaces, stacks=stacks, on=on))
    for entry in entries:
        surface = surfaces.get(entry.surface_id)
        if surface is None:
            continue
        if entry.kind == "contact_angle_deg":
            found += filter(None, [angle_doubt(surface.code, entry.value)])
        elif entry.kind == "gloss_gu":
            found += filter(None, [gloss_doubt(surface.code, entry.value)])
    return tuple(found)


def _inspection(
    studio: Studio, vehicle: Vehicle, inspection_id: int | None, member_id: int | None, fields: dict[str, object]
) -> Inspection:
    if inspection_id is not None:
        found: Inspection = one(Inspection, studio, inspection_id, lock=True)
        if found.vehicle_id != vehicle.pk:
            raise DomainError("inspection: it is of another vehicle.", field="inspection")
        if found.by != "studio":
            raise DomainError("inspection: that is the customer's own; record a new one.", field="inspection")
        try:
            refuse_sealed(found)
        except DomainError as error:
            raise DomainError(error.message, field="inspection") from error
        return found
    member = one(Member, studio, member_id) if member_id is not None else None
    created: Inspection = Inspection.objects.create(studio=studio, vehicle=vehicle, member=member, **fields)
    return created


def _sent_before(studio: Studio, vehicle: Vehicle, key: UUID) -> Inspection | None:
    """The inspection that a form with this key has reached already: made by it, or one that it added to."""
    found: Inspection | None = Inspection.objects.filter(studio=studio, key=key).first()
    if found is None:
        told = JournalEntry.objects.filter(
            studio=studio, vehicle_id=vehicle.pk, verb="readings recorded", data__key=str(key)
        ).first()
        found = Inspection.objects.filter(studio=studio, pk=told.subject_id).first() if told is not None else None
    if found is not None and found.vehicle_id != vehicle.pk:
        raise DomainError("key: another vehicle's readings have it; load the page anew.", field="key")
    return found


def record_readings(
    *,
    studio: Studio,
    vehicle_id: int,
    entries: Sequence[ReadingEntry],
    on: date,
    clean_state: str = "washed",
    note: str = "",
    inspection_id: int | None = None,
    member_id: int | None = None,
    accepted: Collection[str] = (),
    key: UUID | None = None,
    actor: str,
    at: datetime,
) -> Inspection:
    """Record readings as a new inspection, or add them to one of the vehicle's; all or nothing.

    Args:
        on, clean_state, note: of the new inspection; an existing one keeps its own.
        accepted: keys of the doubts that the person saw and records all the same; they are kept.
        key: made with the form, so that a form that is sent twice is recorded once.

    Raises:
        NotConfirmed: there are doubts that were not accepted.
        DomainError: a value or a gauge cannot be; see `write_readings`.
    """
    if not entries:
        raise DomainError("readings: enter at least one reading.", field="readings")
    known("clean_state", clean_state, CLEAN_STATES)
    plausible_day("on", on)
    if on > studio.day(at):
        raise DomainError(f"on: {on} lies in the future; give the day on which it was read.", field="on")
    with transaction.atomic():
        vehicle = one(Vehicle, studio, vehicle_id, lock=True)  # the same form twice at once: the second waits, and sees
        if key is not None and (sent := _sent_before(studio, vehicle, key)) is not None:
            return sent
        fields = {"on": on, "clean_state": clean_state, "note": note, "key": key}
        inspection = _inspection(studio, vehicle, inspection_id, member_id, fields)
        doubts = doubts_about(studio, vehicle_id, on=inspection.on, entries=entries)
        count = write_readings(inspection=inspection, vehicle=vehicle, entries=entries)
        asking = [doubt for doubt in doubts if doubt.asks]
        if any(doubt.key not in accepted for doubt in asking):
            raise NotConfirmed(asking)
        ids = {row.code: row.pk for row in Surface.objects.filter(vehicle=vehicle)}
        ReadingDoubt.objects.bulk_create(
            ReadingDoubt(
                studio=studio, inspection=inspection, surface_id=ids[doubt.surface], spot=doubt.spot, kind=doubt.kind,
                says=doubt.says[:400],
            )
            for doubt in asking
        )  # fmt: skip
        Vehicle.objects.filter(pk=vehicle.pk).update(assess_again=True)
        journal.record(
            studio=studio, actor=actor, at=at, verb="readings recorded", subject="inspection",
            subject_id=inspection.pk, vehicle_id=vehicle.pk, on=inspection.on, readings=count,
            in_spite_of=[doubt.says for doubt in asking], key=key,
        )  # fmt: skip
    return inspection
