"""Offers with their answers, how often advice is taken up, and what rests: the page beside the outlook."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from lifecycle.models import Studio
from lifecycle.outlook import acceptance, history, reads


@dataclass(frozen=True, slots=True)
class AnswersView:
    """The whole page; at most `reads.MOST_OFFERS` offers of `offers_total`, and as many at rest of `resting_total`."""

    offers: tuple[reads.OfferRow, ...]
    offers_total: int
    acceptance: tuple[reads.AcceptanceRow, ...]
    acceptance_all: reads.AcceptanceRow
    resting: tuple[reads.RestRow, ...]
    resting_total: int


def answers(studio: Studio, *, today: date, offers_from: int = 0) -> AnswersView:
    """Everything on the page of one studio; the number of queries is fixed.

    Args:
        today: the day at the studio.
        offers_from: the first offer to list, counted from 0.
    """
    counts = history.decisions(studio)
    resting = history.resting(studio, today=today)
    offers, total = reads.offer_rows(studio, resting, offers_from)
    rests = reads.rest_rows(studio, resting)
    prior_a, prior_b = acceptance.STUDIO_PRIOR
    everything = acceptance.rate("", reads.sum_of(counts), prior_a=prior_a, prior_b=prior_b)
    return AnswersView(
        offers=offers,
        offers_total=total,
        acceptance=tuple(
            reads.acceptance_row(rate, reads.title(rate.task)) for rate in acceptance.rates(counts).values()
        ),
        acceptance_all=reads.acceptance_row(everything, "all tasks"),
        resting=rests,
        resting_total=len(resting),
    )
