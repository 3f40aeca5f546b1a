"""Who is slipping: customers who stay away longer than is usual for them, or past the latest date of their care."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Final

from django.db.models import Count, Max, Q, QuerySet
from django.db.models.functions import Lower

from lifecycle.care.directory import Page
from lifecycle.models import (
    OPEN_VISITS,
    CareDue,
    Complaint,
    Consent,
    Customer,
    CustomerOutlook,
    DueState,
    Keeper,
    Message,
    OfferStep,
    Purpose,
    Storage,
    Studio,
    Suppression,
    Visit,
    VisitState,
)
from lifecycle.outlook import slipping_rules, steps
from lifecycle.outlook.offers import SENT
from lifecycle.outlook.return_reads import Return
from lifecycle.outlook.slipping_rules import SlipFacts
from lifecycle.outlook.visit_days import Customers

PER_PAGE: Final = 40
SELLS: Final = "sells the vehicle"
SAID_WITHIN: Final = timedelta(days=548)


@dataclass(frozen=True, slots=True)
class Slipping:
    """One customer. `yearly`: what they bring in a year if they still are one; `worth` is that times `comes`, the
    chance of a visit in the next twelve months. Money in the studio's currency."""

    customer_id: int
    name: str
    vehicles: tuple[tuple[int, str], ...]
    last: date
    usual_days: int
    own: bool
    why: str
    step: str
    yearly: float
    comes: float
    worth: float
    says: str


@dataclass(frozen=True, slots=True)
class Slips:
    """One page, the dearest first; `gone` counts those who sold or moved and are not lost. `as_of`: the day of the
    preparation, None where there is none yet."""

    page: Page[Slipping]
    gone: int
    as_of: date | None


@dataclass(frozen=True, slots=True)
class _Rows:
    """What is on record, by customer or by vehicle, read once per studio."""

    people: Mapping[int, Any]
    overdue: Mapping[int, date]
    stored: frozenset[int]
    complained: frozenset[int]
    sells: frozenset[int]
    consent: Mapping[int, bool]
    shut: frozenset[str]
    mailed: Mapping[int, date]


def candidates(
    studio: Studio, found: Customers, expected: Mapping[int, Return], *, today: date
) -> Iterator[CustomerOutlook]:
    """What is expected of every customer, and whether they are slipping if nothing is booked. Rows, not yet written."""
    rows = _read(studio, today)
    gaps = {who: slipping_rules.intervals(seen.first, seen.days) for who, seen in found.seen.items()}
    everybody = slipping_rules.usual_of([gap for some in gaps.values() for gap in some])
    for who, one in expected.items():
        person = rows.people.get(who)
        if person is None:
            continue
        days, own = slipping_rules.usual(gaps[who], everybody)
        days, first, vehicles = max(days, 1), found.seen[who].first, found.vehicles[who]
        facts = _facts(person, vehicles, rows, today=today, last=one.last or first, usual=(days, own), alive=one.alive)
        yearly = one.visits_12m / max(one.alive, 1e-9) * one.value_per_visit  # a short run of visits is no rate
        yield CustomerOutlook(
            studio=studio, customer=person, made_on=today, first=first, last=facts.last, visits=one.visits,
            alive=one.alive, visits_12m=one.visits_12m, comes_12m=one.comes_12m, value_per_visit=one.value_per_visit,
            value_12m=one.value_12m, gone=one.gone[:200], says=one.says, usual_days=days, own=own,
            slips=bool(vehicles and not one.gone and slipping_rules.why_slipping(facts)), yearly=yearly,
            worth=yearly * one.comes_12m,
        )  # fmt: skip


