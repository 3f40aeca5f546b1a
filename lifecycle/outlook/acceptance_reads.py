"""How often advice is taken up, per care, site and reason, and the decisions behind every figure. Reads only."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final, TypeVar

from django.db.models import Q

from lifecycle.care.directory import Page
from lifecycle.care.worklist import REASONS, task_title
from lifecycle.models import Offer, Site, Studio
from lifecycle.outlook import acceptance, history
from lifecycle.outlook.acceptance import Decisions, Rate
from lifecycle.outlook.history import Group

Key = TypeVar("Key")
PER_PAGE: Final = 40
REASON_TITLES: Final = {code: title for code, title, _meaning in REASONS}
NO_REASON: Final = "no reason on record"
OUTCOMES: Final = {
    history.ACCEPTED: "taken up",
    history.DECLINED: "not taken up",
    history.UNANSWERED: "no word",
    history.OPEN: "open, or nobody was asked",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One figure with its range and counts. `task`, `site_id`, `reason` lead to its decisions."""

    title: str
    rate: Rate
    task: str = ""
    site_id: int | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class TaskRows:
    """One care: all of it, by site and by reason."""

    row: Row
    sites: tuple[Row, ...]
    reasons: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class View:
    """The whole page. `asked`: decisions in all."""

    studio: Row
    tasks: tuple[TaskRows, ...]
    asked: int


@dataclass(frozen=True, slots=True)
class DecisionRow:
    """One decision: one offer with its latest word."""

    offer_id: int
    vehicle_id: int
    vehicle: str
    plate: str
    title: str
    site: str
    reason: str
    outcome: str
    on: date
    why: str
    price_low: Decimal
    price_high: Decimal


def by_care(studio: Studio) -> View:
    """Take-up per care, and per site and reason within it. The number of queries is fixed."""
    decided = history.groups(studio)
    sites = {str(pk): name for pk, name in Site.objects.filter(studio=studio).values_list("pk", "name")}
    whole = _counts(decided, lambda one: one.task)
    rates = acceptance.rates(whole)
    per_site = acceptance.grouped(_counts(decided, lambda one: (one.task, str(one.site_id))))
    per_reason = acceptance.grouped(_counts(decided, lambda one: (one.task, one.reason)))
    a, b = acceptance.STUDIO_PRIOR
    everything = acceptance.rate("", acceptance.total(whole.values()), prior_a=a, prior_b=b)
    return View(
        studio=Row("all care", everything),
        tasks=tuple(
            TaskRows(
                row=Row(task_title(task), one, task),
                sites=tuple(
                    Row(sites.get(group.group, ""), group.rate, task, int(group.group))
                    for group in per_site
                    if group.task == task
                ),
                reasons=tuple(
                    Row(reason_title(group.group), group.rate, task, None, group.group)
                    for group in per_reason
                    if group.task == task
                ),
            )
            for task, one in rates.items()
        ),
        asked=everything.decisions.asked,
    )


def _counts(decided: Iterable[Group], key: Callable[[Group], Key]) -> dict[Key, Decisions]:
    found: dict[Key, Counter[str]] = defaultdict(Counter)
    for one in decided:
        found[key(one)][one.outcome] += one.offers
    return {group: history.counted(outcomes) for group, outcomes in found.items()}


def reason_title(code: str) -> str:
    """The reason in words."""
    return REASON_TITLES.get(code, code or NO_REASON)


def decisions(
    studio: Studio, *, task: str = "", site_id: int | None = None, reason: str | None = None, page: int = 1
) -> Page[DecisionRow]:
    """The decisions behind one figure, the latest first; the number of queries does not depend on the rows."""
    offers = Offer.objects.of(studio).filter(history.DECIDED)
    if task:
        offers = offers.filter(task=task)
    if site_id is not None:
        offers = offers.filter(Q(site=site_id) | Q(site=None, vehicle__site=site_id))
    if reason is not None:
        offers = offers.filter(_because(reason))
    total = offers.count()
    pages = max(1, -(-total // PER_PAGE))
    number = min(max(page, 1), pages)
    sites = dict(Site.objects.filter(studio=studio).values_list("pk", "name"))
    rows = history.with_latest_step(offers.annotate(ended=history.OUTCOME))
    some = rows.select_related("vehicle", "studio", "due").order_by("-latest_at", "-id")
    shown = some[(number - 1) * PER_PAGE : number * PER_PAGE]
    return Page(tuple(_row(row, sites) for row in shown), total, number, pages)


def _because(reason: str) -> Q:
    """Advice for a reason; advice from before reasons were kept has that of its window, if that is still there."""
    unsaid = Q(reason_code="")
    if not reason:
        return unsaid & (Q(due=None) | Q(due__reason_code=""))
    return Q(reason_code=reason) | unsaid & Q(due__reason_code=reason)


def _row(offer: Any, sites: Mapping[int, str]) -> DecisionRow:
    due_reason = offer.due.reason_code if offer.due else ""
    return DecisionRow(
        offer_id=offer.pk,
        vehicle_id=offer.vehicle_id,
        vehicle=offer.vehicle.description,
        plate=offer.vehicle.plate,
        title=task_title(offer.task),
        site=sites.get(offer.site_id or offer.vehicle.site_id, ""),
        reason=reason_title(offer.reason_code or due_reason),
        outcome=OUTCOMES[offer.ended] + (" in part" if offer.latest_left else ""),
        on=offer.studio.day(offer.latest_at),
        why=offer.latest_why or "",
        price_low=offer.price_low,
        price_high=offer.price_high,
    )
