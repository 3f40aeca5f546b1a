"""What the studio does with visits that customers ask for: confirm, offer other days, decline, move."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time
from typing import Any, Final

from django.db import transaction

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.rules import TASKS
from lifecycle.care.visit_changes import change, end_request, good_day, held, labour_h, must_be, windows_follow
from lifecycle.care.visit_times import clock
from lifecycle.errors import DomainError
from lifecycle.models import REQUESTS, Bay, Studio, Visit, VisitState

MOST_OFFERS: Final = 5


def confirm(
    *, studio: Studio, visit_id: int, on: date, starts: time | None, tasks: Sequence[str] = (),
    hours: float | None = None, bay_id: int | None = None, seen: int | None = None, actor: str, at: datetime,
) -> Visit:  # fmt: skip
    """Book what was asked for, or move a booked visit (also where the customer asks for another day).

    Args:
        on, starts: day and clock at the site; `starts` None where no time is agreed.
        tasks: () keeps those of the request.  hours: None for the usual labour hours.
        seen: the sequence that the desk saw; a visit that changed since is not touched.

    Raises:
        DomainError: settled or changed meanwhile, no task, a day or time that cannot be.
        NotFoundHere: visit or bay of another studio.
    """
    bay = one(Bay, studio, bay_id) if bay_id is not None else None
    with transaction.atomic():
        visit = held(studio, visit_id)
        must_be(visit, (*REQUESTS, VisitState.BOOKED), seen=seen)
        good_day("on", on, studio.day(at))
        if starts is not None:
            clock("starts", on, starts, visit.site.zone)
        wanted = list(tasks) or list(visit.tasks)
        _known(wanted)
        _not_twice(visit, wanted)
        took = hours
        if took is None:
            took = visit.hours if wanted == list(visit.tasks) else labour_h(visit.vehicle, wanted)
        if took <= 0:
            raise DomainError("hours: give more than 0.", field="hours")
        was, moved = visit.state, visit.on
        to: dict[str, Any] = {"bay": bay} if bay is not None else {}
        change(
            visit, actor=actor, at=at, verb="visit moved" if was == VisitState.BOOKED else "visit confirmed",
            state=VisitState.BOOKED, on=on, starts=starts, tasks=wanted, hours=took, offered=[], reason="",
            wanted_on=None, booked_at=at if was in REQUESTS else visit.booked_at, data={"from": moved}, **to,
        )  # fmt: skip
        windows_follow(visit.vehicle)
    return visit


def _known(tasks: Sequence[str]) -> None:
    unknown = [task for task in tasks if task not in TASKS]
    if not tasks or unknown:
        raise DomainError(
            f"tasks: {', '.join(unknown) or 'none'} — choose from {', '.join(sorted(TASKS))}.", field="tasks"
        )


def _not_twice(visit: Visit, tasks: Sequence[str]) -> None:
    for other in Visit.objects.filter(vehicle=visit.vehicle, state=VisitState.BOOKED).exclude(pk=visit.pk):
        twice = [TASKS[task].title for task in tasks if task in other.tasks]
        if twice:
            raise DomainError(f"tasks: {', '.join(twice)} is already booked for {other.on}.", field="tasks")


def offer_days(
    *, studio: Studio, visit_id: int, offers: Sequence[datetime], seen: int | None = None, actor: str, at: datetime
) -> Visit:
    """Answer a request with other days; the customer chooses one of them.

    Args:
        offers: naive times by the clock at the site, at most `MOST_OFFERS`.

    Raises:
        DomainError: settled or changed meanwhile; no day, too many, or one that cannot be.
        NotFoundHere: visit of another studio.
    """
    days = sorted({moment.replace(second=0, microsecond=0) for moment in offers})
    if not 1 <= len(days) <= MOST_OFFERS:
        raise DomainError(f"offers: give 1 to {MOST_OFFERS} days with their times.", field="offers")
    with transaction.atomic():
        visit = held(studio, visit_id)
        must_be(visit, REQUESTS, seen=seen)
        _known(visit.tasks)
        for moment in days:
            good_day("offers", moment.date(), studio.day(at))
            clock("offers", moment.date(), moment.time(), visit.site.zone)
        change(
            visit, actor=actor, at=at, verb="other days offered", state=VisitState.OFFERED,
            offered=[f"{moment:%Y-%m-%dT%H:%M}" for moment in days],
        )  # fmt: skip
        windows_follow(visit.vehicle)
    return visit


def decline(*, studio: Studio, visit_id: int, reason: str, seen: int | None = None, actor: str, at: datetime) -> Visit:
    """Say no to a request, with the reason that the customer reads. Its care windows open again. Where a booked visit
    was to be moved, only the move is declined: the booked day holds.

    Raises:
        DomainError: settled or changed meanwhile, nothing to decline, no reason.
        NotFoundHere: visit of another studio.
    """
    words = reason.strip()
    if not 0 < len(words) <= 300:
        raise DomainError("reason: write 1 to 300 characters; the customer reads them.", field="reason")
    with transaction.atomic():
        visit = held(studio, visit_id)
        must_be(visit, (*REQUESTS, VisitState.BOOKED), seen=seen)
        if visit.state in REQUESTS:
            end_request(visit, VisitState.DECLINED, actor=actor, at=at, verb="visit declined", reason=words)
        elif visit.wanted_on is None:
            raise DomainError("This visit is booked and no other day is asked for; cancel it in the bookings instead.")
        else:
            change(visit, actor=actor, at=at, verb="another day declined", wanted_on=None, reason=words)
    return visit


def set_notice(*, studio: Studio, hours: int, actor: str, at: datetime) -> Studio:
    """Until how many hours before a visit its customer may cancel or move it on their own page (0 to 336).

    Raises:
        DomainError: out of range.
    """
    if not 0 <= hours <= 336:
        raise DomainError("hours: give 0 to 336 hours (two weeks).", field="hours")
    with transaction.atomic():
        studio.visit_notice_h = hours
        studio.save(update_fields=["visit_notice_h"])
        journal.record(
            studio=studio, actor=actor, at=at, verb="visit notice set", subject="studio", subject_id=studio.pk,
            hours=hours,
        )  # fmt: skip
    return studio
