"""What may be paid for in the next twelve months: booked visits, open care windows, and what follows after them.

- booked: visits in the book.
- likely: windows that are open or open within three months, and not refused; what somebody said yes to.
- possible: later windows, windows of people with an open complaint (nobody writes to them), and renewals beyond the
  windows, which follow from the forecasts: a layer renewed now is due again after its own life at this vehicle.

Whatever is not booked and had no yes carries the chance that its keeper comes at all (`return_reads`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from django.db.models import Count, Q

from lifecycle.care import renewal
from lifecycle.care.resting import Rest, months_later
from lifecycle.care.site_days import bay_cure_h, days_between
from lifecycle.care.site_plan import Entered, rules_of
from lifecycle.care.tasks_table import interval, load_tasks
from lifecycle.care.wording import between, day_words
from lifecycle.models import (
    LIVE_DUE,
    CareDue,
    Complaint,
    DueState,
    Forecast,
    Keeper,
    Offer,
    Price,
    ProposalState,
    Refusal,
    Site,
    Studio,
    Visit,
    VisitProposal,
    VisitState,
)
from lifecycle.outlook import history, steps
from lifecycle.outlook.capacity import held_h, open_hours
from lifecycle.outlook.return_reads import Return, returns
from lifecycle.outlook.revenue import BOOKED, LIKELY, MONTHS, POSSIBLE, Prospect

LIKELY_DAYS = 92  # about three months (judgement)
SAID_YES = "said yes"
MOST_REPEATS = 12
MOVED = "of keepers who moved away: not lost, but nothing is expected"
RENEWED_BY = renewal.RENEWED_BY
# Tasks by the calendar, and the row of the care intervals that says how often.
BY_CALENDAR = {
    "decontamination_wash": "decontaminate.months",
    "inspection": "inspection.months",
    "film_edge_check": "film_edge.months",
    "booster": "booster.months",
}


@dataclass(frozen=True, slots=True)
class Gathered:
    """All prospects of a studio, what was left out with the reason counted, and its sites with their calendars."""

    prospects: tuple[Prospect, ...]
    left_out: Mapping[str, int]
    came: int
    missed: int
    sites: Mapping[int, str]
    calendars: Mapping[int, Entered]


@dataclass(frozen=True, slots=True)
class _Facts:
    """What every row is held against, read once per studio."""

    studio: Studio
    today: date
    end: date
    prices: Mapping[tuple[str, str], Price]
    keepers: Mapping[int, int]
    complained: frozenset[int]
    refused: frozenset[tuple[int, str]]
    resting: Mapping[tuple[int, str], Rest]
    visits: tuple[Visit, ...]
    in_the_book: frozenset[tuple[int, str]]
    planned: Mapping[int, date]
    open_h: Mapping[int, float]
    expected: Mapping[int, Return]

    def keeper(self, vehicle_id: int) -> Return:
        """What is expected of who keeps a vehicle."""
        return self.expected[self.keepers[vehicle_id]]


Days = tuple[date, date, date]


def gather(studio: Studio, *, today: date, expected: Mapping[int, Return] | None = None) -> Gathered:
    """Read everything that may be paid for in this month and the eleven after it; the number of queries is fixed.

    Args:
        expected: who comes back, by customer, where the caller has it already.
    """
    end = months_later(today.replace(day=1), MONTHS)
    coming = Visit.objects.filter(studio=studio, state=VisitState.BOOKED, on__gte=today).order_by("id")
    visits = tuple(coming.select_related("vehicle"))
    sites = list(Site.objects.of(studio).order_by("name", "id"))
    calendars = rules_of(sites)
    facts = _Facts(
        studio=studio,
        today=today,
        end=end,
        visits=visits,
        in_the_book=frozenset((visit.vehicle_id, task) for visit in visits for task in visit.tasks),
        prices={(price.task, price.size): price for price in Price.objects.filter(studio=studio)},
        keepers=dict(
            Keeper.objects.filter(studio=studio, end=None, start__lte=today, vehicle__retired_on=None).values_list(
                "vehicle_id", "customer_id"
            )
        ),
        complained=frozenset(
            Complaint.objects.filter(studio=studio, closed_at=None).values_list("customer_id", flat=True)
        ),
        refused=frozenset(Refusal.objects.filter(studio=studio).values_list("vehicle_id", "task")),
        resting=history.resting(studio, today=today),
        planned=_planned(studio),
        open_h={
            pk: open_hours(days_between(entered.rules, today, today + timedelta(days=27)))
            for pk, entered in calendars.items()
        },
        expected=returns(studio, today=today) if expected is None else expected,
    )
    left_out: Counter[str] = Counter()
    lives = _lives(facts)
    found = [*_booked(facts, left_out), *_due(facts, lives, left_out), *_forecast(facts, lives, left_out)]
    states = dict(Visit.objects.filter(studio=studio).order_by().values_list("state").annotate(Count("id")))
    return Gathered(
        prospects=tuple(found),
        left_out=dict(left_out),
        came=states.get(VisitState.DONE, 0),
        missed=states.get(VisitState.NO_SHOW, 0) + states.get(VisitState.CANCELLED, 0),
        sites={site.pk: site.name for site in sites},
        calendars=calendars,
    )


def _planned(studio: Studio) -> dict[int, date]:
    """The day that the site's calendar suggests for each live window."""
    rows = VisitProposal.objects.filter(studio=studio, state=ProposalState.PROPOSED, planned_on__isnull=False)
    return dict(rows.order_by("id").values_list("dues", "planned_on"))


