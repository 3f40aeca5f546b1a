"""The outlook prepared once a night: simulated, laid out by site, and kept with the rows behind every figure.

The cost is linear in vehicles (`tests/bench/outlook.py`); the page then reads one row. Nobody waits for a simulation.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import structlog
from django.db import transaction
from django.db.models import Max

from lifecycle import journal
from lifecycle.care.resting import months_later
from lifecycle.care.site_days import days_between
from lifecycle.models import OutlookRow, OutlookSheet, Studio
from lifecycle.outlook import acceptance, checking, history, prospects, revenue, sheet, trials
from lifecycle.outlook.acceptance import Rate
from lifecycle.outlook.capacity import NO_ROOM, rooms
from lifecycle.outlook.prospects import Gathered
from lifecycle.outlook.reads import BOOKED_PRIOR, SAID_YES_PRIOR
from lifecycle.outlook.revenue import BOOKED, MONTHS, SPLITS, WEEKS, Prospect, month_starts, week_starts
from lifecycle.outlook.sheet import Rooms, Sheet, spans

log = structlog.get_logger("sheenward.outlook")

AGAIN_AFTER = timedelta(hours=20)  # once a night; the cycle wakes it more often
AT_ONCE = 2000


def prepare(*, at: datetime) -> Mapping[str, int]:
    """The cycle's step: prepare every studio whose outlook is older than a night; one that fails is logged and counted.

    Returns:
        Counts: studios, rows (behind their figures), failed.
    """
    counts: Counter[str] = Counter(studios=0, rows=0)
    last = dict(
        OutlookSheet.objects.order_by().values("studio").annotate(at=Max("made_at")).values_list("studio", "at")
    )
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
    with transaction.atomic():
        Studio.objects.select_for_update().get(pk=studio.pk)  # two preparations at once take turns
        found, rates = _gathered(studio, today)
        made = _sheets(studio, found, rates, today)
        OutlookSheet.objects.of(studio).delete()
        OutlookSheet.objects.bulk_create(
            OutlookSheet(
                studio=studio, site_id=site, as_of=today, made_at=at,
                body=sheet.codec().dump_python(body, mode="json"),
            )
            for site, body in made.items()
        )  # fmt: skip
        OutlookRow.objects.of(studio).delete()
        OutlookRow.objects.bulk_create(_rows(studio, found.prospects, rates, today), batch_size=AT_ONCE)
        looks, windows = checking.check_studio(studio), trials.try_studio(studio, today=today)
        journal.record(
            studio=studio, actor=actor, at=at, verb="outlook prepared", subject="outlook", subject_id=None,
            rows=len(found.prospects), as_of=today, looks=looks, windows=windows,
        )  # fmt: skip
    return len(found.prospects)


def _gathered(studio: Studio, today: date) -> tuple[Gathered, Mapping[str, tuple[float, float]]]:
    """All rows of a studio, and the Beta parameters of their take-up."""
    found = prospects.gather(studio, today=today)
    return found, rates_of(found, acceptance.rates(history.decisions(studio), tasks=tasks_of(found.prospects)))


def tasks_of(rows: Sequence[Prospect]) -> set[str]:
    """The tasks whose take-up some rows need."""
    return {row.rate for row in rows} - {BOOKED, prospects.SAID_YES}


def rates_of(found: Gathered, rates: Mapping[str, Rate]) -> dict[str, tuple[float, float]]:
    """Beta parameters of the take-up by `Prospect.rate`."""
    yes_no = {task: (rate.a, rate.b) for task, rate in rates.items()}
    yes_no[BOOKED] = (BOOKED_PRIOR[0] + found.came, BOOKED_PRIOR[1] + found.missed)
    yes_no[prospects.SAID_YES] = SAID_YES_PRIOR
    return yes_no


@dataclass(frozen=True, slots=True)
class _Laid:
    """What the sheets of all sites share."""

    studio: Studio
    found: Gathered
    today: date
    runs: int

    @property
    def months(self) -> tuple[date, ...]:
        return month_starts(self.today)

    @property
    def after(self) -> date:
        return months_later(self.months[0], MONTHS)


def _sheets(
    studio: Studio, found: Gathered, rates: Mapping[str, tuple[float, float]], today: date
) -> dict[int | None, Sheet]:
    """The page of every site, and under None of all sites."""
    runs = revenue.runs_for(len(found.prospects))
    drawn = revenue.simulate_sites(
        found.prospects, rates=rates, today=today, seed=revenue.seed_of(studio_id=studio.pk, today=today), runs=runs,
        sites=tuple(found.sites),
    )  # fmt: skip
    laid = _Laid(studio, found, today, runs)
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
        usual_hours=tuple(usual), runs=laid.runs,
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
        f"Dates, take-up and prices are drawn {laid.runs} times; the range holds eight of ten draws. "
        "The seed stays the same for a month.",
        "A window with a planned day is drawn around that day. Hours are those of each task alone: where one visit "
        "serves several, it takes less.",
    )


def _rows(
    studio: Studio, found: Sequence[Prospect], rates: Mapping[str, tuple[float, float]], today: date
) -> Iterator[OutlookRow]:
    """The rows behind the figures, as they are kept; days before today are today, as the draws take them."""
    mean = {name: a / (a + b) for name, (a, b) in rates.items()}
    for row in found:
        yield OutlookRow(
            studio=studio, site_id=row.site, vehicle_id=row.vehicle, split=row.split,
            task=row.task, source=row.source, made_on=today,
            earliest=max(row.earliest, today), ideal=max(row.ideal, today), latest=max(row.latest, today),
            take_up=mean[row.rate], price_low=row.price_low, price_high=row.price_high, labour_h=row.labour_h,
            why=row.why[:300],
        )  # fmt: skip
