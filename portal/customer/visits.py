"""A customer's visits: ask, choose, move, cancel, and put them into a calendar."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from lifecycle.care import asking, feeds, visit_reads
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import PortalRequest
from portal.access.registry import access
from portal.calendars import calendar_answer, feed_url
from portal.studio.common import attempt, plain

from .visit_forms import AskForm, MoveForm, SeenForm
from .words import cost_words

Read = TypeVar("Read")
OPEN = ("asked", "offered", "booked")


def _or_404(read: Callable[[], Read]) -> Read:
    try:
        return read()
    except NotFoundHere as error:
        raise Http404 from error


def _visit(request: PortalRequest, visit_id: int) -> visit_reads.VisitView:
    return _or_404(partial(visit_reads.visit_of_customer, request.customer_ids, visit_id, at=timezone.now()))


def _who(request: PortalRequest, visit: visit_reads.VisitView) -> dict[str, Any]:
    """Studio, customer, actor and time of a deed on a visit. A vehicle that is no longer theirs answers 404."""
    if visit.customer_id is None or visit.customer_id not in request.customer_ids:
        raise Http404
    return {
        "studio": visit_reads.studio_of_visit(request.customer_ids, visit.id), "visit_id": visit.id,
        "customer_id": visit.customer_id, "actor": f"customer:{visit.customer_id}", "at": timezone.now(),
    }  # fmt: skip


@access("customer")
@require_GET
@never_cache
def visits(request: PortalRequest) -> HttpResponse:
    """What is asked for, booked and over, and the private calendar address."""
    rows = visit_reads.visits_of_customer(request.customer_ids, at=timezone.now())
    lines = [{"visit": row, "cost": cost_words(row.price, row.currency)} for row in rows]
    coming = [line for line in reversed(lines) if line["visit"].state in OPEN]
    feed = feeds.feeds_of_customers(request.customer_ids)
    context = {
        "coming": coming, "over": [line for line in lines if line["visit"].state not in OPEN],
        "feeds": [(row, feed_url(row.token) if row.token else "") for row in feed], "several": len(feed) > 1,
        "vehicles": visit_reads.vehicles_to_ask_for(request.customer_ids),
    }  # fmt: skip
    return render(request, "customer/visits.html", context)


@access("customer")
@require_http_methods(["GET", "POST"])
@never_cache
def ask(request: PortalRequest, vehicle_id: int, proposal_id: int | None = None) -> HttpResponse:
    """Ask for a visit, or accept the proposed one on a day of its window."""
    at = timezone.now()
    choices = _or_404(
        partial(visit_reads.ask_choices, request.customer_ids, vehicle_id, proposal_id=proposal_id, at=at)
    )
    form = AskForm(request.POST or None, choices=choices)
    if form.is_valid():
        verb = partial(
            asking.ask, studio=choices.studio, vehicle_id=vehicle_id, customer_id=choices.customer_id,
            proposal_id=proposal_id, actor=f"customer:{choices.customer_id}", at=at, **form.cleaned_data,
        )  # fmt: skip
        if attempt(form, verb) is not None:
            messages.success(request, _("The studio has your request and will answer. Until then nothing is booked."))
            return redirect("customer:visits")
    context = {"form": form, "choices": choices, "cost": cost_words(choices.price, choices.currency)}
    return render(request, "customer/ask.html", context)


@access("customer")
@require_http_methods(["GET", "POST"])
@never_cache
def move(request: PortalRequest, visit_id: int) -> HttpResponse:
    """Ask for another day."""
    visit = _visit(request, visit_id)
    who = _who(request, visit)
    form = MoveForm(request.POST or None, visit=visit, today=who["studio"].day(who["at"]))
    if form.is_valid() and attempt(form, partial(asking.ask_for_day, **form.cleaned_data, **who)) is not None:
        messages.success(request, _("The studio has your request for another day and will answer."))
        return redirect("customer:visits")
    return render(request, "customer/move.html", {"form": form, "visit": visit})


def _deed(request: PortalRequest, verb: Callable[[], object], said: str) -> HttpResponse:
    try:
        verb()
    except NotFoundHere as error:
        raise Http404 from error
    except DomainError as error:
        messages.error(request, plain(error))
    else:
        messages.success(request, said)
    return redirect("customer:visits")


@access("customer")
@require_http_methods(["GET", "POST"])
@never_cache
def cancel(request: PortalRequest, visit_id: int) -> HttpResponse:
    """Ask once more, then cancel."""
    visit = _visit(request, visit_id)
    who = _who(request, visit)
    form = SeenForm(request.POST or None)
    if form.is_valid():
        verb = partial(asking.call_off, seen=form.cleaned_data["seen"], **who)
        return _deed(request, verb, _("It is cancelled; the studio sees it at once."))
    return render(request, "customer/cancel.html", {"visit": visit})


@access("customer")
@require_POST
def choose(request: PortalRequest, visit_id: int) -> HttpResponse:
    """Choose one of the offered days."""
    who = _who(request, _visit(request, visit_id))
    form = SeenForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("Choose one of the days below."))
        return redirect("customer:visits")
    return _deed(request, partial(asking.choose_day, **form.cleaned_data, **who), _("That day is booked."))


@access("customer")
@require_GET
def visit_ics(request: PortalRequest, visit_id: int) -> HttpResponse:
    """One visit as a calendar file."""
    return calendar_answer(request, [_visit(request, visit_id)], name="visit.ics", for_site=False)


@access("customer")
@require_POST
def feed(request: PortalRequest, customer_id: int) -> HttpResponse:
    """Make, renew or end the private calendar address of one studio."""
    if customer_id not in request.customer_ids:
        raise Http404
    verb = feeds.end if request.POST.get("do") == "end" else feeds.make
    said = _("The calendar address works no longer.") if verb is feeds.end else _("The calendar address is new.")
    given = {"actor": f"customer:{customer_id}", "at": timezone.now()}
    return _deed(request, partial(verb, customer_id=customer_id, **given), said)
