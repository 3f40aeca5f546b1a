"""Who and what a studio has on record: lists of vehicles, customers and visits, and the choices of the record forms.

Reads only. Every list is bounded and asks the same number of queries for one row and for a full page.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any, Final, Generic, TypeVar

from django.db.models import Count, Prefetch, Q, QuerySet

from lifecycle.care.find import one
from lifecycle.care.sheets import caution_of
from lifecycle.care.worklist import task_title
from lifecycle.models import (
    LIVE_DUE,
    OPEN_VISITS,
    Complaint,
    Consent,
    Customer,
    Keeper,
    Member,
    Product,
    Purpose,
    Site,
    Studio,
    Surface,
    Vehicle,
    Visit,
    VisitState,
)

PER_PAGE: Final = 40
Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Page(Generic[Row]):
    """One page of a list; `number` is always one of 1 to `pages`."""

    rows: tuple[Row, ...]
    total: int
    number: int
    pages: int


@dataclass(frozen=True, slots=True)
class VehicleRow:
    id: int
    plate: str
    description: str
    site: str
    keeper: str
    live_dues: int


@dataclass(frozen=True, slots=True)
class CustomerRow:
    """`reminders` and `offers`: "given", "withdrawn" or "never asked"."""

    id: int
    name: str
    email: str
    phone: str
    fleet: bool
    vehicles: int
    reminders: str
    offers: str
    complaint_open: bool


@dataclass(frozen=True, slots=True)
class ConsentRow:
    purpose: str
    purpose_words: str
    given: bool
    at: datetime
    how: str
    wording: str


@dataclass(frozen=True, slots=True)
class ComplaintRow:
    id: int
    about: str
    vehicle: str
    opened_at: datetime
    closed_at: datetime | None


@dataclass(frozen=True, slots=True)
class CustomerView:
    row: CustomerRow
    language: str
    zone: str
    since: date | None
    vehicles: tuple[VehicleRow, ...]
    consents: tuple[ConsentRow, ...]
    complaints: tuple[ComplaintRow, ...]


@dataclass(frozen=True, slots=True)
class VisitRow:
    id: int
    on: date
    starts: time | None
    vehicle_id: int
    vehicle: str
    plate: str
    keeper: str
    site: str
    bay: str
    tasks: tuple[str, ...]
    hours: float
    state: str
    state_words: str
    past: bool


@dataclass(frozen=True, slots=True)
class Choice:
    """One entry of a form's list. `hint` says more about it, `kind` what sort it is."""

    id: int
    label: str
    kind: str = ""
    hint: str = ""


@dataclass(frozen=True, slots=True)
class RecordChoices:
    """What the record forms of one vehicle offer."""

    vehicle_id: int
    vehicle: str
    plate: str
    powertrain: str
    surfaces: tuple[Choice, ...]
    products: tuple[Choice, ...]
    members: tuple[Choice, ...]


