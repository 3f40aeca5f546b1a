"""When customers came, what they paid, and who has left with their vehicle: read once per studio for several reads."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import F

from lifecycle.care.keeping import RETIRED
from lifecycle.models import Habits, Inspection, JournalEntry, Keeper, Studio, Visit, VisitState
from lifecycle.outlook.coming import Seen, stays

# Judgement: nobody drives further than this for a wash; who lives beyond has moved away, not stayed away.
MOVED_KM = 150.0


@dataclass(frozen=True, slots=True)
class Customers:
    """All customers who keep or kept a vehicle here, erased ones included (they have no name, but they came).

    Attributes:
        seen: by customer, when they came.
        paid: by customer, amounts of single visits, in the studio's currency.
        gone: by customer, why nothing is expected of them although they are not lost.
        vehicles: by customer, the vehicles that they keep now.
    """

    seen: Mapping[int, Seen]
    paid: Mapping[int, tuple[float, ...]]
    gone: Mapping[int, str]
    vehicles: Mapping[int, tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class _Kept:
    vehicle_id: int
    customer_id: int
    start: date
    end: date | None

    def on(self, day: date) -> bool:
        return self.start <= day and (self.end is None or day <= self.end)


def gather(studio: Studio, *, today: date) -> Customers:
    """Read every customer's visits. A visit is one that was done, or a day on which the studio looked at the vehicle.
    The number of queries is fixed."""
    rows = Keeper.objects.filter(studio=studio, start__lte=today).order_by("start", "id")
    kept = [_Kept(*row) for row in rows.values_list("vehicle_id", "customer_id", "start", "end")]
    by_vehicle: dict[int, list[_Kept]] = defaultdict(list)
    by_customer: dict[int, list[_Kept]] = defaultdict(list)
    for one in kept:
        by_vehicle[one.vehicle_id].append(one)
        by_customer[one.customer_id].append(one)
    days: dict[int, set[date]] = defaultdict(set)
    paid: dict[int, dict[date, float]] = defaultdict(lambda: defaultdict(float))
    for customer_id, vehicle_id, day, amount in _came(studio, today):
        who = customer_id if customer_id in by_customer else _keeper_on(by_vehicle.get(vehicle_id, ()), day)
        if who is None:
            continue
        days[who].add(day)
        if amount is not None and amount > 0:
            paid[who][day] += float(amount)
    left, away = _left(studio), _moved(studio)
    seen, gone = {}, {}
    for customer_id, theirs in by_customer.items():
        until, why = _until(theirs, today, left, away)
        first = min([theirs[0].start, *days[customer_id]])
        came = tuple(day for day in stays(tuple(days[customer_id]), first) if day <= until)
        seen[customer_id] = Seen(customer_id, first, came, max(until, first))
        if why:
            gone[customer_id] = why
    return Customers(
        seen=seen,
        paid={who: tuple(amounts.values()) for who, amounts in paid.items()},
        gone=gone,
        vehicles={
            who: tuple(one.vehicle_id for one in theirs if one.end is None) for who, theirs in by_customer.items()
        },
    )


def _came(studio: Studio, today: date) -> Iterable[tuple[int | None, int, date, Any]]:
    done = Visit.objects.filter(studio=studio, state=VisitState.DONE, on__lte=today).order_by("on", "id")
    yield from done.values_list("customer_id", "vehicle_id", "on", "paid")
    looked = Inspection.objects.filter(studio=studio, by="studio", on__lte=today).order_by("on", "id")
    for vehicle_id, day in looked.values_list("vehicle_id", "on"):
        yield None, vehicle_id, day, None


def _keeper_on(kept: Iterable[_Kept], day: date) -> int | None:
    """Who kept the vehicle that day; of two on the day of a sale, the later one."""
    who = [one.customer_id for one in kept if one.on(day)]
    return who[-1] if who else None


def _left(studio: Studio) -> dict[int, str]:
    """Why a vehicle left, by vehicle, as the verb wrote it."""
    entries = JournalEntry.objects.filter(studio=studio, subject="vehicle", verb="vehicle retired").order_by("at", "id")
    return {
        vehicle_id: RETIRED.get(data.get("why", ""), "The vehicle left.").rstrip(".")
        for vehicle_id, data in entries.values_list("vehicle_id", "data")
    }


def _moved(studio: Studio) -> dict[int, tuple[date, float]]:
    """Vehicles that live far from their site now: since when, and how far in km."""
    rows = Habits.objects.filter(studio=studio, end=None, lat__isnull=False, lon__isnull=False).annotate(
        site_lat=F("vehicle__site__lat"), site_lon=F("vehicle__site__lon")
    )
    found = {}
    for vehicle_id, start, *place in rows.values_list("vehicle_id", "start", "lat", "lon", "site_lat", "site_lon"):
        far = km_between(*place)
        if far > MOVED_KM:
            found[vehicle_id] = (start, far)
    return found


def km_between(lat1: float, lon1: float, lat2: float, lon2: float) -> float:
    """Great-circle distance in km on a sphere of 6371 km; degrees in."""
    p1, p2, step = math.radians(lat1), math.radians(lat2), math.radians(lon2 - lon1)
    h = math.sin((p2 - p1) / 2) ** 2 + math.cos(p1) * math.cos(p2) * math.sin(step / 2) ** 2
    return 2 * 6371.0 * math.asin(min(1.0, math.sqrt(h)))


def _until(
    kept: list[_Kept], today: date, left: Mapping[int, str], away: Mapping[int, tuple[date, float]]
) -> tuple[date, str]:
    """Until when the customer would have been seen, and why not until today ("" where it is today)."""
    now = [one for one in kept if one.end is None]
    if not now:
        last = max(kept, key=lambda one: one.end or one.start)
        day = last.end or today
        why = left.get(last.vehicle_id, "The vehicle went to another keeper")
        return day, f"{why}, on {day.isoformat()}."
    if all(one.vehicle_id in away for one in now):
        since, far = min(away[one.vehicle_id] for one in now)
        if since <= today:
            return since, f"Moved away: the vehicle lives {far:.0f} km from its site since {since.isoformat()}."
    return today, ""
