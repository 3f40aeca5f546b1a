"""Issue a care record and share it by a link; end the link."""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction

from lifecycle import journal
from lifecycle.care.care_record.content import content_of
from lifecycle.care.reports.canonical import canonical
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import CareRecord, Keeper, RecordLink, Vehicle

DAYS: Final = (14, 60, 180)
MOST_LIVE: Final = 10


@dataclass(frozen=True, slots=True)
class Shared:
    """A new link. `token` stands nowhere else: who shares it must see it now."""

    link: RecordLink
    record: CareRecord
    token: str


def token_digest(token: str) -> str:
    """What is kept of a token: SHA-256 in hex. The token has 192 random bits, so no salt is needed."""
    return hashlib.sha256(token.encode()).hexdigest()


def record_digest(content: str) -> str:
    """The seal of a record: SHA-256 in hex over the UTF-8 bytes of its canonical form (RFC 8785)."""
    return hashlib.sha256(content.encode()).hexdigest()


def issue(vehicle: Vehicle, *, actor: str, at: datetime) -> CareRecord:
    """Issue the record of a vehicle as it is now. The caller holds the transaction and the vehicle's row."""
    last = CareRecord.objects.filter(vehicle=vehicle).order_by("-number").values_list("number", flat=True).first()
    number = (last or 0) + 1
    at = at.replace(microsecond=0)
    text = canonical(content_of(vehicle, number=number, at=at))
    record: CareRecord = CareRecord.objects.create(
        studio=vehicle.studio, vehicle=vehicle, number=number, issued_at=at, content=text, digest=record_digest(text)
    )
    # The journal cannot be changed either: it is the second witness of number and digest.
    journal.record(
        studio=vehicle.studio, actor=actor, at=at, verb="care record issued", subject="care record",
        subject_id=record.pk, vehicle_id=vehicle.pk, number=number, digest=record.digest,
    )  # fmt: skip
    return record


def share(*, customer_ids: tuple[int, ...], vehicle_id: int, days: int, actor: str, at: datetime) -> Shared:
    """Issue the record of a vehicle that one of these customers keeps, and a link to it that lasts `days` days.

    Raises:
        NotFoundHere: none of them keeps the vehicle now.
        DomainError: another number of days than DAYS, or too many links live.
    """
    if days not in DAYS:
        raise DomainError(f"days: choose one of {', '.join(map(str, DAYS))}.", field="days")
    with transaction.atomic():
        keeper = kept(customer_ids, vehicle_id)
        vehicle = Vehicle.objects.select_for_update().select_related("studio").get(pk=keeper.vehicle_id)
        live = RecordLink.objects.filter(record__vehicle=vehicle, ended_at=None, ends_at__gt=at)
        if live.count() >= MOST_LIVE:
            raise DomainError(f"{MOST_LIVE} links to this vehicle's record work already; end one of them first.")
        record = issue(vehicle, actor=actor, at=at)
        token = secrets.token_urlsafe(24)
        link: RecordLink = RecordLink.objects.create(
            studio=vehicle.studio, record=record, customer=keeper.customer, token_digest=token_digest(token),
            made_at=at, ends_at=at + timedelta(days=days),
        )  # fmt: skip
        journal.record(
            studio=vehicle.studio, actor=actor, at=at, verb="care record shared", subject="record link",
            subject_id=link.pk, vehicle_id=vehicle.pk, days=days, number=record.number,
        )  # fmt: skip
    return Shared(link, record, token)


def kept(customer_ids: tuple[int, ...], vehicle_id: int) -> Keeper:
    """The present keeping of a vehicle by one of these customers.

    Raises:
        NotFoundHere: none of them keeps it now.
    """
    rows = Keeper.objects.filter(vehicle_id=vehicle_id, customer__in=customer_ids, end=None, vehicle__retired_on=None)
    found: Keeper | None = rows.select_related("customer", "vehicle").first()
    if found is None:
        raise NotFoundHere(f"There is no vehicle {vehicle_id} here.")
    return found


def end(*, customer_ids: tuple[int, ...], vehicle_id: int, link_id: int, actor: str, at: datetime) -> RecordLink:
    """End a link at once. Ending it twice does no harm.

    Raises:
        NotFoundHere: it is no link that one of these customers made for this vehicle.
    """
    with transaction.atomic():
        rows = RecordLink.objects.select_for_update().filter(
            pk=link_id, customer__in=customer_ids, record__vehicle=vehicle_id
        )
        link: RecordLink | None = rows.first()
        if link is None:
            raise NotFoundHere(f"There is no link {link_id} here.")
        if link.ended_at is None:
            link.ended_at = at
            link.save(update_fields=["ended_at"])
            journal.record(
                studio=link.studio, actor=actor, at=at, verb="record link ended", subject="record link",
                subject_id=link.pk, vehicle_id=vehicle_id,
            )  # fmt: skip
    return link