def _page(rows: QuerySet[Any], make: Callable[[Any], Row], *, number: int, per_page: int) -> Page[Row]:
    total = rows.count()
    pages = max(1, -(-total // per_page))
    number = min(max(number, 1), pages)
    return Page(tuple(make(row) for row in rows[(number - 1) * per_page : number * per_page]), total, number, pages)


def _with_keeper(rows: QuerySet[Any], path: str) -> QuerySet[Any]:
    keepers = Keeper.objects.filter(end=None).select_related("customer")
    return rows.prefetch_related(Prefetch(path, queryset=keepers, to_attr="keepers_now"))


def _keeper_name(vehicle: Any) -> str:
    keeper = next(iter(vehicle.keepers_now), None)
    return keeper.customer.name if keeper else "no keeper on record"


def _vehicle_row(vehicle: Any) -> VehicleRow:
    return VehicleRow(
        vehicle.pk, vehicle.plate, vehicle.description, vehicle.site.name, _keeper_name(vehicle), vehicle.live_dues
    )


def _vehicles(studio: Studio) -> QuerySet[Any]:
    rows = (
        Vehicle.objects.of(studio)
        .filter(retired_on=None)
        .select_related("site")
        .annotate(live_dues=Count("dues", filter=Q(dues__state__in=LIVE_DUE), distinct=True))
        .order_by("plate")
    )
    return _with_keeper(rows, "keepers")


def vehicles(studio: Studio, *, search: str = "", page: int = 1, per_page: int = PER_PAGE) -> Page[VehicleRow]:
    """Vehicles by plate. `search` looks in the plate (spaces do not count), the description and the keeper's name."""
    rows = _vehicles(studio)
    for word in search.split()[:6]:
        rows = rows.filter(
            Q(plate__icontains=word)
            | Q(description__icontains=word)
            | Q(pk__in=Keeper.objects.filter(end=None, customer__name__icontains=word).values("vehicle"))
        )
    return _page(rows, _vehicle_row, number=page, per_page=per_page)


def _consent_word(customer: Any, purpose: str) -> str:
    given = [row.given for row in customer.consents.all() if row.purpose == purpose]
    if not given:
        return "never asked"
    return "given" if given[-1] else "withdrawn"


def _customer_row(customer: Any) -> CustomerRow:
    return CustomerRow(
        id=customer.pk,
        name=customer.name,
        email=customer.email,
        phone=customer.phone,
        fleet=customer.fleet,
        vehicles=customer.vehicle_count,
        reminders=_consent_word(customer, Purpose.SERVICE),
        offers=_consent_word(customer, Purpose.PROMOTION),
        complaint_open=any(row.closed_at is None for row in customer.complaints.all()),
    )


def _customers(studio: Studio) -> QuerySet[Any]:
    rows: QuerySet[Any] = (
        Customer.objects.of(studio)
        .filter(erased_at=None)
        .annotate(vehicle_count=Count("keeps", filter=Q(keeps__end=None), distinct=True))
        .prefetch_related(
            Prefetch("consents", queryset=Consent.objects.order_by("at", "id")),
            Prefetch("complaints", queryset=Complaint.objects.select_related("vehicle").order_by("-opened_at")),
        )
        .order_by("name", "id")
    )
    return rows


def customers(studio: Studio, *, search: str = "", page: int = 1, per_page: int = PER_PAGE) -> Page[CustomerRow]:
    """Customers by name. `search` looks in the name, the address and the phone number."""
    rows = _customers(studio)
    for word in search.split()[:6]:
        rows = rows.filter(Q(name__icontains=word) | Q(email__icontains=word) | Q(phone__icontains=word))
    return _page(rows, _customer_row, number=page, per_page=per_page)


def customer(studio: Studio, customer_id: int) -> CustomerView | None:
    """One customer with vehicles, consents (latest first) and complaints, or None if not of this studio."""
    row = _customers(studio).filter(pk=customer_id).first()
    if row is None:
        return None
    kept = Keeper.objects.filter(customer=row, end=None).values("vehicle")
    return CustomerView(
        row=_customer_row(row),
        language=row.language,
        zone=row.zone,
        since=row.since,
        vehicles=tuple(_vehicle_row(vehicle) for vehicle in _vehicles(studio).filter(pk__in=kept)),
        consents=tuple(
            ConsentRow(c.purpose, c.get_purpose_display(), c.given, c.at, c.how, c.wording)
            for c in reversed(row.consents.all())
        ),
        complaints=tuple(
            ComplaintRow(c.pk, c.about, c.vehicle.plate if c.vehicle else "", c.opened_at, c.closed_at)
            for c in row.complaints.all()
        ),
    )


def _visit_row(visit: Any, today: date) -> VisitRow:
    return VisitRow(
        id=visit.pk,
        on=visit.on,
        starts=visit.starts,
        vehicle_id=visit.vehicle_id,
        vehicle=visit.vehicle.description,
        plate=visit.vehicle.plate,
        keeper=_keeper_name(visit.vehicle),
        site=visit.site.name,
        bay=visit.bay.name if visit.bay else "",
        tasks=tuple(task_title(task) for task in visit.tasks),
        hours=visit.hours,
        state=visit.state,
        state_words=visit.get_state_display(),
        past=visit.on < today,
    )


def bookings(
    studio: Studio, *, today: date, settled: bool = False, page: int = 1, per_page: int = PER_PAGE
) -> Page[VisitRow]:
    """Booked visits, soonest first; with `settled` the ones that are over, latest first."""
    rows: QuerySet[Any] = Visit.objects.of(studio).select_related("vehicle", "site", "bay")
    if settled:
        rows = rows.exclude(state__in=OPEN_VISITS).order_by("-on", "-id")
    else:
        rows = rows.filter(state=VisitState.BOOKED).order_by("on", "id")
    rows = _with_keeper(rows, "vehicle__keepers")
    return _page(rows, lambda visit: _visit_row(visit, today), number=page, per_page=per_page)


def record_choices(studio: Studio, vehicle_id: int) -> RecordChoices:
    """Surfaces of a vehicle, products and members of its studio.

    Raises:
        NotFoundHere: the vehicle is not of this studio.
    """
    vehicle = one(Vehicle, studio, vehicle_id)
    surfaces = Surface.objects.of(studio).filter(vehicle=vehicle, removed_on=None).order_by("id")
    return RecordChoices(
        vehicle_id=vehicle.pk,
        vehicle=vehicle.description,
        plate=vehicle.plate,
        powertrain=vehicle.powertrain,
        surfaces=tuple(Choice(s.pk, str(s), s.orientation, s.substrate) for s in surfaces),
        products=tuple(Choice(p.pk, str(p), p.kind, caution_of(p)) for p in Product.objects.of(studio)),
        members=tuple(
            Choice(m.pk, str(m), m.role)
            for m in Member.objects.of(studio).filter(ended_at=None).select_related("user").order_by("id")
        ),
    )


def site_choices(studio: Studio) -> tuple[Choice, ...]:
    """The studio's sites by name."""
    return tuple(Choice(pk, name) for pk, name in Site.objects.of(studio).order_by("name").values_list("id", "name"))
