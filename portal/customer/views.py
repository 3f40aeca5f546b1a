"""The customer's pages: what I keep, how it is, what I want to hear about."""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle.care import customer_reads
from lifecycle.care.register import set_consent
from lifecycle.care.sentence import vehicle_sentence
from lifecycle.care.vehicle_reads import vehicle_for_customer
from lifecycle.errors import NotFoundHere
from portal.access.people import PortalRequest
from portal.access.registry import access
from portal.drawings.page import vehicle_page

from .forms import PURPOSES, WORDINGS, ChoiceForm
from .words import due_words, habits_words, visit_words


def _today(request: PortalRequest) -> date:
    """The calendar day where the customer is."""
    return timezone.now().astimezone(ZoneInfo(customer_reads.zone_of(request.customer_ids))).date()


@access("customer")
@require_GET
@never_cache
def home(request: PortalRequest) -> HttpResponse:
    """The vehicles that I keep; with only one, its page at once."""
    kept = customer_reads.kept_ids(request.customer_ids)
    if len(kept) == 1:
        return redirect("customer:vehicle", vehicle_id=kept[0])
    lines = customer_reads.vehicle_lines(customer_ids=request.customer_ids, today=_today(request))
    return render(request, "customer/home.html", {"lines": lines})


@access("customer")
@gzip_page
@require_GET
@never_cache
def vehicle(request: PortalRequest, vehicle_id: int) -> HttpResponse:
    """How my vehicle is, what is due and why, and how we know."""
    try:
        view = vehicle_for_customer(customer_ids=request.customer_ids, vehicle_id=vehicle_id, today=_today(request))
    except NotFoundHere as error:
        raise Http404 from error
    context = {
        "page": vehicle_page(view),
        "vehicle": view,
        "sentence": vehicle_sentence(view),
        "dues": due_words(view),
        "visits": [visit_words(visit, view.today) for visit in view.proposals if len(visit.tasks) > 1],
        "habits": habits_words(view),
    }
    return render(request, "customer/vehicle.html", context)


@access("customer")
@require_http_methods(["GET", "POST"])
@never_cache
def choices(request: PortalRequest) -> HttpResponse:
    """What I want to hear about. Each answer is one small form; the words shown are kept with it."""
    if request.method == "POST":
        return _choose(request)
    lines = customer_reads.choices(request.customer_ids)
    context = {
        "lines": [{"line": line, "title": PURPOSES[line.purpose], "wording": WORDINGS[line.purpose]} for line in lines],
        "several": len(request.customer_ids) > 1,
    }
    return render(request, "customer/choices.html", context)


def _choose(request: PortalRequest) -> HttpResponse:
    form = ChoiceForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("That choice could not be read; nothing was changed. Please use the buttons below."))
        return redirect("customer:choices")
    customer_id: int = form.cleaned_data["customer"]
    if customer_id not in request.customer_ids:
        raise Http404
    purpose: str = form.cleaned_data["purpose"]
    given = form.cleaned_data["answer"] == "yes"
    set_consent(
        studio=customer_reads.studio_of_customer(customer_id).studio,
        customer_id=customer_id,
        purpose=purpose,
        given=given,
        how="own page",
        wording=str(WORDINGS[purpose]),
        actor=f"customer:{customer_id}",
        at=timezone.now(),
    )
    said = _("%(purpose)s: yes, from now on.") if given else _("%(purpose)s: no more, from now on.")
    messages.success(request, said % {"purpose": PURPOSES[purpose]})
    return redirect("customer:choices")
