"""The life of one vehicle for a page: keepers, parts, wheel sets, contract dates, and entries that can be withdrawn.

Reads only, scoped to one studio, with a number of queries that does not grow with the rows. Former keepers have no
names.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from itertools import chain
from typing import Any, Final

from django.db.models import Prefetch, Q

from lifecycle.care.find import one
from lifecycle.care.history import EVENT_WORDS, STAGE_WORDS
from lifecycle.care.parts import LIFE_EVENTS
from lifecycle.care.wheels import SEASONS
from lifecycle.care.withdraw import KINDS
from lifecycle.care.wording import layer_words, spoken
from lifecycle.errors import NotFoundHere
from lifecycle.models import (
    CareEvent,
    ContractRule,
    ContractTerm,
    Correction,
    Forecast,
    Habits,
    Inspection,
    Keeper,
    Layer,
    Mounted,
    Storage,
    Studio,
    Surface,
    Vehicle,
)

EARLIER_KEEPER: Final = "earlier keeper"
MOST_ENTRIES: Final = 100


@dataclass(frozen=True, slots=True)
class KeeperLine:
    """Who kept it from `start` (included) to `end` (excluded; None: still so). Former ones are "earlier keeper"."""

    who: str
    start: date
    end: date | None


@dataclass(frozen=True, slots=True)
class LifeLine:
    """One dated line of a vehicle's life. `note`: the painter's or whoever did the work."""

    on: date
    what: str
    surface: str
    note: str


@dataclass(frozen=True, slots=True)
class TermLine:
    """One date that a contract names. `seen_on`: the inspection that was it."""

    id: int
    title: str
    due: date
    tolerance_days: int
    done_on: date | None
    marked: bool
    rule_id: int | None


@dataclass(frozen=True, slots=True)
class RuleLine:
    id: int
    title: str
    starts_on: date
    every_months: int
    tolerance_days: int
    ends_on: date | None
    written_in: str
    stopped: bool


@dataclass(frozen=True, slots=True)
class RemovedPart:
    id: int
    name: str
    substrate: str
    removed_on: date


@dataclass(frozen=True, slots=True)
class Life:
    vehicle_id: int
    vehicle: str
    plate: str
    powertrain: str
    retired_on: date | None
    keepers: tuple[KeeperLine, ...]
    lines: tuple[LifeLine, ...]
    removed: tuple[RemovedPart, ...]
    rules: tuple[RuleLine, ...]
    terms: tuple[TermLine, ...]


@dataclass(frozen=True, slots=True)
class SetLayer:
    """One live layer on a wheel set with its own clock: stage, and when renewal is likely sensible."""

    name: str
    applied: date
    stage: str
    end_first: date | None
    end_last: date | None


@dataclass(frozen=True, slots=True)
class WheelSet:
    """`on_since`: on the vehicle; `stored_since`: off it since; both None: nobody has said, it counts as on."""

    id: int
    name: str
    season: str
    season_words: str
    on: bool
    on_since: date | None
    stored_since: date | None
    layers: tuple[SetLayer, ...]
    periods: tuple[tuple[date, date | None], ...]


@dataclass(frozen=True, slots=True)
class Entry:
    """Something that was entered and can be withdrawn, or was."""

    kind: str
    id: int
    on: date
    what: str
    note: str
    withdrawn_on: date | None
    withdrawn_why: str


def _vehicle(studio: Studio, vehicle_id: int) -> Vehicle:
    return one(Vehicle, studio, vehicle_id)


def keeper_lines(vehicle_id: int) -> tuple[KeeperLine, ...]:
    """Keepers of a vehicle, newest first. Only the one who keeps it now has a name."""
    rows = Keeper.objects.filter(vehicle=vehicle_id).select_related("customer").order_by("-start", "-pk")
    return tuple(
        KeeperLine(row.customer.name if row.end is None else EARLIER_KEEPER, row.start, row.end) for row in rows
    )


def life(studio: Studio, vehicle_id: int) -> Life:
    """Keepers, life events, removed parts and contract dates of a vehicle; also of one that left.

    Raises:
        NotFoundHere: the vehicle is not of this studio.
    """
    vehicle = _vehicle(studio, vehicle_id)
    events = CareEvent.objects.filter(vehicle=vehicle, kind__in=LIFE_EVENTS).select_related("surface")
    removed = Surface.objects.filter(vehicle=vehicle).exclude(removed_on=None).order_by("removed_on", "pk")
    return Life(
        vehicle_id=vehicle.pk,
        vehicle=vehicle.description,
        plate=vehicle.plate,
        powertrain=vehicle.powertrain,
        retired_on=vehicle.retired_on,
        keepers=keeper_lines(vehicle.pk),
        lines=tuple(
            LifeLine(row.on, EVENT_WORDS[row.kind], spoken(row.surface.code) if row.surface else "", row.note)
            for row in events.order_by("-on", "-pk")
        ),
        removed=tuple(RemovedPart(row.pk, spoken(row.code), row.substrate, row.removed_on) for row in removed),
        rules=tuple(
            RuleLine(
                row.pk, row.title, row.starts_on, row.every_months, row.tolerance_days, row.ends_on, row.written_in,
                row.stopped_at is not None,
            )
            for row in ContractRule.objects.filter(vehicle=vehicle)
        ),
        terms=tuple(_term(row) for row in ContractTerm.objects.filter(vehicle=vehicle).order_by("due", "pk")),
    )  # fmt: skip


def _term(row: ContractTerm) -> TermLine:
    return TermLine(
        row.pk, row.title, row.due, row.tolerance_days, row.done_on, row.inspection_id is not None, row.rule_id
    )


def term(studio: Studio, vehicle_id: int, term_id: int) -> tuple[TermLine, tuple[tuple[int, date], ...]]:
    """One contract date, and the studio's inspections of the vehicle, those nearest to it first.

    Raises:
        NotFoundHere: no such date of this vehicle in this studio.
    """
    row = one(ContractTerm, studio, term_id)
    if row.vehicle_id != vehicle_id:
        raise NotFoundHere(f"There is no contract date {term_id} of this vehicle.")
    seen = Inspection.objects.filter(studio=studio, vehicle=vehicle_id, by="studio").order_by("-on", "-pk")
    days = list(seen.values_list("pk", "on")[:MOST_ENTRIES])
    return _term(row), tuple(sorted(days, key=lambda found: abs(found[1] - row.due)))


def rule(studio: Studio, vehicle_id: int, rule_id: int) -> ContractRule:
    """One rule of a vehicle.

    Raises:
        NotFoundHere: no such rule of this vehicle in this studio.
    """
    row = one(ContractRule, studio, rule_id)
    if row.vehicle_id != vehicle_id:
        raise NotFoundHere(f"There is no contract rule {rule_id} of this vehicle.")
    return row


def wheel_sets(studio: Studio, vehicle_id: int) -> tuple[WheelSet, ...]:
    """The wheel sets of a vehicle, each with its own clocks.

    Raises:
        NotFoundHere: the vehicle is not of this studio.
    """
    vehicle = _vehicle(studio, vehicle_id)
    rows: Any = (
        Surface.objects.filter(vehicle=vehicle, orientation="wheel", removed_on=None)
        .prefetch_related(
            Prefetch("mounted", Mounted.objects.order_by("start")),
            Prefetch("layers", Layer.objects.filter(ended=None).select_related("product").order_by("applied", "id")),
        )
        .order_by("pk")
    )
    latest = Forecast.objects.filter(assessment__vehicle=vehicle, assessment__latest=True)
    forecasts = {forecast.layer_id: forecast for forecast in latest}
    swapped = any(row.mounted.all() for row in rows)
    return tuple(_set(row, forecasts, swapped=swapped, first_seen=vehicle.first_seen) for row in rows)


def _set(row: Surface, forecasts: dict[int, Forecast], *, swapped: bool, first_seen: date) -> WheelSet:
    periods = tuple((period.start, period.end) for period in row.mounted.all())
    last = periods[-1] if periods else None
    on = last[1] is None if last is not None else not swapped
    layers = []
    for layer in row.layers.all():
        forecast = forecasts.get(layer.pk)
        layers.append(
            SetLayer(
                name=layer.product.name if layer.product is not None else layer_words(layer.kind),
                applied=layer.applied,
                stage=forecast.stage if forecast is not None else "unknown",
                end_first=forecast.end_p10 if forecast is not None else None,
                end_last=forecast.end_p90 if forecast is not None else None,
            )
        )
    return WheelSet(
        id=row.pk,
        name=spoken(row.code),
        season=row.season,
        season_words=SEASONS.get(row.season, ""),
        on=on,
        on_since=last[0] if on and last is not None else None,
        stored_since=None if on else (last[1] if last is not None else first_seen),
        layers=tuple(layers),
        periods=tuple(reversed(periods)),
    )


def _entry(kind: str, row: Any, zone_day: Any) -> Entry:
    what, on, note = _told(kind, row)
    return Entry(
        kind=kind,
        id=row.pk,
        on=on,
        what=what,
        note=note,
        withdrawn_on=zone_day(row.withdrawn_at) if row.withdrawn_at is not None else None,
        withdrawn_why=row.withdrawn_why,
    )


def _until(end: date | None) -> str:
    return f"to {end:%d %b %Y}" if end is not None else "with no end yet"


def _told(kind: str, row: Any) -> tuple[str, date, str]:
    """What an entry says, its day, and the note that was typed with it."""
    if kind == "event":
        words = EVENT_WORDS.get(row.kind, row.kind.replace("_", " "))
        where = f", {spoken(row.surface.code)}" if row.surface is not None else ""
        told = "" if row.by == "studio" else ", told by the customer"
        hours = f", {row.dwell_h:g} hours on it" if row.dwell_h is not None else ""
        heat = f", air at {row.air_c:g} °C" if row.air_c is not None else ""
        return f"{words}{where}{told}{hours}{heat}", row.on, row.note
    if kind == "storage":
        return f"storage {_until(row.end)}", row.start, ""
    if kind == "habits":
        return (
            f"use {_until(row.end)}: parked {row.parking.replace('_', ' ')}, {row.km_per_year:,.0f} km a year, "
            f"{row.washes_per_year:g} washes a year",
            row.start,
            "",
        )
    if kind == "correction":
        return f"paint correction ({STAGE_WORDS[row.stage]}), {spoken(row.surface.code)}", row.on, ""
    if kind == "swap":
        season = SEASONS.get(row.surface.season, spoken(row.surface.code))
        return f"wheels: {season} on, {_until(row.end)}", row.start, ""
    return f"contract date: {row.title}", row.due, ""


def _rows(kind: str, vehicle_id: int, extra: Q) -> Any:
    if kind == "event":
        return CareEvent.every.filter(extra, vehicle=vehicle_id).select_related("surface").order_by("-on", "-pk")
    if kind == "storage":
        return Storage.every.filter(extra, vehicle=vehicle_id).order_by("-start", "-pk")
    if kind == "habits":
        return Habits.every.filter(extra, vehicle=vehicle_id).order_by("-start", "-pk")
    if kind == "correction":
        return (
            Correction.every.filter(extra, surface__vehicle=vehicle_id).select_related("surface").order_by("-on", "-pk")
        )
    if kind == "swap":
        rows = Mounted.every.filter(extra, surface__vehicle=vehicle_id)
        return rows.select_related("surface").order_by("-start", "-pk")
    return ContractTerm.every.filter(extra, vehicle=vehicle_id, rule=None).order_by("-due", "-pk")


def entries(studio: Studio, vehicle_id: int, *, withdrawn: bool) -> tuple[Entry, ...]:
    """What was entered of a vehicle, newest first, at most `MOST_ENTRIES` of a kind.

    Args:
        withdrawn: those that were withdrawn; else those that stand.

    Raises:
        NotFoundHere: the vehicle is not of this studio.
    """
    vehicle = _vehicle(studio, vehicle_id)
    wanted = Q(withdrawn_at__isnull=not withdrawn)
    found: Iterable[Entry] = chain.from_iterable(
        (_entry(kind, row, studio.day) for row in _rows(kind, vehicle.pk, wanted)[:MOST_ENTRIES]) for kind in KINDS
    )
    return tuple(sorted(found, key=lambda entry: entry.on, reverse=True))


def entry(studio: Studio, vehicle_id: int, kind: str, entry_id: int) -> Entry:
    """One entry of a vehicle that stands.

    Raises:
        NotFoundHere: there is none such in this studio.
    """
    vehicle = _vehicle(studio, vehicle_id)
    row = _rows(kind, vehicle.pk, Q(pk=entry_id, withdrawn_at=None)).first() if kind in KINDS else None
    if row is None:
        raise NotFoundHere(f"There is no {kind} {entry_id} of this vehicle.")
    return _entry(kind, row, studio.day)


@dataclass(frozen=True, slots=True)
class LeftVehicle:
    id: int
    plate: str
    description: str
    site: str
    left_on: date


def left_vehicles(studio: Studio, *, search: str = "") -> tuple[LeftVehicle, ...]:
    """Vehicles that are no longer looked after here, the last to leave first, at most `MOST_ENTRIES`."""
    rows: Any = Vehicle.objects.of(studio).exclude(retired_on=None).select_related("site")
    for word in search.split()[:6]:
        rows = rows.filter(Q(plate__icontains=word) | Q(description__icontains=word))
    return tuple(
        LeftVehicle(row.pk, row.plate, row.description, row.site.name, row.retired_on)
        for row in rows.order_by("-retired_on", "-pk")[:MOST_ENTRIES]
    )


def left_vehicle(studio: Studio, vehicle_id: int) -> Vehicle:
    """A vehicle that left.

    Raises:
        NotFoundHere: it is not of this studio, or it is looked after here.
    """
    vehicle = _vehicle(studio, vehicle_id)
    if vehicle.retired_on is None:
        raise NotFoundHere(f"Vehicle {vehicle_id} has not left.")
    return vehicle
