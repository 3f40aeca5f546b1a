"""Customers: who they are, what they agreed to, what they complained about."""

from __future__ import annotations

from functools import partial

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from lifecycle.care import directory, register
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import attempt, other_pages, page_number, plain, search_text
from .forms import ComplaintForm, ConsentForm


@access("desk")
@require_GET
def customers(request: MemberRequest) -> HttpResponse:
    """Customers by name, with what they agreed to."""
    page = directory.customers(request.member.studio, search=search_text(request), page=page_number(request))
    context = {"page": page, "q": search_text(request), "more": other_pages(request)}
    return render(request, "studio/customers.html", context)


@access("desk")
@require_http_methods(["GET", "POST"])
def customer(request: MemberRequest, customer_id: int) -> HttpResponse:
    """One customer; records a statement of consent or a complaint, as the button says."""
    consent = ConsentForm(request.POST if request.POST.get("record") == "consent" else None)
    complaint = ComplaintForm(request.POST if request.POST.get("record") == "complaint" else None)
    done = ""
    if consent.is_valid() and attempt(consent, partial(_set_consent, request, customer_id, consent)) is not None:
        done = "The statement is on record and holds at once."
    elif complaint.is_valid() and attempt(complaint, partial(_open_complaint, request, customer_id, complaint)):
        done = "The complaint is on record. Until it is closed nothing promotional is sent."
    if done:
        messages.success(request, done)
        return redirect("studio:customer", customer_id=customer_id)
    view = directory.customer(request.member.studio, customer_id)
    if view is None:
        raise Http404
    context = {"customer": view, "consent_form": consent, "complaint_form": complaint}
    return render(request, "studio/customer.html", context)


def _set_consent(request: MemberRequest, customer_id: int, form: ConsentForm) -> object:
    return register.set_consent(
        studio=request.member.studio,
        customer_id=customer_id,
        actor=request.member.actor,
        at=timezone.now(),
        **form.cleaned_data,
    )


def _open_complaint(request: MemberRequest, customer_id: int, form: ComplaintForm) -> object:
    return register.open_complaint(
        studio=request.member.studio,
        customer_id=customer_id,
        about=form.cleaned_data["about"],
        actor=request.member.actor,
        at=timezone.now(),
    )


@access("desk")
@require_POST
def close_complaint(request: MemberRequest, customer_id: int, complaint_id: int) -> HttpResponse:
    """Close a complaint."""
    try:
        register.close_complaint(
            studio=request.member.studio, complaint_id=complaint_id, actor=request.member.actor, at=timezone.now()
        )
    except NotFoundHere as error:
        raise Http404 from error
    except DomainError as error:
        messages.error(request, plain(error))
    else:
        messages.success(request, "The complaint is closed.")
    return redirect("studio:customer", customer_id=customer_id)
