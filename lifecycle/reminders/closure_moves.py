"""Visits that a closure hits: new days with reasons, moved in one go. Customers get the usual mail or a call."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Final

from django.db import transaction
from django.db.models import Max

from lifecycle.care.find import one
from lifecycle.care.site_days import ClosedDays, day_and_weekday
from lifecycle.care.site_plan import held_of, rules_of, site_day
from lifecycle.care.spread_visits import Wish, spread
from lifecycle.care.worklist import task_title
from lifecycle.errors import DomainError
from lifecycle.models import LIVE_DUE, OPEN_VISITS, CareDue, Closure, Keeper, Studio, Visit, VisitState
from lifecycle.reminders import approval, visit_letters

# How long after a closure its visits may be moved to where no care window says so. Judgement.
WITHIN: Final = timedelta(days=28)


@dataclass(frozen=True, slots=True)
class Move:
    """A booked visit on closed days and the day proposed for it; `to` is None where nothing is free. `seen`: the
    visit's sequence, so that a change meanwhile is noticed."""

    visit_id: int
    seen: int
    vehicle_id: int
    vehicle: str
    plate: str
    keeper: str
    phone: str
    tasks: tuple[str, ...]
    on: date
    starts: time | None
    to: date | None
    why: str


@dataclass(frozen=True, slots=True)
class Hit:
    """A closure with the visits on its days. `asked`: requests that nobody has answered yet; they are not moved."""

    closure_id: int
    site_id: int
    site: str
    first: date
    last: date
    reason: str
    lifted: bool
    moves: tuple[Move, ...]
    asked: int


@dataclass(frozen=True, slots=True)
class Moved:
    """A visit that was moved; `no_mail` says why its customer must be phoned (there is no mail, or it waits
    for the owner), "" where a mail is on its way."""

    plate: str
    on: date
    phone: str
    no_mail: str


def hit_by(studio: Studio, closure_id: int, *, at: datetime) -> Hit:
    """The booked visits on the days of a closure, each with a day after it: as near as hours, bays and skills allow,
    inside what is left of its care windows, or within four weeks.

    Raises:
        NotFoundHere: the closure is not of this studio.
    """
    closure = one(Closure, studio, closure_id)
    site = closure.site
    today = site_day(site, at)
    on_days = Visit.objects.filter(site=site, on__range=(max(closure.first, today), closure.last))
    rows = list(on_days.filter(state=VisitState.BOOKED).select_related("vehicle").order_by("on", "id"))
    hit = {row.pk for row in rows}
    others = Visit.objects.filter(site=site, state__in=OPEN_VISITS, on__gt=today).exclude(pk__in=hit)
    after = max(closure.last, today) + timedelta(days=1)
    latest = dict(
        CareDue.objects.filter(vehicle__in={row.vehicle_id for row in rows}, state__in=LIVE_DUE)
        .values_list("vehicle_id").annotate(Max("latest"))
    )  # fmt: skip
    wishes = []
    for row in rows:
        held = held_of(row)
        last = max(latest.get(row.vehicle_id, after), after + WITHIN)
        wishes.append(Wish(row.pk, after, after, last, row.hours, held.cure_h, held.tasks))
    rules = rules_of([site])[site.pk].rules
    plan = spread(rules, wishes, [held_of(row) for row in others], today=today)
    keepers = {
        keeper.vehicle_id: keeper.customer
        for keeper in Keeper.objects.filter(vehicle__in={row.vehicle_id for row in rows}, end=None).select_related(
            "customer"
        )
    }
    shut = ClosedDays(closure.first, closure.last, closure.reason)
    moves = tuple(
        _move(row, planned.on, planned.why, keepers.get(row.vehicle_id), shut)
        for row, planned in zip(rows, plan.visits, strict=True)
    )
    return Hit(
        closure_id=closure.pk, site_id=site.pk, site=site.name, first=closure.first, last=closure.last,
        reason=closure.reason, lifted=closure.lifted_at is not None, moves=moves,
        asked=on_days.filter(state__in=OPEN_VISITS).exclude(state=VisitState.BOOKED).count(),
    )  # fmt: skip


def _move(row: Visit, to: date | None, why: str, customer: object, shut: ClosedDays) -> Move:
    says = f"Closed on {day_and_weekday(row.on)}: {shut.reason}. "
    if to is None:
        says += why
    elif why == "Its ideal day.":
        says += f"{day_and_weekday(to)} is the first day after the closure, and has room."
    else:
        says += f"{day_and_weekday(to)} is the next day that suits: {why[:1].lower()}{why[1:]}".replace(
            "its ideal day", "the first day after the closure"
        )
    return Move(
        visit_id=row.pk, seen=row.sequence, vehicle_id=row.vehicle_id, vehicle=row.vehicle.description,
        plate=row.vehicle.plate, keeper=getattr(customer, "name", ""), phone=getattr(customer, "phone", ""),
        tasks=tuple(task_title(task) for task in row.tasks), on=row.on, starts=row.starts, to=to, why=says,
    )  # fmt: skip


def move_all(
    *, studio: Studio, closure_id: int, moves: Sequence[tuple[int, int, date]], actor: str, at: datetime
) -> tuple[Moved, ...]:
    """Move booked visits off the days of a closure: all of them or none. The time of day stays. Where an owner sees
    many mails first, those of more than 20 wait for one, unless it is an owner who moves them.

    Args:
        moves: visit, the sequence that was seen, and the new day.

    Raises:
        DomainError: nothing chosen; a visit that is not on the closed days, or changed meanwhile; a day that is closed.
        NotFoundHere: closure or visit of another studio.
    """
    if not moves:
        raise DomainError("moves: choose at least one visit to move.", field="moves")
    with transaction.atomic():
        closure = one(Closure, studio, closure_id, lock=True)
        batch = approval.batch_of(studio, "visit_moved", len(moves), actor=actor)
        done, written = [], []
        for visit_id, seen, to in moves:
            visit = one(Visit, studio, visit_id)
            plate, was = visit.vehicle.plate, visit.on
            if visit.site_id != closure.site_id or not closure.first <= was <= closure.last:
                raise DomainError(f"{plate} is booked for {was}, which this closure does not touch; look again.")
            if closure.first <= to <= closure.last and closure.lifted_at is None:
                raise DomainError(f"{plate}: {to} lies in the closure; choose another day.", field=f"to_{visit_id}")
            try:
                told = visit_letters.confirm(
                    studio=studio,
                    visit_id=visit_id,
                    on=to,
                    starts=visit.starts,
                    seen=seen,
                    batch=batch,
                    actor=actor,
                    at=at,
                )
            except DomainError as error:
                raise DomainError(f"{plate}: {error.message}", field=f"to_{visit_id}") from error
            keeper = Keeper.objects.filter(vehicle=visit.vehicle_id, end=None).select_related("customer").first()
            done.append(Moved(plate, to, keeper.customer.phone if keeper else "", told.no_mail))
            written += [len(done) - 1] if told.message is not None else []
        # Not everybody has an address: it is the mails that the owner wants to see, not the visits.
        if batch is not None and approval.release_small_batch(studio.pk, batch, at=at):
            for number in written:
                done[number] = replace(done[number], no_mail="")
    return tuple(done)
