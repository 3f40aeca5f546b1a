"""What the owner's outlook page shows. The number of queries is the same for one vehicle and for thousands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from lifecycle.care import calendar_reads
from lifecycle.care.resting import Rest
from lifecycle.care.tasks_table import load_tasks
from lifecycle.models import Keeper, Offer, Studio, Vehicle
from lifecycle.outlook import acceptance, history, prospects, revenue, steps
from lifecycle.outlook.acceptance import Rate
from lifecycle.outlook.prospects import Gathered
from lifecycle.outlook.revenue import BOOKED, LIKELY, POSSIBLE, MonthMoney
from lifecycle.wear.types import Band, Mark

# Judgement: nine of ten booked visits come, four of five who said yes do; each worth ten people.
BOOKED_PRIOR = (9.0, 1.0)
SAID_YES_PRIOR = (8.0, 2.0)
# Common practice, no source: a bay is planned to 80 % of eight hours on 21 days a month. It holds for sites whose
# opening hours nobody has entered; the others have their own calendar.
BAY_HOURS_A_MONTH = 8.0 * 21.0 * 0.80
MOST_OFFERS = 100


@dataclass(frozen=True, slots=True)
class MonthRow:
    """One month. Money in the studio's currency, 10-50-90 %; counts are windows and renewals before any yes."""

    first: date
    label: str
    booked: Band
    likely: Band
    possible: Band
    total: Band
    booked_count: int
    likely_count: int
    possible_count: int
    hours: Band
    capacity_h: float

    @property
    def dues(self) -> int:
        """How many booked visits, windows and renewals have their ideal day in this month."""
        return self.booked_count + self.likely_count + self.possible_count


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


@dataclass(frozen=True, slots=True)
class OutlookView:
    """The whole page. `left_out` and `fed_by` say in words what the numbers hold and what they do not."""

    today: date
    currency: str
    months: tuple[MonthRow, ...]
    year: MonthRow
    offers: tuple[OfferRow, ...]
    offers_total: int
    acceptance: tuple[AcceptanceRow, ...]
    acceptance_all: AcceptanceRow
    resting: tuple[RestRow, ...]
    left_out: tuple[str, ...]
    fed_by: tuple[str, ...]
    marks: tuple[Mark, ...] = (Mark.COMPUTED, Mark.JUDGEMENT)


def outlook(studio: Studio, *, today: date, offers_from: int = 0) -> OutlookView:
    """Everything on the outlook page of one studio.

    Args:
        today: the day at the studio.
        offers_from: the first offer to list, counted from 0; at most `MOST_OFFERS` are listed.
    """
    resting = history.resting(studio, today=today)
    found = prospects.gather(studio, today=today, resting=resting)
    counts = history.decisions(studio)
    tasks = {row.rate for row in found.prospects} - {BOOKED, prospects.SAID_YES}
    rates = acceptance.rates(counts, tasks=tasks)
    yes_no = {task: (rate.a, rate.b) for task, rate in rates.items()}
    yes_no[BOOKED] = (BOOKED_PRIOR[0] + found.came, BOOKED_PRIOR[1] + found.missed)
    yes_no[prospects.SAID_YES] = SAID_YES_PRIOR
    runs = revenue.runs_for(len(found.prospects))
    seed = revenue.seed_of(studio_id=studio.pk, today=today)
    money = revenue.simulate(found.prospects, rates=yes_no, today=today, seed=seed, runs=runs)
    firsts = tuple(month.first for month in money.months)
    capacity = calendar_reads.month_hours(studio, firsts, usual_h=BAY_HOURS_A_MONTH)
    names = dict(Keeper.objects.filter(studio=studio, end=None).values_list("vehicle_id", "customer__name"))
    rows, total = offer_rows(studio, names, resting, offers_from)
    year = _year(money, today, sum(capacity))
    everything = acceptance.rate(
        "", sum_of(counts), prior_a=acceptance.STUDIO_PRIOR[0], prior_b=acceptance.STUDIO_PRIOR[1]
    )
    return OutlookView(
        today=today,
        currency=studio.currency,
        months=tuple(_month(month, held) for month, held in zip(money.months, capacity, strict=True)),
        year=year,
        offers=rows,
        offers_total=total,
        acceptance=tuple(acceptance_row(rate, title(rate.task)) for rate in rates.values()),
        acceptance_all=acceptance_row(everything, "all tasks"),
        resting=rest_rows(studio, resting),
        left_out=tuple(f"{count} {why}" for why, count in sorted(found.left_out.items())),
        fed_by=_fed_by(found, rates, year, runs),
    )


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