def _priced(facts: _Facts, task: str, size: str, left_out: Counter[str]) -> tuple[float, float] | None:
    price = facts.prices.get((task, size))
    if price is None:
        left_out["no price in the list"] += 1
        return None
    return float(price.low), float(price.high)


def _booked(facts: _Facts, left_out: Counter[str]) -> Iterator[Prospect]:
    for visit in facts.visits:
        if visit.on >= facts.end:
            continue
        found = [_priced(facts, task, visit.vehicle.size, left_out) for task in visit.tasks]
        prices = [price for price in found if price is not None]
        cure_h, bay_h = _cure_and_bay(facts, visit.site_id, visit.hours, tuple(visit.tasks))
        yield Prospect(
            key=f"visit:{visit.pk:09d}", split=BOOKED, rate=BOOKED, earliest=visit.on, ideal=visit.on,
            latest=visit.on, price_low=sum(low for low, _ in prices), price_high=sum(high for _, high in prices),
            labour_h=visit.hours, site=visit.site_id, vehicle=visit.vehicle_id, source=f"visit:{visit.pk}",
            why=f"booked for {day_words(visit.on)}: {', '.join(in_words(task) for task in visit.tasks)}"[:300],
            cure_h=cure_h, bay_h=bay_h,
        )  # fmt: skip


def _cure_and_bay(facts: _Facts, site_id: int, labour_h: float, tasks: tuple[str, ...]) -> tuple[float, float]:
    """Hours of cure, and open hours that work and cure take a bay."""
    cure_h = bay_cure_h(tasks)
    return cure_h, labour_h + held_h(cure_h, open_h=facts.open_h[site_id])


