"""The step that says of earlier advice whether it was right, once a look can tell. Steps are only ever added."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from lifecycle import journal
from lifecycle.care import renewal
from lifecycle.models import InspectionKind, Offer, OfferStep, OfferStepKind, Reading, Studio
from lifecycle.outlook import history, outcome_rules, steps
from lifecycle.outlook.outcome_rules import Verdict

DECONTAMINATION = "decontamination_wash"
JUDGED = frozenset({DECONTAMINATION, *renewal.RENEWED_BY.values(), *renewal.OTHER_WAY.values()})
# Judgement: what was advised longer ago than this is judged no more; the vehicle has lived on since.
LOOKED_BACK = timedelta(days=730)


def judge(*, at: datetime) -> Mapping[str, int]:
    """The cycle's step: an outcome for each piece of advice that a look has decided since. Running it again adds none.

    Returns:
        Counts: right, not_right, cannot_tell.
    """
    total: Counter[str] = Counter()
    for studio_id in Studio.objects.order_by("id").values_list("id", flat=True):
        with transaction.atomic():
            studio = Studio.objects.select_for_update().get(pk=studio_id)
            total.update(_judge(studio, at))
    return dict(total)


def _judge(studio: Studio, at: datetime) -> Counter[str]:
    counts: Counter[str] = Counter()
    rows = Offer.objects.filter(studio=studio, task__in=JUDGED, made_at__gt=at - LOOKED_BACK, made_at__lte=at)
    rows = rows.exclude(steps__kind=OfferStepKind.OUTCOME).select_related("studio").order_by("id")
    open_ones = [offer for offer in history.with_latest_step(rows) if offer.latest_kind not in ("", steps.WITHDRAWN)]
    readings = _readings(studio, studio.day(at) - LOOKED_BACK - timedelta(days=180), studio.day(at))
    done = _done_days(studio)
    for offer in open_ones:
        found = _verdict(offer, readings.get(offer.vehicle_id, ()), done.get(offer.pk))
        if found is None or at < offer.latest_at:
            continue
        _write(offer, found, at)
        counts[found.verdict] += 1
    return counts


Row = tuple[int, date, str, bool, str, str, float]


def _readings(studio: Studio, since: date, until: date) -> Mapping[int, Sequence[Row]]:
    """By vehicle: inspection, day, how clean, after work, surface, kind and value of what the studio read of layers."""
    found: dict[int, list[Row]] = defaultdict(list)
    rows = Reading.objects.filter(
        studio=studio, inspection__by="studio", inspection__on__gte=since, inspection__on__lte=until,
        kind__in=tuple(outcome_rules.LIMITS),
    ).order_by("inspection__on", "inspection_id", "id")  # fmt: skip
    for vehicle_id, *row in rows.values_list(
        "inspection__vehicle_id", "inspection_id", "inspection__on", "inspection__clean_state", "inspection__kind",
        "surface__code", "kind", "value",
    ):  # fmt: skip
        found[vehicle_id].append((row[0], row[1], row[2], row[3] == InspectionKind.AFTER_WORK, *row[4:]))
    return found


def _done_days(studio: Studio) -> dict[int, date]:
    rows = OfferStep.objects.filter(studio=studio, kind=OfferStepKind.DONE).order_by("at", "id")
    return {offer_id: studio.day(at) for offer_id, at in rows.values_list("offer_id", "at")}


def _verdict(offer: Any, readings: Sequence[Row], done_on: date | None) -> Verdict | None:
    about = set(offer.surfaces)
    by_look: dict[tuple[int, date, str, bool], list[tuple[str, float]]] = defaultdict(list)
    for inspection_id, on, clean_state, after_work, surface, kind, value in readings:
        if not about or surface in about:
            by_look[inspection_id, on, clean_state, after_work].append((kind, value))
    looks = [
        outcome_rules.look(pk, on, clean, values, after_work=after)
        for (pk, on, clean, after), values in by_look.items()
    ]
    made_on = offer.studio.day(offer.made_at)
    if offer.task == DECONTAMINATION:
        return outcome_rules.of_decontamination(looks, made_on=made_on, done_on=done_on)
    return outcome_rules.of_renewal(looks, made_on=made_on, renewed_on=done_on, forecast=forecast_words(offer.basis))


def forecast_words(basis: Mapping[str, Any]) -> str:
    """What was forecast when it was advised: function left of the weakest surface, as a range."""
    function = (basis or {}).get("function") or {}
    if not function:
        return ""
    code, row = min(function.items(), key=lambda item: (item[1]["p50"], item[0]))
    return f"{100 * row['p10']:.0f} to {100 * row['p90']:.0f} % function left on {code.replace('_', ' ')}"


def _write(offer: Any, found: Verdict, at: datetime) -> None:
    about = {"about": "inspection", "about_id": found.look_id} if found.look_id is not None else {}
    OfferStep.objects.create(
        studio=offer.studio, offer=offer, kind=OfferStepKind.OUTCOME, at=at, verdict=found.verdict, why=found.why[:200],
        **about,
    )  # fmt: skip
    journal.record(
        studio=offer.studio, actor="cycle", at=at, verb="advice judged", subject="offer", subject_id=offer.pk,
        vehicle_id=offer.vehicle_id, task=offer.task, verdict=found.verdict,
    )  # fmt: skip
