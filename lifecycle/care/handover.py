"""The present keeper offers a vehicle, the new keeper agrees: until both have, nothing changes.

An offer ends after 14 days, when either side says so, or when the vehicle changes hands otherwise. Then the new
keeper's address is forgotten, with the mail to it; only who agrees becomes a customer.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction

from lifecycle import journal
from lifecycle.care.register import register_customer, set_consent, transfer
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import Customer, Handover, HandoverState, Keeper, Message, MessageState, Studio

DAYS: Final = 14
# So many offers a keeper makes in a day: enough for a slip of the keyboard, too few to send strangers mail. Judgement.
MOST_A_DAY: Final = 3
WAITING: Final = (MessageState.READY, MessageState.RETRY, MessageState.UNCONFIRMED)


@dataclass(frozen=True, slots=True)
class Offered:
    """A new offer. `token` goes into the mail to the new keeper and stands nowhere else."""

    handover: Handover
    token: str


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _kept(customer_ids: Iterable[int], vehicle_id: int) -> Keeper:
    rows = Keeper.objects.select_for_update().filter(
        vehicle_id=vehicle_id, customer__in=list(customer_ids), end=None, vehicle__retired_on=None
    )
    keeper: Keeper | None = rows.select_related("vehicle__studio", "customer").first()
    if keeper is None:
        raise NotFoundHere(f"There is no vehicle {vehicle_id} here.")
    return keeper


def offer(*, customer_ids: Iterable[int], vehicle_id: int, email: str, on: date, actor: str, at: datetime) -> Offered:
    """Offer a vehicle to a new keeper, who keeps it from `on` once they agree. Nothing is said of who has the address.

    Raises:
        NotFoundHere: none of these customers keeps the vehicle.
        DomainError: no address, one's own, a day ahead or before one's time, an open offer, or too many of them.
    """
    email = email.strip().lower()
    try:
        validate_email(email)
    except ValidationError as error:
        raise DomainError("email: write it like name@example.org.", field="email") from error
    with transaction.atomic():
        keeper = _kept(customer_ids, vehicle_id)
        studio, own = keeper.vehicle.studio, keeper.customer.email.lower()
        if email == own:
            raise DomainError("email: that is your own address; write the new keeper’s.", field="email")
        if on > studio.day(at):
            raise DomainError("on: the day lies ahead; offer it on the day of the sale or after.", field="on")
        if on < keeper.start:
            raise DomainError(f"on: you keep it since {keeper.start}; give a day from then on.", field="on")
        mine = Handover.objects.filter(customer=keeper.customer)
        if mine.filter(vehicle=keeper.vehicle, state=HandoverState.OPEN).exists():
            raise DomainError("The vehicle is offered to a new keeper already; withdraw that first.")
        if mine.filter(made_at__gt=at - timedelta(days=1)).count() >= MOST_A_DAY:
            raise DomainError(f"At most {MOST_A_DAY} offers a day; try again tomorrow, or ask the studio.")
        token = secrets.token_urlsafe(24)
        row: Handover = Handover.objects.create(
            studio=studio, vehicle=keeper.vehicle, customer=keeper.customer, to_email=email, on=on, made_at=at,
            ends_at=at + timedelta(days=DAYS), token_digest=_digest(token),
        )  # fmt: skip
        _note(row, "vehicle offered to a new keeper", actor, at)
    return Offered(row, token)


def _note(row: Handover, verb: str, actor: str, at: datetime) -> None:
    journal.record(
        studio=row.studio, actor=actor, at=at, verb=verb, subject="handover", subject_id=row.pk,
        vehicle_id=row.vehicle_id, on=row.on,
    )  # fmt: skip


def _close(row: Handover, state: HandoverState, verb: str, actor: str, at: datetime) -> None:
    """End an offer and forget the address. What was not handed over yet is not sent any more."""
    row.state, row.closed_at, row.to_email = state, at, ""
    row.save(update_fields=["state", "closed_at", "to_email", "to_customer"])
    mails = Message.objects.filter(handover=row)
    mails.filter(state__in=WAITING).update(
        state=MessageState.STOPPED, state_at=at, claim=None, lease_until=None, next_try_at=None,
        error="The offer to the new keeper has ended.",
    )  # fmt: skip
    if row.to_customer is not None:
        mails.update(customer=row.to_customer)
    else:
        mails.update(to_email="", text="", html="")
    _note(row, verb, actor, at)


def _of_token(token: str, at: datetime) -> Handover:
    rows = Handover.objects.select_for_update(of=("self",)).select_related("vehicle", "customer", "studio")
    row: Handover | None = rows.filter(token_digest=_digest(token)).first() if 0 < len(token) <= 64 else None
    keeps = row is not None and Keeper.objects.filter(vehicle=row.vehicle, customer=row.customer, end=None).exists()
    if row is None or not keeps or row.state != HandoverState.OPEN or row.ends_at <= at:
        raise NotFoundHere("This offer is not open any more.")
    return row


def accept(
    *, token: str, name: str, language: str, wordings: Mapping[str, str], agreed: Mapping[str, bool], how: str,
    at: datetime,
) -> Keeper:  # fmt: skip
    """The new keeper agrees: the vehicle changes hands, with their own name and their own consents.

    Args:
        agreed: what they said, by purpose; `wordings`: the words that they saw, by purpose.

    Raises:
        NotFoundHere: no such offer is open.
        DomainError: no name, or the day no longer fits.
    """
    if not name.strip():
        raise DomainError("name: write your name.", field="name")
    with transaction.atomic():
        row = _of_token(token, at)
        found: Customer | None = Customer.objects.filter(studio=row.studio, email__iexact=row.to_email).first()
        customer = found or register_customer(
            studio=row.studio, name=name, email=row.to_email, language=language, actor="new keeper", at=at
        )
        actor = f"customer:{customer.pk}"
        keeper = transfer(
            studio=row.studio, vehicle_id=row.vehicle_id, to_customer_id=customer.pk, on=row.on, actor=actor, at=at
        )
        for purpose, given in agreed.items():
            set_consent(
                studio=row.studio, customer_id=customer.pk, purpose=purpose, given=given, how=how,
                wording=wordings[purpose], actor=actor, at=at,
            )  # fmt: skip
        row.to_customer = customer
        _close(row, HandoverState.ACCEPTED, "handover accepted", actor, at)
    return keeper


def decline(*, token: str, at: datetime) -> None:
    """The new keeper does not want it; nothing of them stays.

    Raises:
        NotFoundHere: no such offer is open.
    """
    with transaction.atomic():
        _close(_of_token(token, at), HandoverState.DECLINED, "handover declined", "new keeper", at)


def withdraw(*, customer_ids: Iterable[int], vehicle_id: int, actor: str, at: datetime) -> None:
    """The present keeper takes the offer back.

    Raises:
        NotFoundHere: they have offered it to nobody, or it is answered already.
    """
    with transaction.atomic():
        rows = Handover.objects.select_for_update(of=("self",)).select_related("studio", "to_customer")
        row = rows.filter(vehicle=vehicle_id, customer__in=list(customer_ids), state=HandoverState.OPEN).first()
        if row is None:
            raise NotFoundHere(f"Vehicle {vehicle_id} is not offered to anybody.")
        _close(row, HandoverState.WITHDRAWN, "handover withdrawn", actor, at)


def forget(customer: Customer, *, at: datetime) -> int:
    """End what a person who is erased has offered; a step of the erasure and inside its transaction."""
    rows = list(Handover.objects.filter(customer=customer, state=HandoverState.OPEN).select_related("studio"))
    for row in rows:
        _close(row, HandoverState.WITHDRAWN, "handover withdrawn", "cycle", at)
    return len(rows)


def expire(*, at: datetime) -> Mapping[str, int]:
    """End offers whose 14 days are over, or whose vehicle changed hands or left otherwise."""
    ended = 0
    for row in Handover.objects.filter(state=HandoverState.OPEN).select_related("studio").order_by("pk"):
        keeps = Keeper.objects.filter(vehicle=row.vehicle_id, customer=row.customer_id, end=None).exists()
        if row.ends_at > at and keeps:
            continue
        with transaction.atomic():
            if Handover.objects.select_for_update().filter(pk=row.pk, state=HandoverState.OPEN).exists():
                _close(row, HandoverState.EXPIRED, "handover over", "cycle", at)
                ended += 1
    return {"ended": ended}


@dataclass(frozen=True, slots=True)
class OfferView:
    """What the page of an offer shows of the vehicle to whoever has the link: no plate and no name."""

    studio: str
    vehicle: str
    on: date
    ends_at: datetime


def offer_of(token: str, *, at: datetime) -> OfferView:
    """The open offer of a link.

    Raises:
        NotFoundHere: no such offer is open.
    """
    with transaction.atomic():
        row = _of_token(token, at)
    return OfferView(row.studio.name, row.vehicle.description, row.on, row.ends_at)


@dataclass(frozen=True, slots=True)
class HandoverLine:
    """One offer in a list. `to_email` is empty once it is answered."""

    vehicle_id: int
    vehicle: str
    plate: str
    keeper: str
    to_email: str
    on: date
    state: str
    ends_at: datetime
    closed_at: datetime | None


def _line(row: Handover) -> HandoverLine:
    return HandoverLine(
        row.vehicle_id, row.vehicle.description, row.vehicle.plate, row.customer.name, row.to_email, row.on, row.state,
        row.ends_at, row.closed_at,
    )  # fmt: skip


def of_keeper(customer_ids: Iterable[int], vehicle_id: int) -> tuple[HandoverLine, ...]:
    """The offers that these customers made of a vehicle, newest first."""
    rows = Handover.objects.filter(vehicle=vehicle_id, customer__in=list(customer_ids))
    return tuple(_line(row) for row in rows.select_related("vehicle", "customer")[:10])


def of_studio(studio: Studio, *, at: datetime) -> tuple[HandoverLine, ...]:
    """Open offers of a studio and those that were accepted in the last two weeks, newest first, in one query."""
    open_ones = Handover.objects.filter(studio=studio, state=HandoverState.OPEN)
    since = at - timedelta(days=DAYS)
    done = Handover.objects.filter(studio=studio, state=HandoverState.ACCEPTED, closed_at__gte=since)
    rows = (open_ones | done).select_related("vehicle", "customer").order_by("-made_at", "-pk")
    return tuple(_line(row) for row in rows[:50])
