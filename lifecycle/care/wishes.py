"""How a customer wants to be written to: language, quiet hours, a pause."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.keeping import MAIL_LANGUAGES
from lifecycle.care.register import known
from lifecycle.care.tongue.measures import SYSTEMS
from lifecycle.errors import DomainError
from lifecycle.models import Customer, Studio

# Judgement: in fewer hours a day no mail would find its time.
LEAST_OPEN: Final = timedelta(hours=4)
LONGEST_PAUSE_DAYS: Final = 730


@dataclass(frozen=True, slots=True)
class Wishes:
    """What holds for one customer now."""

    customer_id: int
    studio: str
    name: str
    language: str
    units: str
    zone: str
    quiet_from: time | None
    quiet_to: time | None
    paused_until: date | None


def languages() -> tuple[tuple[str, str], ...]:
    """Codes and names of the languages in which letters can be written."""
    return tuple(getattr(settings, MAIL_LANGUAGES))


def wishes_of(customer_ids: Collection[int]) -> tuple[Wishes, ...]:
    """The wishes of each of these customers, in one query."""
    rows = Customer.objects.filter(pk__in=list(customer_ids)).select_related("studio").order_by("pk")
    return tuple(
        Wishes(row.pk, row.studio.name, row.name, row.language, row.units, row.zone, row.quiet_from, row.quiet_to,
               row.paused_until)
        for row in rows
    )  # fmt: skip


def open_for(start: time, end: time) -> timedelta:
    """How much of a day lies outside quiet hours from `start` to `end`."""
    minutes = (end.hour * 60 + end.minute - start.hour * 60 - start.minute) % (24 * 60)
    return timedelta(days=1) - timedelta(minutes=minutes)


def set_wishes(
    *,
    studio: Studio,
    customer_id: int,
    language: str,
    quiet_from: time | None,
    quiet_to: time | None,
    paused_until: date | None,
    units: str | None = None,
    actor: str,
    at: datetime,
) -> Customer:
    """Put a customer's wishes on record; all of them are said at once. The next planning of reminders keeps to them.

    Args:
        quiet_from, quiet_to: on the customer's clock, may span midnight; both None: the quiet hours of the house.
        units: metric, uk or us; "": as is usual where the vehicle is; None: as before.
        paused_until: no reminder and no offer before this day; None: no pause.

    Raises:
        DomainError: names the field, what is wrong with it and what would be right.
        NotFoundHere: the customer is not of this studio.
    """
    known("language", language, tuple(code for code, _ in languages()))
    known("units", units or "", ("", *SYSTEMS))
    if (quiet_from is None) != (quiet_to is None):
        field = "quiet_from" if quiet_from is None else "quiet_to"
        raise DomainError(f"{field}: give both ends of the quiet hours, or neither.", field=field)
    if quiet_from is not None and quiet_to is not None:
        if quiet_from == quiet_to:
            raise DomainError("quiet_to: the quiet hours end when they begin; give another time.", field="quiet_to")
        if open_for(quiet_from, quiet_to) < LEAST_OPEN:
            raise DomainError("quiet_to: leave at least four hours of the day in which a mail may come.",
                              field="quiet_to")  # fmt: skip
    with transaction.atomic():
        customer = one(Customer, studio, customer_id, lock=True)
        today = at.astimezone(ZoneInfo(customer.zone)).date()
        if paused_until is not None and paused_until != customer.paused_until:
            if paused_until <= today:
                raise DomainError(f"paused_until: {paused_until} is not ahead; give a later day.", field="paused_until")
            if paused_until > today + timedelta(days=LONGEST_PAUSE_DAYS):
                raise DomainError("paused_until: two years at most; to end reminders for good, say no to them.",
                                  field="paused_until")  # fmt: skip
        wanted: dict[str, Any] = {
            "language": language, "quiet_from": quiet_from, "quiet_to": quiet_to, "paused_until": paused_until,
        }  # fmt: skip
        if units is not None:
            wanted["units"] = units
        changed = [name for name, value in wanted.items() if getattr(customer, name) != value]
        for name in changed:
            setattr(customer, name, wanted[name])
        if changed:
            customer.save(update_fields=changed)
            journal.record(
                studio=studio, actor=actor, at=at, verb="wishes changed", subject="customer", subject_id=customer.pk,
                **{name: wanted[name] for name in changed},
            )  # fmt: skip
    return customer
