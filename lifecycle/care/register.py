"""Verbs that put people and vehicles on record."""

from __future__ import annotations

from datetime import date, datetime

from django.db import IntegrityError, transaction

from lifecycle import journal
from lifecycle.care.addresses import Named, without
from lifecycle.care.find import one, plausible_day
from lifecycle.care.visit_changes import pass_on
from lifecycle.errors import DomainError
from lifecycle.models import (
    Complaint,
    Consent,
    ContractRule,
    ContractTerm,
    Customer,
    Keeper,
    Purpose,
    Site,
    Studio,
    Surface,
    Vehicle,
)
from lifecycle.wear.choices import COLOURS, FINISHES, ORIENTATIONS, PAINTS, POWERTRAINS, SIZES, SUBSTRATES


def known(field: str, value: str, allowed: tuple[str, ...]) -> None:
    """Refuse a word that the tables do not know.

    Raises:
        DomainError: names the field, the word and what is allowed.
    """
    if value not in allowed:
        raise DomainError(f"{field}: {value!r} is not known; use one of {', '.join(allowed)}.", field=field)


def register_customer(
    *,
    studio: Studio,
    name: str,
    email: str = "",
    phone: str = "",
    language: str = "en",
    zone: str = "",
    fleet: bool = False,
    since: date | None = None,
    actor: str,
    at: datetime,
) -> Customer:
    """Put a customer on record. Consent is not given by this; see `set_consent`."""
    if not name.strip():
        raise DomainError("name: give the customer a name.", field="name")
    try:
        with transaction.atomic():
            customer: Customer = Customer.objects.create(
                studio=studio,
                name=name.strip(),
                email=email.strip().lower(),
                phone=phone,
                language=language,
                zone=zone or studio.zone,
                fleet=fleet,
                since=since or studio.day(at),
            )
            journal.record(
                studio=studio, actor=actor, at=at, verb="customer registered", subject="customer",
                subject_id=customer.pk,
            )  # fmt: skip
    except IntegrityError as error:
        raise DomainError(f"email: another customer of this studio already uses {email}.", field="email") from error
    return customer


def register_vehicle(
    *,
    studio: Studio,
    site_id: int,
    keeper_id: int,
    plate: str,
    description: str,
    body: str,
    size: str,
    colour: str,
    paint: str = "clear_coat",
    powertrain: str = "combustion",
    first_seen: date,
    actor: str,
    at: datetime,
) -> Vehicle:
    """Put a vehicle and its keeper on record."""
    for field, value, allowed in (
        ("size", size, SIZES),
        ("colour", colour, COLOURS),
        ("paint", paint, PAINTS),
        ("powertrain", powertrain, POWERTRAINS),
    ):
        known(field, value, allowed)
    keeper = one(Customer, studio, keeper_id)
    try:
        with transaction.atomic():
            vehicle: Vehicle = Vehicle.objects.create(
                studio=studio, site=one(Site, studio, site_id), plate=plate.strip().upper(), description=description,
                body=body, size=size, colour=colour, paint=paint, powertrain=powertrain, first_seen=first_seen,
            )  # fmt: skip
            Keeper.objects.create(studio=studio, vehicle=vehicle, customer=keeper, start=first_seen)
            journal.record(
                studio=studio, actor=actor, at=at, verb="vehicle registered", subject="vehicle",
                subject_id=vehicle.pk, vehicle_id=vehicle.pk,
            )  # fmt: skip
    except IntegrityError as error:
        raise DomainError(f"plate: a vehicle with plate {plate} is already on record.", field="plate") from error
    return vehicle


def add_surface(
    *,
    studio: Studio,
    vehicle_id: int,
    code: str,
    orientation: str,
    substrate: str,
    finish: str = "factory",
    refinished_on: date | None = None,
    actor: str,
    at: datetime,
) -> Surface:
    """Add a surface to a vehicle."""
    for field, value, allowed in (
        ("orientation", orientation, ORIENTATIONS),
        ("substrate", substrate, SUBSTRATES),
        ("finish", finish, FINISHES),
    ):
        known(field, value, allowed)
    vehicle = one(Vehicle, studio, vehicle_id)
    if Surface.objects.filter(vehicle=vehicle, code=code).exists():
        raise DomainError(f"code: {vehicle} already has a surface {code!r}.", field="code")
    with transaction.atomic():
        surface: Surface = Surface.objects.create(
            studio=studio, vehicle=vehicle, code=code, orientation=orientation, substrate=substrate, finish=finish,
            refinished_on=refinished_on,
        )  # fmt: skip
        journal.record(
            studio=studio, actor=actor, at=at, verb="surface added", subject="surface", subject_id=surface.pk,
            vehicle_id=vehicle.pk, code=code,
        )  # fmt: skip
    return surface


def set_consent(
    *, studio: Studio, customer_id: int, purpose: str, given: bool, how: str, wording: str, actor: str, at: datetime
) -> Consent:
    """Record a statement of consent, or of its withdrawal, in the words that the person saw."""
    known("purpose", purpose, tuple(Purpose.values))
    if not wording.strip():
        raise DomainError("wording: keep the words that the customer saw.", field="wording")
    customer = one(Customer, studio, customer_id)
    # Statements are never changed, so that an erasure cannot reach them: they hold no name from the start.
    person = Named(name=customer.name, email=customer.email, phone=customer.phone)
    with transaction.atomic():
        consent: Consent = Consent.objects.create(
            studio=studio, customer=customer, purpose=purpose, given=given, at=at, how=without(how, person)[:60],
            wording=without(wording, person),
        )  # fmt: skip
        journal.record(
            studio=studio, actor=actor, at=at, verb="consent given" if given else "consent withdrawn",
            subject="customer", subject_id=customer.pk, purpose=purpose, how=consent.how,
        )  # fmt: skip
    return consent


