"""What a report holds: the sections that are made from rows, the fixed texts, and the frame of number and seal.

No personal data: members stand by their key, the keeper, the plate and the signature by a salted hash (see
lifecycle.models.report). The words of codes are those of the portal; the codes are what is sealed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Final

from lifecycle.care.reports.canonical import FORM, fixed
from lifecycle.models import Finding, Inspection, Photo, Reading, Report, Studio, Vehicle

Content = dict[str, Any]
# The sections that must still be as sealed, whatever happens to the vehicle later.
LIVE: Final = ("inspection", "findings", "readings", "photos")

PRE_EXISTING: Final = "Findings marked as pre-existing were there before the studio began any work on this vehicle."
NOTICED: Final = "Findings not so marked were noticed while or after the studio worked on it."
NONE_FOUND: Final = "No finding was noted."
LIMITS: Final = (
    "The report states what was seen on that day, in that state of cleaning and light. What dirt, light or place hid "
    "is not stated, nor whether any warranty covers anything."
)
# Common practice, no source; they defer to the sheets and the trades.
CAUTIONS: Final = (
    "Film thickness is a reading of the whole build-up at one spot; nobody can read from it alone how much clear coat "
    "is left.",
    "Products used on this vehicle have safety data sheets; those, the makers' guides and local rules overrule what "
    "stands here.",
)
CAUTION_OF: Final[Mapping[str, str]] = {
    "refinish": "Fresh refinish: nothing that seals goes on before the painter's or the paint maker's time is over.",
    "crack": "Cracked glass, lamps or load-bearing parts: have a licensed trade look before the next drive.",
    "chip": "Stone chips down to metal rust: have them touched up before anything is put over them.",
    "edge_lift": "Lifting film: do not pull at it and keep the pressure washer away from its edge.",
    "gap_fit": "Gaps or a fit out of line can point to an earlier repair: a body shop can tell.",
}
ELECTRIC: Final = (
    "Orange cables carry high voltage: no steam and no pressure water in the engine bay by untrained people, and never "
    "while charging."
)


def stamp(at: datetime) -> str:
    """A time as it is sealed: UTC, whole seconds (RFC 3339)."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _inspection(row: Inspection) -> Content:
    return {
        "id": row.pk, "kind": row.kind, "on": row.on.isoformat(), "clean_state": row.clean_state, "light": row.light,
        "by": row.by, "member": row.member_id, "note": row.note,
    }  # fmt: skip


def _finding(n: int, row: Finding) -> Content:
    return {
        "n": n, "id": row.pk, "kind": row.kind, "surface": row.surface.code if row.surface else None,
        "severity": row.severity, "size_mm": fixed(row.size_mm, 2), "pre_existing": row.pre_existing,
        "note": row.note, "on_outline": row.on_outline, "x": fixed(row.x, 4), "y": fixed(row.y, 4),
    }  # fmt: skip


def _reading(row: Reading) -> Content:
    return {
        "id": row.pk, "surface": row.surface.code, "kind": row.kind, "value": fixed(row.value, 3), "drops": row.drops,
        "method": row.method, "gauge_id": row.gauge_id, "gauge": row.gauge.name if row.gauge else None,
        "gauge_sd_um": fixed(row.gauge_sd_um, 3), "spot": row.spot, "x": fixed(row.x, 4), "y": fixed(row.y, 4),
    }  # fmt: skip


def _photo(n: int, row: Photo, numbers: Mapping[int, int]) -> Content:
    return {
        "n": n, "id": row.pk, "sha256": row.sha256, "width": row.width, "height": row.height, "caption": row.caption,
        "by": row.by, "finding": numbers.get(row.finding_id or 0),
        "surface": row.surface.code if row.surface else None,
    }  # fmt: skip


def photos_of(inspection: Inspection) -> list[Photo]:
    """The photos of an inspection and of its findings, in the order in which they were added."""
    rows = Photo.objects.filter(studio_id=inspection.studio_id).select_related("surface")
    own = rows.filter(inspection=inspection) | rows.filter(finding__inspection=inspection)
    return list(own.distinct().order_by("added_at", "pk"))


def live_sections(inspection: Inspection) -> Content:
    """The sections `LIVE` as the rows are now, in four queries."""
    findings = list(Finding.objects.filter(inspection=inspection).select_related("surface").order_by("pk"))
    numbers = {row.pk: n for n, row in enumerate(findings, start=1)}
    readings = Reading.objects.filter(inspection=inspection).select_related("surface", "gauge").order_by("pk")
    return {
        "inspection": _inspection(inspection),
        "findings": [_finding(numbers[row.pk], row) for row in findings],
        "readings": [_reading(row) for row in readings],
        "photos": [_photo(n, row, numbers) for n, row in enumerate(photos_of(inspection), start=1)],
    }


def cautions_of(vehicle: Vehicle, findings: Sequence[Mapping[str, Any]]) -> list[str]:
    """The cautions that belong into a report about these findings."""
    kinds = {finding["kind"] for finding in findings}
    found = [text for kind, text in CAUTION_OF.items() if kind in kinds]
    return [*found, *([ELECTRIC] if vehicle.powertrain in ("electric", "hybrid") else []), *CAUTIONS]


def _statements(findings: Sequence[Mapping[str, Any]]) -> list[str]:
    said = [PRE_EXISTING] if any(finding["pre_existing"] for finding in findings) else []
    said += [NOTICED] if any(not finding["pre_existing"] for finding in findings) else []
    return [*(said or [NONE_FOUND]), LIMITS]


def body(inspection: Inspection) -> Content:
    """Everything of a report but its frame: what the draft shows and the customer signs."""
    vehicle: Vehicle = inspection.vehicle
    sections = live_sections(inspection)
    return {
        "form": FORM,
        "kind": "report",
        "studio": _studio(inspection.studio),
        "vehicle": {
            "id": vehicle.pk, "description": vehicle.description, "body": vehicle.body, "size": vehicle.size,
            "colour": vehicle.colour, "paint": vehicle.paint, "powertrain": vehicle.powertrain,
        },
        **sections,
        "statements": _statements(sections["findings"]),
        "cautions": cautions_of(vehicle, sections["findings"]),
    }  # fmt: skip


def _studio(studio: Studio) -> Content:
    return {"id": studio.pk, "slug": studio.slug, "name": studio.name}


def addendum_body(report: Report, *, text: str, findings: Sequence[int]) -> Content:
    """What an addendum says about a report; `findings` are their numbers in it."""
    return {
        "form": FORM, "kind": "addendum", "studio": _studio(report.studio), "vehicle": {"id": report.vehicle_id},
        "inspection": {"id": report.inspection_id}, "of": {"number": report.number, "digest": report.digest},
        "text": text, "about_findings": list(findings),
    }  # fmt: skip


def framed(content: Content, *, number: int, at: datetime, member_id: int, signed: Content | None) -> Content:
    """A body with its number, time, sealer and, for a report, how it was signed and the hash of who did."""
    return {
        **content, "number": number, "sealed_at": stamp(at), "sealed_by": {"member": member_id}, "signed": signed,
    }  # fmt: skip
