"""Reads of care records: behind a link, behind the code on a copy, and the keeper's own links."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Exists, F, OuterRef

from lifecycle.care.care_record.sharing import kept, record_digest, token_digest
from lifecycle.errors import NotFoundHere
from lifecycle.models import CareRecord, JournalEntry, Keeper, RecordLink

MOST_LINKS = 30


class LinkOver(NotFoundHere):
    """There was such a link, and it has ended."""


@dataclass(frozen=True, slots=True)
class Opened:
    """A record behind a link. `text` is what was sealed, `content` the same as values; `newer_on`: when a newer record
    of this vehicle was issued; times in the studio's zone."""

    studio: str
    content: dict[str, Any]
    text: str
    digest: str
    code: str
    issued_at: datetime
    ends_at: datetime
    unchanged: bool
    newer_on: datetime | None


@dataclass(frozen=True, slots=True)
class Checked:
    """What anybody with a copy may know of it. `unchanged`: text, digest and journal agree."""

    studio: str
    number: int
    issued_at: datetime
    digest: str
    unchanged: bool
    newer_on: datetime | None


@dataclass(frozen=True, slots=True)
class LinkLine:
    """One link of a keeper. `live`: it opens the record now."""

    id: int
    number: int
    made_at: datetime
    ends_at: datetime
    ended_at: datetime | None
    opened: int
    live: bool


def _unchanged(record: CareRecord) -> bool:
    entries = JournalEntry.objects.filter(
        studio=record.studio_id, subject="care record", subject_id=record.pk, verb="care record issued"
    )
    witness = entries.values_list("data", flat=True).first() or {}
    return bool(record.digest == record_digest(record.content) == witness.get("digest"))


def _newer_on(record: CareRecord) -> datetime | None:
    rows = CareRecord.objects.filter(vehicle=record.vehicle_id, number__gt=record.number).order_by("-number")
    newest: datetime | None = rows.values_list("issued_at", flat=True).first()
    return _local(record, newest) if newest is not None else None


def _local(record: CareRecord, at: datetime) -> datetime:
    return at.astimezone(ZoneInfo(record.studio.zone))


def _link(token: str, at: datetime) -> RecordLink:
    """The link of a token, if it still opens: neither over nor ended, and who made it keeps the vehicle still."""
    keeps = Keeper.objects.filter(
        vehicle=OuterRef("record__vehicle"), customer=OuterRef("customer"), end=None, vehicle__retired_on=None
    )
    rows = RecordLink.objects.select_related("record__studio").annotate(keeps=Exists(keeps))
    link: Any = rows.filter(token_digest=token_digest(token)).first() if 0 < len(token) <= 64 else None
    if link is None:
        raise NotFoundHere("No care record has this link.")
    if link.ended_at is not None or link.ends_at <= at or not link.keeps:
        raise LinkOver("This link has ended.")
    found: RecordLink = link
    return found


def open_link(token: str, *, at: datetime, count: bool, own: tuple[int, ...] = ()) -> Opened:
    """The record behind a link. Opening is counted and nothing else of it is kept: a journal entry would say when.

    Args:
        count: whether this is an opening (a file behind the page is none).
        own: customers who are looking; the link's own maker is not counted.

    Raises:
        LinkOver: it has ended.
        NotFoundHere: no link has this token.
    """
    link = _link(token, at)
    if count and link.customer_id not in own:
        RecordLink.objects.filter(pk=link.pk).update(opened=F("opened") + 1)
    record: CareRecord = link.record
    return Opened(
        studio=record.studio.name, content=json.loads(record.content), text=record.content, digest=record.digest,
        code=record.code, issued_at=_local(record, record.issued_at), ends_at=_local(record, link.ends_at),
        unchanged=_unchanged(record), newer_on=_newer_on(record),
    )  # fmt: skip


def check(code: str) -> Checked:
    """What was issued under a code; works after every link has ended.

    Raises:
        NotFoundHere: no record has this code.
    """
    rows = CareRecord.objects.select_related("studio")
    record = rows.filter(code=code).first() if 0 < len(code) <= 24 else None
    if record is None:
        raise NotFoundHere("No care record has this code.")
    return Checked(
        studio=record.studio.name, number=record.number, issued_at=_local(record, record.issued_at),
        digest=record.digest, unchanged=_unchanged(record), newer_on=_newer_on(record),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sharing:
    """A keeper's page: the vehicle and their links to its record, newest first."""

    vehicle_id: int
    description: str
    plate: str
    customer_id: int
    links: tuple[LinkLine, ...]


def sharing(customer_ids: tuple[int, ...], vehicle_id: int, *, at: datetime) -> Sharing:
    """The links that these customers made for a vehicle that they keep, in a fixed number of queries.

    Raises:
        NotFoundHere: none of them keeps it now.
    """
    keeper = kept(customer_ids, vehicle_id)
    vehicle = keeper.vehicle
    rows = RecordLink.objects.filter(customer__in=customer_ids, record__vehicle=vehicle_id)
    rows = rows.select_related("record__studio").defer("record__content")[:MOST_LINKS]
    return Sharing(
        vehicle_id=vehicle.pk, description=vehicle.description, plate=vehicle.plate, customer_id=keeper.customer_id,
        links=tuple(
            LinkLine(
                id=row.pk, number=row.record.number, made_at=_local(row.record, row.made_at),
                ends_at=_local(row.record, row.ends_at),
                ended_at=_local(row.record, row.ended_at) if row.ended_at else None, opened=row.opened,
                live=row.ended_at is None and row.ends_at > at,
            )
            for row in rows
        ),
    )  # fmt: skip
