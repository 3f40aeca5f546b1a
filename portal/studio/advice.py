"""Advice: its history at a vehicle, telling it, taking it back, its take-up; who comes back and who is slipping."""

from __future__ import annotations

from functools import partial

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.outlook import acceptance_reads, advice_reads, advising, desk, offers
from lifecycle.outlook import comes_back as comers
from lifecycle.outlook import slipping as slips
from portal.access.people import MemberRequest
from portal.access.registry import ROLES_OF, access

from .advice_forms import RecommendForm, WithdrawForm
from .common import attempt, bounded_int, other_pages, page_number, plain, studio_today


@access("member")
@require_http_methods(["GET", "POST"])
def advice(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """The whole history of advice of one vehicle; a person may recommend something, too."""
    studio = request.member.studio
    try:
        view = advice_reads.of_vehicle(studio, vehicle_id, today=studio_today(request))
    except NotFoundHere as error:
        raise Http404 from error
    form = RecommendForm(request.POST or None, tasks=view.tasks, surfaces=view.surfaces)
    if request.method == "POST" and form.is_valid():
        verb = partial(
            advising.recommend_by_hand, studio=studio, vehicle_id=vehicle_id, actor=request.member.actor,
            at=timezone.now(), **form.cleaned_data,
        )  # fmt: skip
        if attempt(form, verb) is not None:
            messages.success(request, "On record as recommended. It counts as offered once somebody was told.")
            return redirect("studio:advice", vehicle_id)
    context = {"view": view, "form": form, "may_tell": request.member.role in ROLES_OF["desk"]}
    return render(request, "studio/advice.html", context, status=422 if form.is_bound else 200)


@access("desk")
@require_POST
def told(request: MemberRequest, offer_id: int) -> HttpResponse:
    """Somebody was told by telephone and has not answered yet."""
    offer = desk.one_offer(request.member.studio, offer_id)
    if offer is None:
        raise Http404
    try:
        offers.offer_made(
            studio=request.member.studio, offer_id=offer_id, channel="telephone", actor=request.member.actor,
            at=timezone.now(),
        )  # fmt: skip
    except DomainError as error:
        messages.info(request, f"Not offered. {plain(error)}")
    else:
        messages.success(request, f"On record: {offer.title} was told by telephone; no answer yet.")
    return redirect("studio:advice", offer.vehicle_id)


@access("desk")
@require_http_methods(["GET", "POST"])
def withdraw(request: MemberRequest, offer_id: int) -> HttpResponse:
    """Take advice back, with the new evidence."""
    studio = request.member.studio
    offer = desk.one_offer(studio, offer_id)
    if offer is None:
        raise Http404
    beside = advice_reads.sheet(studio, offer_id, today=studio_today(request))
    form = WithdrawForm(request.POST or None, evidence=beside.evidence)
    if request.method == "POST" and form.is_valid():
        verb = partial(
            offers.withdraw, studio=studio, offer_id=offer_id, actor=request.member.actor, at=timezone.now(),
            **form.cleaned_data,
        )  # fmt: skip
        if attempt(form, verb) is not None:
            messages.success(request, f"Taken back: {offer.title} for {offer.plate}.")
            return redirect("studio:advice", offer.vehicle_id)
    context = {"offer": offer, "form": form}
    return render(request, "studio/withdraw.html", context, status=422 if form.is_bound else 200)


@access("owner")
@require_GET
def slipping(request: MemberRequest) -> HttpResponse:
    """Customers who stay away longer than is usual for them, with a suggestion for each."""
    found = slips.slipping(request.member.studio, today=studio_today(request), page=page_number(request))
    return render(request, "studio/slipping.html", {"found": found, "page": found.page, "more": other_pages(request)})


@access("owner")
@require_GET
def comes_back(request: MemberRequest) -> HttpResponse:
    """Every customer with the chance that they come back, and what to expect of them."""
    found = comers.comes_back(request.member.studio, page=page_number(request))
    return render(request, "studio/comes_back.html", {"found": found, "page": found.page, "more": other_pages(request)})


@access("owner")
@require_GET
def acceptance(request: MemberRequest) -> HttpResponse:
    """How often advice is taken up, per care, site and reason."""
    return render(request, "studio/acceptance.html", {"view": acceptance_reads.by_care(request.member.studio)})


@access("owner")
@require_GET
def decisions(request: MemberRequest) -> HttpResponse:
    """The decisions behind one figure."""
    page = acceptance_reads.decisions(
        request.member.studio,
        task=request.GET.get("task", "")[:40],
        site_id=bounded_int(request.GET.get("site", ""), low=0, high=2**31, default=0) or None,
        reason=request.GET["reason"][:20] if "reason" in request.GET else None,
        page=page_number(request),
    )
    return render(request, "studio/decisions.html", {"page": page, "more": other_pages(request)})
