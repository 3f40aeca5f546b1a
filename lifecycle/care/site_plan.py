"""The calendar's rows to its pure rules, and the planned days of the proposals back to their rows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import structlog
from django.db import transaction

from lifecycle.care.site_days import BayRule, ClosedDays, HandsRule, SiteRules, bay_cure_h
from lifecycle.care.spread_visits import Held, SitePlan, Wish, spread
from lifecycle.models import (
    OPEN_VISITS,
    Bay,
    Closure,
    Hands,
    OpeningHours,
    ProposalState,
    Site,
    Visit,
    VisitProposal,
)

log = structlog.get_logger("sheenward.care")


@dataclass(frozen=True, slots=True)
class Entered:
    """The rules of a site, and what of them somebody has entered."""

    rules: SiteRules
    hours: bool
    bays: bool


def site_day(site: Site, at: datetime) -> date:
    """The calendar day at a site."""
    return at.astimezone(ZoneInfo(site.zone)).date()


def rules_of(sites: Iterable[Site]) -> Mapping[int, Entered]:
    """The calendar rules of some sites by key, in four queries however many they are."""
    sites = list(sites)
    ids = [site.pk for site in sites]
    found: dict[str, defaultdict[int, list[Any]]] = {
        "hours": defaultdict(list), "bays": defaultdict(list), "hands": defaultdict(list), "closed": defaultdict(list),
    }  # fmt: skip
    for row in OpeningHours.objects.filter(site__in=ids):
        found["hours"][row.site_id].append((row.weekday, (row.opens, row.closes)))
    for bay in Bay.objects.filter(site__in=ids).order_by("name", "id"):
        found["bays"][bay.site_id].append(BayRule(bay.pk, bay.name, bay.warm_still))
    for hands in Hands.objects.filter(site__in=ids, member__ended_at=None).order_by("id"):
        found["hands"][hands.site_id].append(
            HandsRule(hands.hours_a_day, frozenset(hands.weekdays), frozenset(hands.skills))
        )
    for closure in Closure.objects.filter(site__in=ids, lifted_at=None):
        found["closed"][closure.site_id].append(ClosedDays(closure.first, closure.last, closure.reason))
    return {site.pk: _entered(site, {name: rows[site.pk] for name, rows in found.items()}) for site in sites}


def _entered(site: Site, rows: Mapping[str, list[Any]]) -> Entered:
    rules = SiteRules(
        zone=site.zone, hours=dict(rows["hours"]) or None, bays=tuple(rows["bays"]), hands=tuple(rows["hands"]),
        closed=tuple(rows["closed"]), country=site.country, subdivision=site.subdivision,
        load_target=site.load_target / 100.0,
    )  # fmt: skip
    return Entered(rules, bool(rows["hours"]), bool(rows["bays"]))


def wish_of(proposal: VisitProposal, *, anew: bool = False) -> Wish:
    """A proposal in the words of the pure rules; `anew` leaves out the day planned before."""
    tasks = tuple(proposal.tasks)
    return Wish(
        proposal.pk, proposal.earliest, proposal.ideal, proposal.latest, proposal.labour_h, bay_cure_h(tasks), tasks,
        None if anew else proposal.planned_on,
    )  # fmt: skip


def held_of(visit: Visit) -> Held:
    """A standing visit in the words of the pure rules."""
    tasks = tuple(visit.tasks)
    return Held(visit.on, visit.hours, bay_cure_h(tasks), tasks, visit.bay_id)


def plan_of(site: Site, rules: SiteRules, *, at: datetime, anew: bool = False) -> tuple[list[VisitProposal], SitePlan]:
    """All standing proposals of a site, and the plan for them around the visits that stand; two queries."""
    today = site_day(site, at)
    proposals = list(VisitProposal.objects.filter(site=site, state=ProposalState.PROPOSED).order_by("pk"))
    held = [held_of(visit) for visit in Visit.objects.filter(site=site, state__in=OPEN_VISITS, on__gt=today)]
    return proposals, spread(rules, [wish_of(row, anew=anew) for row in proposals], held, today=today)


def plan_days(*, at: datetime, site_ids: Iterable[int] | None = None, anew: bool = False) -> Mapping[str, int]:
    """Give every standing proposal a day and bay inside its window, site by site; unchanged ones are not written.

    Args:
        site_ids: only these sites; None for all that have a proposal.
        anew: without regard to the days planned before; else they stay where nothing speaks against them.
    """
    counts = {"planned": 0, "moved": 0, "no day": 0}
    standing = VisitProposal.objects.filter(state=ProposalState.PROPOSED)
    wanted = set(standing.values_list("site_id", flat=True)) if site_ids is None else set(site_ids)
    sites = list(Site.objects.filter(pk__in=wanted).order_by("pk"))
    rules = rules_of(sites)
    for site in sites:
        try:
            _plan_site(site, rules[site.pk].rules, counts, at, anew=anew)
        except Exception:
            counts["failed"] = counts.get("failed", 0) + 1
            log.exception("days could not be planned", site=site.pk)
    return counts


def _plan_site(site: Site, rules: SiteRules, counts: dict[str, int], at: datetime, *, anew: bool) -> None:
    with transaction.atomic():
        # Whoever changes the calendar or plans it at the same time takes turns.
        Site.objects.select_for_update().get(pk=site.pk)
        proposals, plan = plan_of(site, rules, at=at, anew=anew)
        changed = []
        for row, planned in zip(proposals, plan.visits, strict=True):
            counts["planned" if planned.on else "no day"] += 1
            if (row.planned_on, row.planned_bay_id, row.planned_why) != (planned.on, planned.bay_id, planned.why):
                counts["moved"] += row.planned_on is not None and row.planned_on != planned.on
                row.planned_on, row.planned_bay_id, row.planned_why = planned.on, planned.bay_id, planned.why
                changed.append(row)
        for row in changed:  # a proposal that was accepted meanwhile keeps what it says
            VisitProposal.objects.filter(pk=row.pk, state=ProposalState.PROPOSED).update(
                planned_on=row.planned_on, planned_bay=row.planned_bay_id, planned_why=row.planned_why
            )
