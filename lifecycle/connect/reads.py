"""What programs read: vehicles, layers, events and care that is due, without the names of people.

Every list is bounded and asks the same number of queries for one row and for a full page.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final, TypeVar

from django.db.models import Count, Prefetch, Q, QuerySet

from lifecycle.care.directory import Page
from lifecycle.care.find import one
from lifecycle.care.worklist import task_title
from lifecycle.errors import DomainError
from lifecycle.models import (
    LIVE_DUE,
    CareDue,
    CareEvent,
    Forecast,
    Keeper,
    Layer,
    Studio,
    Surface,
    Vehicle,
    Visit,
    VisitState,
)
from lifecycle.wear.types import Band, DateBand

SOON: Final = timedelta(days=30)
Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class SurfaceFacts:
    """A surface; `removed_on`: it is no longer on the vehicle."""

    id: int
    code: str
    orientation: str
    substrate: str
    finish: str
    refinished_on: date | None
    removed_on: date | None


@dataclass(frozen=True, slots=True)
class VehicleFacts:
    """A vehicle. `keeper_id`: the customer who keeps it now; `live_dues`: how many care windows are open or ahead."""

    id: int
    plate: str
    description: str
    body: str
    size: str
    colour: str
    paint: str
    powertrain: str
    site_id: int
    keeper_id: int | None
    first_seen: date
    left_on: date | None
    live_dues: int
    surfaces: tuple[SurfaceFacts, ...] = ()


@dataclass(frozen=True, slots=True)
class LayerFacts:
    """A layer. Bands are 10-50-90 % of the latest forecast, None without one; `function_left` is a share of 1."""

    id: int
    surface_id: int
    surface: str
    kind: str
    product_id: int | None
    product: str
    applied: date
    coats: int
    batch: str
    ended: date | None
    ended_why: str
    against: tuple[str, ...]
    stage: str
    function_left: Band | None
    end_on: DateBand | None


@dataclass(frozen=True, slots=True)
class EventFacts:
    """Something that happened to a vehicle; `surface_id` None: to the whole of it."""

    id: int
    vehicle_id: int
    kind: str
    on: date
    by: str
    surface_id: int | None
    dwell_h: float | None
    air_c: float | None
    note: str


@dataclass(frozen=True, slots=True)
class DueFacts:
    """A live care window: dates at the place of the vehicle, and why."""

    id: int
    vehicle_id: int
    plate: str
    task: str
    title: str
    surfaces: tuple[str, ...]
    earliest: date
    ideal: date
    latest: date
    contract_on: date | None
    reason: str
    why: str
    state: str
    booked_on: date | None


def page_of(rows: QuerySet[Any], make: Callable[[Any], Row], *, number: int, per_page: int) -> Page[Row]:
    """One page; beyond the last page its rows are empty, so that a program that counts up comes to an end."""
    total = rows.count()
    pages = max(1, -(-total // per_page))
    start = (number - 1) * per_page
    return Page(tuple(make(row) for row in rows[start : start + per_page]), total, number, pages)


def _vehicles(studio: Studio) -> QuerySet[Any]:
    keepers = Keeper.objects.filter(end=None)
    rows: QuerySet[Any] = (
        Vehicle.objects.of(studio)
        .annotate(live_dues=Count("dues", filter=Q(dues__state__in=LIVE_DUE), distinct=True))
        .prefetch_related(Prefetch("keepers", queryset=keepers, to_attr="keepers_now"))
        .order_by("id")
    )
    return rows


def _vehicle(row: Any, surfaces: tuple[SurfaceFacts, ...] = ()) -> VehicleFacts:
    keeper = next(iter(row.keepers_now), None)
    return VehicleFacts(
        id=row.pk, plate=row.plate, description=row.description, body=row.body, size=row.size, colour=row.colour,
        paint=row.paint, powertrain=row.powertrain, site_id=row.site_id,
        keeper_id=keeper.customer_id if keeper else None, first_seen=row.first_seen, left_on=row.retired_on,
        live_dues=row.live_dues, surfaces=surfaces,
    )  # fmt: skip


def vehicles(
    studio: Studio, *, plate: str = "", site_id: int | None = None, page: int = 1, per_page: int = 50
) -> Page[VehicleFacts]:
    """Vehicles that are looked after here, by id, without their surfaces.

    Args:
        plate: only plates that hold this text; case does not count.  site_id: only this site's.
    """
    rows = _vehicles(studio).filter(retired_on=None)
    if plate:
        rows = rows.filter(plate__icontains=plate)
    if site_id is not None:
        rows = rows.filter(site_id=site_id)
    return page_of(rows, _vehicle, number=page, per_page=per_page)


def vehicle(studio: Studio, vehicle_id: int) -> VehicleFacts:
    """One vehicle with its surfaces, also one that has left.

    Raises:
        NotFoundHere: it is not of this studio.
    """
    one(Vehicle, studio, vehicle_id)
    row = _vehicles(studio).get(pk=vehicle_id)
    surfaces = tuple(
        SurfaceFacts(s.pk, s.code, s.orientation, s.substrate, s.finish, s.refinished_on, s.removed_on)
        for s in Surface.objects.of(studio).filter(vehicle=vehicle_id).order_by("id")
    )
    return _vehicle(row, surfaces)


def still_here(studio: Studio, vehicle_id: int) -> None:
    """Refuse a record about a vehicle that has left.

    Raises:
        DomainError: it has left.
        NotFoundHere: it is not of this studio.
    """
    left_on = one(Vehicle, studio, vehicle_id).retired_on
    if left_on is not None:
        raise DomainError(f"This vehicle left on {left_on}; let it come back first.")


def _layer(row: Any) -> LayerFacts:
    seen = next(iter(row.latest), None)
    function = end = None
    if seen is not None and seen.function_p50 is not None:
        function = Band(seen.function_p10, seen.function_p50, seen.function_p90)
    if seen is not None and seen.end_p50 is not None:
        end = DateBand(seen.end_p10, seen.end_p50, seen.end_p90)
    return LayerFacts(
        id=row.pk, surface_id=row.surface_id, surface=row.surface.code, kind=row.kind, product_id=row.product_id,
        product=str(row.product) if row.product else "", applied=row.applied, coats=row.coats, batch=row.batch,
        ended=row.ended, ended_why=row.ended_why, against=tuple(str(each["code"]) for each in row.overridden),
        stage=seen.stage if seen is not None else "", function_left=function, end_on=end,
    )  # fmt: skip


def layers(
    studio: Studio, vehicle_id: int, *, ended: bool = False, page: int = 1, per_page: int = 50
) -> Page[LayerFacts]:
    """The layers of one vehicle, oldest first; with `ended` also those that are no longer there.

    Raises:
        NotFoundHere: the vehicle is not of this studio.
    """
    one(Vehicle, studio, vehicle_id)
    latest = Forecast.objects.filter(assessment__latest=True)
    rows: QuerySet[Any] = (
        Layer.objects.of(studio)
        .filter(surface__vehicle=vehicle_id)
        .select_related("surface", "product")
        .prefetch_related(Prefetch("forecasts", queryset=latest, to_attr="latest"))
        .order_by("applied", "id")
    )
    if not ended:
        rows = rows.filter(ended=None)
    return page_of(rows, _layer, number=page, per_page=per_page)


def _event(row: Any) -> EventFacts:
    return EventFacts(
        row.pk, row.vehicle_id, row.kind, row.on, row.by, row.surface_id, row.dwell_h, row.air_c, row.note
    )


def events(
    studio: Studio, vehicle_id: int, *, since: date | None = None, page: int = 1, per_page: int = 50
) -> Page[EventFacts]:
    """What happened to one vehicle, oldest first; what was withdrawn as a wrong entry is left out.

    Args:
        since: only from this day on.

    Raises:
        NotFoundHere: the vehicle is not of this studio.
    """
    one(Vehicle, studio, vehicle_id)
    rows: QuerySet[Any] = CareEvent.objects.of(studio).filter(vehicle=vehicle_id).order_by("on", "id")
    if since is not None:
        rows = rows.filter(on__gte=since)
    return page_of(rows, _event, number=page, per_page=per_page)


def _due(row: Any) -> DueFacts:
    booked = next((visit.on for visit in row.vehicle.booked_visits if row.task in visit.tasks), None)
    return DueFacts(
        id=row.pk, vehicle_id=row.vehicle_id, plate=row.vehicle.plate, task=row.task, title=task_title(row.task),
        surfaces=tuple(str(code) for code in row.surfaces), earliest=row.earliest, ideal=row.ideal, latest=row.latest,
        contract_on=row.contract_on, reason=row.reason_code, why=row.why, state=row.state, booked_on=booked,
    )  # fmt: skip


def dues(
    studio: Studio,
    *,
    today: date,
    vehicle_id: int | None = None,
    site_id: int | None = None,
    when: str = "all",
    page: int = 1,
    per_page: int = 50,
) -> Page[DueFacts]:
    """Live care windows, soonest end first.

    Args:
        today: calendar day at the studio.  vehicle_id, site_id: only these; unknown ones give an empty list.
        when: "now" (window open), "soon" (opens within 30 days) or "all".
    """
    rows: QuerySet[Any] = CareDue.objects.of(studio).filter(state__in=LIVE_DUE, vehicle__retired_on=None)
    if vehicle_id is not None:
        rows = rows.filter(vehicle=vehicle_id)
    if site_id is not None:
        rows = rows.filter(vehicle__site=site_id)
    if when != "all":
        rows = rows.filter(earliest__lte=today if when == "now" else today + SOON)
    booked = Visit.objects.filter(state=VisitState.BOOKED).order_by("on")
    rows = (
        rows.select_related("vehicle")
        .prefetch_related(Prefetch("vehicle__visits", queryset=booked, to_attr="booked_visits"))
        .order_by("latest", "id")
    )
    return page_of(rows, _due, number=page, per_page=per_page)
