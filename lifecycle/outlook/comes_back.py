"""Who comes back, as prepared: every customer with the chances and the money to expect, the dearest first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

from django.db.models import Count, Max, Q, Sum

from lifecycle.care.directory import Page
from lifecycle.models import CustomerOutlook, Studio

PER_PAGE: Final = 40


@dataclass(frozen=True, slots=True)
class Coming:
    """One customer; see `lifecycle.models.CustomerOutlook`."""

    customer_id: int
    name: str
    visits: int
    last: date
    alive: float
    comes: float
    visits_12m: float
    value_per_visit: float
    value_12m: float
    gone: str
    says: str


@dataclass(frozen=True, slots=True)
class ComesBack:
    """One page. Of all customers: `customers` of whom something is expected, `gone` who left and are not lost,
    `visits_12m` and `value_12m` in sum. `as_of`: the day of the preparation, None where there is none yet."""

    page: Page[Coming]
    customers: int
    gone: int
    visits_12m: float
    value_12m: float
    as_of: date | None


def comes_back(studio: Studio, *, page: int = 1, per_page: int = PER_PAGE) -> ComesBack:
    """Customers by the value to expect in twelve months, those who left last; two queries."""
    rows = CustomerOutlook.objects.of(studio).filter(customer__erased_at=None)
    here = Q(gone="")
    told = rows.aggregate(
        total=Count("pk"), customers=Count("pk", filter=here), visits=Sum("visits_12m"), value=Sum("value_12m"),
        day=Max("made_on"),
    )  # fmt: skip
    pages = max(1, -(-told["total"] // per_page))
    number = min(max(page, 1), pages)
    some = rows.select_related("customer").order_by("-value_12m", "gone", "pk")[
        (number - 1) * per_page : number * per_page
    ]
    return ComesBack(
        page=Page(tuple(_coming(row) for row in some), told["total"], number, pages), customers=told["customers"],
        gone=told["total"] - told["customers"], visits_12m=told["visits"] or 0.0, value_12m=told["value"] or 0.0,
        as_of=told["day"],
    )  # fmt: skip


def _coming(row: CustomerOutlook) -> Coming:
    return Coming(
        row.customer_id, row.customer.name, row.visits, row.last, row.alive, row.comes_12m, row.visits_12m,
        row.value_per_visit, row.value_12m, row.gone, row.says,
    )  # fmt: skip
