"""Every look beside the forecast that stood before it, from the assessments as they were kept; never hindsight.

An assessment's figures are never changed once it is made (a later one only takes its place), and its day is the day on
which it was made: what is taken here is of an earlier day than the look.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from django.db.models import DateField, ExpressionWrapper, F, OuterRef, Subquery

from lifecycle.models import Assessment, CareEvent, Forecast, ForecastCheck, Inspection, Layer, Reading, Studio
from lifecycle.outlook.look import END, TIRED, Look, chance_by, seen
from lifecycle.wear.chemistry import chemistry
from lifecycle.wear.types import DateBand

LAST, EARLY = "last", "early"
LEADS: Final = (LAST, EARLY)
EARLY_DAYS: Final = 90
TELLING: Final = ("contact_angle_deg", "beading_score", "works")
TOUCHES: Final = ("correction", "repaint", "part_swap")
AT_ONCE: Final = 500


@dataclass(frozen=True, slots=True)
class _Seen:
    """One surface on one day: who looked at what, and the assessments before it by lead."""

    inspection_id: int
    vehicle_id: int
    site_id: int
    surface_id: int
    on: date
    look: Look
    before: Mapping[str, int | None]


def check_studio(studio: Studio) -> int:
    """Work out all checks of a studio anew. The caller holds the transaction.

    Returns:
        How many looks had a forecast before them and said something.
    """
    ForecastCheck.objects.of(studio).delete()
    ids = list(_looks(studio).values_list("pk", flat=True))
    made = 0
    for start in range(0, len(ids), AT_ONCE):
        rows = list(_checks(studio, _read(studio, ids[start : start + AT_ONCE])))
        ForecastCheck.objects.bulk_create(rows)
        made += len({row.inspection_id for row in rows})
    return made


def _looks(studio: Studio) -> Any:
    return (
        Inspection.objects.of(studio)
        .filter(clean_state="decontaminated", by="studio", readings__kind__in=TELLING)
        .order_by("pk")
        .distinct()
    )


def _read(studio: Studio, ids: Sequence[int]) -> list[_Seen]:
    """The looks of some inspections with the assessments before them; two queries."""

    def before(on: Any) -> Subquery:
        rows = Assessment.objects.filter(studio=studio, vehicle=OuterRef("vehicle"), as_of__lt=on)
        return Subquery(rows.order_by("-as_of", "-id").values("pk")[:1])

    early = ExpressionWrapper(OuterRef("on") - timedelta(days=EARLY_DAYS - 1), output_field=DateField())
    inspections = {
        row["pk"]: row
        for row in Inspection.objects.filter(pk__in=ids)
        .annotate(last=before(OuterRef("on")), early=before(early), site=F("vehicle__site"))
        .values("pk", "vehicle_id", "site", "on", "last", "early")
    }
    readings: dict[tuple[int, int], list[tuple[str, float]]] = defaultdict(list)
    rows = Reading.objects.filter(inspection__in=ids, kind__in=TELLING).order_by("pk")
    for inspection_id, surface_id, kind, value in rows.values_list("inspection_id", "surface_id", "kind", "value"):
        readings[inspection_id, surface_id].append((kind, value))
    return [
        _Seen(
            inspection_id, found["vehicle_id"], found["site"], surface_id, found["on"], Look(tuple(values)),
            {LAST: found["last"], EARLY: found["early"]},
        )
        for (inspection_id, surface_id), values in readings.items()
        for found in [inspections[inspection_id]]
    ]  # fmt: skip


def _checks(studio: Studio, looks: Sequence[_Seen]) -> Iterator[ForecastCheck]:
    """The rows of some looks; four queries."""
    surfaces = {look.surface_id for look in looks}
    layers: dict[int, list[Layer]] = defaultdict(list)
    for layer in Layer.objects.filter(surface__in=surfaces).order_by("applied", "id"):
        layers[layer.surface_id].append(layer)
    touched: dict[tuple[int, int | None], list[date]] = defaultdict(list)
    events = CareEvent.objects.filter(vehicle__in={look.vehicle_id for look in looks}, kind__in=TOUCHES)
    for vehicle_id, surface_id, on in events.values_list("vehicle_id", "surface_id", "on"):
        touched[vehicle_id, surface_id].append(on)
    wanted = {pk for look in looks for pk in look.before.values() if pk is not None}
    forecasts = {
        (row.assessment_id, row.layer_id): row
        for row in Forecast.objects.filter(assessment__in=wanted, surface__in=surfaces, end_p50__isnull=False)
        .select_related("assessment")
        .defer("reasons", "marks", "notes", "course", "assessment__whole", "assessment__inputs")
    }
    for look in looks:
        live = [one for one in layers[look.surface_id] if one.applied < look.on and not _ended(one, look.on)]
        if not live:
            continue
        layer = live[-1]  # what lies on top is what was looked at
        for lead, assessment_id in look.before.items():
            forecast = forecasts.get((assessment_id, layer.pk)) if assessment_id is not None else None
            if forecast is None:
                continue
            since = forecast.assessment.as_of
            days = touched[look.vehicle_id, look.surface_id] + touched[look.vehicle_id, None]
            later = [one.applied for one in layers[look.surface_id] if one.pk != layer.pk]
            if any(since < day <= look.on for day in [*days, *later]):
                continue  # the layer was worked on meanwhile: the forecast was of another course
            yield from _rows(studio, look, layer, forecast, lead)


def _ended(layer: Layer, on: date) -> bool:
    return layer.ended is not None and layer.ended < on


def _rows(studio: Studio, look: _Seen, layer: Layer, forecast: Any, lead: str) -> Iterator[ForecastCheck]:
    angles = chemistry(layer.kind).angles
    for what in (TIRED, END):
        answer = seen(what, look.look, angles)
        days = [getattr(forecast, f"{what}_{point}") for point in ("p10", "p50", "p90")]
        if answer is None or None in days:
            continue
        yield ForecastCheck(
            studio=studio, vehicle_id=look.vehicle_id, site_id=look.site_id, inspection_id=look.inspection_id,
            layer=layer, product_id=layer.product_id, applicator_id=layer.applicator_id, what=what, lead=lead,
            forecast_on=forecast.assessment.as_of, seen_on=look.on, seen=answer,
            chance=chance_by(look.on, applied=layer.applied, band=DateBand(*days)),
        )  # fmt: skip
