"""Two wheel sets with clocks of their own: which set is on the vehicle, and since when."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, Final

from django.db import transaction
from django.db.models import QuerySet

from lifecycle import journal
from lifecycle.care.find import one, plausible_day
from lifecycle.care.register import add_surface, known
from lifecycle.errors import DomainError
from lifecycle.models import Mounted, Studio, Surface, Vehicle

SEASONS: Final = {"summer": "summer set", "winter": "winter set", "all_year": "all-year set"}
MOST_SETS: Final = 4


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
    if wheels.removed_on is not None:
        raise DomainError(f"surface: {wheels} is gone since {wheels.removed_on}.", field="surface")
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


def add_set(
    *, studio: Studio, vehicle_id: int, season: str, on_since: date | None = None, actor: str, at: datetime
) -> Surface:
    """Put another wheel set on record; its coats age by a clock of their own.

    Args:
        season: one of `SEASONS`.
        on_since: the day on which it was mounted; None: it is not on the vehicle, the set that is stays on.

    Raises:
        DomainError: an unknown word, a set of that season already, too many sets, or a day that does not fit.
        NotFoundHere: the vehicle is not of this studio.
    """
    known("season", season, tuple(SEASONS))
    with transaction.atomic():
        vehicle = one(Vehicle, studio, vehicle_id, lock=True)
        sets = Surface.objects.filter(vehicle=vehicle, orientation="wheel", removed_on=None)
        _not_twice(sets, season)
        if sets.count() >= MOST_SETS:
            raise DomainError(f"{MOST_SETS} wheel sets are on record already; take one off that is gone.")
        code = f"{season}_wheels"
        had = sets.order_by("pk").first()
        wheels = add_surface(
            studio=studio, vehicle_id=vehicle.pk, code=code, orientation="wheel",
            substrate=had.substrate if had is not None else "aluminium", actor=actor, at=at,
        )  # fmt: skip
        wheels.season = season
        wheels.save(update_fields=["season"])
        if on_since is not None:
            mount(studio=studio, surface_id=wheels.pk, on=on_since, actor=actor, at=at)
        elif had is not None and not Mounted.objects.filter(surface__vehicle=vehicle).exists():
            Mounted.objects.create(studio=studio, surface=had, start=vehicle.first_seen)
        Vehicle.objects.filter(pk=vehicle.pk).update(assess_again=True)
    return wheels


def name_season(*, studio: Studio, surface_id: int, season: str, actor: str, at: datetime) -> Surface:
    """Say for which season a wheel set is.

    Raises:
        DomainError: an unknown word, no wheel set, or another set of that season.
        NotFoundHere: a surface of another studio.
    """
    known("season", season, tuple(SEASONS))
    with transaction.atomic():
        wheels = one(Surface, studio, surface_id, lock=True)
        if wheels.orientation != "wheel":
            raise DomainError(f"surface: {wheels} is not a wheel set.", field="surface")
        _not_twice(Surface.objects.filter(vehicle=wheels.vehicle_id, removed_on=None).exclude(pk=wheels.pk), season)
        wheels.season = season
        wheels.save(update_fields=["season"])
        journal.record(
            studio=studio, actor=actor, at=at, verb="wheel set named", subject="surface", subject_id=wheels.pk,
            vehicle_id=wheels.vehicle_id, season=season,
        )  # fmt: skip
    return wheels


def _not_twice(others: QuerySet[Any], season: str) -> None:
    if others.filter(season=season).exists():
        raise DomainError(f"season: the {SEASONS[season]} is on record already.", field="season")
