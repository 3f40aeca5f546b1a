"""Rows of many vehicles -> `VehicleInput`, with a fixed number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from itertools import groupby

from django.db.models import Prefetch

from lifecycle.models import (
    CareEvent,
    ContractTerm,
    Correction,
    Habits,
    Inspection,
    Layer,
    Reading,
    Storage,
    Surface,
    Vehicle,
)
from lifecycle.wear.choices import EVENT_KINDS
from lifecycle.wear.types import (
    ContractInspection,
    EventInput,
    HabitPeriod,
    LayerInput,
    Mark,
    Place,
    ReadingInput,
    Removal,
    StoragePeriod,
    SurfaceInput,
    Thickness,
    VehicleInput,
)


def rows_for(vehicle_ids: Iterable[int]) -> list[Vehicle]:
    """Vehicles with everything that their forecast depends on."""
    return list(
        Vehicle.objects.filter(pk__in=vehicle_ids)
        .select_related("site", "studio")
        .prefetch_related(
            Prefetch("habits", Habits.objects.order_by("start")),
            Prefetch("storages", Storage.objects.order_by("start")),
            Prefetch("contract_terms", ContractTerm.objects.filter(done_on=None).order_by("due")),
            Prefetch("care_events", CareEvent.objects.select_related("surface").order_by("on", "id")),
            Prefetch(
                "surfaces",
                Surface.objects.order_by("id").prefetch_related(
                    Prefetch("layers", Layer.objects.select_related("product").order_by("applied", "id")),
                    Prefetch("corrections", Correction.objects.order_by("on", "id")),
                ),
            ),
            Prefetch(
                "inspections",
                Inspection.objects.order_by("on", "id").prefetch_related(
                    Prefetch("readings", Reading.objects.select_related("surface").order_by("id"))
                ),
            ),
        )
        .order_by("pk")
    )


def _place(vehicle: Vehicle) -> Place:
    site = vehicle.site
    return Place(lat=site.lat, lon=site.lon, height_m=site.height_m, sea_distance_m=site.sea_distance_m)


def _habit(row: Habits) -> HabitPeriod:
    place = None
    if row.lat is not None and row.lon is not None:
        place = Place(lat=row.lat, lon=row.lon, height_m=row.height_m, sea_distance_m=row.sea_distance_m)
    return HabitPeriod(
        start=row.start, end=row.end, parking=row.parking, km_per_year=row.km_per_year, wash_method=row.wash_method,
        washes_per_year=row.washes_per_year, wash_ph=row.wash_ph, road_salt=row.road_salt,
        trees_birds=row.trees_birds, source=row.source, place=place,
    )  # fmt: skip


def _default_habit(vehicle: Vehicle) -> HabitPeriod:
    """Nobody asked yet: the reference duty, said to be assumed."""
    return HabitPeriod(
        start=vehicle.first_seen, end=None, parking="mixed", km_per_year=15_000, wash_method="two_bucket",
        washes_per_year=26, wash_ph="unknown", road_salt=vehicle.site.road_salt, source="defaulted",
        defaulted=("parking", "km_per_year", "wash_method", "washes_per_year"),
    )  # fmt: skip


def _layer(row: Layer) -> LayerInput:
    product = row.product
    life = None
    if product is not None and product.life_low_months is not None and product.life_high_months is not None:
        life = (product.life_low_months, product.life_high_months)
    return LayerInput(
        key=f"layer:{row.pk}", kind=row.kind, applied=row.applied, coats=row.coats, ended=row.ended,
        thickness_um=product.thickness_um if product is not None else None, life_months=life,
        life_mark=Mark.JUDGEMENT if life else Mark.COMMON_PRACTICE,
    )  # fmt: skip


def _thickness(vehicle: Vehicle) -> dict[int, Thickness]:
    """The newest set of film readings of each surface."""
    found: dict[int, Thickness] = {}
    for inspection in vehicle.inspections.all():
        rows = sorted(
            (r for r in inspection.readings.all() if r.kind == "thickness_um"), key=lambda r: (r.surface_id, r.pk)
        )
        for surface_id, group in groupby(rows, key=lambda r: r.surface_id):
            readings = list(group)
            found[surface_id] = Thickness(
                values=tuple(r.value for r in readings),
                method=readings[0].method or "magnetic",
                gauge_sd_um=readings[0].gauge_sd_um or 1.0,
                on=inspection.on,
            )
    return found


def _surfaces(vehicle: Vehicle) -> tuple[SurfaceInput, ...]:
    thickness = _thickness(vehicle)
    return tuple(
        SurfaceInput(
            code=row.code, orientation=row.orientation, substrate=row.substrate, finish=row.finish,
            refinished_on=row.refinished_on, thickness=thickness.get(row.pk),
            removals=tuple(Removal(on=c.on, stage=c.stage) for c in row.corrections.all() for _ in range(c.passes)),
            layers=tuple(_layer(layer) for layer in row.layers.all()),
        )
        for row in vehicle.surfaces.all()
    )  # fmt: skip


def _reading(inspection: Inspection, row: Reading) -> ReadingInput:
    return ReadingInput(
        on=inspection.on, surface=row.surface.code, clean_state=inspection.clean_state, by=inspection.by,
        drops=row.drops,
        contact_angle_deg=row.value if row.kind == "contact_angle_deg" else None,
        beading_score=round(row.value) if row.kind == "beading_score" else None,
        gloss_gu=row.value if row.kind == "gloss_gu" else None,
        works=bool(row.value) if row.kind == "works" else None,
    )  # fmt: skip


def _readings(inspections: Sequence[Inspection]) -> tuple[ReadingInput, ...]:
    return tuple(
        _reading(inspection, row)
        for inspection in inspections
        for row in inspection.readings.all()
        if row.kind != "thickness_um"
    )


def _events(vehicle: Vehicle) -> tuple[EventInput, ...]:
    """Events of the model, washes in the studio, and looks of the studio that left no reading behind."""
    events = [
        EventInput(
            on=row.on, kind=row.kind, surface=row.surface.code if row.surface else None, dwell_h=row.dwell_h,
            air_c=row.air_c,
        )
        for row in vehicle.care_events.all()
        if row.kind in EVENT_KINDS or (row.kind == "wash" and row.by == "studio")
    ]  # fmt: skip
    events += [
        EventInput(on=row.on, kind="inspected")
        for row in vehicle.inspections.all()
        if row.by == "studio" and not row.readings.all()
    ]
    return tuple(sorted(events, key=lambda event: event.on))


def vehicle_input(vehicle: Vehicle, *, as_of: date) -> VehicleInput:
    """What the wear model needs of one vehicle; `vehicle` comes from `rows_for`."""
    habits = tuple(_habit(row) for row in vehicle.habits.all())
    assumed: tuple[str, ...] = ()
    if not habits:
        habits, assumed = (_default_habit(vehicle),), ("habits",)
    return VehicleInput(
        as_of=as_of,
        place=_place(vehicle),
        body=vehicle.body,
        size=vehicle.size,
        colour=vehicle.colour,
        paint=vehicle.paint,
        powertrain=vehicle.powertrain,
        habits=habits,
        surfaces=_surfaces(vehicle),
        storage=tuple(StoragePeriod(start=row.start, end=row.end) for row in vehicle.storages.all()),
        readings=_readings(list(vehicle.inspections.all())),
        events=_events(vehicle),
        contracts=tuple(
            ContractInspection(due=row.due, tolerance_days=row.tolerance_days, title=row.title)
            for row in vehicle.contract_terms.all()
        ),
        assumed=assumed,
    )  # fmt: skip