def transfer(*, studio: Studio, vehicle_id: int, to_customer_id: int, on: date, actor: str, at: datetime) -> Keeper:
    """The vehicle has a new keeper. The care record stays; consent is the new keeper's own affair."""
    vehicle = one(Vehicle, studio, vehicle_id)
    to = one(Customer, studio, to_customer_id)
    if vehicle.retired_on is not None:
        raise DomainError(f"This vehicle left on {vehicle.retired_on}; let it come back first.")
    if to.erased_at is not None:
        raise DomainError("to_customer: this person is erased; put the keeper on record first.", field="to_customer")
    with transaction.atomic():
        before = Keeper.objects.filter(vehicle=vehicle, end=None).first()
        if before is not None:
            if before.customer_id == to.pk:
                raise DomainError(f"{to} already keeps this vehicle.", field="to_customer")
            if on < before.start:
                raise DomainError(f"on: {on} lies before the present keeper's start, {before.start}.", field="on")
            if on > studio.day(at):
                raise DomainError(f"on: {on} lies in the future; give the day of the change.", field="on")
            before.end = on
            before.save(update_fields=["end"])
            _leave_names(vehicle, before.customer)
        keeper: Keeper = Keeper.objects.create(studio=studio, vehicle=vehicle, customer=to, start=on)
        pass_on(vehicle, to.pk, actor=actor, at=at)
        journal.record(
            studio=studio, actor=actor, at=at, verb="vehicle transferred", subject="vehicle", subject_id=vehicle.pk,
            vehicle_id=vehicle.pk, to_customer=to.pk, on=on,
        )  # fmt: skip
    return keeper


def _leave_names(vehicle: Vehicle, former: Customer) -> None:
    """What the next keeper reads of the vehicle no longer names the one before: its description, its contract dates."""
    named = Named(former.name, former.email, former.phone, parts=not former.fleet)
    rows = [(vehicle, "description"), *((row, "title") for row in ContractTerm.objects.filter(vehicle=vehicle))]
    rows += [(row, "title") for row in ContractRule.objects.filter(vehicle=vehicle)]
    for row, field in rows:
        text = getattr(row, field)
        if (cleaned := without(text, named)) != text:
            setattr(row, field, cleaned[: row._meta.get_field(field).max_length])
            row.save(update_fields=[field])


def open_complaint(
    *, studio: Studio, customer_id: int, about: str, vehicle_id: int | None = None, actor: str, at: datetime
) -> Complaint:
    """Record a complaint or claim. Until it is closed nothing promotional is sent to the customer."""
    customer = one(Customer, studio, customer_id)
    vehicle = one(Vehicle, studio, vehicle_id) if vehicle_id is not None else None
    with transaction.atomic():
        complaint: Complaint = Complaint.objects.create(
            studio=studio, customer=customer, vehicle=vehicle, about=about, opened_at=at
        )
        journal.record(
            studio=studio, actor=actor, at=at, verb="complaint opened", subject="complaint",
            subject_id=complaint.pk, vehicle_id=vehicle_id,
        )  # fmt: skip
    return complaint


def close_complaint(*, studio: Studio, complaint_id: int, actor: str, at: datetime) -> Complaint:
    complaint = one(Complaint, studio, complaint_id)
    if complaint.closed_at is not None:
        raise DomainError("This complaint is already closed.")
    with transaction.atomic():
        complaint.closed_at = at
        complaint.save(update_fields=["closed_at"])
        journal.record(
            studio=studio, actor=actor, at=at, verb="complaint closed", subject="complaint", subject_id=complaint.pk,
            vehicle_id=complaint.vehicle_id,
        )  # fmt: skip
    return complaint


def add_contract_term(
    *, studio: Studio, vehicle_id: int, title: str, due: date, tolerance_days: int, actor: str, at: datetime
) -> ContractTerm:
    """An inspection that a contract asks for on a date."""
    plausible_day("due", due)
    if not 0 <= tolerance_days <= 366:
        raise DomainError(f"tolerance_days: {tolerance_days} is not between 0 and 366.", field="tolerance_days")
    vehicle = one(Vehicle, studio, vehicle_id)
    with transaction.atomic():
        term: ContractTerm = ContractTerm.objects.create(
            studio=studio, vehicle=vehicle, title=title, due=due, tolerance_days=tolerance_days
        )
        Vehicle.objects.filter(pk=vehicle.pk).update(assess_again=True)
        journal.record(
            studio=studio, actor=actor, at=at, verb="contract term added", subject="contract term",
            subject_id=term.pk, vehicle_id=vehicle.pk, due=due,
        )  # fmt: skip
    return term


def pause_studio(*, studio: Studio, paused: bool, actor: str, at: datetime) -> Studio:
    """Hold all reminders of the studio back, or let them go again."""
    with transaction.atomic():
        studio.paused_at = at if paused else None
        studio.save(update_fields=["paused_at"])
        journal.record(
            studio=studio, actor=actor, at=at, verb="reminders paused" if paused else "reminders resumed",
            subject="studio", subject_id=studio.pk,
        )  # fmt: skip
    return studio