def _due(facts: _Facts, lives: Mapping[tuple[int, str], _Life], left_out: Counter[str]) -> Iterator[Prospect]:
    """Live windows, each with what follows after it."""
    answered = {
        offer.due_id: offer
        for offer in history.with_latest_step(
            Offer.objects.filter(studio=facts.studio, due__state__in=LIVE_DUE).order_by("id")
        )
    }
    live = CareDue.objects.filter(studio=facts.studio, state__in=LIVE_DUE).select_related("vehicle").order_by("id")
    needed = ("task", "earliest", "ideal", "latest", "state", "reason_code")
    for due in live.only("vehicle__size", "vehicle__site_id", *needed).iterator(chunk_size=2000):
        if due.vehicle_id not in facts.keepers:
            continue
        price = _priced(facts, due.task, due.vehicle.size, left_out)
        if price is None:
            continue
        first = _prospect(
            facts, f"due:{due.pk:09d}", due.task, due.vehicle, days=(due.earliest, due.ideal, due.latest), price=price,
            source=f"due:{due.pk}",
            why=f"care window {between(due.earliest, due.latest)}: {in_words(due.reason_code)}",
        )  # fmt: skip
        offer = answered.get(due.pk)
        latest = offer.latest_kind if offer is not None else None
        if facts.keeper(due.vehicle_id).gone and latest != steps.ACCEPTED:
            left_out[MOVED] += 1
            continue
        if due.state == DueState.OPEN and (due.vehicle_id, due.task) not in facts.in_the_book:
            if latest == steps.DECLINED:
                left_out["declined"] += 1
            elif (due.vehicle_id, due.task) in facts.resting:
                left_out["refused twice, at rest"] += 1
            else:
                yield from _opened(facts, due, offer, first)
        yield from _repeats(facts, first, lives.get((due.vehicle_id, due.task)), due.task)


def _opened(facts: _Facts, due: Any, offer: Any, first: Prospect) -> Iterator[Prospect]:
    """An open window: likely if it is near, surer if somebody said yes, later if somebody put it off."""
    latest = offer.latest_kind if offer is not None else None
    split, known = POSSIBLE, first
    if due.earliest <= facts.today + timedelta(days=LIKELY_DAYS) and due.ideal < facts.end:
        split = LIKELY
    said = ""
    if facts.keepers[due.vehicle_id] in facts.complained:
        split, said = POSSIBLE, "; an open complaint"
    if latest == steps.ACCEPTED:
        split, said = LIKELY, "; somebody said yes"
        known = replace(first, rate=SAID_YES, visit=1.0, customer=0)  # the rate holds whether they come
    day = facts.planned.get(due.pk)
    if day is not None:  # people are invited towards the day that the calendar has room on
        day = min(max(day, first.earliest), first.latest)
        known, said = replace(known, ideal=day), f"{said}; planned for {day_words(day)}"
    if latest == steps.DEFERRED and offer.latest_until is not None and offer.latest_until > first.earliest:
        until = offer.latest_until
        known = replace(known, earliest=until, ideal=max(known.ideal, until), latest=max(known.latest, until))
        if until > facts.today + timedelta(days=LIKELY_DAYS):
            split = POSSIBLE
        said += f"; put off until {day_words(until)}"
    yield replace(known, split=split, why=first.why + said)


@dataclass(frozen=True, slots=True)
class _Car:
    """What a price and a place need of a vehicle."""

    pk: int
    size: str
    site_id: int


@dataclass(frozen=True, slots=True)
class _Life:
    """The first end of a vehicle's layers that one task renews, and how long such a layer lasts there, months."""

    vehicle: _Car
    kind: str
    end: Days
    months: tuple[float, float, float]


def _lives(facts: _Facts) -> dict[tuple[int, str], _Life]:
    """By vehicle and task, the layer that ends first in the latest assessment."""
    found: dict[tuple[int, str], _Life] = {}
    rows = (
        Forecast.objects.filter(studio=facts.studio, assessment__latest=True, end_p50__isnull=False)
        .filter(Q(layer__ended=None), layer__kind__in=RENEWED_BY, renewal_p10_months__isnull=False)
        .order_by("id")
        .values_list(
            "assessment__vehicle_id", "assessment__vehicle__size", "assessment__vehicle__site_id", "layer__kind",
            "end_p10", "end_p50", "end_p90", "renewal_p10_months", "renewal_p50_months", "renewal_p90_months",
        )
    )  # fmt: skip
    for vehicle_id, size, site_id, kind, *numbers in rows.iterator(chunk_size=2000):
        key = (vehicle_id, RENEWED_BY[kind])
        end = (numbers[0], numbers[1], numbers[2])
        if key not in found or end[1] < found[key].end[1]:
            car = _Car(vehicle_id, size, site_id)
            found[key] = _Life(vehicle=car, kind=kind, end=end, months=(numbers[3], numbers[4], numbers[5]))
    return found


