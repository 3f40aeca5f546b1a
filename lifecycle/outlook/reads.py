"""Lines of the pages about offers: an offer with its latest word, a rate, what rests. Reads only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from lifecycle.care.resting import Rest
from lifecycle.care.tasks_table import load_tasks
from lifecycle.models import Keeper, Offer, Studio, Vehicle
from lifecycle.outlook import acceptance, history, steps
from lifecycle.outlook.acceptance import Rate

MOST_OFFERS = 100


@dataclass(frozen=True, slots=True)
class OfferRow:
    """One piece of advice with its latest step. `can_answer` lists the answers that can still be recorded."""

    id: int
    vehicle_id: int
    vehicle: str
    keeper: str
    task: str
    title: str
    price_low: float
    price_high: float
    made_on: date
    state: str
    since: date
    why: str
    until: date | None
    can_answer: tuple[str, ...]
    rests_until: date | None


@dataclass(frozen=True, slots=True)
class AcceptanceRow:
    """How often advice on one task is taken up, `p10` to `p90` its range. `leans`: fewer than 20 decisions."""

    task: str
    title: str
    accepted: int
    declined: int
    unanswered: int
    decisions: int
    mean: float
    p10: float
    p90: float
    leans: bool
    says: str


@dataclass(frozen=True, slots=True)
class RestRow:
    """Advice that is not offered until a day, and why."""

    vehicle_id: int
    vehicle: str
    task: str
    title: str
    until: date
    why: str


def title(task: str) -> str:
    """The task in words."""
    known = load_tasks().get(task)
    return known.title if known is not None else task.replace("_", " ")


def sum_of(counts: Mapping[str, acceptance.Decisions]) -> acceptance.Decisions:
    """Counts of all tasks together."""
    return acceptance.Decisions(
        accepted=sum(one.accepted for one in counts.values()),
        declined=sum(one.declined for one in counts.values()),
        unanswered=sum(one.unanswered for one in counts.values()),
    )


def offers_of(studio: Studio, start: int) -> tuple[list[Any], int]:
    """At most `MOST_OFFERS` offers, the latest word first, and how many there are."""
    offers, start = Offer.objects.filter(studio=studio), max(start, 0)
    newest_first = history.with_latest_step(offers.select_related("vehicle", "studio")).order_by("-latest_at", "-id")
    return list(newest_first[start : start + MOST_OFFERS]), offers.count()


def offer_rows(studio: Studio, offers: Sequence[Any], resting: Mapping[tuple[int, str], Rest]) -> tuple[OfferRow, ...]:
    """Offers as lines, with their keepers of today."""
    kept = Keeper.objects.filter(studio=studio, end=None, vehicle__in=[offer.vehicle_id for offer in offers])
    names = dict(kept.values_list("vehicle_id", "customer__name"))
    return tuple(
        _offer(offer, names.get(offer.vehicle_id, ""), resting.get((offer.vehicle_id, offer.task))) for offer in offers
    )


def _offer(offer: Any, keeper: str, rest: Rest | None) -> OfferRow:
    return OfferRow(
        id=offer.pk,
        vehicle_id=offer.vehicle_id,
        vehicle=str(offer.vehicle),
        keeper=keeper,
        task=offer.task,
        title=title(offer.task),
        price_low=float(offer.price_low),
        price_high=float(offer.price_high),
        made_on=offer.studio.day(offer.made_at),
        state=offer.latest_kind or steps.RECOMMENDED,
        since=offer.studio.day(offer.latest_at or offer.made_at),
        why=offer.latest_why or "",
        until=offer.latest_until,
        can_answer=steps.answers_open_to(offer.latest_kind) if offer.latest_kind else (),
        rests_until=rest.until if rest is not None else None,
    )


def acceptance_row(rate: Rate, words: str) -> AcceptanceRow:
    """A take-up rate as a line of a table."""
    return AcceptanceRow(
        task=rate.task,
        title=words,
        accepted=rate.decisions.accepted,
        declined=rate.decisions.declined,
        unanswered=rate.decisions.unanswered,
        decisions=rate.decisions.asked,
        mean=rate.mean,
        p10=rate.p10,
        p90=rate.p90,
        leans=rate.leans,
        says=rate.says,
    )


def rest_rows(studio: Studio, resting: Mapping[tuple[int, str], Rest]) -> tuple[RestRow, ...]:
    """What is not offered for now: at most `MOST_OFFERS` rows, those that rest longest first."""
    longest = sorted(resting.items(), key=lambda row: (-row[1].until.toordinal(), row[0]))[:MOST_OFFERS]
    some = Vehicle.objects.filter(studio=studio, pk__in={vehicle_id for (vehicle_id, _task), _rest in longest})
    vehicles = {vehicle.pk: str(vehicle) for vehicle in some}
    return tuple(
        RestRow(
            vehicle_id=vehicle_id, vehicle=vehicles.get(vehicle_id, ""), task=task, title=title(task),
            until=rest.until, why=rest.why,
        )
        for (vehicle_id, task), rest in longest
    )  # fmt: skip
