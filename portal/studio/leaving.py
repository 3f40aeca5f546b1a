"""Who and what leaves: vehicles that left and come back, and a person who is erased."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle.care import directory, erasure, keeping_back, life_reads
from lifecycle.care.wording import day_words
from portal.access.people import MemberRequest
from portal.access.registry import ROLES_OF, access

from .common import attempt, bounded_int, search_text, studio_today
from .life import or_404
from .life_forms import EraseForm, ReadmitForm
from .register import assessed, choose_customer, sent, who_and_when


@access("member")
@require_GET
def left(request: MemberRequest) -> HttpResponse:
    """Vehicles that are no longer looked after here."""
    rows = life_reads.left_vehicles(request.member.studio, search=search_text(request))
    context = {"rows": rows, "q": search_text(request), "may_readmit": request.member.role in ROLES_OF["desk"]}
    return render(request, "studio/left.html", context)


@access("desk")
@require_http_methods(["GET", "POST"])
def readmit(request: MemberRequest, left_id: int) -> HttpResponse:
    """A vehicle that left comes back: first who keeps it now, then since when and under which plate."""
    vehicle: Any = or_404(partial(life_reads.left_vehicle, request.member.studio, left_id))
    facts = {"vehicle_id": vehicle.pk, "vehicle": vehicle.description, "plate": vehicle.plate}
    wanted = request.GET.get("to", "")
    if not wanted:
        return choose_customer(
            request, heading="It comes back", lead="Who keeps it now?", link=lambda pk: f"?to={pk}",
            new=reverse("studio:register_customer"), vehicle=facts,
        )  # fmt: skip
    known = directory.customer(request.member.studio, bounded_int(wanted, low=0, high=2**62, default=0))
    if known is None:
        raise Http404
    today = studio_today(request)
    plate = "" if vehicle.plate.startswith("ERASED ") else vehicle.plate
    form = ReadmitForm(sent(request), today=today, initial={"on": today, "plate": plate})
    if form.is_valid():
        verb = partial(
            keeping_back.readmit_vehicle, vehicle_id=left_id, keeper_id=known.row.id, **form.cleaned_data,
            **who_and_when(request),
        )  # fmt: skip
        if attempt(form, verb) is not None:
            return assessed(request, left_id, f"It is looked after here again, kept by {known.row.name}.")
    context = {
        "form": form, "vehicle": facts, "heading": f"{known.row.name} brings it back",
        "lead": f"It left on {day_words(vehicle.retired_on)}. Its record goes on where it stopped. On record for "
        f"{known.row.name}: care reminders {known.row.reminders}, offers {known.row.offers}.",
        "button": "Take it back",
    }  # fmt: skip
    return render(request, "studio/record.html", context)


def _erase(request: MemberRequest, customer_id: int, form: EraseForm) -> Any:
    with transaction.atomic():
        return erasure.erase_customer(customer_id=customer_id, **form.cleaned_data, **who_and_when(request))


@access("desk")
@require_http_methods(["GET", "POST"])
def erase(request: MemberRequest, customer_id: int) -> HttpResponse:
    """Erase a person, after their name was typed again."""
    if directory.customer(request.member.studio, customer_id) is None:
        raise Http404
    goes = erasure.what_would_go(studio=request.member.studio, customer_id=customer_id)
    form = EraseForm(sent(request))
    if form.is_valid() and attempt(form, partial(_erase, request, customer_id, form)) is not None:
        messages.success(request, "The person is erased. What stays says nothing of who it was.")
        return redirect("studio:customers")
    return render(request, "studio/erase.html", {"form": form, "goes": goes})
