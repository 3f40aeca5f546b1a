"""Writes past visits with what was paid, visits in the book, and what became of earlier advice."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal

from lifecycle.care import visits
from lifecycle.care.tasks_table import load_tasks
from lifecycle.management.demo.people import ACTOR, House
from lifecycle.management.demo.vehicles import Loaded
from lifecycle.management.demo.when import at
from lifecycle.models import Offer, OfferStep, Price, Visit
from lifecycle.outlook import steps
from lifecycle.outlook.prospects import RENEWED_BY

# How often customers of the demo say yes, and what else they are asked about; invented.
TAKEN_UP = {
    "decontamination_wash": 0.7,
    "booster": 0.6,
    "windscreen_retreat": 0.55,
    "wheel_retreat": 0.4,
    "trim_coat": 0.35,
    "leather_guard": 0.3,
    "recoat": 0.3,
    "engine_bay": 0.2,
}
NOT_ADVICE = ("first_check", "inspection", "maintenance_wash", "correction")
WHY_NOT = ("price", "no time", "does it himself", "not needed", "not said")

Prices = Mapping[tuple[str, str], Price]
Story = tuple[str, date, Sequence[tuple[str, int, dict[str, object]]]]


def tasks_by_day(loaded: Loaded) -> dict[date, list[str]]:
    """What the studio did on which day, as its records tell it."""
    plan, done = loaded.plan, defaultdict[date, list[str]](list)
    for day in plan.washed:
        done[day].append("maintenance_wash")
    for day in plan.decontaminated:
        done[day].append("decontamination_wash")
    for look in plan.looks:
        if look.by == "studio":
            done[look.on].append("first_check" if look.note == "First check." else "inspection")
    for layer in plan.layers:
        for day in layer.days:
            if layer.kind in RENEWED_BY and RENEWED_BY[layer.kind] not in done[day]:
                done[day].append(RENEWED_BY[layer.kind])
    return dict(sorted(done.items()))


def write_visits(house: House, fleet: Sequence[Loaded]) -> int:
    """Past visits, a few of them missed, and what is in the book.

    Returns:
        How many visits were written.
    """
    prices: Prices = {(price.task, price.size): price for price in Price.objects.filter(studio=house.studio)}
    rows = [visit for loaded in fleet for visit in _past(house, loaded, prices)]
    Visit.objects.bulk_create(rows)
    booked = [loaded for loaded in fleet if loaded.plan.booked_in_days is not None]
    for loaded in booked:
        visits.book(
            studio=house.studio, vehicle_id=loaded.vehicle.pk, tasks=["decontamination_wash", "inspection"],
            on=house.book.today + timedelta(days=loaded.plan.booked_in_days or 0), actor=ACTOR,
            at=at(house.book.today, 9),
        )  # fmt: skip
    return len(rows) + len(booked)


def _past(house: House, loaded: Loaded, prices: Prices) -> Iterator[Visit]:
    draw = loaded.plan.random("visits")
    size = loaded.vehicle.size

    def visit(day: date, tasks: list[str], state: str) -> Visit:
        hours = sum(load_tasks()[task].labour_h(size) for task in tasks)
        return Visit(
            studio=house.studio, vehicle=loaded.vehicle, site=loaded.vehicle.site, on=day, hours=hours, tasks=tasks,
            state=state, booked_at=at(day - timedelta(days=draw.randint(4, 25))), settled_at=at(day, 16),
        )  # fmt: skip

    for day, tasks in tasks_by_day(loaded).items():
        done = visit(day, tasks, "done")
        usual = sum((prices[task, size].low + prices[task, size].high) / 2 for task in tasks if (task, size) in prices)
        done.paid = Decimal(round(float(usual) * draw.uniform(0.95, 1.08) / 5) * 5)
        yield done
    if draw.random() < 0.25:
        day = loaded.plan.seen + (house.book.today - loaded.plan.seen) * draw.uniform(0.2, 0.9)
        yield visit(day, ["maintenance_wash"], draw.choice(["no_show", "cancelled"]))


def write_offers(house: House, fleet: Sequence[Loaded]) -> int:
    """Earlier advice and what was said to it.

    Returns:
        How many pieces of advice were written.
    """
    prices: Prices = {(price.task, price.size): price for price in Price.objects.filter(studio=house.studio)}
    offers: list[Offer] = []
    told: list[Story] = []
    for loaded in fleet:
        for task, day, said in _told(house, loaded) if loaded.plan.offers is not None else _drawn(house, loaded):
            price = prices[task, loaded.vehicle.size]
            offers.append(
                Offer(
                    studio=house.studio, vehicle=loaded.vehicle, task=task, price_low=price.low,
                    price_high=price.high, made_at=at(day),
                )
            )  # fmt: skip
            told.append((task, day, said))
    Offer.objects.bulk_create(offers)
    OfferStep.objects.bulk_create(
        OfferStep(studio=house.studio, offer=offer, kind=kind, at=at(day + timedelta(days=after)), **words)
        for offer, (_task, day, said) in zip(offers, told, strict=True)
        for kind, after, words in said
    )
    return len(offers)


def _said(answer: str, *, why: str = "", until: date | None = None) -> list[tuple[str, int, dict[str, object]]]:
    """The steps of one piece of advice: kind, days after it was made, words."""
    start: list[tuple[str, int, dict[str, object]]] = [
        (steps.RECOMMENDED, 0, {}),
        (steps.OFFERED, 1, {"channel": "mail"}),
    ]
    if answer == steps.ACCEPTED:
        return [*start, (steps.ACCEPTED, 3, {"channel": "telephone"}), (steps.DONE, 14, {"why": "the care was given"})]
    if answer == steps.DECLINED:
        return [*start, (steps.DECLINED, 4, {"channel": "in person", "why": why})]
    if answer == steps.DEFERRED:
        return [*start, (steps.DEFERRED, 5, {"channel": "in person", "why": why, "until": until})]
    days = steps.EXPIRES_AFTER_DAYS
    return [*start, (steps.EXPIRED, 1 + days, {"why": f"no answer in {days} days"})]


def _told(house: House, loaded: Loaded) -> Iterator[Story]:
    """The answers of a story: task, day of the answer, answer, reason, until."""
    for task, day, answer, *rest in loaded.plan.offers or ():
        made = house.book.when(day) - timedelta(days=15)
        until = house.book.when(rest[1]) if len(rest) > 1 else None
        yield task, made, _said(answer, why=rest[0] if rest else "", until=until)


def _drawn(house: House, loaded: Loaded) -> Iterator[Story]:
    """What was done had been accepted; beside each yes stand about as many other answers as its rate asks for."""
    draw = loaded.plan.random("offers")
    latest = house.book.today - timedelta(days=steps.EXPIRES_AFTER_DAYS + 10)
    yes = Counter[str]()
    for day, tasks in tasks_by_day(loaded).items():
        for task in tasks:
            if task not in NOT_ADVICE and day > loaded.plan.coated:
                yield task, day - timedelta(days=15), _said(steps.ACCEPTED)
            if task in TAKEN_UP and day > loaded.plan.coated:
                yes[task] += 1
    first = loaded.plan.coated + timedelta(days=60)
    if first >= latest:
        return
    for task, rate in TAKEN_UP.items():
        made: list[date] = []
        for _ in range(max(yes[task], 1) if _fits(loaded, task) else 0):
            while draw.random() > rate and draw.random() < 0.7:
                day = first + (latest - first) * draw.random()
                if all(abs((day - other).days) > 80 for other in made):  # nobody is asked the same thing every month
                    made.append(day)
                    answer = draw.choice([steps.DECLINED, "unanswered", "unanswered"])
                    yield task, day, _said(answer, why=draw.choice(WHY_NOT))


def _fits(loaded: Loaded, task: str) -> bool:
    """Whether the vehicle has what the task is about."""
    if task == "engine_bay":
        return loaded.vehicle.powertrain == "combustion"
    if task == "decontamination_wash":
        return True
    kinds = {layer.kind for layer in loaded.plan.layers}
    return any(RENEWED_BY.get(kind) == task for kind in kinds) or (task == "recoat" and "sealant" in kinds)
