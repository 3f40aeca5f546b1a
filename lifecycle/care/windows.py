"""Step 7 of the cycle: care windows from the latest assessments."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import structlog
from django.db import transaction

from lifecycle import journal
from lifecycle.care.due import Due, DueReport
from lifecycle.care.rules import assess_due
from lifecycle.care.visit_changes import windows_follow
from lifecycle.condition import stored_forecast
from lifecycle.models import LIVE_DUE, Assessment, CareDue, DueState, Refusal, Vehicle

log = structlog.get_logger("sheenward.care")

WORDS = ("known", "changed", "expected", "prevents", "if_postponed", "self_check", "cause")
NUMBERS = ("hours", "answer_h")
MOVABLE = ("surfaces", "earliest", "ideal", "latest", "contract_on", "reason_code", "why", "words")


def open_windows(*, at: datetime) -> Mapping[str, int]:
    """Bring the care windows of every newly assessed vehicle up to date; running it again changes nothing."""
    counts = {"vehicles": 0, "opened": 0, "moved": 0, "withdrawn": 0, "refused": 0}
    fresh = Assessment.objects.filter(latest=True, windows_at=None, vehicle__retired_on=None).order_by("pk")
    for pk in list(fresh.values_list("pk", flat=True)):
        try:
            changed = _open_for(pk, at)
        except Exception:
            counts["failed"] = counts.get("failed", 0) + 1
            log.exception("care windows could not be opened", assessment=pk)
            continue
        if changed is not None:
            counts["vehicles"] += 1
            for name, number in changed.items():
                counts[name] += number
    return {**counts, "open": CareDue.objects.filter(state__in=LIVE_DUE).count()}


def _open_for(assessment_id: int, at: datetime) -> Mapping[str, int] | None:
    with transaction.atomic():
        assessment = (
            Assessment.objects.select_for_update().filter(pk=assessment_id, latest=True, windows_at=None).first()
        )
        if assessment is None:
            return None
        forecast, given = stored_forecast(assessment)
        report = assess_due(forecast=forecast, vehicle=given)
        counts = _apply(assessment, report, at)
        assessment.windows_at = at
        assessment.save(update_fields=["windows_at"])
    return counts


def _fields(due: Due) -> dict[str, Any]:
    return {
        "surfaces": list(due.surfaces),
        "earliest": due.earliest,
        "ideal": due.ideal,
        "latest": due.latest,
        "contract_on": due.contract,
        "reason_code": due.reason_code,
        "why": due.why,
        "words": {name: getattr(due, name) for name in WORDS}
        | {"overdue_since": due.overdue_since.isoformat() if due.overdue_since else None}
        | {name: value for name in NUMBERS if (value := getattr(due, name)) is not None},
    }


def _apply(assessment: Assessment, report: DueReport, at: datetime) -> Mapping[str, int]:
    counts = {"opened": 0, "moved": 0, "withdrawn": 0, "refused": len(report.refused)}
    vehicle = assessment.vehicle
    live = {due.task: due for due in CareDue.objects.filter(vehicle=vehicle, state__in=LIVE_DUE)}
    for due in report.dues:
        row = live.pop(due.task, None)
        if row is None:
            row = CareDue.objects.create(
                studio=assessment.studio, vehicle=vehicle, task=due.task, opened_at=at, **_fields(due)
            )
            counts["opened"] += 1
            _journal(row, "care due opened", at)
        elif _move(row, due):
            counts["moved"] += 1
            _journal(row, "care due moved", at)
    for row in live.values():
        if row.state == DueState.OPEN:
            gone = CareDue.objects.filter(pk=row.pk, state=DueState.OPEN).update(
                state=DueState.WITHDRAWN, closed_at=at, closed_why="The forecast no longer asks for it."
            )
            if gone:  # else somebody booked it meanwhile
                counts["withdrawn"] += 1
                _journal(row, "care due withdrawn", at)
    if counts["opened"]:
        windows_follow(vehicle)  # a visit may have been asked for or booked before its window opened
    _write_refusals(vehicle, report, at)
    return counts


def _move(row: CareDue, due: Due) -> bool:
    """Take over dates and words; the row keeps its identity, so nobody is reminded twice. True if a date moved."""
    new = _fields(due)
    moved = any(getattr(row, name) != new[name] for name in ("earliest", "ideal", "latest", "contract_on"))
    if moved or any(getattr(row, name) != new[name] for name in MOVABLE):
        for name in MOVABLE:
            setattr(row, name, new[name])
        row.save(update_fields=list(MOVABLE))
    return moved


def _write_refusals(vehicle: Vehicle, report: DueReport, at: datetime) -> None:
    Refusal.objects.filter(vehicle=vehicle).delete()
    by_task: dict[str, Refusal] = {}
    for refused in report.refused:
        row = by_task.get(refused.task)
        if row is None:
            by_task[refused.task] = Refusal(
                studio=vehicle.studio, vehicle=vehicle, task=refused.task, surfaces=list(refused.surfaces),
                why=refused.why, at=at,
            )  # fmt: skip
        else:
            row.surfaces = [*row.surfaces, *refused.surfaces]
            row.why = row.why if refused.why in row.why else f"{row.why} {refused.why}"
    Refusal.objects.bulk_create(by_task.values())


def _journal(row: CareDue, verb: str, at: datetime) -> None:
    journal.record(
        studio=row.studio, actor="cycle", at=at, verb=verb, subject="care due", subject_id=row.pk,
        vehicle_id=row.vehicle_id, task=row.task, earliest=row.earliest, ideal=row.ideal, latest=row.latest,
    )  # fmt: skip
