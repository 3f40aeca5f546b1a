"""Durability learned here, once a night: the answer of `durability.learned_here`, kept for the pages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import structlog
from django.db import transaction
from django.db.models import Max, Q

from lifecycle.condition.durability import LearnedHere, learned_here
from lifecycle.models import Layer, LearnedLife, Studio
from lifecycle.wear.types import Band

log = structlog.get_logger("sheenward.learning")

AGAIN_AFTER = timedelta(hours=20)  # a night earlier or later is no matter; the cycle wakes it more often


@dataclass(frozen=True, slots=True)
class LearnedRow:
    """One product at one site, months at the reference duty; `says` tells in words how much it is."""

    site: str
    at: datetime
    vehicles: int
    ended: int
    excluded: int
    label: float
    median: Band
    life: Band
    mark: str
    says: str
    calibration_says: str


def learn(*, at: datetime) -> Mapping[str, int]:
    """Work out every studio's learned lives, at most once a night each; a studio that fails is logged and counted."""
    counts = {"studios": 0, "learned": 0}
    with_products = Layer.objects.exclude(product=None).values("studio")
    last = dict(LearnedLife.objects.order_by().values("studio").annotate(last=Max("at")).values_list("studio", "last"))
    stale = Q(pk__in=with_products) | Q(pk__in=list(last))
    for studio in Studio.objects.filter(stale).order_by("pk"):
        if studio.pk in last and at - last[studio.pk] < AGAIN_AFTER:
            continue
        try:
            counts["learned"] += _keep(studio, learned_here(studio, at=at), at)
            counts["studios"] += 1
        except Exception:
            counts["failed"] = counts.get("failed", 0) + 1
            log.exception("nothing could be learned", studio=studio.pk)
    return counts


@transaction.atomic
def _keep(studio: Studio, found: tuple[LearnedHere, ...], at: datetime) -> int:
    LearnedLife.objects.of(studio).delete()
    LearnedLife.objects.bulk_create([_row(studio, one, at) for one in found])
    return len(found)


def _row(studio: Studio, one: LearnedHere, at: datetime) -> LearnedLife:
    learned, median, life = one.learned, one.learned.median_months, one.learned.life_months
    return LearnedLife(
        studio=studio, product_id=one.product_id, site_id=one.site_id, at=at, vehicles=learned.vehicles,
        ended=learned.ended, excluded=learned.excluded, label=learned.prior_median_months, median_low=median.p10,
        median_mid=median.p50, median_high=median.p90, life_low=life.p10, life_mid=life.p50, life_high=life.p90,
        mark=str(learned.mark), says=learned.says,
        calibration_says=one.calibration.says if one.calibration is not None else "",
    )  # fmt: skip


def learned_of(studio: Studio, product_id: int) -> tuple[LearnedRow, ...]:
    """What the studio's inspections said of one of its products, by site; one query."""
    rows = LearnedLife.objects.of(studio).filter(product=product_id).select_related("site").order_by("site__name", "pk")
    return tuple(
        LearnedRow(
            site=row.site.name, at=row.at, vehicles=row.vehicles, ended=row.ended, excluded=row.excluded,
            label=row.label, median=Band(row.median_low, row.median_mid, row.median_high),
            life=Band(row.life_low, row.life_mid, row.life_high), mark=row.mark, says=row.says,
            calibration_says=row.calibration_says,
        )
        for row in rows
    )  # fmt: skip
