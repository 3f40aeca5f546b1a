"""Verbs that keep the record true: what was entered changes, a vehicle is laid up, or leaves for good."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import Q

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.keeping_reads import RECORDS
from lifecycle.care.record import record_storage
from lifecycle.care.register import add_surface, known
from lifecycle.care.surface_presets import BODIES, presets_of
from lifecycle.care.visits import settle
from lifecycle.errors import DomainError
from lifecycle.models import (
    LIVE_DUE,
    REQUESTS,
    Assessment,
    CareDue,
    Customer,
    DueState,
    Keeper,
    Site,
    Storage,
    Studio,
    Surface,
    Vehicle,
    Visit,
    VisitState,
)
from lifecycle.wear import choices

RETIRED: Final = {
    "sold": "The vehicle was sold outside.",
    "scrapped": "The vehicle was scrapped.",
    "erased": "Its keeper asked to be erased.",
}
MAIL_LANGUAGES: Final = "MAIL_LANGUAGES"  # a setting of ours, which the types of Django's do not know


def known_zone(zone: str) -> str:
    """A time zone's name without spaces around it.

    Raises:
        DomainError: nobody knows a zone by that name.
    """
    name = zone.strip()
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise DomainError(f"zone: {name!r} is no time zone; write it like Europe/Oslo.", field="zone") from error
    return name


def _set(row: Any, wanted: dict[str, Any]) -> list[str]:
    """Put values on a row, unsaved; None leaves a field as it is.

    Returns:
        The names of the fields that changed.
    """
    changed = [name for name, value in wanted.items() if value is not None and getattr(row, name) != value]
    for name in changed:
        setattr(row, name, wanted[name])
    return changed


def change_customer(
    *,
    studio: Studio,
    customer_id: int,
    name: str | None = None,
    email: str | None = None,
    phone: str | None = None,
    language: str | None = None,
    zone: str | None = None,
    fleet: bool | None = None,
    actor: str,
    at: datetime,
) -> Customer:
    """Change what is known of a customer; None leaves a field as it is.

    A new e-mail address takes the door away from the old one: whoever reads the old mailbox can no longer sign in as
    this customer. The statements of consent stay, for they are the person's.

    Raises:
        DomainError: names the field, what is wrong with it and what would be right.
        NotFoundHere: the customer is not of this studio.
    """
    if name is not None and not name.strip():
        raise DomainError("name: give the customer a name.", field="name")
    if language is not None:
        known("language", language, tuple(code for code, _ in getattr(settings, MAIL_LANGUAGES)))
    wanted = {
        "name": name.strip() if name is not None else None,
        "email": email.strip().lower() if email is not None else None,
        "phone": phone.strip() if phone is not None else None,
        "language": language,
        "zone": known_zone(zone) if zone is not None else None,
        "fleet": fleet,
    }
    try:
        with transaction.atomic():
            customer = one(Customer, studio, customer_id, lock=True)
            changed = _set(customer, wanted)
            if "email" in changed:
                customer.user = None
            if changed:
                customer.save(update_fields=[*changed, "user"])
                journal.record(
                    studio=studio, actor=actor, at=at, verb="customer changed", subject="customer",
                    subject_id=customer.pk, fields=changed,
                )  # fmt: skip
    except IntegrityError as error:
        raise DomainError(f"email: another customer of this studio already uses {email}.", field="email") from error
    return customer


def change_vehicle(
    *,
    studio: Studio,
    vehicle_id: int,
    site_id: int | None = None,
    plate: str | None = None,
    description: str | None = None,
    body: str | None = None,
    size: str | None = None,
    colour: str | None = None,
    paint: str | None = None,
    powertrain: str | None = None,
    actor: str,
    at: datetime,
) -> Vehicle:
    """Change what a vehicle is; None leaves a field as it is. The forecast asks anew.

    Raises:
        DomainError: an unknown word, or a plate that another vehicle has.
        NotFoundHere: vehicle or site of another studio.
    """
    for field, value, allowed in (
        ("body", body, BODIES),
        ("size", size, choices.SIZES),
        ("colour", colour, choices.COLOURS),
        ("paint", paint, choices.PAINTS),
        ("powertrain", powertrain, choices.POWERTRAINS),
    ):
        if value is not None:
            known(field, value, allowed)
    wanted = {
        "site_id": one(Site, studio, site_id).pk if site_id is not None else None,
        "plate": plate.strip().upper() if plate is not None else None,
        "description": description.strip() if description is not None else None,
        "body": body, "size": size, "colour": colour, "paint": paint, "powertrain": powertrain,
    }  # fmt: skip
    if wanted["plate"] == "" or wanted["description"] == "":
        field = "plate" if wanted["plate"] == "" else "description"
        raise DomainError(f"{field}: it cannot be empty.", field=field)
    try:
        with transaction.atomic():
            vehicle = one(Vehicle, studio, vehicle_id, lock=True)
            changed = _set(vehicle, wanted)
            if changed:
                vehicle.assess_again = True
                vehicle.save(update_fields=[*changed, "assess_again"])
                journal.record(
                    studio=studio, actor=actor, at=at, verb="vehicle changed", subject="vehicle",
                    subject_id=vehicle.pk, vehicle_id=vehicle.pk, fields=changed,
                )  # fmt: skip
    except IntegrityError as error:
        raise DomainError(f"plate: a vehicle with plate {plate} is already on record.", field="plate") from error
    return vehicle


def add_usual_surfaces(
    *, studio: Studio, vehicle_id: int, codes: Sequence[str], actor: str, at: datetime
) -> tuple[Surface, ...]:
    """Add surfaces of the usual list of the vehicle's body, all or none.

    Raises:
        DomainError: a code that is not on the list, or that the vehicle has already.
        NotFoundHere: the vehicle is not of this studio.
    """
    vehicle = one(Vehicle, studio, vehicle_id)
    usual = {preset.code: preset for preset in presets_of(vehicle.body)}
    for code in codes:
        known("surfaces", code, tuple(usual))
    with transaction.atomic():
        return tuple(
            add_surface(
                studio=studio, vehicle_id=vehicle_id, code=code, orientation=usual[code].orientation,
                substrate=usual[code].substrate, actor=actor, at=at,
            )
            for code in codes
        )  # fmt: skip


def change_surface(
    *,
    studio: Studio,
    surface_id: int,
    orientation: str,
    substrate: str,
    finish: str,
    refinished_on: date | None = None,
    actor: str,
    at: datetime,
) -> Surface:
    """Say anew how a surface lies, what it is made of and what its finish went through. Its name stays: windows and
    readings speak of it by that name.

    Raises:
        DomainError: an unknown word, or a day of refinishing that does not fit.
        NotFoundHere: the surface is not of this studio.
    """
    for field, value, allowed in (
        ("orientation", orientation, choices.ORIENTATIONS),
        ("substrate", substrate, choices.SUBSTRATES),
        ("finish", finish, choices.FINISHES),
    ):
        known(field, value, allowed)
    if refinished_on is not None and finish == "factory":
        raise DomainError("refinished_on: a factory finish has no such day; empty it.", field="refinished_on")
    if refinished_on is not None and refinished_on > studio.day(at):
        raise DomainError(f"refinished_on: {refinished_on} lies in the future.", field="refinished_on")
    with transaction.atomic():
        surface = one(Surface, studio, surface_id, lock=True)
        changed = _set(surface, {"orientation": orientation, "substrate": substrate, "finish": finish})
        if surface.refinished_on != refinished_on:
            surface.refinished_on = refinished_on
            changed.append("refinished_on")
        if changed:
            surface.save(update_fields=changed)
            _surface_news(surface, "surface changed", actor=actor, at=at, fields=changed)
    return surface


def used(surface: Surface) -> bool:
    """Whether anything at all is on record for a surface."""
    return any(model.objects.filter(surface=surface).exists() for model in RECORDS)


def remove_surface(*, studio: Studio, surface_id: int, actor: str, at: datetime) -> None:
    """Take a surface that was entered by mistake off the record.

    Raises:
        DomainError: something is on record for it, so it stays.
        NotFoundHere: the surface is not of this studio.
    """
    with transaction.atomic():
        surface = one(Surface, studio, surface_id, lock=True)
        if used(surface):
            raise DomainError(f"The {surface} stays: layers, readings or events are on record for it.")
        _surface_news(surface, "surface removed", actor=actor, at=at)
        surface.delete()


def _surface_news(surface: Surface, verb: str, *, actor: str, at: datetime, **data: Any) -> None:
    Vehicle.objects.filter(pk=surface.vehicle_id).update(assess_again=True)
    journal.record(
        studio=surface.studio, actor=actor, at=at, verb=verb, subject="surface", subject_id=surface.pk,
        vehicle_id=surface.vehicle_id, code=surface.code, **data,
    )  # fmt: skip


def lay_up(
    *, studio: Studio, vehicle_id: int, start: date, end: date | None = None, actor: str, at: datetime
) -> Storage:
    """Record a time in storage, from `start` (included) to `end` (excluded; None: nobody knows yet).

    Raises:
        DomainError: the end is not after the start, or another storage overlaps.
        NotFoundHere: the vehicle is not of this studio.
    """
    vehicle = one(Vehicle, studio, vehicle_id)
    with transaction.atomic():
        others = Storage.objects.filter(vehicle=vehicle).filter(Q(end=None) | Q(end__gt=start))
        if end is not None:
            others = others.filter(start__lt=end)
        other = others.first()
        if other is not None:
            until = f"to {other.end}" if other.end else "on, with no end yet"
            raise DomainError(f"start: a storage from {other.start} {until} is already on record.", field="start")
        return record_storage(studio=studio, vehicle_id=vehicle_id, start=start, end=end, actor=actor, at=at)


def end_storage(*, studio: Studio, storage_id: int, end: date, actor: str, at: datetime) -> Storage:
    """Say until when a storage without an end lasts (that day excluded).

    Raises:
        DomainError: it has an end already, or the day is not after its start.
        NotFoundHere: the storage is not of this studio.
    """
    with transaction.atomic():
        storage = one(Storage, studio, storage_id, lock=True)
        if storage.end is not None:
            raise DomainError(f"end: this storage already ended on {storage.end}.", field="end")
        if end <= storage.start:
            raise DomainError(f"end: {end} is not after the start, {storage.start}.", field="end")
        storage.end = end
        storage.save(update_fields=["end"])
        Vehicle.objects.filter(pk=storage.vehicle_id).update(assess_again=True)
        journal.record(
            studio=studio, actor=actor, at=at, verb="storage ended", subject="storage", subject_id=storage.pk,
            vehicle_id=storage.vehicle_id, end=end,
        )  # fmt: skip
    return storage


def retire_vehicle(*, studio: Studio, vehicle_id: int, on: date, why: str, actor: str, at: datetime) -> Vehicle:
    """The vehicle is no longer looked after here: sold outside, or scrapped. Its record stays.

    Its keeper's time ends, visits booked for later days are cancelled, and what was due is withdrawn, so that nobody is
    reminded of it.

    Raises:
        DomainError: unknown reason, a day ahead or before its keeper's time, or it has left already.
        NotFoundHere: the vehicle is not of this studio.
    """
    known("why", why, tuple(RETIRED))
    if on > studio.day(at):
        raise DomainError(f"on: {on} lies in the future; give the day on which it happened.", field="on")
    with transaction.atomic():
        vehicle = one(Vehicle, studio, vehicle_id, lock=True)
        if vehicle.retired_on is not None:
            raise DomainError(f"This vehicle left already, on {vehicle.retired_on}.")
        keeper = Keeper.objects.filter(vehicle=vehicle, end=None).first()
        if keeper is not None and on < keeper.start:
            raise DomainError(f"on: {on} lies before the present keeper's start, {keeper.start}.", field="on")
        later = Visit.objects.filter(Q(state=VisitState.BOOKED, on__gt=on) | Q(state__in=REQUESTS), vehicle=vehicle)
        cancelled = [
            settle(studio=studio, visit_id=pk, state=VisitState.CANCELLED, actor=actor, at=at).pk
            for pk in later.order_by("pk").values_list("pk", flat=True)
        ]
        withdrawn = _withdraw_dues(vehicle, RETIRED[why], actor=actor, at=at)
        # A forecast that waits for its windows must not open them again.
        Assessment.objects.filter(vehicle=vehicle, latest=True, windows_at=None).update(windows_at=at)
        if keeper is not None:
            keeper.end = on
            keeper.save(update_fields=["end"])
        vehicle.retired_on, vehicle.assess_again = on, False
        vehicle.save(update_fields=["retired_on", "assess_again"])
        journal.record(
            studio=studio, actor=actor, at=at, verb="vehicle retired", subject="vehicle", subject_id=vehicle.pk,
            vehicle_id=vehicle.pk, on=on, why=why, dues_withdrawn=withdrawn, visits_cancelled=cancelled,
        )  # fmt: skip
    return vehicle


def _withdraw_dues(vehicle: Vehicle, why: str, *, actor: str, at: datetime) -> int:
    live = list(CareDue.objects.filter(vehicle=vehicle, state__in=LIVE_DUE))
    for due in live:
        due.state, due.closed_at, due.closed_why = DueState.WITHDRAWN, at, why
        due.save(update_fields=["state", "closed_at", "closed_why"])
        journal.record(
            studio=vehicle.studio, actor=actor, at=at, verb="care due withdrawn", subject="care due",
            subject_id=due.pk, vehicle_id=vehicle.pk, task=due.task,
        )  # fmt: skip
    return len(live)
