"""A contract's date, a new keeper, and a vehicle that leaves for good."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from lifecycle.care import directory, keeping, register
from lifecycle.care.keeping_reads import Kept
from lifecycle.care.wording import day_words
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import attempt, bounded_int, studio_today
from .keeping_forms import ContractForm, RetireForm
from .register import (
    assessed,
    choose_customer,
    keep_statements,
    kept_or_404,
    person_initial,
    register_person,
    sent,
    who_and_when,
)
from .register_forms import NewKeeperForm, TransferForm

NEW = "new"


@access("desk")
@require_http_methods(["GET", "POST"])
def contract(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Record an inspection that a contract asks for on a date."""
    vehicle = kept_or_404(request, vehicle_id)
    form = ContractForm(sent(request))
    if form.is_valid():
        verb = partial(register.add_contract_term, vehicle_id=vehicle_id, **form.cleaned_data, **who_and_when(request))
        if attempt(form, verb) is not None:
            return assessed(request, vehicle_id, "The contract's date is on record; care is planned around it.")
    context = {
        "form": form,
        "vehicle": vehicle,
        "heading": "Record a contract's date",
        "lead": "Only dates are kept here. Whether anything is covered is not judged.",
    }
    return render(request, "studio/record.html", context)


def _transfer(request: MemberRequest, vehicle_id: int, form: TransferForm | NewKeeperForm, to: int | None) -> Any:
    with transaction.atomic():  # the person, what they said and the transfer, or nothing
        if to is None:
            to = register_person(request, form, since=form.cleaned_data["on"]).pk
        else:
            keep_statements(request, to, form)
        return register.transfer(
            vehicle_id=vehicle_id, to_customer_id=to, on=form.cleaned_data["on"], **who_and_when(request)
        )


@access("desk")
@require_http_methods(["GET", "POST"])
def transfer(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """The vehicle has a new keeper: first who it is, then since when and what they agree to."""
    vehicle, today = kept_or_404(request, vehicle_id), studio_today(request)
    wanted = request.GET.get("to", "")
    if not wanted:
        return _choose_keeper(request, vehicle)
    known = None
    if wanted != NEW:
        known = directory.customer(request.member.studio, bounded_int(wanted, low=0, high=2**62, default=0))
        if known is None:
            raise Http404
    initial = {"on": today, **person_initial(request)}
    form_class = TransferForm if known is not None else NewKeeperForm
    form = form_class(sent(request), today=today, initial=initial)
    if form.is_valid():
        keeper = attempt(
            form, partial(_transfer, request, vehicle_id, form, known.row.id if known is not None else None)
        )
        if keeper is not None:
            messages.success(
                request,
                f"{keeper.customer.name} keeps it since {day_words(keeper.start)}. "
                "Ask how it is used now, and record it.",
            )
            return redirect("studio:vehicle", vehicle_id=vehicle_id)
    context = {"form": form, "vehicle": vehicle, "known": known.row if known is not None else None}
    return render(request, "studio/transfer.html", context)


def _choose_keeper(request: MemberRequest, vehicle: Kept) -> HttpResponse:
    return choose_customer(
        request,
        heading="A new keeper",
        lead="Who keeps it now?",
        link=lambda customer_id: f"?to={customer_id}",
        new=f"?to={NEW}",
        vehicle=vehicle,
    )


@access("desk")
@require_http_methods(["GET", "POST"])
def retire(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """The vehicle was sold outside or scrapped: it is no longer looked after here."""
    vehicle, today = kept_or_404(request, vehicle_id), studio_today(request)
    form = RetireForm(sent(request), today=today, initial={"on": today})
    if form.is_valid():
        verb = partial(keeping.retire_vehicle, vehicle_id=vehicle_id, **form.cleaned_data, **who_and_when(request))
        if attempt(form, verb) is not None:
            messages.success(
                request, f"{vehicle.plate} is no longer looked after here. Nothing is due, and nobody is reminded."
            )
            return redirect("studio:vehicle", vehicle_id=vehicle_id)
    context = {
        "form": form,
        "vehicle": vehicle,
        "heading": "The vehicle leaves",
        "button": "Let it go",
        "lead": "What is due is withdrawn, visits booked for later days are cancelled, and its keeper no longer sees "
        "it. The record stays. If somebody else keeps it and still comes here, record a new keeper instead.",
    }
    return render(request, "studio/record.html", context)
