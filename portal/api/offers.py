"""Offers that wait for a word, one of them, and what was said to it."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Literal

from django.http import HttpResponse
from ninja import Router
from pydantic import Field

from lifecycle.errors import NotFoundHere
from lifecycle.outlook import desk, offers, steps

from . import shapes
from .answers import deeds, reads
from .bearer import TokenRequest, needs
from .once import KEY, Made, once

router = Router(tags=["offers"])


class NewAnswer(shapes.Closed):
    """What a person said to an offer."""

    kind: Literal[steps.ANSWERS]  # type: ignore[valid-type]
    why: shapes.Line = shapes.line(200, says="The reason of a no in a few words.")
    until: shapes.Day | None = Field(None, description="Only for deferred, which needs it: the day it is put off to.")
    channel: shapes.Line = shapes.line(20, says="How they were asked; “in person” where it is empty.")


def told(offer: desk.OpenOffer) -> dict[str, Any]:
    """An offer without the keeper's name, its prices as texts."""
    return {
        "id": offer.id, "vehicle_id": offer.vehicle_id, "title": offer.title, "price_low": f"{offer.price_low:.2f}",
        "price_high": f"{offer.price_high:.2f}", "currency": offer.currency, "state": offer.state,
        "since": offer.since, "until": offer.until, "answers": list(offer.answers),
    }  # fmt: skip


@router.get("/offers", response=reads(shapes.OfferList), **needs("read:offers", shapes.Paging))
def list_offers(request: TokenRequest, wanted: shapes.PagingQuery) -> dict[str, Any]:
    """Offers without a final word, the longest waiting first."""
    page = desk.open_offers(request.auth.member.studio, page=wanted.page, per_page=wanted.per_page)
    rows = [told(row) for row in page.rows] if page.number == wanted.page else []
    return {"rows": rows, "total": page.total, "page": wanted.page, "pages": page.pages}


@router.get("/offers/{offer_id}", response=reads(shapes.Offer, of_one=True), **needs("read:offers"))
def one_offer(request: TokenRequest, offer_id: shapes.Id) -> dict[str, Any]:
    """One offer, whatever was said to it."""
    offer = desk.one_offer(request.auth.member.studio, offer_id)
    if offer is None:
        raise NotFoundHere(f"There is no offer {offer_id} in this studio.", field="offer_id")
    return told(offer)


@router.post("/offers/{offer_id}/answer", response=deeds(), **needs("write:offers"))
def answer_offer(request: TokenRequest, offer_id: shapes.Id, body: NewAnswer, key: str = KEY) -> HttpResponse:
    """Record what a person said to an offer. An answer to mere advice records that it was offered, too."""

    def work(at: datetime) -> Made:
        member = request.auth.member
        step = offers.answer(
            studio=member.studio, offer_id=offer_id, kind=body.kind, why=body.why, until=body.until,
            channel=body.channel.strip() or "in person", actor=member.actor, at=at,
        )  # fmt: skip
        return Made(step.pk, f"/api/v1/offers/{offer_id}")

    return once(request, key, work)
