"""Offers that wait for a word, and one of them."""

from __future__ import annotations

from typing import Any

from ninja import Router

from lifecycle.errors import NotFoundHere
from lifecycle.outlook import desk

from . import shapes
from .answers import reads
from .bearer import TokenRequest, needs

router = Router(tags=["offers"])


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
