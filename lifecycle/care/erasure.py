"""Erase a person: everything that says who it was goes, the technical record of the vehicles stays, linked to nobody.

The row of the customer stays as a person without a name, so that keepers' days and statements of consent keep their
place. The journal, consents and steps of offers are never changed; they hold ids and no names from the start.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.apps import apps
from django.db import models, transaction
from django.db.models import Q
from django.db.models.functions import TruncDate

from lifecycle import journal
from lifecycle.care import correction_consent, handover
from lifecycle.care.addresses import Named, digest, without
from lifecycle.care.find import one
from lifecycle.care.importing import forget_person
from lifecycle.care.keeping import retire_vehicle
from lifecycle.care.sealing import erase_signatures, sealed_among
from lifecycle.errors import DomainError
from lifecycle.models import (
    APPEND_ONLY_TABLES,
    GUARDED_CARE_RECORDS,
    GUARDED_CORRECTIONS,
    GUARDED_REPORTS,
    Assessment,
    CalendarFeed,
    CareEvent,
    Complaint,
    Consent,
    ContractRule,
    ContractTerm,
    CorrectionSignature,
    Customer,
    CustomerOutlook,
    Finding,
    Forecast,
    Habits,
    Inspection,
    Keeper,
    Message,
    MessageState,
    OutlookRow,
    Photo,
    Receipt,
    RecordLink,
    ReportParty,
    Studio,
    Suppression,
    User,
    Vehicle,
    Visit,
)
from lifecycle.models.message import REMINDERS_HEADER
from lifecycle.models.offer import OfferTold

ERASED: Final = "erased person"
# What the database refuses to change: whoever writes there leaves names out from the start.
NEVER_CHANGED: Final = frozenset((*APPEND_ONLY_TABLES, *GUARDED_REPORTS, *GUARDED_CORRECTIONS, *GUARDED_CARE_RECORDS))
WAITING: Final = (MessageState.WAITING, MessageState.READY, MessageState.RETRY, MessageState.UNCONFIRMED)
# The studio's own things, people's own rows (a namesake keeps the name), and what the model reckons.
NOT_SEARCHED: Final = frozenset(
    {"Studio", "Site", "Bay", "Member", "User", "Customer", "Message", "Suppression", "Product", "Price", "Gauge",
     "FigureOverride", "Assessment", "Forecast", "ForecastCheck", "OutlookRow",
     "CustomerOutlook", "OutlookSheet", "ReportParty", "ReminderTrial"}
)  # fmt: skip
# Texts that are sealed with a report of their inspection, and where its key stands.
SEALED_WITH: Final = {"Inspection": "pk", "Finding": "inspection_id", "Photo": "inspection_id"}
# Texts that people type about a vehicle; in those of this person's vehicles single words of the name go too.
TYPED: Final = (
    (CareEvent, "vehicle"), (Inspection, "vehicle"), (Finding, "inspection__vehicle"), (Photo, "vehicle"),
    (ContractTerm, "vehicle"), (ContractRule, "vehicle"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class WhatGoes:
    """What an erasure would take, in counts, and what of it would stay.

    `plates_go`: vehicles that the person keeps now; they leave, and their plates go with the person.
    `other_studios`: the person is a customer of other studios of this installation too; those rows are theirs.
    """

    customer_id: int
    name: str
    plates_go: tuple[str, ...]
    kept_before: int
    messages: int
    complaints: int
    photos: int
    notes: int
    signatures: int
    statements: int
    signs_in: bool
    works_here: bool
    other_studios: int
    suppressed: bool
    being_sent: int


def _vehicles(customer: Customer) -> list[int]:
    return list(Keeper.objects.filter(customer=customer).order_by("vehicle_id").values_list("vehicle_id", flat=True))


def _in_time(customer: Customer, field: str) -> Q:
    """Rows of a vehicle within the days on which this person kept it."""
    found = Q(pk__in=[])
    for keeper in Keeper.objects.filter(customer=customer):
        mine = Q(vehicle=keeper.vehicle_id, **{f"{field}__gte": keeper.start})
        found |= mine & Q(**{f"{field}__lte": keeper.end}) if keeper.end is not None else mine
    return found


def _named(customer: Customer, *, parts: bool = False) -> Named:
    return Named(customer.name, customer.email, customer.phone, parts=parts and not customer.fleet)


def _own_words(customer: Customer) -> tuple[Any, Any]:
    """Events and looks that the person told of, with their notes."""
    mine = Q(by="customer") & ~Q(note="")
    return (
        CareEvent.every.filter(_in_time(customer, "on") & mine),
        Inspection.objects.filter(_in_time(customer, "on") & mine),
    )


def _own_photos(customer: Customer) -> Any:
    day = TruncDate("added_at", tzinfo=ZoneInfo(customer.studio.zone))
    rows = Photo.objects.annotate(day=day).filter(_in_time(customer, "day"), by="customer")
    return rows.exclude(inspection__in=sealed_among(rows.values_list("inspection_id", flat=True)))


def what_would_go(*, studio: Studio, customer_id: int) -> WhatGoes:
    """What `erase_customer` would take.

    Raises:
        NotFoundHere: the customer is not of this studio.
    """
    customer = one(Customer, studio, customer_id)
    now = Keeper.objects.filter(customer=customer, end=None, vehicle__retired_on=None)
    others = Customer.objects.filter(user=customer.user).exclude(pk=customer.pk) if customer.user_id else None
    return WhatGoes(
        customer_id=customer.pk,
        name=customer.name,
        plates_go=tuple(now.order_by("vehicle__plate").values_list("vehicle__plate", flat=True)),
        kept_before=Keeper.objects.filter(customer=customer).exclude(pk__in=now.values("pk")).count(),
        messages=Message.objects.filter(customer=customer).count(),
        complaints=Complaint.objects.filter(customer=customer).count(),
        photos=_own_photos(customer).count(),
        notes=sum(rows.count() for rows in _own_words(customer)),
        signatures=ReportParty.objects.filter(customer=customer).count()
        + CorrectionSignature.objects.filter(consent__customer=customer).count(),
        statements=Consent.objects.filter(customer=customer).count(),
        signs_in=customer.user_id is not None,
        works_here=customer.user is not None and customer.user.memberships.exists(),
        other_studios=others.count() if others is not None else 0,
        suppressed=_suppressions(customer).exists(),
        being_sent=Message.objects.filter(customer=customer, state=MessageState.HANDING_OVER).count(),
    )


def _suppressions(customer: Customer) -> Any:
    rows = Suppression.objects.filter(studio=customer.studio)
    return rows.filter(email__iexact=customer.email) if customer.email else rows.none()


def erase_customer(
    *, studio: Studio, customer_id: int, typed: str, never_write: bool = False, actor: str, at: datetime
) -> Customer:
    """Erase a person for good. What stays says nothing of who it was.

    Vehicles that the person keeps now leave and lose their plates; mails, complaints, own notes, photos and places go;
    a name, address or phone number in any other text of the studio is left out of it. An address that must not be
    written to stays as a keyed digest alone.

    Args:
        typed: the name as it is on record, typed again.
        never_write: keep a digest of the address, so that nobody writes to it even if it is put on record again.

    Raises:
        DomainError: the name was not typed as it stands, a mail is just being handed over, or it is done already.
        NotFoundHere: the customer is not of this studio.
    """
    with transaction.atomic():
        customer = one(Customer, studio, customer_id, lock=True)
        if customer.erased_at is not None:
            raise DomainError("This person is erased already.")
        if " ".join(typed.split()) != " ".join(customer.name.split()):
            raise DomainError(f"typed: type the name as it stands here: {customer.name}.", field="typed")
        if Message.objects.filter(customer=customer, state=MessageState.HANDING_OVER).exists():
            raise DomainError("A mail to this person is being handed over just now; try again in some minutes.")
        named, all_parts = _named(customer), _named(customer, parts=True)
        vehicles = _vehicles(customer)
        left = _let_vehicles_go(customer, actor=actor, at=at)
        _digest_address(customer, never_write=never_write, at=at)
        done = {
            "messages": _blank_messages(customer, at),
            "complaints": _blank_complaints(customer, at),
            "visit wishes": Visit.objects.filter(customer=customer).exclude(wish="").update(wish=""),
            "outlook rows": OutlookRow.objects.filter(vehicle__in=left).delete()[0],
            "expected visits": CustomerOutlook.objects.filter(customer=customer).delete()[0],
            "advice told": OfferTold.objects.filter(customer=customer).update(customer=None),
            "calendar feeds": CalendarFeed.objects.filter(customer=customer).delete()[0],
            "offers to a new keeper": handover.forget(customer, at=at),
            "record links": RecordLink.objects.filter(customer=customer).delete()[0],
            "photos": _drop_photos(customer),
            "signatures": erase_signatures(studio=studio, customer_id=customer.pk, actor=actor, at=at)
            + correction_consent.erase_signatures(studio=studio, customer_id=customer.pk),
            "notes": sum(rows.update(note="") for rows in _own_words(customer)),
            "places": _forget_places(customer, vehicles, at),
            "imports": forget_person(studio=studio, customer_id=customer.pk, vehicle_ids=_kept_last(customer), at=at),
        }
        user = customer.user
        for name, value in _nobody(studio).items():
            setattr(customer, name, value)
        customer.erased_at = at
        customer.save()
        _close_door(user)
        done["texts"] = _leave_out(studio, named, vehicles, all_parts)
        journal.record(
            studio=studio, actor=actor, at=at, verb="person erased", subject="customer", subject_id=customer.pk,
            vehicles_left=left, address_digest=never_write, **done,
        )  # fmt: skip
    return customer


def _nobody(studio: Studio) -> dict[str, Any]:
    return {
        "name": ERASED, "email": "", "phone": "", "user": None, "fleet": False, "since": None,
        "quiet_from": None, "quiet_to": None, "paused_until": None,
        "language": studio.language, "zone": studio.zone,
    }  # fmt: skip


def _let_vehicles_go(customer: Customer, *, actor: str, at: datetime) -> list[int]:
    """Vehicles that nobody else keeps now. A plate leads to its keeper through any register: it goes too."""
    studio = customer.studio
    now = Keeper.objects.filter(customer=customer, end=None, vehicle__retired_on=None).order_by("vehicle_id")
    ids = list(now.values_list("vehicle_id", flat=True))
    for vehicle_id in ids:
        retire_vehicle(studio=studio, vehicle_id=vehicle_id, on=studio.day(at), why="erased", actor=actor, at=at)
    for vehicle_id in _kept_last(customer):
        Vehicle.objects.filter(pk=vehicle_id).update(plate=f"ERASED {vehicle_id}")
    return ids


def _kept_last(customer: Customer) -> list[int]:
    """Vehicles that left and whose last keeper was this person."""
    gone = Vehicle.objects.filter(pk__in=_vehicles(customer)).exclude(retired_on=None).order_by("pk")
    last = {row.pk: Keeper.objects.filter(vehicle=row).order_by("start", "pk").last() for row in gone}
    return [pk for pk, keeper in last.items() if keeper is not None and keeper.customer_id == customer.pk]


def _digest_address(customer: Customer, *, never_write: bool, at: datetime) -> None:
    if not customer.email:
        return
    value = digest(customer.studio_id, customer.email)
    live = _suppressions(customer).filter(lifted_at=None).first()
    had = Suppression.objects.filter(studio=customer.studio, digest=value, lifted_at=None).exists()
    if (live is not None or never_write) and not had:
        Suppression.objects.create(
            studio=customer.studio, digest=value, why=live.why if live is not None else "asked",
            at=live.at if live is not None else at,
        )  # fmt: skip
    _suppressions(customer).delete()


def _blank_messages(customer: Customer, at: datetime) -> int:
    rows = Message.objects.filter(customer=customer)
    Receipt.objects.filter(message__in=rows).update(detail="")
    rows.filter(state__in=WAITING).update(
        state=MessageState.STOPPED, state_at=at, claim=None, lease_until=None, next_try_at=None
    )
    kept = {}
    for message in rows.only("pk", "headers"):
        told = message.headers.get(REMINDERS_HEADER)
        kept[message.pk] = {REMINDERS_HEADER: told} if told else {}
    for pk, headers in kept.items():
        Message.objects.filter(pk=pk).update(headers=headers)
    return int(rows.update(to_email="", subject="", text="", html="", error="", provider_id=""))


def _blank_complaints(customer: Customer, at: datetime) -> int:
    rows = Complaint.objects.filter(customer=customer)
    rows.filter(closed_at=None).update(closed_at=at)
    return int(rows.update(about=""))


def _drop_photos(customer: Customer) -> int:
    """The person's own pictures; their files go once the transaction holds."""
    rows = list(_own_photos(customer))
    for photo in rows:
        for file in (photo.file, photo.thumbnail):
            if file:
                transaction.on_commit(partial(file.storage.delete, file.name))
        photo.delete()
    return len(rows)


