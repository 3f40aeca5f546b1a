"""What every change of a visit shares: one turn at a time under the vehicle's lock, compare-and-set on what was seen,
the care windows that follow, and an entry in the journal."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, datetime, timedelta
from typing import Any, Final

from django.db.models import Q

from lifecycle import journal
from lifecycle.care.find import one, plausible_day
from lifecycle.care.rules import TASKS
from lifecycle.errors import DomainError
from lifecycle.models import (
    OPEN_VISITS,
    REQUESTS,
    CareDue,
    DueState,
    Keeper,
    PartOfDay,
    ProposalState,
    Studio,
    Vehicle,
    Visit,
    VisitProposal,
    VisitState,
)

# Nobody plans a day at the studio further ahead than this. Judgement.
AHEAD: Final = timedelta(days=400)
LAPSED: Final = "The day passed before an answer."
ELSEWHERE: Final = "This visit has changed meanwhile; look at it again and decide anew."


def held(studio: Studio, visit_id: int) -> Visit:
    """The visit, its vehicle locked: whoever else changes it takes turns. The caller holds a transaction.

    Raises:
        NotFoundHere: no visit of this studio.
    """
    visit = one(Visit, studio, visit_id)
    one(Vehicle, studio, visit.vehicle_id, lock=True)
    return one(Visit, studio, visit_id)


def must_be(visit: Visit, states: Collection[str], *, seen: int | None = None) -> None:
    """Refuse a deed that the state of the visit does not allow, or that was decided on an older one.

    Raises:
        DomainError: says what the visit is now.
    """
    if visit.state not in states:
        raise DomainError(f"This visit is already settled: {visit.get_state_display()}.")
    if seen is not None and visit.sequence != seen:
        raise DomainError(ELSEWHERE)


def change(visit: Visit, *, actor: str, at: datetime, verb: str, data: dict[str, Any] | None = None, **to: Any) -> None:
    """Write a change by compare-and-set and the journal's entry. What somebody else has written meanwhile stays.

    Raises:
        DomainError: somebody else was first.
    """
    to |= {"sequence": visit.sequence + 1, "changed_at": at}
    mine = Visit.objects.filter(pk=visit.pk, state=visit.state, sequence=visit.sequence)
    if not mine.update(**to):
        raise DomainError(ELSEWHERE)
    for name, value in to.items():
        setattr(visit, name, value)
    journal.record(
        studio=visit.studio, actor=actor, at=at, verb=verb, subject="visit", subject_id=visit.pk,
        vehicle_id=visit.vehicle_id, on=visit.on, state=visit.state, **(data or {}),
    )  # fmt: skip


def windows_follow(vehicle: Vehicle) -> None:
    """Set the live care windows of a vehicle to what its visits say: booked, asked for, or open again."""
    covered: dict[str, set[str]] = {"booked": set(), "asked": set()}
    for state, tasks in Visit.objects.filter(vehicle=vehicle, state__in=OPEN_VISITS).values_list("state", "tasks"):
        covered["booked" if state == VisitState.BOOKED else "asked"] |= set(tasks)
    asked = covered["asked"] - covered["booked"]
    live = CareDue.objects.filter(vehicle=vehicle)
    live.filter(task__in=covered["booked"], state__in=(DueState.OPEN, DueState.ASKED)).update(state=DueState.BOOKED)
    live.filter(task__in=asked, state__in=(DueState.OPEN, DueState.BOOKED)).update(state=DueState.ASKED)
    live.filter(state__in=(DueState.ASKED, DueState.BOOKED)).exclude(
        task__in=covered["booked"] | asked
    ).update(state=DueState.OPEN)  # fmt: skip


def labour_h(vehicle: Vehicle, tasks: Sequence[str]) -> float:
    """Hours of work on a vehicle: by the table; those of an event by what has happened."""
    rows = CareDue.objects.filter(vehicle=vehicle, task__in=tasks, state=DueState.OPEN)
    told = {row.task: row.words["hours"] for row in rows if row.words.get("hours") is not None}
    return float(sum(told.get(task, TASKS[task].labour_h(vehicle.size)) for task in tasks))


def good_day(field: str, on: date, today: date) -> None:
    """Refuse a day that is over or too far ahead.

    Raises:
        DomainError: names the field.
    """
    plausible_day(field, on)
    if on < today:
        raise DomainError(f"{field}: {on} lies in the past; choose today or later.", field=field)
    if on > today + AHEAD:
        raise DomainError(f"{field}: {on} is more than {AHEAD.days} days ahead; choose an earlier day.", field=field)


def good_part(field: str, part: str) -> None:
    """Refuse an unknown part of the day.

    Raises:
        DomainError: names the field.
    """
    if part not in PartOfDay.values:
        raise DomainError(f"{field}: {part!r} is not any, morning or afternoon.", field=field)


def keeper_now(vehicle: Vehicle) -> int | None:
    """Key of the customer who keeps a vehicle now."""
    return Keeper.objects.filter(vehicle=vehicle, end=None).values_list("customer_id", flat=True).first()


def of_customers(customer_ids: Sequence[int]) -> Q:
    """Visits of these customers; those from before visits had a customer go by who keeps the vehicle now."""
    kept = Keeper.objects.filter(customer_id__in=list(customer_ids), end=None)
    return Q(customer_id__in=list(customer_ids)) | Q(
        customer=None, vehicle__in=kept.values("vehicle"), state__in=OPEN_VISITS
    )


def release_proposal(visit: Visit) -> None:
    """Let go of the proposal that a visit came from; the plan makes a new one of the windows that are open again."""
    if visit.proposal_id is None:
        return
    VisitProposal.objects.filter(pk=visit.proposal_id, state=ProposalState.ACCEPTED).update(
        state=ProposalState.WITHDRAWN
    )


def end_request(visit: Visit, state: str, *, actor: str, at: datetime, verb: str, reason: str = "") -> None:
    """End a visit that was asked for and not booked. What the customer wrote goes with it."""
    change(visit, actor=actor, at=at, verb=verb, state=state, settled_at=at, reason=reason, wish="", offered=[])
    release_proposal(visit)
    windows_follow(visit.vehicle)


def lapse(vehicle: Vehicle, *, at: datetime) -> int:
    """End the requests of a vehicle whose days are over without an answer, so that reminders are not held for ever."""
    today, ended = vehicle.studio.day(at), 0
    for visit in Visit.objects.filter(vehicle=vehicle, state__in=REQUESTS).select_related("studio", "vehicle"):
        days = [date.fromisoformat(text[:10]) for text in visit.offered] or [visit.on]
        if max(days) < today:
            end_request(visit, VisitState.CANCELLED, actor="cycle", at=at, verb="visit request lapsed", reason=LAPSED)
            ended += 1
    return ended


def pass_on(vehicle: Vehicle, to: int, *, actor: str, at: datetime) -> None:
    """The vehicle has a new keeper: what the former one asked for ends, what is booked goes with the vehicle."""
    rows = Visit.objects.filter(vehicle=vehicle, state__in=OPEN_VISITS).select_related("studio", "vehicle")
    for visit in rows:
        if visit.state in REQUESTS:
            end_request(visit, VisitState.CANCELLED, actor=actor, at=at, verb="visit request ended by transfer")
        else:
            change(visit, actor=actor, at=at, verb="visit passed on", customer_id=to, wish="", wanted_on=None)
