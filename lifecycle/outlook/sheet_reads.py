"""The prepared outlook to read: one page, and the rows behind each of its figures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final

from django.db.models import Prefetch, QuerySet

from lifecycle.care.find import one
from lifecycle.care.months import add_months
from lifecycle.care.worklist import task_title
from lifecycle.models import Keeper, OutlookRow, OutlookSheet, Site, Studio
from lifecycle.outlook.revenue import SPLITS
from lifecycle.outlook.shares import chance_between
from lifecycle.outlook.sheet import FORM, MonthSheet, Sheet, Taken, WeekSheet, codec
from lifecycle.outlook.worth import WindowWorth

PER_PAGE: Final = 50
TOGETHER: Final = "together"


@dataclass(frozen=True, slots=True)
class SiteLink:
    id: int
    name: str


@dataclass(frozen=True, slots=True)
class Flag:
    """A week of a site, six to eight weeks ahead, that is too full or too empty."""

    site: SiteLink
    week: WeekSheet


@dataclass(frozen=True, slots=True)
class OutlookPage:
    """What was prepared for one site, or for all (`site` None). `sheet` is None where nothing is prepared yet."""

    sites: tuple[SiteLink, ...]
    site: SiteLink | None
    sheet: Sheet | None
    as_of: date | None
    made_at: datetime | None
    flagged: tuple[Flag, ...] = ()


def page(studio: Studio, *, site_id: int | None = None) -> OutlookPage:
    """The prepared outlook of a site, or of all sites; two queries.

    Raises:
        NotFoundHere: the site is not of this studio.
    """
    sites = tuple(SiteLink(*row) for row in Site.objects.of(studio).order_by("name", "id").values_list("pk", "name"))
    site = next((row for row in sites if row.id == site_id), None)
    if site_id is not None and site is None:
        one(Site, studio, site_id)
    held = {row.site_id: row for row in OutlookSheet.objects.of(studio) if row.body.get("form") == FORM}
    row = held.get(site_id)
    if row is None:
        return OutlookPage(sites, site, None, None, None)
    sheets = {pk: codec().validate_python(one.body) for pk, one in held.items()}
    flagged = tuple(
        Flag(link, week)
        for link in sites
        if link.id in sheets and site_id in (None, link.id)
        for week in sheets[link.id].weeks
        if week.flagged
    )
    return OutlookPage(sites, site, sheets[site_id], row.as_of, row.made_at, flagged)


@dataclass(frozen=True, slots=True)
class RowLine:
    """One visit, window or renewal behind a figure.

    Attributes:
        value: what it is worth at any time, with its factors.
        visits: how often the customer came back; None where the rate holds whether they come.
        says: the counts behind the rate.
        in_span, chance: that it falls into the span, and is taken up, too; `worth`: that chance times the middle of its
            price; `hours` likewise.
    """

    vehicle_id: int
    vehicle: str
    plate: str
    keeper: str
    what: str
    split: str
    earliest: date
    ideal: date
    latest: date
    value: WindowWorth
    visits: int | None
    says: str
    in_span: float
    chance: float
    worth: float
    hours: float
    why: str


@dataclass(frozen=True, slots=True)
class RowsPage:
    """The rows of one figure, a page of them. `month` or `week` is the figure itself, with its range. `comes` and
    `rates`, by care, say what the chances of these rows rest on."""

    site: SiteLink | None
    split: str
    first: date | None
    end: date | None
    currency: str
    as_of: date
    comes: str
    rates: tuple[tuple[str, Taken], ...]
    month: MonthSheet
    week: WeekSheet | None
    rows: tuple[RowLine, ...]
    total: int
    number: int
    pages: int


def rows(
    studio: Studio,
    *,
    site_id: int | None = None,
    split: str = TOGETHER,
    month: date | None = None,
    week: date | None = None,
    number: int = 1,
    per_page: int = PER_PAGE,
) -> RowsPage | None:
    """The rows that may fall into a month or week, those of the nearest ideal day first; all months without either.

    The chances add up to the mean of the draws over all pages (up to the draws' own noise). None where nothing is
    prepared, or the span is not on the sheet.

    Args:
        split: "booked", "likely", "possible" or "together".  month: first day of a month.  week: a Monday.

    Raises:
        NotFoundHere: the site is not of this studio.
    """
    held = page(studio, site_id=site_id)
    if held.sheet is None or held.as_of is None or split not in (*SPLITS, TOGETHER):
        return None
    of_month = next((row for row in held.sheet.months if row.first == month), None)
    of_week = next((row for row in held.sheet.weeks if row.first == week), None)
    if (month is not None and of_month is None) or (week is not None and of_week is None):
        return None
    first, end = _span(held.sheet, month, week)
    found = _found(studio, site_id, split, first, end)
    total = found.count()
    pages = max(1, -(-total // per_page))
    number = min(max(number, 1), pages)
    some = list(found[(number - 1) * per_page : number * per_page])
    return RowsPage(
        site=held.site, split=split, first=first if month or week else None, end=end if month or week else None,
        currency=held.sheet.currency, as_of=held.as_of, comes=held.sheet.comes, month=of_month or held.sheet.year,
        rates=tuple(
            (task_title(name) if name in {row.task for row in some} else name, held.sheet.taken[name])
            for name in sorted({row.rate for row in some})
        ),
        week=of_week, rows=tuple(_line(row, held.sheet.taken, first, end) for row in some), total=total, number=number,
        pages=pages,
    )  # fmt: skip


def _span(sheet: Sheet, month: date | None, week: date | None) -> tuple[date, date]:
    if week is not None:
        return week, week + timedelta(days=7)
    if month is not None:
        return month, add_months(month, 1)
    return sheet.months[0].first, add_months(sheet.months[-1].first, 1)


def _found(studio: Studio, site_id: int | None, split: str, first: date, end: date) -> QuerySet[Any]:
    keepers = Keeper.objects.filter(end=None).select_related("customer")
    found = OutlookRow.objects.of(studio).filter(latest__gte=first, earliest__lt=end)
    if site_id is not None:
        found = found.filter(site=site_id)
    if split != TOGETHER:
        found = found.filter(split=split)
    prefetch = Prefetch("vehicle__keepers", queryset=keepers, to_attr="keepers_now")
    ordered: QuerySet[Any] = found.select_related("vehicle").prefetch_related(prefetch).order_by("ideal", "id")
    return ordered


def _line(row: Any, rates: Mapping[str, Taken], first: date, end: date) -> RowLine:
    keeper = next(iter(row.vehicle.keepers_now), None)
    share = chance_between(
        earliest=row.earliest, ideal=row.ideal, latest=row.latest, today=row.made_on, first=first, end=end
    )  # fmt: skip
    rate = rates[row.rate]
    value = WindowWorth(row.visit, row.take_up, rate.low, rate.high, row.price_low, row.price_high)
    return RowLine(
        vehicle_id=row.vehicle_id, vehicle=row.vehicle.description, plate=row.vehicle.plate,
        keeper=keeper.customer.name if keeper else "no keeper on record",
        what=task_title(row.task) if row.task else "booked visit", split=row.split, earliest=row.earliest,
        ideal=row.ideal, latest=row.latest, value=value, visits=row.visits if row.rate == row.task else None,
        says=rate.says, in_span=share, chance=value.chance * share, worth=value.worth * share,
        hours=value.chance * share * row.labour_h, why=row.why,
    )  # fmt: skip