def _month(month: MonthMoney, capacity_h: float) -> MonthRow:
    return MonthRow(
        first=month.first,
        label=f"{month.first:%B %Y}",
        booked=month.money[BOOKED],
        likely=month.money[LIKELY],
        possible=month.money[POSSIBLE],
        total=month.total,
        booked_count=month.prospects[BOOKED],
        likely_count=month.prospects[LIKELY],
        possible_count=month.prospects[POSSIBLE],
        hours=month.hours,
        capacity_h=capacity_h,
    )


def _year(money: revenue.Revenue, today: date, capacity_h: float) -> MonthRow:
    def count(split: str) -> int:
        return sum(month.prospects[split] for month in money.months)

    return MonthRow(
        first=today.replace(day=1),
        label="twelve months",
        booked=money.year[BOOKED],
        likely=money.year[LIKELY],
        possible=money.year[POSSIBLE],
        total=money.year_total,
        booked_count=count(BOOKED),
        likely_count=count(LIKELY),
        possible_count=count(POSSIBLE),
        hours=money.year_hours,
        capacity_h=capacity_h,
    )


def offer_rows(
    studio: Studio, keepers: Mapping[int, str], resting: Mapping[tuple[int, str], Rest], start: int
) -> tuple[tuple[OfferRow, ...], int]:
    """At most `MOST_OFFERS` offers, the latest word first, and how many there are."""
    offers = Offer.objects.filter(studio=studio)
    newest_first = history.with_latest_step(offers.select_related("vehicle")).order_by("-latest_at", "-id")
    rows = []
    start = max(start, 0)
    for offer in newest_first[start : start + MOST_OFFERS]:
        rest = resting.get((offer.vehicle_id, offer.task))
        rows.append(_offer(offer, keepers.get(offer.vehicle_id, ""), rest))
    return tuple(rows), offers.count()


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
        made_on=offer.made_at.date(),
        state=offer.latest_kind or steps.RECOMMENDED,
        since=(offer.latest_at or offer.made_at).date(),
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
    """What is not offered for now."""
    vehicles = {
        vehicle.pk: str(vehicle)
        for vehicle in Vehicle.objects.filter(studio=studio, pk__in={vehicle_id for vehicle_id, _task in resting})
    }
    return tuple(
        RestRow(
            vehicle_id=vehicle_id, vehicle=vehicles.get(vehicle_id, ""), task=task, title=title(task),
            until=rest.until, why=rest.why,
        )
        for (vehicle_id, task), rest in sorted(resting.items())
    )  # fmt: skip


def _fed_by(found: Gathered, rates: Mapping[str, Rate], year: MonthRow, runs: int) -> tuple[str, ...]:
    """Sentences on what the money came from."""
    asked = sum(rate.decisions.asked for rate in rates.values())
    return (
        f"Booked: {year.booked_count} visits in the book. So far {found.came} came and {found.missed} did not.",
        f"Likely: {year.likely_count} care windows that are open or open within about three months, "
        "or that somebody said yes to.",
        f"Possible: {year.possible_count} later windows and renewals that follow from the forecasts.",
        f"Take-up: {asked} answers so far. Dates, take-up and prices are drawn {runs} times; "
        "the range holds eight of ten draws. The draws stay the same for a month.",
    )
