"""Why offers are not made, and what is named beside them, gathered from rows for many offers at once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from lifecycle.care.resting import Rest
from lifecycle.care.tasks_table import interval, load_tasks
from lifecycle.models import Complaint, Inspection, Keeper, Price, Refusal, Studio, Visit, VisitState
from lifecycle.outlook import history, offer_rules
from lifecycle.outlook.offer_rules import Bar, OfferFacts, Option, Range


def barred(studio: Studio, offers: Sequence[Any], *, today: date) -> Mapping[int, tuple[Bar, ...]]:
    """By offer, why it is not made now; an empty tuple where it may be. The number of queries is fixed."""
    vehicles = {offer.vehicle_id for offer in offers}
    people = dict(Keeper.objects.filter(vehicle__in=vehicles, end=None).values_list("vehicle_id", "customer_id"))
    visits = _visits(people, today)
    complained = set(
        Complaint.objects.filter(customer__in=people.values(), closed_at=None).values_list("customer_id", flat=True)
    )
    refused = {(row.vehicle_id, row.task): row for row in Refusal.objects.filter(vehicle__in=vehicles)}
    retested = _retested(vehicles, today)
    rests = history.resting(studio, today=today, vehicles=vehicles)
    found = {}
    for offer in offers:
        who = people.get(offer.vehicle_id)
        last, coming = visits.get(who, (None, None)) if who is not None else (None, None)
        facts = OfferFacts(
            task=offer.task,
            promotion=_promotion(offer.task),
            today=today,
            refused=_refused(refused.get((offer.vehicle_id, offer.task)), offer),
            bare=(offer.reason_code or (offer.due.reason_code if offer.due else "")) == "bare",
            retested_on=retested.get(offer.vehicle_id),
            retest_days=round(interval("seen.days")),
            rest=_rest(rests, offer),
            last_visit=last,
            next_visit=coming,
            complaint_open=who in complained,
        )
        found[offer.pk] = offer_rules.bars(facts)
    return found


def _promotion(task: str) -> bool:
    known = load_tasks().get(task)
    return known is not None and known.kind == "promotion"


def _rest(rests: Mapping[tuple[int, str], Rest], offer: Any) -> Rest | None:
    return rests.get((offer.vehicle_id, offer.task))


def _refused(row: Any, offer: Any) -> str:
    """The care rules' own words, where they speak of the whole vehicle or of a surface of this offer."""
    if row is None:
        return ""
    about = set(offer.surfaces) or set(offer.due.surfaces if offer.due else ())
    return str(row.why) if not row.surfaces or not about or about & set(row.surfaces) else ""


def _visits(people: Mapping[int, int], today: date) -> dict[int, tuple[date | None, date | None]]:
    """By person, the last visit that took place and the next one booked, with any vehicle they keep."""
    theirs = dict(
        Keeper.objects.filter(customer__in=people.values(), end=None).values_list("vehicle_id", "customer_id")
    )
    near = timedelta(days=2 * offer_rules.PROMOTION_AFTER_VISIT_DAYS)
    rows = Visit.objects.filter(
        vehicle__in=theirs, state__in=(VisitState.DONE, VisitState.BOOKED), on__gte=today - near, on__lte=today + near
    )
    last: dict[int, date] = {}
    coming: dict[int, date] = {}
    for vehicle_id, on, state in rows.order_by("on", "id").values_list("vehicle_id", "on", "state"):
        who = theirs[vehicle_id]
        if state == VisitState.DONE and on <= today:
            last[who] = on
        elif state == VisitState.BOOKED and on >= today:
            coming.setdefault(who, on)
    return {who: (last.get(who), coming.get(who)) for who in {*last, *coming}}


def _retested(vehicles: set[int], today: date) -> dict[int, date]:
    """The latest day on which the studio read something on a decontaminated surface, by vehicle."""
    rows = Inspection.objects.filter(
        vehicle__in=vehicles, by="studio", clean_state="decontaminated", on__lte=today, readings__isnull=False
    )
    return dict(rows.order_by("on", "id").values_list("vehicle_id", "on"))


def price_list(studio: Studio) -> Mapping[str, Mapping[str, Range]]:
    """By size of vehicle, what each task costs about."""
    found: dict[str, dict[str, Range]] = defaultdict(dict)
    for size, task, low, high in Price.objects.filter(studio=studio).values_list("size", "task", "low", "high"):
        found[size][task] = (low, high)
    return found


def options_of(offer: Any, prices: Mapping[str, Mapping[str, Range]]) -> tuple[Option, ...]:
    """What is named when this offer is made, at the prices of today; the offer's own where the list has none."""
    of_size = prices.get(offer.vehicle.size, {})
    price = of_size.get(offer.task, (offer.price_low, offer.price_high))
    return offer_rules.options(offer.task, price, of_size)
