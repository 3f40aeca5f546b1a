"""Take back what was entered by mistake. The entry stays on record with the day and the reason, and counts no more."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, Final

from django.db import transaction
from django.db.models import Q

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.parts import LIFE_EVENTS
from lifecycle.care.undo import coats_back, restore
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import (
    CareEvent,
    ContractTerm,
    Correction,
    Habits,
    Mounted,
    Storage,
    Studio,
    Vehicle,
    Withdrawable,
)


def _vehicle_id(row: Any) -> int:
    return int(row.surface.vehicle_id if isinstance(row, (Mounted, Correction)) else row.vehicle_id)


def _nothing_later(row: Any) -> None:
    """Raises:
    DomainError: paint work on the same surface came after this entry.
    """
    events = CareEvent.objects.filter(surface=row.surface, kind__in=LIFE_EVENTS)
    polished = Correction.objects.filter(surface=row.surface).exclude(stage="unknown_past")
    for rows in (events, polished):
        after = Q(on__gt=row.on)
        if isinstance(row, rows.model):  # of two entries of one day the one that was typed later
            after |= Q(on=row.on, pk__gt=row.pk)
        later = rows.filter(after).order_by("-on", "-pk").first()
        if later is not None:
            words = later.kind.replace("_", " ") if isinstance(later, CareEvent) else "correction"
            raise DomainError(
                f"The {words} of {later.on} on the {row.surface} came after it; withdraw that entry first."
            )


def _event(row: Any) -> dict[str, Any]:
    if not row.before or row.surface is None:
        return {}
    _nothing_later(row)
    return {"coats_back": restore(row)}


def _correction(row: Any) -> dict[str, Any]:
    """The panel of the plan that it carried out is open again. A sealed report keeps what it said."""
    if row.stage == "unknown_past":
        return {}
    _nothing_later(row)
    if row.planned_id is not None:
        row.planned = None
        row.save(update_fields=["planned"])
    return {"coats_back": coats_back(surface=row.surface, was=row.found, on=row.on, why="correction")}


def _habits(row: Any) -> dict[str, Any]:
    """The habits before them hold on until the next ones."""
    before = Habits.objects.filter(vehicle=row.vehicle, end=row.start).exclude(pk=row.pk).first()
    if before is not None:
        before.end = row.end
        before.save(update_fields=["end"])
    return {"before": before.pk if before is not None else None}


def _mounted(row: Any) -> dict[str, Any]:
    """The last swap alone can be taken back: the set before it is on as if it had never come off."""
    if row.end is not None:
        raise DomainError("Another swap came after it; withdraw that one first.")
    sets = Mounted.objects.filter(surface__vehicle=row.surface.vehicle_id, end=row.start).order_by("-start", "-pk")
    before = sets.first()
    if before is not None:
        before.end = None
        before.save(update_fields=["end"])
    return {"before": before.pk if before is not None else None}


def _plain(row: Any) -> dict[str, Any]:
    return {}


def _term(row: Any) -> dict[str, Any]:
    if row.rule_id is not None:
        raise DomainError("This date comes from a contract's rule; stop the rule instead.")
    return {}


# kind -> model, its name in the journal, and what else has to be put back
KINDS: Final[Mapping[str, tuple[type[Withdrawable], str, Callable[[Any], dict[str, Any]]]]] = {
    "event": (CareEvent, "care event", _event),
    "correction": (Correction, "correction", _correction),
    "storage": (Storage, "storage", _plain),
    "habits": (Habits, "habits", _habits),
    "swap": (Mounted, "wheel swap", _mounted),
    "term": (ContractTerm, "contract term", _term),
}


def withdraw(*, studio: Studio, kind: str, entry_id: int, why: str, actor: str, at: datetime) -> Withdrawable:
    """Withdraw a wrong entry of one of `KINDS`.

    Coats that a withdrawn event ended live again, unless others were put on since. The forecast asks anew.

    Raises:
        DomainError: no reason, or a later entry stands on this one.
        NotFoundHere: there is no such kind, or no such entry in this studio (or it is withdrawn already).
    """
    if kind not in KINDS:
        raise NotFoundHere(f"There is no entry of kind {kind!r}.")
    if not why.strip():
        raise DomainError("why: say why the entry is withdrawn; it stays on record with the reason.", field="why")
    model, subject, put_back = KINDS[kind]
    with transaction.atomic():
        row: Any = one(model, studio, entry_id, lock=True)
        row.withdrawn_at, row.withdrawn_why = at, why.strip()[:200]
        # Before what it displaced comes back: two open periods of one vehicle are refused by the database.
        row.save(update_fields=["withdrawn_at", "withdrawn_why"])
        done = put_back(row)
        Vehicle.objects.filter(pk=_vehicle_id(row)).update(assess_again=True)
        journal.record(
            studio=studio, actor=actor, at=at, verb=f"{subject} withdrawn", subject=subject, subject_id=row.pk,
            vehicle_id=_vehicle_id(row), **done,
        )  # fmt: skip
    return row  # type: ignore[no-any-return]
