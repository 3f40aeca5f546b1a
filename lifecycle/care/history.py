"""What happened to a vehicle, in lines, newest first."""

from __future__ import annotations

from datetime import date

from django.utils.translation import gettext

from lifecycle.care.rules import TASKS
from lifecycle.care.tongue.measures import thickness_words
from lifecycle.care.tongue.names import layer_name, surface_name
from lifecycle.care.vehicle_view import HistoryItem, fold_washes
from lifecycle.models import Inspection, Vehicle, VisitState

EVENT_WORDS = {
    "wash": "wash",
    "iron_removal": "iron removal",
    "iron_specks": "iron specks felt or seen",
    "bird_dropping": "bird dropping",
    "sap": "tree sap",
    "fallout": "industrial fallout",
    "overspray": "overspray",
    "flood": "flood",
    "decontamination": "decontamination",
    "correction": "paint correction",
    "top_up": "top-up",
    "repaint": "repaint",
    "part_swap": "part swapped",
    "touch_up_paint": "paint touched up in one place",
    "glass_replaced": "glass replaced",
    "part_removed": "part taken off",
}
STAGE_WORDS = {
    "finishing": "finishing polish",
    "one_step": "correction in one step",
    "cut_and_refine": "correction in two steps",
    "spot_sanding": "spot sanding",
    "unknown_past": "polishing of unknown depth in the past",
}
READING_WORDS = {
    "contact_angle_deg": ("water contact angle", "°"),
    "beading_score": ("beading score", " of 5"),
    "gloss_gu": ("gloss", " GU"),
    "thickness_um": ("film thickness", " µm"),
}


def _layers(vehicle: Vehicle) -> list[HistoryItem]:
    """One line per day and product with its surfaces; another where layers ended without being renewed."""
    put: dict[tuple[date, str], list[str]] = {}
    ended: dict[tuple[date, str, str], list[str]] = {}
    for surface in vehicle.surfaces.all():
        for row in surface.layers.all():
            words = row.product.name if row.product is not None else layer_name(row.kind)
            put.setdefault((row.applied, words), []).append(surface_name(surface.code))
            if row.ended is not None and row.ended_why not in ("renewed", "correction"):
                ended.setdefault((row.ended, words, row.ended_why), []).append(surface_name(surface.code))
    lines = [HistoryItem(on, "layer", words, surfaces=tuple(names)) for (on, words), names in put.items()]
    lines += [
        HistoryItem(on, "layer_ended", words, surfaces=tuple(names), detail=gettext(why) if why else "")
        for (on, words, why), names in ended.items()
    ]
    return lines


def _reading_words(inspection: Inspection) -> str:
    """Values by surface: the mean where one kind was read several times."""
    values: dict[tuple[str, str], list[float]] = {}
    for row in inspection.readings.all():
        values.setdefault((surface_name(row.surface.code), row.kind), []).append(row.value)
    said = []
    for (surface, kind), numbers in values.items():
        if kind == "works":
            said.append(f"{surface}: {gettext('still works') if numbers[-1] else gettext('no longer works')}")
        elif kind == "thickness_um":
            said.append(f"{surface}: {gettext('film thickness')} {thickness_words(sum(numbers) / len(numbers))}")
        else:
            words, unit = READING_WORDS[kind]
            said.append(f"{surface}: {gettext(words)} {round(sum(numbers) / len(numbers))}{gettext(unit)}")
    return "; ".join(said)


def _told_by(by: str, on: date, keeper_since: date | None) -> str:
    """Who told of it: what a customer said before the reader's own time was said by somebody else."""
    mine = keeper_since is not None and on >= keeper_since
    return by if by != "customer" or mine else "earlier keeper"


def history_of(vehicle: Vehicle, *, notes_since: date | None) -> tuple[HistoryItem, ...]:
    """All lines of a vehicle whose rows are prefetched.

    Args:
        notes_since: notes in people's own words are shown from this day on (earlier ones belong to an earlier keeper);
            None shows none.
    """
    lines = _layers(vehicle)
    for event in vehicle.care_events.all():
        own = bool(event.note and notes_since is not None and event.on >= notes_since)
        by = _told_by(event.by, event.on, notes_since)
        lines.append(
            HistoryItem(
                event.on, "wash" if event.kind == "wash" else "event",
                gettext(EVENT_WORDS.get(event.kind, event.kind.replace("_", " "))),
                surfaces=(surface_name(event.surface.code),) if event.surface is not None else (), by=by,
                detail=event.note if own else "",
            )
        )  # fmt: skip
    for inspection in vehicle.inspections.all():
        own = bool(inspection.note and notes_since is not None and inspection.on >= notes_since)
        said = [_reading_words(inspection), inspection.note if own else ""]
        what = gettext("inspection, %(state)s") % {"state": gettext(inspection.clean_state)}
        lines.append(
            HistoryItem(
                inspection.on, "inspection", what,
                by=_told_by(inspection.by, inspection.on, notes_since),
                detail=". ".join(part for part in said if part),
            )
        )  # fmt: skip
    for surface in vehicle.surfaces.all():
        for row in surface.corrections.all():
            where = (surface_name(surface.code),)
            lines.append(HistoryItem(row.on, "correction", gettext(STAGE_WORDS[row.stage]), surfaces=where))
    for visit in vehicle.visits.all():
        if visit.state == VisitState.DONE:
            titles = [gettext(TASKS[task].title) if task in TASKS else task.replace("_", " ") for task in visit.tasks]
            lines.append(HistoryItem(visit.on, "visit", ", ".join(titles)))
    return fold_washes(lines)
