"""Who is slipping: customers who stay away longer than is usual for them, or past the latest date of their care."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any, Final

from django.db.models.functions import Lower

from lifecycle.care.directory import Page
from lifecycle.models import (
    OPEN_VISITS,
    CareDue,
    Complaint,
    Consent,
    Customer,
    DueState,
    Message,
    OfferStep,
    Purpose,
    Storage,
    Studio,
    Suppression,
    Vehicle,
    Visit,
)
from lifecycle.outlook import slipping_rules
from lifecycle.outlook.offers import SENT
from lifecycle.outlook.return_reads import Return, returns
from lifecycle.outlook.slipping_rules import SlipFacts
from lifecycle.outlook.visit_days import Customers, gather

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
    """One page, the dearest first; `gone` counts those who sold or moved and are not lost."""

    page: Page[Slipping]
    gone: int


@dataclass(frozen=True, slots=True)
class _Rows:
    """What is on record, by customer or by vehicle, read once per studio."""

    people: Mapping[int, Any]
    booked: frozenset[int]
    overdue: Mapping[int, date]
    stored: frozenset[int]
    complained: frozenset[int]
    sells: frozenset[int]
    consent: Mapping[int, bool]
    shut: frozenset[str]
    mailed: Mapping[int, date]


def slipping(studio: Studio, *, today: date, page: int = 1) -> Slips:
    """Customers who are slipping, ranked by yearly value times chance to return. The number of queries is fixed."""
    found = gather(studio, today=today)
    expected = returns(studio, today=today, found=found)
    rows = _read(studio, today)
    everybody = [gap for seen in found.seen.values() for gap in slipping_rules.intervals(seen.first, seen.days)]
    slips = [
        slip
        for customer_id, one in expected.items()
        if customer_id in rows.people and not one.gone and found.vehicles[customer_id]
        if (slip := _slip(one, found, rows, everybody, today)) is not None
    ]
    slips.sort(key=lambda slip: (-slip.worth, slip.name, slip.customer_id))
    total = len(slips)
    pages = max(1, -(-total // PER_PAGE))
    number = min(max(page, 1), pages)
    shown = _with_vehicles(studio, slips[(number - 1) * PER_PAGE : number * PER_PAGE])
    return Slips(Page(shown, total, number, pages), sum(bool(one.gone) for one in expected.values()))


def _slip(one: Return, found: Customers, rows: _Rows, everybody: list[int], today: date) -> Slipping | None:
    who, vehicles = one.customer_id, found.vehicles[one.customer_id]
    if any(vehicle in rows.booked for vehicle in vehicles):
        return None
    seen, person = found.seen[who], rows.people[who]
    days, own = slipping_rules.usual(slipping_rules.intervals(seen.first, seen.days), everybody)
    overdue = [rows.overdue[vehicle] for vehicle in vehicles if vehicle in rows.overdue]
    facts = SlipFacts(
        today=today,
        last=one.last or seen.first,
        usual_days=max(days, 1),
        own=own,
        overdue_since=min(overdue, default=None),
        alive=one.alive,
        complaint_open=who in rows.complained,
        sells=any(vehicle in rows.sells for vehicle in vehicles),
        left_alone_until=person.paused_until,
        stored=all(vehicle in rows.stored for vehicle in vehicles),
        mail=bool(person.email) and rows.consent.get(who, False) and person.email.lower() not in rows.shut,
        mailed_on=rows.mailed.get(who),
        phone=bool(person.phone),
    )
    why = slipping_rules.why_slipping(facts)
    if not why:
        return None
    yearly = one.visits_12m / max(one.alive, 1e-9) * one.value_per_visit  # a short run of visits is no rate
    return Slipping(
        who, person.name, tuple((vehicle, "") for vehicle in vehicles), facts.last, facts.usual_days, own, why,
        slipping_rules.next_step(facts), yearly, one.comes_12m, yearly * one.comes_12m, one.says,
    )  # fmt: skip


def _read(studio: Studio, today: date) -> _Rows:
    consent: dict[int, bool] = {}
    given = Consent.objects.filter(studio=studio, purpose=Purpose.SERVICE).order_by("at", "id")
    for customer_id, yes in given.values_list("customer_id", "given"):
        consent[customer_id] = yes
    mailed: dict[int, date] = {}
    sent = Message.objects.filter(studio=studio, state__in=SENT, report=None).order_by("state_at")
    for customer_id, at in sent.values_list("customer_id", "state_at"):
        mailed[customer_id] = studio.day(at)
    stored = Storage.objects.filter(studio=studio, end=None, start__lte=today)
    complaints = Complaint.objects.filter(studio=studio, closed_at=None)
    said = OfferStep.objects.filter(studio=studio, why=SELLS, at__date__gte=today - SAID_WITHIN)
    shut = Suppression.objects.filter(studio=studio, lifted_at=None).annotate(low=Lower("email"))
    coming = Visit.objects.filter(studio=studio, state__in=OPEN_VISITS, on__gte=today)
    return _Rows(
        people={row.pk: row for row in Customer.objects.filter(studio=studio, erased_at=None)},
        booked=frozenset(coming.values_list("vehicle_id", flat=True)),
        overdue=_overdue(studio, today),
        stored=frozenset(stored.values_list("vehicle_id", flat=True)),
        complained=frozenset(complaints.values_list("customer_id", flat=True)),
        sells=frozenset(said.values_list("offer__vehicle_id", flat=True)),
        consent=consent,
        shut=frozenset(shut.values_list("low", flat=True)),
        mailed=mailed,
    )


def _overdue(studio: Studio, today: date) -> dict[int, date]:
    """By vehicle, since when care that nobody has booked is past its latest date. A window that has closed moves on
    and says in its words since when it is overdue."""
    found: dict[int, date] = {}
    rows = CareDue.objects.filter(studio=studio, state=DueState.OPEN).order_by("id")
    for vehicle_id, latest, words in rows.values_list("vehicle_id", "latest", "words"):
        told = (words or {}).get("overdue_since")
        since = date.fromisoformat(told) if told else latest
        if since < today:
            found[vehicle_id] = min(since, found.get(vehicle_id, since))
    return found


def _with_vehicles(studio: Studio, slips: list[Slipping]) -> tuple[Slipping, ...]:
    """The vehicles of one page in words, in one question."""
    wanted = [vehicle for slip in slips for vehicle, _ in slip.vehicles]
    names = {row.pk: str(row) for row in Vehicle.objects.filter(studio=studio, pk__in=wanted)}
    return tuple(
        replace(slip, vehicles=tuple((vehicle, names.get(vehicle, "")) for vehicle, _ in slip.vehicles))
        for slip in slips
    )
