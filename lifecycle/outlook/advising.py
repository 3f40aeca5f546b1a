"""Advice that a person of the studio gives, beside what the rules ask for."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from lifecycle.care.find import one
from lifecycle.care.tasks_table import load_tasks
from lifecycle.errors import DomainError
from lifecycle.models import Offer, Price, Studio, Surface, Vehicle
from lifecycle.outlook import history, offer_bars, offers, steps
from lifecycle.outlook.evidence import bases


def recommend_by_hand(
    *, studio: Studio, vehicle_id: int, task: str, why: str, surfaces: Sequence[str] = (), actor: str, at: datetime
) -> Offer:
    """Put on record that somebody of the studio recommends this work. It is not offered by that.

    Args:
        surfaces: codes of the surfaces that it is about; none for the whole vehicle.

    Raises:
        NotFoundHere: the vehicle is not of this studio.
        DomainError: names the field; or the care rules refuse the work (over the clear-coat budget, clogged).
    """
    if task not in load_tasks():
        raise DomainError(f"task: {task!r} is no care task; choose one of the list.", field="task")
    if not why.strip():
        raise DomainError("why: say what it is recommended for.", field="why")
    with transaction.atomic():
        vehicle = one(Vehicle, studio, vehicle_id, lock=True)
        known = set(Surface.objects.filter(vehicle=vehicle, removed_on=None).values_list("code", flat=True))
        unknown = sorted(set(surfaces) - known)
        if unknown:
            raise DomainError(f"surfaces: {', '.join(unknown)} is not on this vehicle.", field="surfaces")
        price = Price.objects.filter(studio=studio, task=task, size=vehicle.size).first()
        if price is None:
            raise DomainError("task: it has no price for this size of vehicle; enter one first.", field="task")
        open_ones = history.with_latest_step(Offer.objects.filter(vehicle=vehicle, task=task))
        if open_ones.filter(latest_kind__in=(*steps.OPEN, steps.ACCEPTED)).exists():
            raise DomainError("task: this is recommended already and still open; see the list.", field="task")
        offer = Offer(
            studio=studio, vehicle=vehicle, task=task, price_low=price.low, price_high=price.high, made_at=at,
            site_id=vehicle.site_id, surfaces=list(dict.fromkeys(surfaces)), recommended_by=actor,
        )  # fmt: skip
        offer.basis = bases([offer])[0]
        offer.save()
        hard = [bar for bar in offer_bars.barred(studio, [offer], today=studio.day(at))[offer.pk] if bar.hard]
        if hard:
            raise DomainError(f"task: {hard[0].why}", field="task")
        offers.add_step(offer, steps.RECOMMENDED, actor=actor, at=at, why=why.strip())
    return offer
