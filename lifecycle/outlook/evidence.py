"""What stands behind advice: the forecast when it was made, what was seen since, and the work that was done."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from lifecycle.care import renewal
from lifecycle.care.visits import EVENT_OF_TASK
from lifecycle.models import Assessment, CareEvent, Forecast, Inspection, Layer, Visit, VisitState

CHUNK = 500


@dataclass(frozen=True, slots=True)
class Evidence:
    """One thing that is on record about the vehicle. `key` names it in a form."""

    kind: str
    id: int
    on: date
    words: str

    @property
    def key(self) -> str:
        """For example "inspection:12"."""
        return f"{self.kind}:{self.id}"


def bases(offers: Sequence[Any]) -> list[dict[str, Any]]:
    """For each offer, what was forecast of its surfaces just now: function left by layer, and what is clogged."""
    forecasts: dict[int, list[Any]] = defaultdict(list)
    seen: dict[int, Any] = {}
    vehicles = sorted({offer.vehicle_id for offer in offers})
    for start in range(0, len(vehicles), CHUNK):
        some = vehicles[start : start + CHUNK]
        for assessment in Assessment.objects.filter(vehicle__in=some, latest=True).only("vehicle", "as_of", "surfaces"):
            seen[assessment.vehicle_id] = assessment
        rows = Forecast.objects.filter(assessment__vehicle__in=some, assessment__latest=True).order_by("id")
        for vehicle_id, *row in rows.values_list(
            "assessment__vehicle_id", "surface__code", "layer__kind", "function_p10", "function_p50", "function_p90"
        ):
            forecasts[vehicle_id].append(row)
    return [_basis(offer, seen.get(offer.vehicle_id), forecasts[offer.vehicle_id]) for offer in offers]


def _basis(offer: Any, assessment: Any, forecasts: Sequence[Any]) -> dict[str, Any]:
    if assessment is None:
        return {}
    about = set(offer.surfaces)
    renews = renewed_kinds(offer.task)
    function = {
        code: {"kind": kind, "p10": low, "p50": middle, "p90": high}
        for code, kind, low, middle, high in forecasts
        if (not about or code in about) and middle is not None and kind in renews
    }
    told: Mapping[str, Any] = assessment.surfaces or {}
    clogged = [code for code, row in told.items() if (not about or code in about) and (row or {}).get("clogged")]
    return {"as_of": assessment.as_of.isoformat(), "function": function, "clogged": sorted(clogged)}


def renewed_kinds(task: str) -> frozenset[str]:
    """The kinds of layer that a task renews."""
    ways = renewal.RENEWED_BY.items()
    return frozenset(kind for kind, way in ways if task in (way, renewal.OTHER_WAY.get(way)))


def evidence_of(offer: Any) -> tuple[Evidence, ...]:
    """What was put on record about the vehicle since the advice was made, the latest first."""
    since = offer.studio.day(offer.made_at)
    found = [*_seen(offer.vehicle_id, since), *_done(offer.vehicle_id, since)]
    return tuple(sorted(found, key=lambda one: (one.on, one.id), reverse=True))


def _seen(vehicle_id: int, since: date) -> Iterator[Evidence]:
    for look in Inspection.objects.filter(vehicle=vehicle_id, on__gte=since).order_by("on", "id"):
        yield Evidence(
            "inspection", look.pk, look.on, f"{look.get_kind_display()}, {look.clean_state.replace('_', ' ')}"
        )
    for event in CareEvent.objects.filter(vehicle=vehicle_id, on__gte=since).order_by("on", "id"):
        yield Evidence("event", event.pk, event.on, event.kind.replace("_", " "))


def _done(vehicle_id: int, since: date) -> Iterator[Evidence]:
    for visit in Visit.objects.filter(vehicle=vehicle_id, state=VisitState.DONE, on__gte=since).order_by("on", "id"):
        yield Evidence(
            "visit", visit.pk, visit.on, "visit: " + ", ".join(task.replace("_", " ") for task in visit.tasks)
        )
    layers = Layer.objects.filter(surface__vehicle=vehicle_id, applied__gte=since).select_related("surface")
    for layer in layers.order_by("applied", "id"):
        yield Evidence("layer", layer.pk, layer.applied, f"{layer.kind.replace('_', ' ')} on {layer.surface.code}")


def shown_by(offer: Any) -> dict[str, Any]:
    """The visit, layer or event that shows that the work of an offer was done; empty where none does."""
    since = offer.studio.day(offer.made_at)
    visits = Visit.objects.filter(vehicle=offer.vehicle_id, state=VisitState.DONE, on__gte=since).order_by("-on", "-id")
    visit = next((one for one in visits if offer.task in one.tasks), None)
    if visit is not None:
        return {"about": "visit", "about_id": visit.pk}
    kinds = renewed_kinds(offer.task)
    layer = Layer.objects.filter(surface__vehicle=offer.vehicle_id, kind__in=kinds, applied__gte=since)
    latest = layer.order_by("-applied", "-id").first()
    if latest is not None:
        return {"about": "layer", "about_id": latest.pk}
    wanted = EVENT_OF_TASK.get(offer.task)
    event = CareEvent.objects.filter(vehicle=offer.vehicle_id, kind=wanted, by="studio", on__gte=since)
    last = event.order_by("-on", "-id").first() if wanted else None
    return {"about": "event", "about_id": last.pk} if last is not None else {}
