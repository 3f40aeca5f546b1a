"""The outlook prepared once a night: simulated, laid out by site, and kept with the rows behind every figure.

The cost is linear in vehicles (`tests/bench/outlook.py`); the page then reads one row. Nobody waits for a simulation.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import structlog
from django.db import transaction
from django.db.models import Max

from lifecycle import journal
from lifecycle.care.resting import months_later
from lifecycle.care.site_days import days_between
from lifecycle.models import CustomerOutlook, OutlookRow, OutlookSheet, Studio
from lifecycle.outlook import (
    acceptance,
    checking,
    coming,
    history,
    prospects,
    return_reads,
    revenue,
    sheet,
    slipping,
    trials,
    visit_days,
)
from lifecycle.outlook.acceptance import Decisions, Rate
from lifecycle.outlook.capacity import NO_ROOM, rooms
from lifecycle.outlook.prospects import Gathered
from lifecycle.outlook.return_reads import Return
from lifecycle.outlook.revenue import BOOKED, MONTHS, SPLITS, WEEKS, Prospect, month_starts, week_starts
from lifecycle.outlook.sheet import Rooms, Sheet, spans
from lifecycle.outlook.visit_days import Customers

log = structlog.get_logger("sheenward.outlook")

# Judgement: nine of ten booked visits come, four of five who said yes do; each worth ten people.
BOOKED_PRIOR = (9.0, 1.0)
SAID_YES_PRIOR = (8.0, 2.0)
AGAIN_AFTER = timedelta(hours=20)  # once a night; the cycle wakes it more often
AT_ONCE = 2000


def prepare(*, at: datetime) -> Mapping[str, int]:
    """The cycle's step: prepare every studio whose outlook is older than a night; one that fails is logged and counted.

    Returns:
        Counts: studios, rows (behind their figures), failed.
    """
    counts: Counter[str] = Counter(studios=0, rows=0)
    held = OutlookSheet.objects.filter(body__form=sheet.FORM).order_by().values("studio")
    last = dict(held.annotate(at=Max("made_at")).values_list("studio", "at"))
    for studio in Studio.objects.order_by("pk"):
        before = last.get(studio.pk)
        if before is not None and at - before < AGAIN_AFTER and studio.day(before) == studio.day(at):
            continue
        try:
            counts["rows"] += prepare_studio(studio=studio, actor="cycle", at=at)
            counts["studios"] += 1
        except Exception:
            counts["failed"] += 1
            log.exception("outlook could not be prepared", studio=studio.pk)
    return dict(counts)


def prepare_studio(*, studio: Studio, actor: str, at: datetime) -> int:
    """Prepare one studio's outlook anew, whatever its age.

    Returns:
        How many rows are behind its figures.
    """
    today = studio.day(at)
    laid = _lay(studio, today)
    made = _sheets(laid)
    with transaction.atomic():
        Studio.objects.select_for_update().get(pk=studio.pk)  # two preparations at once take turns
        OutlookSheet.objects.of(studio).delete()
        OutlookSheet.objects.bulk_create(
            OutlookSheet(
                studio=studio, site_id=site, as_of=today, made_at=at,
                body=sheet.codec().dump_python(body, mode="json"),
            )
            for site, body in made.items()
        )  # fmt: skip
        OutlookRow.objects.of(studio).delete()
        OutlookRow.objects.bulk_create(_rows(laid), batch_size=AT_ONCE)
        CustomerOutlook.objects.of(studio).delete()
        people = slipping.candidates(studio, laid.customers, laid.expected, today=today)
        CustomerOutlook.objects.bulk_create(people, batch_size=AT_ONCE)
        looks, windows = checking.check_studio(studio), trials.try_studio(studio, today=today)
        rows = len(laid.found.prospects)
        journal.record(
            studio=studio, actor=actor, at=at, verb="outlook prepared", subject="outlook", subject_id=None,
            rows=rows, as_of=today, looks=looks, windows=windows,
        )  # fmt: skip
    return rows


def rates_of(studio: Studio, found: Gathered) -> dict[str, Rate]:
    """By `Prospect.rate`: how many of those who come say yes; of what is booked or was said yes to, how many come."""
    tasks = {row.rate for row in found.prospects} - {BOOKED, prospects.SAID_YES}
    kept = acceptance.rate(
        BOOKED, Decisions(found.came, found.missed), prior_a=BOOKED_PRIOR[0], prior_b=BOOKED_PRIOR[1]
    )  # fmt: skip
    said_yes = acceptance.rate(
        prospects.SAID_YES, Decisions(), prior_a=SAID_YES_PRIOR[0], prior_b=SAID_YES_PRIOR[1]
    )  # fmt: skip
    return acceptance.of_answers(history.decisions(studio), tasks=tasks) | {
        BOOKED: replace(kept, says=f"{found.came} of {found.came + found.missed} booked visits came so far"),
        prospects.SAID_YES: replace(said_yes, says="of those who said yes, what the house assumes (judgement)"),
    }


@dataclass(frozen=True, slots=True)
class _Laid:
    """What the sheets of all sites share."""

    studio: Studio
    found: Gathered
    today: date
    runs: int
    rates: Mapping[str, Rate]
    customers: Customers
    expected: Mapping[int, Return]
    comes: str

    @property
    def months(self) -> tuple[date, ...]:
        return month_starts(self.today)

    @property
    def after(self) -> date:
        return months_later(self.months[0], MONTHS)


def _lay(studio: Studio, today: date) -> _Laid:
    """Read everything once."""
    customers = visit_days.gather(studio, today=today)
    expected = return_reads.returns(studio, today=today, found=customers)
    found = prospects.gather(studio, today=today, expected=expected)
    return _Laid(
        studio, found, today, revenue.runs_for(len(found.prospects)), rates_of(studio, found), customers, expected,
        return_reads.basis(coming.fitted(list(customers.seen.values()), today=today)),
    )  # fmt: skip


def _sheets(laid: _Laid) -> dict[int | None, Sheet]:
    """The page of every site, and under None of all sites."""
    found = laid.found
    drawn = revenue.simulate_sites(
        found.prospects, rates={name: (rate.a, rate.b) for name, rate in laid.rates.items()}, today=laid.today,
        seed=revenue.seed_of(studio_id=laid.studio.pk, today=laid.today), runs=laid.runs, sites=tuple(found.sites),
    )  # fmt: skip
    held = {site: _rooms(laid, site) for site in found.sites}
    by_site: dict[int | None, list[Prospect]] = {site: [] for site in found.sites}
    for row in found.prospects:
        by_site[row.site].append(row)
    empty = Rooms((NO_ROOM,) * MONTHS, (NO_ROOM,) * WEEKS)
    by_site[None] = list(found.prospects)
    everything = sum(held.values(), empty)
    return {
        site: _sheet(laid, site, rows, drawn[site], everything if site is None else held[site])
        for site, rows in by_site.items()
    }


def _rooms(laid: _Laid, site: int) -> Rooms:
    """What a site has in the months and weeks to come."""
    rules, weeks = laid.found.calendars[site].rules, week_starts(laid.today)
    after_weeks = weeks[-1] + timedelta(days=7)
    days = days_between(rules, laid.today, max(laid.after, after_weeks))
    return Rooms(
        rooms(rules, days, spans(laid.today, laid.months, laid.after)),
        rooms(rules, days, spans(laid.today, weeks, after_weeks)),
    )


def _sheet(laid: _Laid, site: int | None, rows: list[Prospect], drawn: revenue.Revenue, has: Rooms) -> Sheet:
    reach = sheet.reach_of(rows, today=laid.today, starts=laid.months, after=laid.after)
    months = sheet.month_sheets(drawn, has, reach)
    counted = Counter(row.split for row in rows)
    year = sheet.year_sheet(drawn, months, rows={split: counted[split] for split in SPLITS}, today=laid.today)
    usual = [
        laid.found.sites[pk] for pk, entered in laid.found.calendars.items()
        if not entered.hours and site in (None, pk)
    ]  # fmt: skip
    return Sheet(
        form=sheet.FORM, currency=laid.studio.currency, months=months, year=year,
        weeks=sheet.week_sheets(drawn.weeks, has), fed_by=_fed_by(laid, year),
        left_out=tuple(f"{count} {why}" for why, count in sorted(laid.found.left_out.items())),
        usual_hours=tuple(usual), runs=laid.runs, comes=laid.comes,
        taken={name: sheet.Taken(rate.mean, rate.p10, rate.p90, rate.says) for name, rate in laid.rates.items()},
    )  # fmt: skip


def _fed_by(laid: _Laid, year: sheet.MonthSheet) -> tuple[str, ...]:
    """Sentences on what the money came from."""
    found = laid.found
    return (
        f"Booked: {year.booked.reach} visits in the book. So far {found.came} came to their visits and {found.missed} "
        "did not, at all sites together.",
        f"Likely: {year.likely.reach} care windows that are open or open within about three months, "
        "or that somebody said yes to.",
        f"Possible: {year.possible.reach} later windows, and renewals that follow from the forecasts.",
        "A window is worth the chance that its keeper comes, times the share of those who come that says yes, times "
        f"its price. {laid.comes}",
        f"Who comes, who says yes, dates and prices are drawn {laid.runs} times; the range holds eight of ten draws. "
        "The seed stays the same for a month.",
        "A window with a planned day is drawn around that day. Hours are those of each task alone: where one visit "
        "serves several, it takes less.",
    )


def _rows(laid: _Laid) -> Iterator[OutlookRow]:
    """The rows behind the figures, as they are kept; days before today are today, as the draws take them."""
    today = laid.today
    for row in laid.found.prospects:
        yield OutlookRow(
            studio=laid.studio, site_id=row.site, vehicle_id=row.vehicle, split=row.split,
            task=row.task, source=row.source, made_on=today,
            earliest=max(row.earliest, today), ideal=max(row.ideal, today), latest=max(row.latest, today),
            visit=row.visit, visits=row.visits, rate=row.rate, take_up=laid.rates[row.rate].mean,
            price_low=row.price_low, price_high=row.price_high, labour_h=row.labour_h, why=row.why[:300],
        )  # fmt: skip
