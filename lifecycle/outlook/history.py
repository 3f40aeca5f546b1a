"""What was said to earlier advice: read once per studio, used by the verbs and by the pages."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import OuterRef, QuerySet, Subquery

from lifecycle.care import resting as rests
from lifecycle.care.resting import Rest, VehicleTask, Word
from lifecycle.models import Keeper, OfferStep, Studio
from lifecycle.outlook import steps
from lifecycle.outlook.acceptance import Decisions

# How an offer ended, for the counts.
ACCEPTED, DECLINED, UNANSWERED, OPEN = "accepted", "declined", "unanswered", "open"


def with_latest_step(offers: QuerySet[Any]) -> QuerySet[Any]:
    """Each offer with the kind, time, reason and date of its latest step, in the same query."""
    newest = OfferStep.objects.filter(offer=OuterRef("pk")).exclude(kind=steps.OUTCOME).order_by("-at", "-id")
    annotated: QuerySet[Any] = offers.annotate(
        latest_kind=Subquery(newest.values("kind")[:1]),
        latest_at=Subquery(newest.values("at")[:1]),
        latest_why=Subquery(newest.values("why")[:1]),
        latest_until=Subquery(newest.values("until")[:1]),
        latest_left=Subquery(newest.values("left")[:1]),
    )
    return annotated


def resting(studio: Studio, *, today: date) -> Mapping[VehicleTask, Rest]:
    """Advice that is not offered now, by vehicle and task. An earlier keeper's word does not bind the present one."""
    since = dict(Keeper.objects.filter(studio=studio, end=None).values_list("vehicle_id", "start"))
    rows = (
        OfferStep.objects.filter(studio=studio, kind__in=(steps.ACCEPTED, steps.DECLINED))
        .order_by("at", "id")
        .values_list("offer__vehicle_id", "offer__task", "offer_id", "at", "kind")
    )
    words = (Word(vehicle_id, task, offer_id, at.date(), kind) for vehicle_id, task, offer_id, at, kind in rows)
    return rests.resting(words, since=since, today=today)


def decisions(studio: Studio) -> dict[str, Decisions]:
    """Counts per task over all offers that somebody was asked about and that are decided or over.

    An offer that was only recommended counts for nothing (nobody was asked), nor does one taken back before an answer.
    An offer that expired without a word counts as not taken up: revenue needs the chance among all asked.
    """
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    for one in decided(studio):
        counts[one.task][one.outcome] += 1
    return {task: counted(found) for task, found in sorted(counts.items())}


def counted(found: Mapping[str, int]) -> Decisions:
    """Counts by outcome as decisions; what is still open counts for nothing."""
    return Decisions(found.get(ACCEPTED, 0), found.get(DECLINED, 0), found.get(UNANSWERED, 0))


@dataclass(frozen=True, slots=True)
class Decided:
    """One offer: what it was about, where, why, and how it ended (`outcome`)."""

    offer_id: int
    task: str
    site_id: int
    reason: str
    outcome: str


def decided(studio: Studio) -> tuple[Decided, ...]:
    """Every offer of the studio with its outcome, in one query; "open" where nothing is decided.

    The site is the one at which it was recommended, the vehicle's of today for advice from before that was kept.
    """
    words: dict[int, list[Any]] = {}
    rows = OfferStep.objects.filter(studio=studio).exclude(kind=steps.OUTCOME).order_by("at", "id")
    for offer_id, task, site_id, now_site_id, reason, due_reason, kind in rows.values_list(
        "offer_id", "offer__task", "offer__site_id", "offer__vehicle__site_id", "offer__reason_code",
        "offer__due__reason_code", "kind",
    ):  # fmt: skip
        found = words.setdefault(offer_id, [task, site_id or now_site_id, reason or due_reason or "", []])
        found[3].append(kind)
    return tuple(
        Decided(offer_id, task, site_id, reason, _outcome(kinds))
        for offer_id, (task, site_id, reason, kinds) in words.items()
    )


def _outcome(kinds: list[str]) -> str:
    last = kinds[-1]
    if last in (steps.ACCEPTED, steps.DONE):
        return ACCEPTED
    if last == steps.DECLINED:
        return DECLINED
    if last == steps.EXPIRED and steps.ACCEPTED in kinds:
        return DECLINED  # said yes and never came
    if last == steps.EXPIRED and steps.OFFERED in kinds:
        return UNANSWERED
    return OPEN
