"""Share the care record of my vehicle with a buyer: make a link, see how often it was opened, end it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from lifecycle.care.care_record import sharing
from lifecycle.care.care_record.reads import sharing as read
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import PortalRequest
from portal.access.registry import access
from portal.record_page import page_url
from portal.reports import qr

SHOWN_ONCE = "record_token"


class DaysForm(forms.Form):
    """How long a link lives."""

    days = forms.TypedChoiceField(
        label=gettext_lazy("How long it works"), coerce=int, widget=forms.RadioSelect,
        choices=[(14, gettext_lazy("14 days")), (60, gettext_lazy("60 days")), (180, gettext_lazy("180 days"))],
        error_messages={"required": gettext_lazy("Choose how long the link works.")},
    )  # fmt: skip


@access("customer")
@require_http_methods(["GET", "POST"])
@never_cache
def care_record(request: PortalRequest, vehicle_id: int) -> HttpResponse:
    """My links to the record of one vehicle; a new one is shown once, for only its digest is kept."""
    try:
        view = read(request.customer_ids, vehicle_id, at=timezone.now())
        form = DaysForm(request.POST if request.POST.get("do") == "make" else None)
        if request.method == "POST":
            answer = _end(request, vehicle_id) if request.POST.get("do") == "end" else _make(request, vehicle_id, form)
            if answer is not None:
                return answer
    except NotFoundHere as error:
        raise Http404 from error
    context: dict[str, Any] = {"view": view, "form": form, "link": "", "qr": ""}
    fresh = request.session.get(SHOWN_ONCE, {})
    if request.method == "GET" and fresh.get("vehicle") == vehicle_id:
        del request.session[SHOWN_ONCE]
        context["token"], context["link"] = fresh["token"], page_url(fresh["token"])
        context["qr"] = qr.inline_of(context["link"])
    return render(request, "customer/care_record.html", context, status=422 if form.errors else 200)


def _make(request: PortalRequest, vehicle_id: int, form: DaysForm) -> HttpResponse | None:
    if not form.is_valid():
        return None
    at = timezone.now()
    keeper = sharing.kept(request.customer_ids, vehicle_id)
    try:
        made = sharing.share(
            customer_ids=request.customer_ids, vehicle_id=vehicle_id, days=form.cleaned_data["days"],
            actor=f"customer:{keeper.customer_id}", at=at,
        )  # fmt: skip
    except NotFoundHere:
        raise
    except DomainError as error:
        form.add_error(None, error.message)
        return None
    request.session[SHOWN_ONCE] = {"vehicle": vehicle_id, "token": made.token}
    return redirect("customer:care_record", vehicle_id=vehicle_id)


def _end(request: PortalRequest, vehicle_id: int) -> HttpResponse:
    keeper = sharing.kept(request.customer_ids, vehicle_id)
    number = request.POST.get("link", "")
    if not (number.isascii() and number.isdecimal() and len(number) < 18):
        raise Http404
    sharing.end(
        customer_ids=request.customer_ids, vehicle_id=vehicle_id, link_id=int(number),
        actor=f"customer:{keeper.customer_id}", at=timezone.now(),
    )  # fmt: skip
    messages.success(request, _("The link opens nothing any more."))
    return redirect("customer:care_record", vehicle_id=vehicle_id)
