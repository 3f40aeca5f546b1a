"""A vehicle that left comes back."""

from __future__ import annotations

from datetime import date, datetime

from django.db import IntegrityError, transaction

from lifecycle import journal
from lifecycle.care.find import one, plausible_day
from lifecycle.errors import DomainError
from lifecycle.models import Customer, Keeper, Studio, Vehicle


def readmit_vehicle(
    *, studio: Studio, vehicle_id: int, keeper_id: int, on: date, plate: str = "", actor: str, at: datetime
) -> Vehicle:
    """A vehicle that left is looked after here again since `on`; its record goes on where it stopped.

    Consent is its keeper's own affair, asked afresh where the keeper is new.

    Args:
        plate: the present one; "": the plate that it left with.

    Raises:
        DomainError: it never left, a day ahead or before it left, no plate, or one that another vehicle has now.
        NotFoundHere: vehicle or keeper of another studio.
    """
    plausible_day("on", on)
    if on > studio.day(at):
        raise DomainError(f"on: {on} lies in the future; give the day on which it came back.", field="on")
    keeper = one(Customer, studio, keeper_id)
    if keeper.erased_at is not None:
        raise DomainError("keeper: this person is erased; put the keeper on record first.", field="keeper")
    try:
        with transaction.atomic():
            vehicle = one(Vehicle, studio, vehicle_id, lock=True)
            if vehicle.retired_on is None:
                raise DomainError("This vehicle is looked after here; it never left.")
            if on < vehicle.retired_on:
                raise DomainError(f"on: {on} lies before the day it left, {vehicle.retired_on}.", field="on")
            away_since, vehicle.retired_on, vehicle.assess_again = vehicle.retired_on, None, True
            vehicle.plate = plate.strip().upper() or vehicle.plate
            if vehicle.plate == f"ERASED {vehicle.pk}":
                raise DomainError("plate: its plate went with an earlier keeper; give the present one.", field="plate")
            vehicle.save(update_fields=["retired_on", "assess_again", "plate"])
            Keeper.objects.create(studio=studio, vehicle=vehicle, customer=keeper, start=on)
            journal.record(
                studio=studio, actor=actor, at=at, verb="vehicle readmitted", subject="vehicle", subject_id=vehicle.pk,
                vehicle_id=vehicle.pk, on=on, away_since=away_since, keeper=keeper.pk,
            )  # fmt: skip
    except IntegrityError as error:
        raise DomainError(
            f"plate: another vehicle with plate {plate or 'like its old one'} is on record now; give the present one.",
            field="plate",
        ) from error
    return vehicle