def slipping(studio: Studio, *, today: date, page: int = 1) -> Slips:
    """Customers who are slipping, ranked by yearly value times chance to return, as prepared; who has booked or come
    since is left out, and why and what to do are worked out anew for the page. The number of queries is fixed."""
    prepared = CustomerOutlook.objects.of(studio)
    told = prepared.aggregate(day=Max("made_on"), gone=Count("pk", filter=~Q(gone="")))
    here = _here(studio, today, told["day"] or today)
    slipping = prepared.filter(slips=True).order_by("-worth", "pk").values_list("pk", "customer_id")
    slips = [pk for pk, customer_id in slipping if customer_id not in here]
    pages = max(1, -(-len(slips) // PER_PAGE))
    number = min(max(page, 1), pages)
    some = slips[(number - 1) * PER_PAGE : number * PER_PAGE]
    held = {row.pk: row for row in prepared.filter(pk__in=some).select_related("customer")}
    vehicles = _vehicles_of(studio, [row.customer_id for row in held.values()])
    rows = _read(studio, today, only=(tuple(vehicles), tuple(pk for kept in vehicles.values() for pk in kept)))
    shown = (_slip(held[pk], vehicles.get(held[pk].customer_id, {}), rows, today) for pk in some)
    return Slips(
        Page(tuple(slip for slip in shown if slip is not None), len(slips), number, pages),
        told["gone"],
        told["day"],
    )


def _here(studio: Studio, today: date, made_on: date) -> frozenset[int]:
    """Who has booked, or came since the preparation."""
    # The preparation runs before the day's work. A moment is compared: for a day SQLite asks Python row by row.
    came = Q(on__gte=made_on) | Q(settled_at__gte=datetime.combine(made_on, time(), UTC))
    coming = Q(state__in=OPEN_VISITS, on__gte=today) | Q(state=VisitState.DONE) & came
    vehicles = Visit.objects.filter(coming, studio=studio).values("vehicle")
    kept = Keeper.objects.filter(studio=studio, end=None, vehicle__in=vehicles)
    return frozenset(kept.values_list("customer_id", flat=True))


def _vehicles_of(studio: Studio, customers: Collection[int]) -> dict[int, dict[int, str]]:
    """The vehicles that some customers keep now, in words."""
    found: dict[int, dict[int, str]] = {who: {} for who in customers}
    kept = Keeper.objects.filter(studio=studio, end=None, customer__in=customers).select_related("vehicle")
    for row in kept.order_by("start", "id"):
        found[row.customer_id][row.vehicle_id] = str(row.vehicle)
    return found


def _slip(row: CustomerOutlook, vehicles: Mapping[int, str], rows: _Rows, today: date) -> Slipping | None:
    facts = _facts(
        row.customer, tuple(vehicles), rows, today=today, last=row.last, usual=(row.usual_days, row.own),
        alive=row.alive,
    )  # fmt: skip
    why = slipping_rules.why_slipping(facts)
    if not why or not vehicles:  # what they kept is retired or somebody else's since
        return None
    return Slipping(
        row.customer_id, row.customer.name, tuple(vehicles.items()), row.last, row.usual_days, row.own, why,
        slipping_rules.next_step(facts), row.yearly, row.comes_12m, row.worth, row.says,
    )  # fmt: skip


def _facts(
    person: Customer, vehicles: Sequence[int], rows: _Rows, *, today: date, last: date, usual: tuple[int, bool],
    alive: float,
) -> SlipFacts:  # fmt: skip
    overdue = [rows.overdue[vehicle] for vehicle in vehicles if vehicle in rows.overdue]
    return SlipFacts(
        today=today,
        last=last,
        usual_days=usual[0],
        own=usual[1],
        overdue_since=min(overdue, default=None),
        alive=alive,
        complaint_open=person.pk in rows.complained,
        sells=any(vehicle in rows.sells for vehicle in vehicles),
        left_alone_until=person.paused_until,
        stored=bool(vehicles) and all(vehicle in rows.stored for vehicle in vehicles),
        mail=bool(person.email) and rows.consent.get(person.pk, False) and person.email.lower() not in rows.shut,
        mailed_on=rows.mailed.get(person.pk),
        phone=bool(person.phone),
    )


def _read(studio: Studio, today: date, only: tuple[Sequence[int], Sequence[int]] | None = None) -> _Rows:
    """What is on record of all customers, or of some customers and vehicles."""
    who = Q() if only is None else Q(customer__in=only[0])
    cars = Q() if only is None else Q(vehicle__in=only[1])
    told = Q() if only is None else Q(offer__vehicle__in=only[1])
    consent: dict[int, bool] = {}
    given = Consent.objects.filter(who, studio=studio, purpose=Purpose.SERVICE).order_by("at", "id")
    for customer_id, yes in given.values_list("customer_id", "given"):
        consent[customer_id] = yes
    sent = Message.objects.filter(who, studio=studio, state__in=SENT, report=None).order_by()
    mailed = sent.values("customer_id").annotate(at=Max("state_at")).values_list("customer_id", "at")
    stored = Storage.objects.filter(cars, studio=studio, end=None, start__lte=today)
    complaints = Complaint.objects.filter(who, studio=studio, closed_at=None)
    since = datetime.combine(today - SAID_WITHIN, time(), UTC)
    said = OfferStep.objects.filter(told, studio=studio, kind__in=steps.ANSWERS, why=SELLS, at__gte=since)
    shut = Suppression.objects.filter(studio=studio, lifted_at=None).annotate(low=Lower("email"))
    people = Q() if only is None else Q(pk__in=only[0])
    return _Rows(
        people={row.pk: row for row in Customer.objects.filter(people, studio=studio, erased_at=None)},
        overdue=_overdue(CareDue.objects.filter(cars, studio=studio, state=DueState.OPEN), today),
        stored=frozenset(stored.values_list("vehicle_id", flat=True)),
        complained=frozenset(complaints.values_list("customer_id", flat=True)),
        sells=frozenset(said.values_list("offer__vehicle_id", flat=True)),
        consent=consent,
        shut=frozenset(shut.values_list("low", flat=True)),
        mailed={customer_id: studio.day(at) for customer_id, at in mailed if customer_id is not None},
    )


def _overdue(open_windows: QuerySet[Any], today: date) -> dict[int, date]:
    """By vehicle, since when care that nobody has booked is past its latest date. A window that has closed moves on
    and says in its words since when it is overdue."""
    found: dict[int, date] = {}
    for vehicle_id, latest, words in open_windows.order_by("id").values_list("vehicle_id", "latest", "words"):
        told = (words or {}).get("overdue_since")
        since = date.fromisoformat(told) if told else latest
        if since < today:
            found[vehicle_id] = min(since, found.get(vehicle_id, since))
    return found
