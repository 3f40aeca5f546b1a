"""Step 6 of the cycle: assess the vehicles whose inputs changed, and keep what was said."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from datetime import date, datetime, timedelta
from functools import cache
from typing import Any

import structlog
from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from pydantic import TypeAdapter

from lifecycle import journal
from lifecycle.climate import store as climate_store
from lifecycle.condition.inputs import figures_of, rows_for, vehicle_input
from lifecycle.errors import NotFoundHere
from lifecycle.models import Assessment, Forecast, Layer, Studio, Vehicle
from lifecycle.wear.assessment import MODEL_VERSION
from lifecycle.wear.assessment import assess as wear_assess
from lifecycle.wear.marks import NO_OVERRIDES, Overrides, overridden
from lifecycle.wear.types import ClimateYear, LayerForecast, Place, VehicleForecast, VehicleInput

log = structlog.get_logger("sheenward.condition")

CHUNK = 50
TRIES = 3


@cache
def _forecast_codec() -> TypeAdapter[VehicleForecast]:
    return TypeAdapter(VehicleForecast)


@cache
def _input_codec() -> TypeAdapter[VehicleInput]:
    return TypeAdapter(VehicleInput)


def week_of(day: date) -> date:
    """The Monday of a day. The clock itself is an input of the forecast; it counts in weeks."""
    return day - timedelta(days=day.weekday())


def input_hash(vehicle: VehicleInput, climates: list[ClimateYear], *, figures: str = "") -> str:
    """SHA-256 over a canonical form of all inputs and the model's version; equal inputs have equal hashes.

    `figures` is the digest of the studio's own figures.
    """
    plain = _input_codec().dump_python(vehicle, mode="json")
    plain["as_of"] = week_of(vehicle.as_of).isoformat()
    plain["climates"] = [TypeAdapter(ClimateYear).dump_python(year, mode="json") for year in climates]
    plain["model"] = MODEL_VERSION
    plain["figures"] = figures
    return hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()


def stale_vehicle_ids(at: datetime) -> list[int]:
    """Vehicles with a change since their last assessment, or with none of this week."""
    this_week = Assessment.objects.filter(
        vehicle=OuterRef("pk"), latest=True, as_of__gte=week_of(at.date()), model_version=MODEL_VERSION
    )
    return list(
        Vehicle.objects.filter(retired_on=None)
        .filter(Q(assess_again=True) | ~Exists(this_week))
        .order_by("pk")
        .values_list("pk", flat=True)
    )


def assess(*, at: datetime, progress: Callable[[int, int], None] | None = None) -> Mapping[str, int]:
    """Assess every vehicle whose inputs changed. May run twice, or in two workers at once; a vehicle that cannot be
    assessed is logged and counted, and the others go on."""
    ids = stale_vehicle_ids(at)
    counts = {"assessed": 0, "unchanged": 0}
    climate = climate_store.reader(at)
    for start in range(0, len(ids), CHUNK):
        rows = rows_for(ids[start : start + CHUNK])
        figures = figures_of(vehicle.studio_id for vehicle in rows)
        for vehicle in rows:
            own = figures.get(vehicle.studio_id, NO_OVERRIDES)
            try:
                counts["assessed" if _assess_row(vehicle, climate, own, at) else "unchanged"] += 1
            except Exception:
                counts["failed"] = counts.get("failed", 0) + 1
                log.exception("vehicle could not be assessed", vehicle=vehicle.pk)
        if progress is not None:
            progress(min(start + CHUNK, len(ids)), len(ids))
    return counts


def assess_one(*, studio: Studio, vehicle_id: int, at: datetime) -> Assessment:
    """Assess one vehicle now, so that the page after a recording shows what changed.

    Raises:
        NotFoundHere: the vehicle is not in this studio.
    """
    rows = rows_for(Vehicle.objects.filter(studio=studio, pk=vehicle_id).values_list("pk", flat=True))
    if not rows:
        raise NotFoundHere(f"There is no vehicle {vehicle_id} in this studio.")
    own = figures_of([studio.pk]).get(studio.pk, NO_OVERRIDES)
    _assess_row(rows[0], climate_store.reader(at), own, at)
    latest: Assessment = Assessment.objects.get(vehicle_id=vehicle_id, latest=True)
    return latest


def _assess_row(vehicle: Vehicle, climate: Callable[[Place], ClimateYear], figures: Overrides, at: datetime) -> bool:
    """Forecast one vehicle and keep it, if its inputs changed.

    Somebody may record something while we calculate. Every recording touches the vehicle's row, so under its lock the
    inputs are read once more: only a forecast of what is on record now is kept, and only then is the wish for one met.
    """
    for _ in range(TRIES):
        given, digest = _given(vehicle, climate, figures, at)
        known = Assessment.objects.filter(vehicle=vehicle, latest=True, input_hash=digest).exists()
        forecast = None
        if not known:
            with overridden(figures):
                forecast = wear_assess(given, climate)
        with transaction.atomic():
            Vehicle.objects.select_for_update().get(pk=vehicle.pk)
            vehicle = rows_for([vehicle.pk])[0]
            if _given(vehicle, climate, figures, at)[1] != digest:
                continue
            Vehicle.objects.filter(pk=vehicle.pk).update(assess_again=False)
            latest = list(Assessment.objects.filter(vehicle=vehicle, latest=True))
            if forecast is None or any(old.input_hash == digest for old in latest):
                return False
            _supersede(latest)
            assessment = _store(vehicle, given, forecast, digest, at)
            journal.record(
                studio=vehicle.studio, actor="cycle", at=at, verb="condition assessed", subject="assessment",
                subject_id=assessment.pk, vehicle_id=vehicle.pk, model_version=MODEL_VERSION, input_hash=digest,
            )  # fmt: skip
            return True
    log.warning("vehicle changes faster than it can be assessed", vehicle=vehicle.pk)
    return False


def _given(
    vehicle: Vehicle, climate: Callable[[Place], ClimateYear], figures: Overrides, at: datetime
) -> tuple[VehicleInput, str]:
    given = vehicle_input(vehicle, as_of=vehicle.studio.day(at), figures=figures)
    places = dict.fromkeys([given.place, *(habit.place for habit in given.habits if habit.place is not None)])
    return given, input_hash(given, [climate(place) for place in places], figures=figures.digest)


def _supersede(earlier: list[Assessment]) -> None:
    """The figures of an earlier assessment stay as history; its bulk goes."""
    for old in earlier:
        old.latest, old.whole, old.inputs = False, {}, {}
        old.save(update_fields=["latest", "whole", "inputs"])
        Forecast.objects.filter(assessment=old).update(course=[])


def _store(vehicle: Vehicle, given: VehicleInput, forecast: VehicleForecast, digest: str, at: datetime) -> Assessment:
    whole = _forecast_codec().dump_python(forecast, mode="json")
    assessment: Assessment = Assessment.objects.create(
        studio=vehicle.studio,
        vehicle=vehicle,
        as_of=forecast.as_of,
        at=at,
        input_hash=digest,
        model_version=forecast.model_version,
        surfaces={
            surface["code"]: {name: value for name, value in surface.items() if name != "layers"}
            for surface in whole["surfaces"]
        },
        climate={
            "source": forecast.climate.source,
            "class": forecast.climate.koppen_class,
            "error": forecast.climate.error_word,
            "detail": forecast.climate.detail,
        },
        assumed=list(forecast.assumed),
        whole=whole,
        inputs=_input_codec().dump_python(given, mode="json"),
    )
    layers = {f"layer:{row.pk}": row for row in Layer.objects.filter(surface__vehicle=vehicle)}
    Forecast.objects.bulk_create(
        Forecast(
            studio=vehicle.studio,
            assessment=assessment,
            layer=layers[layer.key],
            surface_id=layers[layer.key].surface_id,
            **_layer_fields(layer, plain),
        )
        for surface, plain_surface in zip(forecast.surfaces, whole["surfaces"], strict=True)
        for layer, plain in zip(surface.layers, plain_surface["layers"], strict=True)
    )
    return assessment


def _layer_fields(layer: LayerForecast, plain: Mapping[str, Any]) -> dict[str, Any]:
    def points(name: str, prefix: str, suffix: str = "") -> Iterator[tuple[str, Any]]:
        band = getattr(layer, name)
        for point in ("p10", "p50", "p90"):
            yield f"{prefix}_{point}{suffix}", getattr(band, point) if band is not None else None

    return {
        "stage": layer.stage.value,
        **dict(points("function_left", "function")),
        **dict(points("renewal_months", "renewal", "_months")),
        **dict(points("tired_on", "tired")),
        **dict(points("end_on", "end")),
        "rate_median": layer.rate_median,
        "seen_on": layer.seen_on,
        "evidence_says": layer.evidence_says[:300],
        "reasons": plain["reasons"],
        "marks": plain["marks"],
        "notes": plain["notes"],
        "course": plain["course"],
    }


def stored_forecast(assessment: Assessment) -> tuple[VehicleForecast, VehicleInput]:
    """The complete forecast of the latest assessment of a vehicle, and what it was made from."""
    return (
        _forecast_codec().validate_python(assessment.whole),
        _input_codec().validate_python(assessment.inputs),
    )
