"""Rows of many vehicles -> `VehicleInput`, with a fixed number of queries."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta

from django.db.models import Prefetch

from lifecycle.condition.film import thickness_of
from lifecycle.models import (
    CareEvent,
    ContractTerm,
    Correction,
    FigureOverride,
    Habits,
    Inspection,
    Layer,
    Mounted,
    Reading,
    Storage,
    Surface,
    Vehicle,
)
from lifecycle.models.layer import FILM_KINDS
from lifecycle.wear.choices import EVENT_KINDS
from lifecycle.wear.figures import check_overrides
from lifecycle.wear.marks import NO_OVERRIDES, Figure, Overrides, TableError
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

log = logging.getLogger(__name__)

NEVER = date(1900, 1, 1)
# What the wear model calls an event that it knows by another name: a new pane is a new part.
CARE_ONLY = ("wash", "iron_removal")  # what the care rules ask for and wear does not
MODEL_KIND = {"glass_replaced": "part_swap"}


def product_name(product_id: int) -> str:
    """How the wear model names a product (`LayerInput.product`)."""
    return f"product:{product_id}"


def own_figures(rows: Iterable[FigureOverride]) -> tuple[dict[str, Figure], dict[str, dict[str, Figure]]]:
    """A studio's figures by key, and by product and key; the unit is the table's and does not count here."""
    figures: dict[str, Figure] = {}
    products: dict[str, dict[str, Figure]] = {}
    for row in rows:
        figure = Figure(row.value, row.low, row.high, "", Mark(row.mark), row.source)
        if row.product_id is None:
            figures[row.key] = figure
        else:
            products.setdefault(product_name(row.product_id), {})[row.key] = figure
    return figures, products


def figures_in_use(rows: Iterable[FigureOverride]) -> tuple[Overrides, str]:
    """What `marks.overridden` takes, and why the studio's figures are not in use ("" where they are).

    A figure was sound when it was set. Where it no longer fits a table that has changed since, all of them rest until
    somebody looks: half of them could be worse than none.
    """
    figures, products = own_figures(rows)
    try:
        return check_overrides(figures, products=products), ""
    except TableError as error:
        return NO_OVERRIDES, str(error)


def figures_of(studio_ids: Iterable[int]) -> dict[int, Overrides]:
    """The figures of many studios (one query); those without any are left out."""
    rows: dict[int, list[FigureOverride]] = {}
    for row in FigureOverride.objects.filter(studio_id__in=set(studio_ids), superseded=None).order_by("pk"):
        rows.setdefault(row.studio_id, []).append(row)
    found = {}
    for studio_id, mine in rows.items():
        found[studio_id], reason = figures_in_use(mine)
        if reason:
            log.warning("the figures of studio %s are not in use: %s", studio_id, reason)
    return found


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
                Surface.objects.filter(removed_on=None)
                .order_by("id")
                .prefetch_related(
                    Prefetch("layers", Layer.objects.select_related("product").order_by("applied", "id")),
                    Prefetch("corrections", Correction.objects.order_by("on", "id")),
                    Prefetch("mounted", Mounted.objects.order_by("start")),
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


def _layer(row: Layer, figures: Overrides) -> LayerInput:
    product, name, cure = row.product, "", None
    life, mark = None, Mark.COMMON_PRACTICE
    if product is not None:
        cure = product.no_wash_days if row.kind in FILM_KINDS else product.no_chemicals_days
        if product.life_low_months is not None and product.life_high_months is not None:
            life, mark = (product.life_low_months, product.life_high_months), Mark.JUDGEMENT
        mine = figures.products.get(product_name(product.pk), {})
        name = product_name(product.pk) if mine else ""
        months = mine.get(f"layer.{row.kind}.months")
        if months is not None:  # a figure that was set by hand says more than the label
            life, mark = (months.low, months.high), months.mark
    return LayerInput(
        key=f"layer:{row.pk}", kind=row.kind, applied=row.applied, coats=row.coats, ended=row.ended,
        thickness_um=product.thickness_um if product is not None else None, life_months=life, life_mark=mark,
        product=name, cure_days=cure,
    )  # fmt: skip


def _removals(row: Correction) -> list[Removal]:
    """One entry for what was measured, else one for each pass."""
    if row.removal_low_um is not None and row.removal_high_um is not None:
        return [Removal(on=row.on, stage=row.stage, taken_um=(row.removal_low_um, row.removal_high_um))]
    return [Removal(on=row.on, stage=row.stage)] * row.passes


def _of_this_paint(row: Surface) -> tuple[Removal, ...]:
    """The ledger of the paint that is there now, without what was taken before a repaint or from an earlier part."""
    corrections = [one for one in row.corrections.all() if speaks_of_now(row, one.on)]
    return tuple(removal for correction in corrections for removal in _removals(correction))


def _surfaces(vehicle: Vehicle, figures: Overrides) -> tuple[SurfaceInput, ...]:
    read: Mapping[int, list[Thickness]] = thickness_of(vehicle.inspections.all())
    swapped = any(row.mounted.all() for row in vehicle.surfaces.all() if row.orientation == "wheel")
    now = {row.pk: _since_changed(row, read.get(row.pk, [])) for row in vehicle.surfaces.all()}
    return tuple(
        SurfaceInput(
            code=row.code, orientation=row.orientation, substrate=row.substrate, finish=row.finish,
            refinished_on=row.refinished_on,
            thickness=now[row.pk][-1] if now[row.pk] else None,
            mounted=_mounted(row, swapped=swapped),
            earlier_thickness=tuple(now[row.pk][:-1]),
            removals=_of_this_paint(row),
            layers=tuple(_layer(layer, figures) for layer in row.layers.all()),
        )
        for row in vehicle.surfaces.all()
    )  # fmt: skip


def speaks_of_now(surface: Surface, day: date | None) -> bool:
    """Whether what was read or taken off on a day concerns the paint and the part that are there now: after a repaint
    or a swapped part, or on its day."""
    since = surface.as_it_is_since
    return since is None or (day is not None and day >= since)


def _since_changed(surface: Surface, readings: Sequence[Thickness]) -> list[Thickness]:
    return [one for one in readings if speaks_of_now(surface, one.on)]


def _mounted(surface: Surface, *, swapped: bool) -> tuple[StoragePeriod, ...]:
    """When a part was on. A wheel set that was never mounted, beside others that were, lay in store all the time."""
    periods = tuple(StoragePeriod(start=on.start, end=on.end) for on in surface.mounted.all())
    if periods or not swapped or surface.orientation != "wheel":
        return periods
    return (StoragePeriod(start=NEVER, end=NEVER + timedelta(days=1)),)


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
        if row.kind != "thickness_um" and row.surface.removed_on is None and speaks_of_now(row.surface, inspection.on)
    )


def _counts(row: CareEvent) -> bool:
    """Whether the model is told of an event. What befell a removed part, or a panel before its new paint, is past."""
    known = row.kind in EVENT_KINDS or row.kind in MODEL_KIND or (row.kind in CARE_ONLY and row.by == "studio")
    known = known or row.kind == "iron_specks"
    surface = row.surface
    return known and (surface is None or (surface.removed_on is None and speaks_of_now(surface, row.on)))


def _events(vehicle: Vehicle) -> tuple[EventInput, ...]:
    """Events of the model, washes in the studio, and looks of the studio that left no reading behind."""
    events = [
        EventInput(
            on=row.on, kind=MODEL_KIND.get(row.kind, row.kind), surface=row.surface.code if row.surface else None,
            dwell_h=row.dwell_h, air_c=row.air_c,
        )
        for row in vehicle.care_events.all()
        if _counts(row)
    ]  # fmt: skip
    events += [
        EventInput(on=row.on, kind="inspected")
        for row in vehicle.inspections.all()
        if row.by == "studio" and not row.readings.all()
    ]
    return tuple(sorted(events, key=lambda event: event.on))


def vehicle_input(vehicle: Vehicle, *, as_of: date, figures: Overrides = NO_OVERRIDES) -> VehicleInput:
    """What the wear model needs of one vehicle.

    Args:
        vehicle: comes from `rows_for`.  figures: the studio's own, from `figures_of`.
    """
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
        surfaces=_surfaces(vehicle, figures),
        storage=tuple(StoragePeriod(start=row.start, end=row.end) for row in vehicle.storages.all()),
        readings=_readings(list(vehicle.inspections.all())),
        events=_events(vehicle),
        contracts=tuple(
            ContractInspection(due=row.due, tolerance_days=row.tolerance_days, title=row.title)
            for row in vehicle.contract_terms.all()
        ),
        assumed=assumed,
    )  # fmt: skip
