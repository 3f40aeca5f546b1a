"""What was said to earlier advice: read once per studio, used by the verbs and by the pages."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Final

from django.db.models import Case, Count, F, Max, OuterRef, Q, QuerySet, Subquery, Value, When
from django.db.models.functions import Coalesce

from lifecycle.care import resting as rests
from lifecycle.care.resting import Rest, VehicleTask, Word
from lifecycle.models import Keeper, Offer, OfferStep, Studio
from lifecycle.outlook import steps
from lifecycle.outlook.acceptance import Decisions

# How an offer ended, for the counts.
ACCEPTED, DECLINED, UNANSWERED, OPEN = "accepted", "declined", "unanswered", "open"


def with_latest_step(offers: QuerySet[Any]) -> QuerySet[Any]:
    """Each offer with the reason and date of its latest step, in the same query; its kind and time stand in the row."""
    newest = OfferStep.objects.filter(offer=OuterRef("pk")).exclude(kind=steps.OUTCOME).order_by("-at", "-id")
    annotated: QuerySet[Any] = offers.annotate(
        latest_why=Subquery(newest.values("why")[:1]),
        latest_until=Subquery(newest.values("until")[:1]),
        latest_left=Subquery(newest.values("left")[:1]),
    )
    return annotated


def resting(studio: Studio, *, today: date, vehicles: Collection[int] | None = None) -> Mapping[VehicleTask, Rest]:
    """Advice that is not offered now, by vehicle and task. An earlier keeper's word does not bind the present one.

    Args:
        vehicles: only these; all of the studio without it.
    """
    since_then = datetime.combine(rests.months_later(today, -rests.REST_MONTHS), time(), UTC) - timedelta(days=1)
    declined = OfferStep.objects.filter(studio=studio, kind=steps.DECLINED).order_by()
    if vehicles is not None:
        declined = declined.filter(offer__vehicle__in=vehicles)
    # Only where two words were a no, the latest of them within a year, need the others be read.
    twice = declined.values("offer__vehicle", "offer__task").annotate(times=Count("pk"), last=Max("at"))
    some = twice.filter(times__gte=2, last__gte=since_then).values("offer__vehicle")
    kept = Keeper.objects.filter(studio=studio, end=None, vehicle__in=some)
    since = dict(kept.values_list("vehicle_id", "start"))
    rows = (
        OfferStep.objects.filter(studio=studio, kind__in=(steps.ACCEPTED, steps.DECLINED), offer__vehicle__in=some)
        .order_by("at", "id")
        .values_list("offer__vehicle_id", "offer__task", "offer_id", "at", "kind")
    )
    words = (Word(vehicle_id, task, offer_id, at.date(), kind) for vehicle_id, task, offer_id, at, kind in rows)
    return rests.resting(words, since=since, today=today)


def decisions(studio: Studio) -> dict[str, Decisions]:
    """Counts per task over all offers that somebody was asked about and that are decided or over.

    An offer that was only recommended counts for nothing (nobody was asked), nor does one taken back before an answer.
    An offer that expired without a word counts as not taken up.
    """
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    for group in groups(studio):
        counts[group.task][group.outcome] += group.offers
    return {task: counted(found) for task, found in sorted(counts.items())}


def counted(found: Mapping[str, int]) -> Decisions:
    """Counts by outcome as decisions; what is still open counts for nothing."""
    return Decisions(found.get(ACCEPTED, 0), found.get(DECLINED, 0), found.get(UNANSWERED, 0))


# How an offer ended, from its latest step and the earlier ones.
ENDED: Final = {
    ACCEPTED: Q(latest_kind__in=(steps.ACCEPTED, steps.DONE)),
    # Said yes and never came is a no, too.
    DECLINED: Q(latest_kind=steps.DECLINED) | Q(latest_kind=steps.EXPIRED, said_yes=True),
    UNANSWERED: Q(latest_kind=steps.EXPIRED, asked=True, said_yes=False),
}
DECIDED: Final = ENDED[ACCEPTED] | ENDED[DECLINED] | ENDED[UNANSWERED]
OUTCOME: Final = Case(*(When(found, then=Value(name)) for name, found in ENDED.items()), default=Value(OPEN))


@dataclass(frozen=True, slots=True)
class Group:
    """How many decided offers of one task, site and reason ended in one way."""

    task: str
    site_id: int
    reason: str
    outcome: str
    offers: int


def groups(studio: Studio) -> tuple[Group, ...]:
    """The decided offers of the studio, counted by the database; two queries.

    The site is the one at which it was recommended, the vehicle's of today for advice from before that was kept.
    """
    decided = Offer.objects.filter(DECIDED, studio=studio).order_by()
    whole, old = Q(site__isnull=False) & ~Q(reason_code=""), Q(site=None) | Q(reason_code="")
    found: list[Group] = []
    for some, site, reason in (
        (whole, F("site_id"), F("reason_code")),
        (old, Coalesce("site_id", "vehicle__site_id"), Case(
            When(~Q(reason_code=""), then=F("reason_code")), default=Coalesce("due__reason_code", Value("")))),
    ):  # fmt: skip
        rows = decided.filter(some).values("task", place=site, reason=reason, ended=OUTCOME)
        found += (Group(*row) for row in rows.values_list("task", "place", "reason", "ended", Count("pk")))
    return tuple(found)
