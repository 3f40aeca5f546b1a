"""Offers with their answers, how often advice is taken up, and what rests: the page beside the outlook."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

from lifecycle.models import OfferStep, Studio
from lifecycle.outlook import acceptance, history, reads, steps

LATEST_REFUSALS: Final = 400


@dataclass(frozen=True, slots=True)
class AnswersView:
    """The whole page; at most `reads.MOST_OFFERS` offers of `offers_total`. `resting` is of the latest refusals, so
    that the page stays fast: what was refused last rests longest. `more_refusals`: there are earlier ones."""

    offers: tuple[reads.OfferRow, ...]
    offers_total: int
    acceptance: tuple[reads.AcceptanceRow, ...]
    acceptance_all: reads.AcceptanceRow
    resting: tuple[reads.RestRow, ...]
    more_refusals: bool


def answers(studio: Studio, *, today: date, offers_from: int = 0) -> AnswersView:
    """Everything on the page of one studio; the number of queries is fixed.

    Args:
        today: the day at the studio.
        offers_from: the first offer to list, counted from 0.
    """
    counts = history.decisions(studio)
    refused = OfferStep.objects.filter(studio=studio, kind=steps.DECLINED).order_by("-at", "-id")
    latest = list(refused.values_list("offer__vehicle", flat=True)[: LATEST_REFUSALS + 1])
    some, total = reads.offers_of(studio, offers_from)
    resting = history.resting(
        studio, today=today, vehicles={*latest[:LATEST_REFUSALS], *(offer.vehicle_id for offer in some)}
    )
    prior_a, prior_b = acceptance.STUDIO_PRIOR
    everything = acceptance.rate("", reads.sum_of(counts), prior_a=prior_a, prior_b=prior_b)
    return AnswersView(
        offers=reads.offer_rows(studio, some, resting),
        offers_total=total,
        acceptance=tuple(
            reads.acceptance_row(rate, reads.title(rate.task)) for rate in acceptance.rates(counts).values()
        ),
        acceptance_all=reads.acceptance_row(everything, "all tasks"),
        resting=reads.rest_rows(studio, resting),
        more_refusals=len(latest) > LATEST_REFUSALS,
    )
