"""What if: how the forecast would change if the vehicle were used otherwise; one tap makes it how it really is used."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from lifecycle.care.another_use import Asked, answer, asked
from lifecycle.care.told import keeping, report_use, with_outcome
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import PortalRequest
from portal.access.registry import access
from portal.studio.common import plain

from .answer_words import answer_words, shift_words
from .common import today_of
from .use_forms import UseForm, initial_of


@access("customer")
@require_http_methods(["GET", "POST"])
@never_cache
def what_if(request: PortalRequest, vehicle_id: int) -> HttpResponse:
    """Ask by GET, so that a question has an address; say by POST that it is so."""
    try:
        vehicle = asked(customer_ids=request.customer_ids, vehicle_id=vehicle_id, today=today_of(request))
    except NotFoundHere as error:
        raise Http404 from error
    given = request.POST if request.method == "POST" else request.GET
    now, km = initial_of(vehicle.use), vehicle.use.km_per_year
    if "parking" in given:
        form = UseForm(given, present_km=km)
    elif given.keys() & now.keys():  # a link that names one value; the rest is as now
        form = UseForm(now | given.dict(), present_km=km)
    else:
        form = UseForm(initial=now, present_km=km)
    if request.method == "POST" and form.is_valid():
        try:
            return _keep(request, vehicle, form)
        except DomainError as error:
            form.add_error(None, plain(error))
    context: dict[str, Any] = {"form": form, "vehicle": vehicle, "same": False, "answer": None}
    if form.is_bound and form.is_valid():
        found = answer(vehicle, form.use())
        context["same"] = found is None
        if found is not None:
            context["answer"] = answer_words(
                found, today=vehicle.today, currency=vehicle.currency, drawn=given.get("drawn", "")
            )
            context["climate"] = found.climate
    page = "customer/what_if_answer.html" if getattr(request, "htmx", False) else "customer/what_if.html"
    return render(request, page, context)


def _keep(request: PortalRequest, vehicle: Asked, form: UseForm) -> HttpResponse:
    at = timezone.now()
    keeper = keeping(request.customer_ids, vehicle.id)
    verb = partial(report_use, vehicle, form.use(), actor=f"customer:{keeper.customer_id}", at=at)
    _habits, moved = with_outcome(vehicle.studio, vehicle.id, verb, at=at)
    messages.success(request, _("From today on the forecast counts it like this. It can be taken back today, below."))
    messages.info(request, shift_words(moved))
    return redirect("customer:log", vehicle_id=vehicle.id)
