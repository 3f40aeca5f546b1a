"""What the customer wants to hear about, and how."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from lifecycle.care import consents, customer_reads
from lifecycle.care.register import set_consent
from lifecycle.care.wishes import Wishes, set_wishes, wishes_of
from lifecycle.errors import DomainError
from portal.access.people import PortalRequest
from portal.access.registry import access

from .forms import HOWS, PURPOSES, WORDINGS, ChoiceForm, WishesForm


@access("customer")
@require_http_methods(["GET", "POST"])
@never_cache
def choices(request: PortalRequest) -> HttpResponse:
    """Each answer is one small form; the words shown are kept with it. Language, hours and pause are another form."""
    if request.method == "POST" and "language" in request.POST:
        return _wish(request)
    if request.method == "POST":
        return _choose(request)
    return _page(request)


def _page(request: PortalRequest, wrong: WishesForm | None = None) -> HttpResponse:
    lines = customer_reads.choices(request.customer_ids)
    wishes = wishes_of(request.customer_ids)
    sent = wrong.data.get("customer") if wrong is not None else None
    context = {
        "lines": [{"line": line, "title": PURPOSES[line.purpose], "wording": WORDINGS[line.purpose]} for line in lines],
        "said": [
            {"line": line, "title": PURPOSES[line.purpose], "how": HOWS.get(line.how, line.how)}
            for line in consents.history(request.customer_ids)
        ],
        "wishes": [(one, wrong if str(one.customer_id) == sent else wishes_form(one)) for one in wishes],
        "several": len(request.customer_ids) > 1,
    }
    return render(request, "customer/choices.html", context, status=200 if wrong is None else 422)


def wishes_form(wishes: Wishes) -> WishesForm:
    """The form of one customer, filled with what holds now."""
    fields: dict[str, Any] = {name: getattr(wishes, name) for name in WishesForm.base_fields if name != "customer"}
    return WishesForm(initial=fields | {"customer": wishes.customer_id}, auto_id=f"id_{wishes.customer_id}_%s")


def _mine(request: PortalRequest, customer_id: int) -> int:
    if customer_id not in request.customer_ids:
        raise Http404
    return customer_id


def _wish(request: PortalRequest) -> HttpResponse:
    sent = request.POST.get("customer", "")
    form = WishesForm(request.POST, auto_id=f"id_{sent}_%s" if sent.isdigit() else "id_%s")
    if form.is_valid():
        fields = dict(form.cleaned_data)
        customer_id = _mine(request, fields.pop("customer"))
        try:
            set_wishes(
                studio=customer_reads.studio_of_customer(customer_id).studio, customer_id=customer_id,
                actor=f"customer:{customer_id}", at=timezone.now(), **fields,
            )  # fmt: skip
        except DomainError as error:
            form.add_error(error.field or None, error.message.removeprefix(f"{error.field}: "))
        else:
            messages.success(request, _("Kept. What is planned from now on follows it."))
            return redirect("customer:choices")
    if "customer" in form.errors:
        raise Http404
    _mine(request, form.cleaned_data["customer"])
    return _page(request, form)


def _choose(request: PortalRequest) -> HttpResponse:
    form = ChoiceForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("That choice could not be read; nothing was changed. Please use the buttons below."))
        return redirect("customer:choices")
    customer_id = _mine(request, form.cleaned_data["customer"])
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