def _forecast(facts: _Facts, lives: Mapping[tuple[int, str], _Life], left_out: Counter[str]) -> Iterator[Prospect]:
    """Renewals that no window speaks of yet, from the forecasts alone."""
    spoken_of = set(CareDue.objects.filter(studio=facts.studio, state__in=LIVE_DUE).values_list("vehicle_id", "task"))
    for (vehicle_id, task), life in sorted(lives.items()):
        other = renewal.OTHER_WAY.get(task, task)
        if vehicle_id not in facts.keepers or {(vehicle_id, task), (vehicle_id, other)} & spoken_of:
            continue
        if (vehicle_id, task) in facts.refused:
            left_out["not offered by the care rules"] += 1
        elif (vehicle_id, task) in facts.resting:
            left_out["refused twice, at rest"] += 1
        elif facts.keeper(vehicle_id).gone:
            left_out[MOVED] += 1
        elif life.end[1] >= facts.today:
            price = _priced(facts, task, life.vehicle.size, left_out)
            if price is None:
                continue
            first = _prospect(
                facts, f"layer:{vehicle_id:09d}:{task}", task, life.vehicle, days=life.end, price=price, source="layer",
                why=f"forecast: the {in_words(life.kind)} ends {between(life.end[0], life.end[2])}",
            )  # fmt: skip
            if first.ideal < facts.end:
                yield first
            yield from _repeats(facts, first, life, task)


def _prospect(
    facts: _Facts, key: str, task: str, car: Any, *, days: Days, price: tuple[float, float], source: str, why: str
) -> Prospect:
    labour_h = load_tasks()[task].labour_h(car.size)
    cure_h, bay_h = _cure_and_bay(facts, car.site_id, labour_h, (task,))
    keeper = facts.keeper(car.pk)
    return Prospect(
        key=key, split=POSSIBLE, rate=task, earliest=days[0], ideal=days[1], latest=days[2], price_low=price[0],
        price_high=price[1], labour_h=labour_h, site=car.site_id, vehicle=car.pk, source=source, task=task, why=why,
        cure_h=cure_h, bay_h=bay_h, visit=keeper.comes_12m, visits=keeper.visits, customer=keeper.customer_id,
    )  # fmt: skip


def in_words(code: str) -> str:
    """A code of ours as plain words."""
    return code.replace("_", " ")


def _repeats(facts: _Facts, first: Prospect, life: _Life | None, task: str) -> Iterator[Prospect]:
    """The same care again after its own life or interval, as long as its ideal day lies in the twelve months."""
    if task in BY_CALENDAR:
        months = (interval(BY_CALENDAR[task]),) * 3
        again = f"again every {months[1]:g} months"
    elif life is not None:
        months = life.months
        again = f"a new one lasts {months[0]:.0f} to {months[2]:.0f} months there"
    else:
        return
    days = (first.earliest, max(first.ideal, facts.today), max(first.latest, facts.today))
    for turn in range(1, MOST_REPEATS + 1):
        early, ideal, late = (day + timedelta(days=round(30.4375 * n)) for day, n in zip(days, months, strict=True))
        days = (early, max(early, ideal), max(early, ideal, late))
        if days[1] >= facts.end:
            return
        yield replace(
            first, key=f"{first.key}:again{turn:02d}", split=POSSIBLE, earliest=days[0], ideal=days[1], latest=days[2],
            why=f"after the one before it: {again}",
        )  # fmt: skip
