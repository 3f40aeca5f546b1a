"""What a care record holds: layers with their days, looks, evidence of the paint, what is estimated and what was seen.

No personal data: no keeper, no member, no plate, no place, no habits, no notes. Texts that people typed (the vehicle's
description, names of products and gauges) are searched for keepers, plates, addresses and phone numbers before they
are kept. Codes are what is sealed; their words are the portal's.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any, Final

from lifecycle.care.addresses import LEFT_OUT, Named, without
from lifecycle.care.correction_reads import RemovalLine, removal_lines
from lifecycle.care.reports.canonical import fixed
from lifecycle.care.reports.content import stamp
from lifecycle.care.vehicle_reads import vehicle_for_studio
from lifecycle.care.vehicle_view import ClearView, LayerView, SurfaceView, VehicleView
from lifecycle.condition import budget_of
from lifecycle.condition.film import film_sets, spot_values
from lifecycle.models import (
    Correction,
    Customer,
    Inspection,
    Layer,
    Member,
    Reading,
    Report,
    ReportKind,
    Studio,
    Vehicle,
)
from lifecycle.wear.types import Band, DateBand

FORM: Final = 1
Content = dict[str, Any]
Clean = Callable[[str], str]
ADDRESS: Final = re.compile(r"[^\s@<>()]+@[^\s@<>()]+\.\w+")
PHONE: Final = re.compile(r"(?<![\w.,])\+?\(?\d(?:[ ()./-]{0,2}\d){6,}(?!\w)")
# Film readings of one panel that a record lists, newest first; the budget rests on all of them.
MOST_FILMS: Final = 6
MOST_LOOKS: Final = 60


def cleaner(vehicle: Vehicle) -> Clean:
    """Leaves out of a text whoever keeps or kept the vehicle, the studio's people, the plate, addresses and numbers."""
    keepers = Customer.objects.filter(keeps__vehicle=vehicle).distinct()
    people = [Named(row.name, row.email, row.phone, parts=not row.fleet) for row in keepers]
    members = Member.objects.filter(studio=vehicle.studio_id).values_list("user__name", "user__email")
    people += [Named(name, email, "") for name, email in members]
    plate = r"[\s-]*".join(re.escape(part) for part in re.findall(r"\w+", vehicle.plate))

    def clean(text: str) -> str:
        text = ADDRESS.sub(LEFT_OUT, text)
        for person in people:
            text = without(text, person)
        if plate:
            text = re.sub(rf"(?<!\w){plate}(?!\w)", LEFT_OUT, text, flags=re.IGNORECASE)
        return PHONE.sub(LEFT_OUT, text)

    return clean


def _band(band: Band | None, decimals: int) -> list[str | None] | None:
    return None if band is None else [fixed(value, decimals) for value in (band.p10, band.p50, band.p90)]


def _days(band: DateBand | None) -> list[str] | None:
    return None if band is None else [band.p10.isoformat(), band.p50.isoformat(), band.p90.isoformat()]


def _day(on: date | None) -> str | None:
    return on.isoformat() if on is not None else None


def _layer(row: LayerView, clean: Clean) -> Content:
    return {
        "kind": row.kind, "product": clean(row.product), "applied": row.applied.isoformat(), "coats": row.coats,
        "thickness_um": fixed(row.thickness_um, 2), "stage": row.stage, "function_left": _band(row.function_left, 2),
        "tired": _days(row.tired_on), "end": _days(row.end_on), "seen": _day(row.seen_on), "marks": list(row.marks),
    }  # fmt: skip


def _clear(clear: ClearView | None) -> Content | None:
    if clear is None or clear.decision == "not_applicable":
        return None
    return {
        "decision": clear.decision, "budget_um": _band(clear.budget_um, 1), "clear_um": _band(clear.clear_um, 1),
        "removed_um": _band(clear.removed_um, 1), "marks": list(clear.marks),
    }  # fmt: skip


def _film(on: date, rows: Sequence[Reading], clean: Clean) -> Content:
    values, first = spot_values(rows), rows[0]
    return {
        "on": on.isoformat(), "mean_um": fixed(sum(values) / len(values), 1), "lowest_um": fixed(min(values), 1),
        "readings": len(rows), "method": first.method, "gauge": clean(first.gauge.name) if first.gauge else "",
        "gauge_sd_um": fixed(first.gauge_sd_um, 1),
    }  # fmt: skip


def _films(looks: Iterable[Inspection], clean: Clean) -> dict[int, list[Content]]:
    """The sets of film readings of each surface, newest first; `looks` newest first."""
    found: dict[int, list[Content]] = defaultdict(list)
    for look in looks:
        for surface_id, rows in film_sets(look):
            if len(found[surface_id]) < MOST_FILMS:
                found[surface_id].append(_film(look.on, rows, clean))
    return found


