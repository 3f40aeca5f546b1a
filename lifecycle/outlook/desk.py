"""Advice that waits for a word, as the desk sees it. Reads only; no money of the month in here."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final

from django.db.models import Prefetch, QuerySet

from lifecycle.care.directory import Page
from lifecycle.care.worklist import task_title
from lifecycle.models import Keeper, Offer, Studio
from lifecycle.outlook import history, steps

PER_PAGE: Final = 40


@dataclass(frozen=True, slots=True)
class OpenOffer:
    """One piece of advice. `answers`: what can still be recorded; `since`: the day of the latest step."""

    id: int
    vehicle_id: int
    vehicle: str
    plate: str
    keeper: str
    title: str
    price_low: Decimal
    price_high: Decimal
    currency: str
    state: str
    since: date
    until: date | None
    answers: tuple[str, ...]


def _rows(studio: Studio) -> QuerySet[Any]:
    keepers = Keeper.objects.filter(end=None).select_related("customer")
    return history.with_latest_step(
        Offer.objects.of(studio)
        .select_related("vehicle", "studio")
        .prefetch_related(Prefetch("vehicle__keepers", queryset=keepers, to_attr="keepers_now"))
    )


def _open_offer(row: Any) -> OpenOffer:
    keeper = next(iter(row.vehicle.keepers_now), None)
    kind = row.latest_kind or steps.RECOMMENDED
    return OpenOffer(
        id=row.pk,
        vehicle_id=row.vehicle_id,
        vehicle=row.vehicle.description,
        plate=row.vehicle.plate,
        keeper=keeper.customer.name if keeper else "no keeper on record",
        title=task_title(row.task),
        price_low=row.price_low,
        price_high=row.price_high,
        currency=row.studio.currency,
        state=kind,
        since=row.studio.day(row.latest_at or row.made_at),
        until=row.latest_until,
        answers=steps.answers_open_to(kind),
    )


def open_offers(studio: Studio, *, page: int = 1, per_page: int = PER_PAGE) -> Page[OpenOffer]:
    """Advice without a final word, the longest waiting first. The number of queries does not depend on the rows."""
    rows = _rows(studio).filter(latest_kind__in=steps.OPEN).order_by("latest_at", "id")
    total = rows.count()
    pages = max(1, -(-total // per_page))
    number = min(max(page, 1), pages)
    found = rows[(number - 1) * per_page : number * per_page]
    return Page(tuple(_open_offer(row) for row in found), total, number, pages)


def one_offer(studio: Studio, offer_id: int) -> OpenOffer | None:
    """One piece of advice, or None if it is not of this studio."""
    row = _rows(studio).filter(pk=offer_id).first()
    return _open_offer(row) if row else None
