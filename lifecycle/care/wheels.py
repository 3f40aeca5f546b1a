"""Two wheel sets with clocks of their own: which set is on the vehicle, and since when."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from lifecycle import journal
from lifecycle.care.find import one, plausible_day
from lifecycle.errors import DomainError
from lifecycle.models import Mounted, Studio, Surface, Vehicle


def mount(*, studio: Studio, surface_id: int, on: date, actor: str, at: datetime) -> Mounted:
    """Put a wheel set on; the set that was on comes off the same day and ages as stored from then.

    The first time, the other sets of the vehicle count as on until this day, since nobody said otherwise.

    Raises:
        DomainError: no wheel set, a day before the last swap, or a set that is on already.
        NotFoundHere: a surface of another studio.
    """
    plausible_day("on", on)
    wheels = one(Surface, studio, surface_id)
    if wheels.orientation != "wheel":
        raise DomainError(f"surface: {wheels} is not a wheel set.", field="surface")
    with transaction.atomic():
        vehicle = one(Vehicle, studio, wheels.vehicle_id, lock=True)
        sets = Surface.objects.filter(vehicle=vehicle, orientation="wheel")
        current = Mounted.objects.filter(surface__in=sets, end=None).select_related("surface").first()
        if current is not None and current.surface_id == wheels.pk:
            raise DomainError(f"surface: {wheels} is on the vehicle already, since {current.start}.", field="surface")
        if current is not None and on <= current.start:
            raise DomainError(f"on: {on} is not after the last swap, {current.start}.", field="on")
        if current is None:
            others = sets.exclude(pk=wheels.pk).filter(mounted=None)
            Mounted.objects.bulk_create(
                Mounted(studio=studio, surface=other, start=vehicle.first_seen, end=on)
                for other in others
                if vehicle.first_seen < on
            )
        else:
            current.end = on
            current.save(update_fields=["end"])
        mounted: Mounted = Mounted.objects.create(studio=studio, surface=wheels, start=on)
        Vehicle.objects.filter(pk=vehicle.pk).update(assess_again=True)
        journal.record(
            studio=studio, actor=actor, at=at, verb="wheels mounted", subject="surface", subject_id=wheels.pk,
            vehicle_id=vehicle.pk, on=on,
        )  # fmt: skip
    return mounted
