"""Do reminders bring people: windows with a first reminder against windows of which nobody had been reminded yet.

Each care window is followed for four weeks and counted once.

- Not yet reminded: from its opening. A window whose reminder went out in these weeks before any booking is left out of
  this group (its time without a reminder ended early); that leaves relatively more who came, so the effect is rather
  understated than overstated.
- Reminded: a window whose first reminder went out within four weeks of its opening, before any booking, from then on.

People are not drawn by lot into the groups: who has not agreed to reminders is among those not reminded. So it is a
comparison, no proof.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from django.db.models import Q

from lifecycle.models import (
    CareDue,
    DueState,
    Message,
    MessageState,
    Reminder,
    ReminderState,
    ReminderTrial,
    Studio,
    Visit,
    VisitState,
)

FOLLOWED: Final = timedelta(days=28)
REACHED: Final = (MessageState.ACCEPTED, MessageState.DELIVERED)
COUNTS: Final = (VisitState.BOOKED, VisitState.DONE)
AT_ONCE: Final = 2000


@dataclass(frozen=True, slots=True)
class Window:
    """One care window: opened, reminded (None: never), every booking for it, and the day it fell away unserved."""

    opened: date
    reminded: date | None
    booked: tuple[date, ...]
    gone: date | None = None


@dataclass(frozen=True, slots=True)
class Trial:
    reminded: bool
    start: date
    came: bool


def trial_of(window: Window, *, today: date) -> Trial | None:
    """Which group a window belongs to and whether somebody came; None where it tells nothing (see above)."""
    horizon = window.opened + FOLLOWED
    first = min((day for day in window.booked if day >= window.opened), default=None)
    told = window.reminded
    if told is not None and (told < window.opened or (first is not None and first < told)):
        told = None  # told before it opened, or booked without it
        if window.reminded is not None and window.reminded < window.opened:
            return None
    if told is None or told > horizon:
        start, came = window.opened, first is not None and first <= horizon
    else:
        start = told
        horizon = told + FOLLOWED
        came = first is not None and first <= horizon
    if horizon >= today or (not came and window.gone is not None and window.gone <= horizon):
        return None
    return Trial(told is not None and told <= window.opened + FOLLOWED, start, came)


def try_studio(studio: Studio, *, today: date) -> int:
    """Work out all trials of a studio anew. The caller holds the transaction.

    Returns:
        How many windows tell something.
    """
    ReminderTrial.objects.of(studio).delete()
    rows = list(_rows(studio, today))
    ReminderTrial.objects.bulk_create(rows, batch_size=AT_ONCE)
    return len(rows)


def _rows(studio: Studio, today: date) -> Iterator[ReminderTrial]:
    told, booked = _reminded(studio), _booked(studio)
    dues = CareDue.objects.of(studio).filter(earliest__lt=today).order_by("pk")
    fields = ("pk", "vehicle_id", "vehicle__site_id", "task", "earliest", "opened_at", "state", "closed_at")
    for pk, vehicle_id, site_id, task, earliest, opened_at, state, closed_at in dues.values_list(*fields).iterator():
        opened = max(earliest, studio.day(opened_at))
        gone = studio.day(closed_at) if state == DueState.WITHDRAWN and closed_at is not None else None
        found = trial_of(
            Window(opened, told.get(pk), tuple(booked.get((vehicle_id, task), ())), gone), today=today
        )  # fmt: skip
        if found is not None:
            yield ReminderTrial(
                studio=studio, vehicle_id=vehicle_id, site_id=site_id, due_id=pk, task=task, reminded=found.reminded,
                start=found.start, came=found.came,
            )  # fmt: skip


def _reminded(studio: Studio) -> Mapping[int, date]:
    """The day on which a mail that tells of a window was handed over, the first one, by window."""
    written = Reminder.objects.of(studio).filter(state=ReminderState.WRITTEN)
    due_of = dict(written.order_by().values_list("pk", "due_id"))
    days: dict[int, date] = {}
    sent = Message.objects.of(studio).filter(~Q(reminder=None), state__in=REACHED)
    for message in sent.only("headers", "reminder_id", "written_at").order_by("written_at", "pk").iterator():
        for reminder_id in message.told_of():
            if reminder_id in due_of:
                days.setdefault(due_of[reminder_id], _day(studio, message.written_at))
    return days


def _booked(studio: Studio) -> Mapping[tuple[int, str], Sequence[date]]:
    """The days on which visits were booked, by vehicle and task."""
    days: dict[tuple[int, str], list[date]] = defaultdict(list)
    visits = Visit.objects.of(studio).filter(state__in=COUNTS).order_by("booked_at", "pk")
    for vehicle_id, tasks, booked_at in visits.values_list("vehicle_id", "tasks", "booked_at").iterator():
        for task in tasks:
            days[vehicle_id, task].append(_day(studio, booked_at))
    return days


def _day(studio: Studio, at: datetime) -> date:
    return studio.day(at)
