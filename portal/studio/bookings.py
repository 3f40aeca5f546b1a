"""Booked visits, and what became of them."""

from __future__ import annotations

from functools import partial

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from lifecycle import condition
from lifecycle.care import directory, visits
from lifecycle.care.wording import day_words
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import attempt, other_pages, page_number, studio_today
from .forms import SettleForm


@access("desk")
@require_GET
def bookings(request: MemberRequest) -> HttpResponse:
    """Visits in the book, soonest first; or those that are over."""
    settled = request.GET.get("show") == "over"
    page = directory.bookings(
        request.member.studio, today=studio_today(request), settled=settled, page=page_number(request)
    )
    context = {"page": page, "settled": settled, "more": other_pages(request), "form": SettleForm()}
    return render(request, "studio/bookings.html", context)


@access("desk")
@require_POST
def settle(request: MemberRequest, visit_id: int) -> HttpResponse:
    """Say what became of one visit."""
    form = SettleForm(request.POST)
    if form.is_valid():
        at = timezone.now()
        verb = partial(
            visits.settle,
            studio=request.member.studio,
            visit_id=visit_id,
            state=form.cleaned_data["state"],
            paid=form.cleaned_data["paid"] if form.cleaned_data["state"] == "done" else None,
            actor=request.member.actor,
            at=at,
        )
        visit = attempt(form, verb)
        if visit is not None:
            condition.assess_one(studio=request.member.studio, vehicle_id=visit.vehicle_id, at=at)
            messages.success(
                request, f"The visit of {day_words(visit.on)} is on record as {visit.get_state_display()}."
            )
            return redirect("studio:bookings")
    for errors in form.errors.values():
        for error in errors:
            messages.error(request, f"Not kept: {error}")
    return redirect("studio:bookings")
