"""Offers, the answers to them, and how often advice is taken up."""

from __future__ import annotations

from functools import partial

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle.outlook import advice_reads, answers_read, desk, offers, reads
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import attempt, bounded_int, other_pages, page_number, studio_today
from .forms import AnswerForm


@access("owner")
@require_GET
def answers(request: MemberRequest) -> HttpResponse:
    """Offers with their answers, and how often advice is taken up."""
    start = bounded_int(request.GET.get("from", ""), low=0, high=10**6, default=0)
    view = answers_read.answers(request.member.studio, today=studio_today(request), offers_from=start)
    context = {
        "view": view,
        "start": start,
        "next_start": start + reads.MOST_OFFERS if start + reads.MOST_OFFERS < view.offers_total else None,
        "previous_start": max(start - reads.MOST_OFFERS, 0) if start else None,
    }
    return render(request, "studio/outlook_answers.html", context)


@access("desk")
@require_GET
def open_offers(request: MemberRequest) -> HttpResponse:
    """Advice that waits for a word."""
    page = desk.open_offers(request.member.studio, page=page_number(request))
    return render(request, "studio/offers.html", {"page": page, "more": other_pages(request)})


@access("desk")
@require_http_methods(["GET", "POST"])
def answer(request: MemberRequest, offer_id: int) -> HttpResponse:
    """Record what a person said to an offer."""
    studio = request.member.studio
    offer = desk.one_offer(studio, offer_id)
    if offer is None:
        raise Http404
    beside = advice_reads.sheet(studio, offer_id, today=studio_today(request))
    form = AnswerForm(request.POST or None, answers=offer.answers, surfaces=beside.surfaces)
    if request.method == "POST" and form.is_valid():
        verb = partial(
            offers.answer,
            studio=studio,
            offer_id=offer_id,
            actor=request.member.actor,
            at=timezone.now(),
            **form.cleaned_data,
        )
        if attempt(form, verb) is not None:
            messages.success(request, f"On record: {offer.title} for {offer.plate}, {form.cleaned_data['kind']}.")
            return redirect("studio:offers")
    return render(request, "studio/answer.html", {"offer": offer, "form": form, "beside": beside})