def _forget_places(customer: Customer, vehicles: list[int], at: datetime) -> int:
    """Where the person's vehicles stood at night; the site's place counts in its stead."""
    placed = Q(lat__isnull=False) & Q(pk__in=[])
    for keeper in Keeper.objects.filter(customer=customer):
        theirs = Q(vehicle=keeper.vehicle_id, lat__isnull=False) & (Q(end=None) | Q(end__gt=keeper.start))
        placed |= theirs & Q(start__lt=keeper.end) if keeper.end is not None else theirs
    count = Habits.every.filter(placed).update(lat=None, lon=None, height_m=None, sea_distance_m=None)
    # What the forecast was made from holds the place and the texts; the next assessment makes it anew.
    Assessment.objects.filter(vehicle__in=vehicles).update(inputs={}, whole={}, climate={}, input_hash="")
    # A forecast that waits for its windows has nothing to open them from any more.
    Assessment.objects.filter(vehicle__in=vehicles, windows_at=None).update(windows_at=at)
    Vehicle.objects.filter(pk__in=vehicles, retired_on=None).update(assess_again=True)
    return int(count)


def _close_door(user: User | None) -> None:
    """The account goes with its last customer; who works in a studio keeps it for the work."""
    if user is not None and not user.memberships.exists() and not user.customers.exists():
        user.delete()


