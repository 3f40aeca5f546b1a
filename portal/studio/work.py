"""The work list by reason, and booking a visit from it."""

from __future__ import annotations

from functools import partial

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from lifecycle.care import handover, phoning, visit_reads, visits, worklist
from lifecycle.care.wording import day_words
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.reminders import approval
from portal.access.people import MemberRequest
from portal.access.registry import ROLES_OF, access

from .common import attempt, bounded_int, other_pages, page_number, plain, studio_today
from .forms import BookingForm
from .register import kept_or_404

REQUESTS_SHOWN = 5
WHEN = (("now", "Open now"), ("soon", "Open within 30 days"), ("all", "All that is known"))


@access("member")
@require_GET
def work(request: MemberRequest) -> HttpResponse:
    """Care that is due, grouped by its reason."""
    when = request.GET.get("when", "soon")
    site = bounded_int(request.GET.get("site", ""), low=0, high=2**31, default=0) or None
    listed = worklist.work_list(
        request.member.studio,
        today=studio_today(request),
        site_id=site,
        when=when if when in dict(WHEN) else "soon",
        page=page_number(request),
    )
    may_answer = request.member.role in ROLES_OF["desk"]
    asked = visit_reads.requests(request.member.studio, at=timezone.now()) if may_answer else ()
    context = {
        "requests": asked[:REQUESTS_SHOWN],
        "more_requests": len(asked) - REQUESTS_SHOWN,
        "list": listed,
        "when": when,
        "handovers": handover.of_studio(request.member.studio, at=timezone.now()) if may_answer else (),
        "calls": phoning.to_phone(request.member.studio) if may_answer else (),
        "whens": WHEN,
        "today": studio_today(request),
        "more": other_pages(request),
        "may_book": may_answer,
        "may_pause": may_answer,
        "to_approve": approval.number_waiting(request.member.studio) if may_answer else 0,
        "may_approve": request.member.role in ROLES_OF["owner"],
    }
    return render(request, "studio/work.html", context)


@access("desk")
@require_POST
def phoned(request: MemberRequest, suppression_id: int) -> HttpResponse:
    """Mark a call about a bounced or complained address as made."""
    try:
        phoning.mark_phoned(
            studio=request.member.studio, suppression_id=suppression_id, actor=request.member.actor, at=timezone.now()
        )
    except NotFoundHere as error:
        raise Http404 from error
    except DomainError as error:
        messages.info(request, plain(error))
    else:
        messages.success(request, "Marked as phoned. Nothing is written to this address until it is let in again.")
    return redirect("studio:work")


@access("desk")
@require_http_methods(["GET", "POST"])
def book(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Book a visit for one vehicle; other open windows can ride along."""
    studio, today = request.member.studio, studio_today(request)
    vehicle = kept_or_404(request, vehicle_id)
    windows = worklist.windows_of(studio, vehicle_id, today=today)
    asked = request.GET.getlist("task") or [row.task for row in windows if row.earliest <= today and not row.booked_on]
    start = {"tasks": asked, "on": min((row.day for row in windows if row.task in asked), default=None)}
    form = BookingForm(request.POST or None, windows=windows, today=today, initial=start)
    if request.method == "POST" and form.is_valid():
        verb = partial(
            visits.book,
            studio=studio,
            vehicle_id=vehicle_id,
            on=form.cleaned_data["on"],
            tasks=form.cleaned_data["tasks"],
            hours=form.cleaned_data["hours"],
            actor=request.member.actor,
            at=timezone.now(),
        )
        visit = attempt(form, verb)
        if visit is not None:
            messages.success(
                request, f"Booked for {day_words(visit.on)}: {vehicle.vehicle}, {vehicle.plate}. Its reminders stop."
            )
            return redirect("studio:work")
    return render(request, "studio/book.html", {"form": form, "vehicle": vehicle, "windows": windows})