def _correction(line: RemovalLine, stage: str) -> Content:
    return {
        "on": line.on.isoformat(), "stage": stage, "passes": line.passes, "low_um": fixed(line.low_um, 1),
        "high_um": fixed(line.high_um, 1), "measured": line.measured, "elsewhere": line.elsewhere,
    }  # fmt: skip


def _earlier(vehicle_id: int, today: date, clean: Clean) -> dict[int, list[Content]]:
    """Layers that are no longer there, by surface, newest first."""
    rows = Layer.objects.filter(surface__vehicle=vehicle_id, ended__lte=today).select_related("product")
    found: dict[int, list[Content]] = defaultdict(list)
    for row in rows.order_by("-ended", "-id"):
        found[row.surface_id].append(
            {"kind": row.kind, "product": clean(row.product.name) if row.product else "",
             "applied": row.applied.isoformat(), "ended": _day(row.ended)}
        )  # fmt: skip
    return found


def _surface(
    row: SurfaceView, clean: Clean, *, earlier: list[Content], films: list[Content], corrections: list[Content]
) -> Content:
    ruling = row.ruling
    return {
        "code": row.code, "substrate": row.substrate, "finish": row.finish, "refinished_on": _day(row.refinished_on),
        "stage": row.shown_stage, "grimy": row.grimy, "ruling": row.layers.index(ruling) if ruling else None,
        "layers": [_layer(layer, clean) for layer in row.layers], "earlier": earlier, "films": films,
        "corrections": corrections, "clear": _clear(row.clear),
    }  # fmt: skip


def _looks(vehicle_id: int) -> list[Inspection]:
    rows = Inspection.objects.filter(vehicle=vehicle_id, by="studio").order_by("-on", "-id")
    return list(rows.prefetch_related("readings__gauge", "readings__surface", "findings")[:MOST_LOOKS])


def _inspections(studio: Studio, looks: Iterable[Inspection], vehicle_id: int) -> list[Content]:
    reports = {
        row.inspection_id: row
        for row in Report.objects.filter(vehicle=vehicle_id, kind=ReportKind.REPORT).defer("content")
    }
    lines = []
    for look in looks:
        sealed = reports.get(look.pk)
        report = None
        if sealed is not None:
            report = {
                "number": sealed.number, "sealed_on": studio.day(sealed.sealed_at).isoformat(),
                "digest": sealed.digest, "token": sealed.token,
            }  # fmt: skip
        lines.append(
            {"on": look.on.isoformat(), "kind": look.kind, "clean_state": look.clean_state,
             "readings": len(look.readings.all()), "findings": len(look.findings.all()), "report": report}
        )  # fmt: skip
    return lines


def _vehicle(view: VehicleView, clean: Clean) -> Content:
    return {
        "description": clean(view.description), "body": view.body, "size": view.size, "colour": view.colour,
        "paint": view.paint, "powertrain": view.powertrain, "known_since": view.first_seen.isoformat(),
    }  # fmt: skip


def content_of(vehicle: Vehicle, *, number: int, at: datetime) -> Content:
    """The record of a vehicle as it would be issued at `at`, in a fixed number of queries.

    Lengths are µm, function left is a share of 1, both as 10, 50 and 90 % and as texts with fixed decimals.
    """
    studio: Studio = vehicle.studio
    today, clean = studio.day(at), cleaner(vehicle)
    view = vehicle_for_studio(studio=studio, vehicle_id=vehicle.pk, today=today)
    looks = _looks(vehicle.pk)
    films, earlier = _films(looks, clean), _earlier(vehicle.pk, today, clean)
    budget = budget_of(studio=studio, vehicle_id=vehicle.pk, as_of=today)
    ids = [row.id for row in view.surfaces]
    ledger, stages = removal_lines(budget, ids), _stages(ids)
    return {
        "form": FORM, "kind": "care record", "number": number, "issued_at": stamp(at), "issued_on": today.isoformat(),
        "studio": {"name": studio.name}, "vehicle": _vehicle(view, clean),
        "forecast": {"as_of": _day(view.as_of), "model": view.model_version}, "seen": _day(view.seen_on),
        "surfaces": [
            _surface(
                row, clean, earlier=earlier.get(row.id, []), films=films.get(row.id, []),
                corrections=[_correction(line, stages[line.id]) for line in ledger.get(row.id, ())],
            )
            for row in view.surfaces
        ],
        "inspections": _inspections(studio, looks, vehicle.pk),
    }  # fmt: skip


def _stages(surface_ids: Iterable[int]) -> Mapping[int, str]:
    return dict(Correction.objects.filter(surface_id__in=list(surface_ids)).values_list("pk", "stage"))