def _searched() -> Iterator[Any]:
    for model in apps.get_app_config("lifecycle").get_models():
        fields = {field.name for field in model._meta.get_fields()}
        if "studio" in fields and model.__name__ not in NOT_SEARCHED and model._meta.db_table not in NEVER_CHANGED:
            yield model


def _text_fields(model: Any) -> list[str]:
    kinds = (models.CharField, models.TextField, models.JSONField)
    return [field.name for field in model._meta.fields if isinstance(field, kinds) and not field.choices]


def _cleaned(value: Any, named: Named) -> Any:
    if isinstance(value, str):
        return without(value, named)
    if isinstance(value, list):
        return [_cleaned(one, named) for one in value]
    if isinstance(value, dict):
        return {key: _cleaned(one, named) for key, one in value.items()}
    return value


def _holding(rows: Any, names: list[str], named: Named) -> Any:
    """Rows of which some text holds a pattern; in stored JSON other letters than ASCII may be written as escapes."""
    patterns = [pattern for pattern, _ in named.patterns()]
    patterns += [re.escape(json.dumps(word)[1:-1]) for word in named.name.split() if not word.isascii()]
    wanted = Q(pk__in=[])
    for pattern in patterns:
        for name in names:
            wanted |= Q(**{f"{name}__iregex": pattern})
    return rows.filter(wanted)


