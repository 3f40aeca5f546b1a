"""Step 8 of the cycle and the verbs around a visit: proposed, booked, settled."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

import structlog
from django.db import transaction
from django.db.models import QuerySet

from lifecycle import journal
from lifecycle.care.bundling import Bundle, bundle
from lifecycle.care.contracts import carry_on
from lifecycle.care.due import Due
from lifecycle.care.find import one, plausible_day
from lifecycle.care.record import record_event, record_inspection
from lifecycle.care.rules import TASKS
from lifecycle.care.site_plan import plan_days
from lifecycle.care.visit_changes import (
    change,
    held,
    keeper_now,
    labour_h,
    lapse,
    must_be,
    release_proposal,
    windows_follow,
)
from lifecycle.care.visit_times import clock
from lifecycle.care.wheels import mount
from lifecycle.errors import DomainError
from lifecycle.models import (
    LIVE_DUE,
    OPEN_VISITS,
    REQUESTS,
    Bay,
    CareDue,
    ContractTerm,
    DueState,
    Inspection,
    Mounted,
    ProposalState,
    Studio,
    Surface,
    Vehicle,
    Visit,
    VisitProposal,
    VisitState,
)

log = structlog.get_logger("sheenward.care")

AHEAD = timedelta(days=90)
# What a finished task tells the forecast. Layers are recorded by the technician, with product and batch.
EVENT_OF_TASK = {
    "decontamination_wash": "decontamination", "maintenance_wash": "wash", "iron_removal": "iron_removal",
}  # fmt: skip
# A finished one of these means that somebody looked at the car, even without a reading. A retest without one is none.
LOOKS = ("first_check", "inspection", "film_edge_check", "wake_up", "event_response")


def due_of(row: CareDue) -> Due:
    """A stored window in the words of the pure rules."""
    names = ("known", "changed", "expected", "prevents", "if_postponed", "cause")
    texts = {name: row.words.get(name, "") for name in names}
    since = row.words.get("overdue_since")
    return Due(
        task=row.task, surfaces=tuple(row.surfaces), earliest=row.earliest, ideal=row.ideal, latest=row.latest,
        contract=row.contract_on, reason_code=row.reason_code, why=row.why, layer_keys=(),
        self_check=row.words.get("self_check", ""), overdue_since=date.fromisoformat(since) if since else None,
        hours=row.words.get("hours"), answer_h=row.words.get("answer_h"), **texts,
    )  # fmt: skip


def propose(*, at: datetime) -> Mapping[str, int]:
    """Bundle the open windows of the next three months into visits, vehicle by vehicle, and spread these over days."""
    counts = {"vehicles": 0, "proposed": 0, "withdrawn": 0}
    soon = _due_soon(at.date() + timedelta(days=1))  # no site is further ahead than that
    standing = VisitProposal.objects.filter(state=ProposalState.PROPOSED)
    ids = set(soon.values_list("vehicle_id", flat=True)) | set(standing.values_list("vehicle_id", flat=True))
    ids |= set(Visit.objects.filter(state__in=REQUESTS).values_list("vehicle_id", flat=True))
    for vehicle_id in sorted(ids):
        try:
            made, gone = _propose_for(vehicle_id, at)
        except Exception:
            counts["failed"] = counts.get("failed", 0) + 1
            log.exception("visits could not be proposed", vehicle=vehicle_id)
            continue
        counts["vehicles"] += 1
        counts["proposed"] += made
        counts["withdrawn"] += gone
    return {**counts, **plan_days(at=at), "standing": standing.count()}


def _due_soon(today: date) -> QuerySet[Any]:
    dues: QuerySet[Any] = CareDue.objects.filter(
        state=DueState.OPEN, earliest__lte=today + AHEAD, vehicle__retired_on=None
    )
    return dues


def _key(rows: Sequence[CareDue]) -> str:
    return hashlib.sha256(",".join(str(pk) for pk in sorted(row.pk for row in rows)).encode()).hexdigest()


def _propose_for(vehicle_id: int, at: datetime) -> tuple[int, int]:
    """Proposals of one vehicle, under its lock: two workers, or somebody who books meanwhile, take turns."""
    made, kept = 0, set()
    with transaction.atomic():
        vehicle = Vehicle.objects.select_for_update(of=("self",)).select_related("site").get(pk=vehicle_id)
        lapse(vehicle, at=at)
        today = vehicle.site.day(at)
        row_of = {row.task: row for row in _due_soon(today).filter(vehicle=vehicle).select_related("vehicle__site")}
        proposals = VisitProposal.objects.filter(vehicle=vehicle, state=ProposalState.PROPOSED)
        standing = {proposal.key: proposal for proposal in proposals}
        for bundled in bundle([due_of(row) for row in row_of.values()], as_of=today, size=vehicle.size):
            members = [row_of[due.task] for due in bundled.dues]
            key = _key(members)
            kept.add(key)
            made += _write_proposal(members, bundled, standing.get(key), key, at)
        gone = [proposal.pk for key, proposal in standing.items() if key not in kept]
        VisitProposal.objects.filter(pk__in=gone).update(state=ProposalState.WITHDRAWN)
    return made, len(gone)


def _write_proposal(
    members: list[CareDue], bundled: Bundle, standing: VisitProposal | None, key: str, at: datetime
) -> int:
    facts = {
        "earliest": bundled.earliest,
        "ideal": bundled.ideal,
        "latest": bundled.latest,
        "tasks": list(bundled.tasks),
        "labour_h": bundled.labour_h,
        "cure_h": bundled.cure_h,
        "why": bundled.why,
    }
    if standing is not None:
        if any(getattr(standing, name) != value for name, value in facts.items()):
            VisitProposal.objects.filter(pk=standing.pk).update(**facts)
        return 0
    vehicle = members[0].vehicle
    proposal: VisitProposal = VisitProposal.objects.create(
        studio=vehicle.studio, vehicle=vehicle, site=vehicle.site, key=key, made_at=at, **facts
    )
    proposal.dues.set(members)
    journal.record(
        studio=vehicle.studio, actor="cycle", at=at, verb="visit proposed", subject="visit proposal",
        subject_id=proposal.pk, vehicle_id=vehicle.pk, ideal=bundled.ideal, tasks=list(bundled.tasks),
    )  # fmt: skip
    return 1


def book(
    *,
    studio: Studio,
    vehicle_id: int,
    on: date,
    tasks: Sequence[str],
    hours: float | None = None,
    proposal_id: int | None = None,
    bay_id: int | None = None,
    starts: time | None = None,
    actor: str,
    at: datetime,
) -> Visit:
    """Book a visit. Care windows that it covers are marked as booked, so that nobody is reminded of them.

    Raises:
        DomainError: no task, an unknown task, or a day in the past.
        NotFoundHere: vehicle, bay or proposal of another studio.
    """
    vehicle = one(Vehicle, studio, vehicle_id)
    unknown = [task for task in tasks if task not in TASKS]
    if not tasks or unknown:
        raise DomainError(
            f"tasks: {', '.join(unknown) or 'none'} — choose from {', '.join(sorted(TASKS))}.", field="tasks"
        )
    plausible_day("on", on)
    if on < studio.day(at):
        raise DomainError(f"on: {on} lies in the past; choose today or later.", field="on")
    proposal = one(VisitProposal, studio, proposal_id) if proposal_id is not None else None
    bay = one(Bay, studio, bay_id) if bay_id is not None else None
    labour = labour_h(vehicle, tasks) if hours is None else hours
    if labour <= 0:
        raise DomainError("hours: give more than 0.", field="hours")
    with transaction.atomic():
        vehicle = one(Vehicle, studio, vehicle_id, lock=True)
        if starts is not None:
            clock("starts", on, starts, vehicle.site.zone)
        _not_booked_yet(vehicle, tasks, studio.day(at))
        visit: Visit = Visit.objects.create(
            studio=studio, vehicle=vehicle, site=vehicle.site, bay=bay, proposal=proposal, on=on, hours=labour,
            starts=starts, customer_id=keeper_now(vehicle), tasks=list(tasks), booked_at=at, changed_at=at,
        )  # fmt: skip
        if proposal is not None:
            proposal.state = ProposalState.ACCEPTED
            proposal.save(update_fields=["state"])
        windows_follow(vehicle)
        journal.record(
            studio=studio, actor=actor, at=at, verb="visit booked", subject="visit", subject_id=visit.pk,
            vehicle_id=vehicle.pk, on=on, tasks=list(tasks),
        )  # fmt: skip
    return visit


def _not_booked_yet(vehicle: Vehicle, tasks: Sequence[str], today: date) -> None:
    """Refuse work that a coming visit already covers: most likely somebody clicked twice."""
    for visit in Visit.objects.filter(vehicle=vehicle, state__in=OPEN_VISITS, on__gte=today):
        twice = [TASKS[task].title for task in tasks if task in visit.tasks]
        if twice:
            raise DomainError(
                f"tasks: {', '.join(twice)} is already {visit.get_state_display()} for {visit.on}; "
                "answer, settle or cancel that visit first.",
                field="tasks",
            )


def settle(
    *, studio: Studio, visit_id: int, state: str, paid: Decimal | None = None, actor: str, at: datetime
) -> Visit:
    """Say what became of a booked visit: done, cancelled or no_show.

    Done closes its care windows and tells the forecast of washes and decontamination; layers put on are recorded by the
    technician. Cancelled and no_show open the windows again.
    """
    if state not in (VisitState.DONE, VisitState.CANCELLED, VisitState.NO_SHOW):
        raise DomainError(f"state: {state!r} is not done, cancelled or no_show.", field="state")
    if paid is not None and paid < 0:
        raise DomainError("paid: give 0 or more.", field="paid")
    with transaction.atomic():
        visit = held(studio, visit_id)
        must_be(visit, (VisitState.BOOKED,) if state != VisitState.CANCELLED else OPEN_VISITS)
        if state == VisitState.DONE and visit.on > studio.day(at):
            raise DomainError(f"state: the visit is on {visit.on}; it cannot be done before.", field="state")
        change(
            visit, actor=actor, at=at, verb=f"visit {state.replace('_', ' ')}", state=state, settled_at=at, paid=paid,
            wanted_on=None, wish="", offered=[],
        )  # fmt: skip
        dues = CareDue.objects.filter(vehicle=visit.vehicle, task__in=visit.tasks, state__in=LIVE_DUE)
        if state == VisitState.DONE:
            dues.update(state=DueState.DONE, closed_at=at, closed_why=f"Done on {visit.on}.")
            _tell_the_record(visit, actor=actor, at=at)
        else:
            release_proposal(visit)
        windows_follow(visit.vehicle)
        Vehicle.objects.filter(pk=visit.vehicle_id).update(assess_again=True)
    return visit


def _tell_the_record(visit: Visit, *, actor: str, at: datetime) -> None:
    """What a finished visit means for the forecast and for the contract's dates."""
    for task in visit.tasks:
        for surface_id in _where(visit, task) if task in EVENT_OF_TASK else ():
            record_event(
                studio=visit.studio, vehicle_id=visit.vehicle_id, kind=EVENT_OF_TASK[task], on=visit.on,
                surface_id=surface_id, actor=actor, at=at,
            )  # fmt: skip
    if "wheel_swap" in visit.tasks:
        _put_on_the_other_set(visit, actor=actor, at=at)
    looked = [TASKS[task].title for task in visit.tasks if task in LOOKS]
    seen = Inspection.objects.filter(vehicle=visit.vehicle, on=visit.on, by="studio").exists()
    if looked and not seen:
        cleaned = "decontamination_wash" in visit.tasks
        record_inspection(
            studio=visit.studio, vehicle_id=visit.vehicle_id, on=visit.on,
            clean_state="decontaminated" if cleaned else "washed", note=f"Looked at: {', '.join(looked)}.",
            actor=actor, at=at,
        )  # fmt: skip
    if "inspection" in visit.tasks:
        terms = ContractTerm.objects.filter(vehicle=visit.vehicle, done_on=None).select_related("rule")
        for term in terms:
            if abs(visit.on - term.due) <= timedelta(days=term.tolerance_days):
                term.done_on = visit.on
                term.save(update_fields=["done_on"])
                if term.rule is not None and term.rule.stopped_at is None:
                    carry_on(term.rule, visit.on)


def _where(visit: Visit, task: str) -> list[int | None]:
    """The surfaces that a finished task was on: those of the window for iron alone, else the whole vehicle."""
    row = CareDue.objects.filter(vehicle=visit.vehicle, task=task, closed_at=visit.settled_at).first()
    if task != "iron_removal" or row is None:
        return [None]
    sets = Surface.objects.filter(vehicle=visit.vehicle, code__in=row.surfaces, removed_on=None)
    return [*sets.values_list("pk", flat=True)] or [None]


def _put_on_the_other_set(visit: Visit, *, actor: str, at: datetime) -> None:
    """After a wheel swap the set that waited is on, where the record leaves no doubt which one that is."""
    sets = Surface.objects.filter(vehicle=visit.vehicle, orientation="wheel", removed_on=None)
    on = Mounted.objects.filter(surface__in=sets, end=None).first()
    waiting = [one for one in sets if on is None or one.pk != on.surface_id]
    if on is not None and len(waiting) == 1 and on.start < visit.on:
        mount(studio=visit.studio, surface_id=waiting[0].pk, on=visit.on, actor=actor, at=at)
