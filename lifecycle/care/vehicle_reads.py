"""Read one vehicle for a page, scoped to a studio or to its present keeper, with a constant number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from django.db.models import Prefetch

from lifecycle.care.history import history_of
from lifecycle.care.rules import TASKS
from lifecycle.care.vehicle_view import (
    ClearView,
    ContractView,
    DueView,
    EventView,
    FilmReading,
    HabitsView,
    LayerView,
    ProposalView,
    RefusedView,
    SurfaceView,
    VehicleView,
    VisitView,
    cautions_for,
)
from lifecycle.care.wording import spoken
from lifecycle.condition.film import film_sets, spot_values
from lifecycle.errors import NotFoundHere
from lifecycle.models import (
    LIVE_DUE,
    Assessment,
    CareDue,
    CareEvent,
    ContractTerm,
    Correction,
    Forecast,
    Habits,
    Inspection,
    Keeper,
    Layer,
    Price,
    ProposalState,
    Reading,
    Refusal,
    Storage,
    Studio,
    Surface,
    Vehicle,
    Visit,
    VisitProposal,
    VisitState,
)
from lifecycle.wear.chemistry import chemistries
from lifecycle.wear.types import Band, CoursePoint, DateBand, Mechanism, Reason

_ROWS = (
    Prefetch("layers", Layer.objects.select_related("product").order_by("applied", "id")),
    Prefetch("corrections", Correction.objects.order_by("on", "id")),
)


def vehicle_for_studio(*, studio: Studio, vehicle_id: int, today: date) -> VehicleView:
    """The vehicle as its studio sees it.

    Raises:
        NotFoundHere: this studio has no such vehicle.
    """
    return _view(Vehicle.objects.filter(studio=studio, pk=vehicle_id), vehicle_id, today, for_keeper=False)


def vehicle_for_customer(*, customer_ids: Iterable[int], vehicle_id: int, today: date) -> VehicleView:
    """The vehicle as its present keeper sees it: habits and notes of earlier keepers stay with them.

    Raises:
        NotFoundHere: none of these customers keeps the vehicle now.
    """
    rows = Vehicle.objects.filter(
        pk__in=Keeper.objects.filter(end=None, customer_id__in=list(customer_ids), vehicle_id=vehicle_id).values(
            "vehicle_id"
        ),
        retired_on=None,
    )
    return _view(rows, vehicle_id, today, for_keeper=True)


def _with_rows(rows: Any, today: date) -> Any:
    return rows.select_related("site", "studio").prefetch_related(
        Prefetch("keepers", Keeper.objects.filter(end=None).select_related("customer")),
        Prefetch("surfaces", Surface.objects.order_by("id").prefetch_related(*_ROWS)),
        Prefetch("care_events", CareEvent.objects.select_related("surface").order_by("on", "id")),
        Prefetch(
            "inspections",
            Inspection.objects.order_by("on", "id").prefetch_related(
                Prefetch("readings", Reading.objects.select_related("surface", "gauge").order_by("id")),
                "doubts",
            ),
        ),
        Prefetch("visits", Visit.objects.select_related("site").order_by("on", "id")),
        Prefetch(
            "proposals",
            VisitProposal.objects.filter(state=ProposalState.PROPOSED)
            .select_related("planned_bay")
            .order_by("ideal", "id"),
        ),
        Prefetch("dues", CareDue.objects.filter(state__in=LIVE_DUE).order_by("ideal", "id")),
        Prefetch("refusals", Refusal.objects.order_by("task")),
        Prefetch("contract_terms", ContractTerm.objects.filter(done_on=None).order_by("due")),
        Prefetch("habits", Habits.objects.filter(end=None)),
        Prefetch("storages", Storage.objects.filter(end=None, start__lte=today)),
    )


def _view(rows: Any, vehicle_id: int, today: date, *, for_keeper: bool) -> VehicleView:
    vehicle: Vehicle | None = _with_rows(rows, today).first()
    if vehicle is None:
        raise NotFoundHere(f"There is no vehicle {vehicle_id} here.")
    keeper = next(iter(vehicle.keepers.all()), None)
    since = keeper.start if keeper is not None else None
    assessment = Assessment.objects.filter(vehicle=vehicle, latest=True).defer("whole", "inputs").first()
    names = {surface.code: spoken(surface.code) for surface in vehicle.surfaces.all()}
    return VehicleView(
        **_plain_fields(vehicle),
        today=today,
        keeper=keeper.customer.name if keeper is not None else "",
        keeper_id=keeper.customer_id if keeper is not None else None,
        keeper_since=since,
        **_assessed_fields(assessment),
        stored_since=next((row.start for row in vehicle.storages.all()), None),
        surfaces=_surfaces(vehicle, assessment, today),
        dues=_dues(vehicle, names),
        refused=tuple(_refused(row, names) for row in vehicle.refusals.all()),
        visits=tuple(_visit(row) for row in vehicle.visits.all() if row.state == VisitState.BOOKED and row.on >= today),
        proposals=tuple(_proposal(row) for row in vehicle.proposals.all()),
        history=history_of(vehicle, notes_since=since if for_keeper else date.min),
        habits=_habits(vehicle, since if for_keeper else None),
        contracts=tuple(
            ContractView(title=row.title, due=row.due, tolerance_days=row.tolerance_days)
            for row in vehicle.contract_terms.all()
        ),
    )


def _plain_fields(vehicle: Vehicle) -> dict[str, Any]:
    own = ("plate", "description", "body", "size", "colour", "paint", "powertrain", "first_seen", "studio_id")
    return {name: getattr(vehicle, name) for name in own} | {
        "id": vehicle.pk,
        "studio": vehicle.studio.name,
        "studio_phone": vehicle.studio.phone,
        "currency": vehicle.studio.currency,
        "site": vehicle.site.name,
    }


def _assessed_fields(assessment: Assessment | None) -> dict[str, Any]:
    if assessment is None:
        return {}
    return {
        "as_of": assessment.as_of,
        "assessed_at": assessment.at,
        "model_version": assessment.model_version,
        "climate": assessment.climate.get("detail", ""),
        "assumed": tuple(assessment.assumed),
    }


def _band(plain: Mapping[str, Any] | None) -> Band | None:
    return Band(plain["p10"], plain["p50"], plain["p90"]) if plain else None


def _points(row: Forecast, prefix: str, suffix: str = "") -> tuple[Any, ...]:
    return tuple(getattr(row, f"{prefix}_{point}{suffix}") for point in ("p10", "p50", "p90"))


def _number_band(row: Forecast, prefix: str, suffix: str = "") -> Band | None:
    values = _points(row, prefix, suffix)
    return Band(*values) if None not in values else None


def _date_band(row: Forecast, prefix: str) -> DateBand | None:
    values = _points(row, prefix)
    return DateBand(*values) if None not in values else None


def _layer(row: Layer, forecast: Forecast | None) -> LayerView:
    product = row.product
    known = chemistries().get(row.kind)
    thickness, mark = (known.thickness_um, "from memory") if known is not None else (None, "")
    if product is not None and product.thickness_um is not None:
        thickness, mark = product.thickness_um, "the product's sheet"
    view: dict[str, Any] = {
        "id": row.pk,
        "kind": row.kind,
        "product": product.name if product is not None else "",
        "applied": row.applied,
        "coats": row.coats,
        "thickness_um": thickness,
        "thickness_mark": mark,
    }
    if forecast is None:
        return LayerView(**view, stage="unknown")
    return LayerView(
        **view,
        stage=forecast.stage,
        function_left=_number_band(forecast, "function"),
        renewal_months=_number_band(forecast, "renewal", "_months"),
        tired_on=_date_band(forecast, "tired"),
        end_on=_date_band(forecast, "end"),
        rate_median=forecast.rate_median,
        seen_on=forecast.seen_on,
        evidence_says=forecast.evidence_says,
        reasons=tuple(Reason(Mechanism(r["mechanism"]), r["share"], r["says"]) for r in forecast.reasons),
        marks=tuple(forecast.marks),
        notes=tuple(forecast.notes),
        course=tuple(CoursePoint(date.fromisoformat(p["on"]), p["p10"], p["p50"], p["p90"]) for p in forecast.course),
    )


def _clear(plain: Mapping[str, Any] | None) -> ClearView | None:
    if not plain:
        return None
    return ClearView(
        budget_um=_band(plain.get("budget_um")),
        clear_um=_band(plain.get("clear_um")),
        removed_um=_band(plain.get("removed_um")),
        decision=plain["decision"],
        why=plain["why"],
        marks=tuple(plain.get("marks", ())),
    )


def _film_reading(inspection: Inspection, rows: Sequence[Reading]) -> FilmReading:
    values, first = spot_values(rows), rows[0]
    return FilmReading(
        mean_um=sum(values) / len(values), lowest_um=min(values), count=len(rows), method=first.method,
        on=inspection.on, spots=len({row.spot for row in rows if row.spot is not None}),
        gauge=first.gauge.name if first.gauge else "", gauge_sd_um=first.gauge_sd_um,
        gauge_checked_on=first.gauge_checked_on, unit=first.unit or "um",
        doubts=tuple(doubt.says for doubt in inspection.doubts.all() if doubt.surface_id == first.surface_id),
    )  # fmt: skip


def _film_readings(inspections: Iterable[Inspection]) -> dict[int, FilmReading]:
    """The newest set of thickness readings by surface; `inspections` oldest first."""
    newest: dict[int, FilmReading] = {}
    for inspection in inspections:
        for surface_id, rows in film_sets(inspection):
            since = rows[0].surface.as_it_is_since
            if since is None or inspection.on >= since:
                newest[surface_id] = _film_reading(inspection, rows)
    return newest


def _events(vehicle: Vehicle, surface: Surface) -> tuple[EventView, ...]:
    """What marks the axis of this surface's courses: its own events and the whole vehicle's."""
    found = [
        EventView(row.on, row.kind, row.surface_id)
        for row in vehicle.care_events.all()
        if row.surface_id in (None, surface.pk)
    ]
    found += [
        EventView(row.on, "inspection", surface.pk)
        for row in vehicle.inspections.all()
        if row.by == "studio" and any(reading.surface_id == surface.pk for reading in row.readings.all())
    ]
    corrected = {event.on for event in found if event.kind == "correction"}
    found += [
        EventView(row.on, "correction", surface.pk) for row in surface.corrections.all() if row.on not in corrected
    ]
    return tuple(sorted(found, key=lambda event: event.on))


def _surfaces(vehicle: Vehicle, assessment: Assessment | None, today: date) -> tuple[SurfaceView, ...]:
    forecasts = {row.layer_id: row for row in Forecast.objects.filter(assessment=assessment)} if assessment else {}
    films = _film_readings(vehicle.inspections.all())
    views = []
    for row in vehicle.surfaces.all():
        if row.removed_on is not None:
            continue
        told = assessment.surfaces.get(row.code, {}) if assessment is not None else {}
        live = [layer for layer in row.layers.all() if layer.ended is None or layer.ended > today]
        views.append(
            SurfaceView(
                id=row.pk,
                code=row.code,
                orientation=row.orientation,
                substrate=row.substrate,
                finish=row.finish,
                refinished_on=row.refinished_on,
                layers=tuple(_layer(layer, forecasts.get(layer.pk)) for layer in live),
                clogged=bool(told.get("clogged")),
                clogging=_band(told.get("clogging")),
                clear=_clear(told.get("clear_coat")),
                film=films.get(row.pk),
                events=_events(vehicle, row),
                notes=tuple(told.get("notes", ())),
            )
        )
    return tuple(views)


def _names(codes: Sequence[str], known: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(known.get(code, spoken(code)) for code in codes)


def _booked_on(vehicle: Vehicle, due: CareDue) -> date | None:
    """The first booked visit whose tasks hold this one."""
    return next(
        (row.on for row in vehicle.visits.all() if row.state == VisitState.BOOKED and due.task in row.tasks), None
    )


def _dues(vehicle: Vehicle, names: Mapping[str, str]) -> tuple[DueView, ...]:
    prices = {row.task: (row.low, row.high) for row in Price.objects.filter(studio=vehicle.studio, size=vehicle.size)}
    views = []
    for row in vehicle.dues.all():
        task = TASKS[row.task]
        words = {key: row.words.get(key, "") for key in
                 ("known", "changed", "expected", "prevents", "if_postponed", "self_check")}  # fmt: skip
        views.append(
            DueView(
                id=row.pk,
                task=row.task,
                title=task.title,
                kind=task.kind,
                surfaces=_names(row.surfaces, names),
                earliest=row.earliest,
                ideal=row.ideal,
                latest=row.latest,
                contract_on=row.contract_on,
                reason_code=row.reason_code,
                why=row.why,
                **words,
                price=prices.get(row.task),
                cautions=cautions_for(task, powertrain=vehicle.powertrain),
                labour_h=row.words.get("hours") or task.labour_h(vehicle.size),
                cure_h=task.cure_hours,
                booked_on=_booked_on(vehicle, row),
            )
        )
    return tuple(views)


def _refused(row: Refusal, names: Mapping[str, str]) -> RefusedView:
    return RefusedView(task=row.task, title=_titles([row.task])[0], surfaces=_names(row.surfaces, names), why=row.why)


def _titles(tasks: Iterable[str]) -> tuple[str, ...]:
    return tuple(TASKS[task].title if task in TASKS else task.replace("_", " ") for task in tasks)


def _visit(row: Visit) -> VisitView:
    return VisitView(id=row.pk, on=row.on, tasks=_titles(row.tasks), state=row.state, site=row.site.name)


def _proposal(row: VisitProposal) -> ProposalView:
    return ProposalView(
        id=row.pk, earliest=row.earliest, ideal=row.ideal, latest=row.latest, tasks=_titles(row.tasks),
        labour_h=row.labour_h, cure_h=row.cure_h, why=row.why, planned=row.planned_on,
        bay=row.planned_bay.name if row.planned_bay is not None else "", planned_why=row.planned_why,
    )  # fmt: skip


def _habits(vehicle: Vehicle, not_before: date | None) -> HabitsView | None:
    """The habits that hold now; for a keeper only if they were told in the keeper's own time."""
    row = next(iter(vehicle.habits.all()), None)
    if row is None or (not_before is not None and row.start < not_before):
        return None
    return HabitsView(
        since=row.start, parking=row.parking, km_per_year=row.km_per_year, wash_method=row.wash_method,
        washes_per_year=row.washes_per_year, road_salt=row.road_salt, source=row.source,
    )  # fmt: skip
