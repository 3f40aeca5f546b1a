"""What pages show of reminders and messages: frozen rows of one studio, in a fixed number of queries."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from django.db.models import Count, QuerySet

from lifecycle.care.rules import TASKS
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import (
    LIVE_DUE,
    Customer,
    Message,
    MessageState,
    Receipt,
    Reminder,
    ReminderState,
    Studio,
)
from lifecycle.reminders import letters
from lifecycle.reminders.claim import WAITING

PAGE: Final = 50
HELD: Final = "Held while the studio's reminders are paused; it is looked at again afterwards."


@dataclass(frozen=True, slots=True)
class MessageRow:
    """One line of the outbox. `why` says what went wrong, or why it was stopped; "" where there is nothing to say."""

    id: int
    uid: str
    state: str
    state_label: str
    state_at: datetime
    written_at: datetime
    why: str
    subject: str
    to_email: str
    customer_id: int
    customer: str
    purpose: str
    attempts: int
    resends: int
    next_try_at: datetime | None
    reminders: int


@dataclass(frozen=True, slots=True)
class ReminderRow:
    """One line of the plan. `state` is planned, written, waiting (looked at again) or skipped (for good)."""

    id: int
    state: str
    step: str
    step_label: str
    purpose: str
    task: str
    title: str
    vehicle_id: int
    vehicle: str
    customer_id: int
    customer: str
    earliest: date
    latest: date
    send_at: datetime | None
    reason_code: str
    reason: str
    changed_at: datetime


@dataclass(frozen=True, slots=True)
class ReceiptRow:
    kind: str
    provider: str
    occurred_at: datetime
    detail: str


@dataclass(frozen=True, slots=True)
class Mail:
    """A mail as it is or would be sent. `uid` is empty where it is not written yet."""

    uid: str
    subject: str
    text: str
    html: str
    from_email: str
    to_email: str
    headers: tuple[tuple[str, str], ...]
    receipts: tuple[ReceiptRow, ...] = ()
    state: str = ""
    state_label: str = ""
    state_at: datetime | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Counts:
    """Numbers of messages by state, and of reminders of open windows by state or reason."""

    messages: tuple[tuple[str, str, int], ...]
    planned: int
    waiting: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Page:
    """One page of rows; `total` over all pages."""

    rows: tuple[MessageRow, ...] | tuple[ReminderRow, ...]
    total: int
    number: int
    pages: int


def _bounds(total: int, page: int, size: int) -> tuple[int, int, int]:
    """Clamp a page number; returns (number, pages, first row)."""
    pages = max(1, -(-total // size))
    number = min(max(1, page), pages)
    return number, pages, (number - 1) * size


def outbox(studio: Studio, *, state: str = "", page: int = 1, size: int = PAGE) -> Page:
    """The messages of a studio, newest first. An unknown state finds nothing."""
    rows: QuerySet[Message] = Message.objects.of(studio)
    if state:
        rows = rows.filter(state=state)
    total = rows.count()
    size = min(max(1, size), 200)
    number, pages, start = _bounds(total, page, size)
    paused = studio.paused_at is not None
    some = rows.defer("text", "html").select_related("customer").order_by("-written_at", "-pk")[start : start + size]
    return Page(tuple(_message_row(one, paused=paused) for one in some), total, number, pages)


def _why(message: Message, *, paused: bool) -> str:
    """What went wrong with it or why it waits. Only reminders wait out a pause: copies and answers were asked for."""
    if paused and message.state in WAITING and message.report_id is None and message.visit_id is None:
        return f"{HELD} {message.error}".strip()
    return message.error


def _message_row(message: Message, *, paused: bool) -> MessageRow:
    return MessageRow(
        id=message.pk,
        uid=str(message.uid),
        state=message.state,
        state_label=str(MessageState(message.state).label),
        state_at=message.state_at,
        written_at=message.written_at,
        why=_why(message, paused=paused),
        subject=message.subject,
        to_email=message.to_email,
        customer_id=message.customer_id,
        customer=message.customer.name,
        purpose=message.purpose,
        attempts=message.attempts,
        resends=message.resends,
        next_try_at=message.next_try_at,
        reminders=len(message.told_of()),
    )


def reminders(studio: Studio, *, state: str = "", reason_code: str = "", page: int = 1, size: int = PAGE) -> Page:
    """The plan of a studio: planned ones first in the order of sending, then the others, last changed first.

    Args:
        state: planned, written, waiting or skipped; "" for all.
    """
    rows: QuerySet[Reminder] = Reminder.objects.of(studio)
    if state in ("waiting", "skipped"):
        rows = rows.filter(state=ReminderState.SKIPPED, final=state == "skipped")
    elif state:
        rows = rows.filter(state=state)
    if reason_code:
        rows = rows.filter(reason_code=reason_code)
    total = rows.count()
    size = min(max(1, size), 200)
    number, pages, start = _bounds(total, page, size)
    ordered = rows.select_related("due", "vehicle", "customer").order_by("state", "send_at", "-changed_at", "-pk")
    return Page(tuple(reminder_row(one) for one in ordered[start : start + size]), total, number, pages)


def reminder_row(row: Reminder) -> ReminderRow:
    """One reminder with `due`, `vehicle` and `customer` loaded, as a page shows it."""
    task = TASKS.get(row.due.task)
    state = row.state
    if state == ReminderState.SKIPPED and not row.final:
        state = "waiting"
    return ReminderRow(
        id=row.pk,
        state=str(state),
        step=row.step,
        step_label=row.get_step_display(),
        purpose=row.purpose,
        task=row.due.task,
        title=task.title if task is not None else row.due.task.replace("_", " "),
        vehicle_id=row.vehicle_id,
        vehicle=str(row.vehicle),
        customer_id=row.customer_id,
        customer=row.customer.name,
        earliest=row.due.earliest,
        latest=row.due.latest,
        send_at=row.send_at,
        reason_code=row.reason_code,
        reason=row.reason,
        changed_at=row.changed_at,
    )


def counts(studio: Studio) -> Counts:
    """How many messages stand where, and why reminders of open windows are not going out."""
    by_state = dict(Message.objects.of(studio).order_by().values_list("state").annotate(number=Count("pk")))
    live = Reminder.objects.of(studio).filter(due__state__in=LIVE_DUE).order_by()
    held = live.filter(state=ReminderState.SKIPPED).values_list("reason_code").annotate(number=Count("pk"))
    return Counts(
        messages=tuple(
            (str(state), str(state.label), by_state[state]) for state in MessageState if by_state.get(state)
        ),
        planned=live.filter(state=ReminderState.PLANNED).count(),
        waiting=tuple(sorted(held, key=lambda pair: (-pair[1], pair[0]))),
    )


def mail(studio: Studio, *, message_id: int) -> Mail:
    """A written message, exactly as it was frozen and is sent, with its receipts.

    Raises:
        NotFoundHere: this studio has no such message.
    """
    message = Message.objects.of(studio).filter(pk=message_id).first()
    if message is None:
        raise NotFoundHere(f"There is no message {message_id} in this studio.")
    rows = Receipt.objects.of(studio).filter(message=message).order_by("occurred_at", "pk")
    why = _why(message, paused=studio.paused_at is not None)
    return Mail(
        uid=str(message.uid),
        subject=message.subject,
        text=message.text,
        html=message.html,
        from_email=message.from_email,
        to_email=message.to_email,
        headers=tuple((name, str(value)) for name, value in message.headers.items()),
        receipts=tuple(ReceiptRow(one.kind, one.provider, one.occurred_at, one.detail) for one in rows),
        state=message.state,
        state_label=str(MessageState(message.state).label),
        state_at=message.state_at,
        why=why,
    )


def preview(studio: Studio, *, reminder_id: int, at: datetime) -> Mail:
    """What this reminder would say if it were written now, whether or not it will be: the renderer of the mail itself.

    Raises:
        NotFoundHere: this studio has no such reminder.  DomainError: it is written already; see `mail`.
    """
    from uuid import UUID

    row = (
        Reminder.objects.of(studio)
        .filter(pk=reminder_id)
        .select_related("due__vehicle", "vehicle", "customer__studio", "studio")
        .first()
    )
    if row is None:
        raise NotFoundHere(f"There is no reminder {reminder_id} in this studio.")
    if row.state == ReminderState.WRITTEN:
        raise DomainError("This reminder is written; look at its message.")
    rendered = letters.preview(reminders=[row], uid=UUID(int=0), at=at)
    person: Customer = row.customer
    return Mail(
        uid="",
        subject=rendered.subject,
        text=rendered.text,
        html=rendered.html,
        from_email=rendered.from_email,
        to_email=person.email,
        headers=tuple(rendered.headers.items()),
    )
