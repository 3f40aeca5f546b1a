"""What was said to earlier advice: read once per studio, used by the verbs and by the pages."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from datetime import date
from typing import Any

from django.db.models import OuterRef, QuerySet, Subquery

from lifecycle.care import resting as rests
from lifecycle.care.resting import Rest, VehicleTask, Word
from lifecycle.models import Keeper, OfferStep, Studio
from lifecycle.outlook import steps
from lifecycle.outlook.acceptance import Decisions


def with_latest_step(offers: QuerySet[Any]) -> QuerySet[Any]:
    """Each offer with the kind, time, reason and date of its latest step, in the same query."""
    newest = OfferStep.objects.filter(offer=OuterRef("pk")).order_by("-at", "-id")
    annotated: QuerySet[Any] = offers.annotate(
        latest_kind=Subquery(newest.values("kind")[:1]),
        latest_at=Subquery(newest.values("at")[:1]),
        latest_why=Subquery(newest.values("why")[:1]),
        latest_until=Subquery(newest.values("until")[:1]),
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
    words: dict[int, tuple[str, list[str]]] = {}
    rows = OfferStep.objects.filter(studio=studio).order_by("at", "id").values_list("offer_id", "offer__task", "kind")
    for offer_id, task, kind in rows:
        words.setdefault(offer_id, (task, []))[1].append(kind)
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    for task, kinds in words.values():
        counts[task][_outcome(kinds)] += 1
    return {
        task: Decisions(accepted=found["accepted"], declined=found["declined"], unanswered=found["unanswered"])
        for task, found in sorted(counts.items())
    }


def _outcome(kinds: list[str]) -> str:
    last = kinds[-1]
    if last in (steps.ACCEPTED, steps.DONE):
        return "accepted"
    if last == steps.DECLINED:
        return "declined"
    if last == steps.EXPIRED and steps.ACCEPTED in kinds:
        return "declined"  # said yes and never came
    if last == steps.EXPIRED and steps.OFFERED in kinds:
        return "unanswered"
    return "open"