def _leave_out_of(rows: Any, model: Any, named: Named) -> int:
    names, count = _text_fields(model), 0
    held = list(_holding(rows, names, named))
    at_inspection = SEALED_WITH.get(model.__name__, "")
    sealed = sealed_among(getattr(row, at_inspection) for row in held) if at_inspection else frozenset()
    for row in held:
        if at_inspection and getattr(row, at_inspection) in sealed:
            continue  # a sealed text names nobody: sealing refuses that; changed, it would no longer be as sealed
        new = {name: _cleaned(getattr(row, name), named) for name in names}
        changed = {name: value for name, value in new.items() if value != getattr(row, name)}
        for name, value in changed.items():
            longest = model._meta.get_field(name).max_length
            setattr(row, name, value[:longest] if longest and isinstance(value, str) else value)
        if changed:
            row.save(update_fields=list(changed))
            count += 1
    return count


def _leave_out(studio: Studio, named: Named, vehicles: list[int], all_parts: Named) -> int:
    """Take the person's name out of every other text of the studio."""
    count = 0
    for model in _searched():
        count += _leave_out_of(model._base_manager.filter(studio=studio), model, named)
    for model, path in TYPED:
        rows = model._base_manager.filter(**{f"{path}__in": vehicles})
        count += _leave_out_of(rows, model, all_parts)
    for model in (Assessment, Forecast):
        path = "vehicle" if model is Assessment else "assessment__vehicle"
        count += _leave_out_of(model._base_manager.filter(**{f"{path}__in": vehicles}), model, named)
    return count
