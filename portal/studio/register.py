"""Put customers, vehicles and surfaces on record, and mend what is on record about them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import partial
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle import condition
from lifecycle.care import directory, keeping, register
from lifecycle.care.keeping_reads import Kept, SurfaceFacts, kept
from lifecycle.care.surface_presets import presets_of
from lifecycle.care.wording import day_words
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import access

from .bodies import outlines
from .common import attempt, other_pages, page_number, plain, search_text, studio_today
from .register_forms import (
    BODY_WORDS,
    FINISH_WORDS,
    ORIENTATION_WORDS,
    AskedForm,
    ChangeCustomerForm,
    ChangeVehicleForm,
    CustomerForm,
    NewKeeperForm,
    OwnSurfaceForm,
    SurfaceFields,
    UsualSurfacesForm,
    VehicleForm,
)

AGREED = {"service": "care reminders", "promotion": "offers"}


def kept_or_404(request: MemberRequest, vehicle_id: int) -> Kept:
    """A vehicle of this studio that is still looked after here."""
    try:
        vehicle = kept(request.member.studio, vehicle_id)
    except NotFoundHere as error:
        raise Http404 from error
    if vehicle.retired_on is not None:
        raise Http404
    return vehicle


def assessed(request: MemberRequest, vehicle_id: int, said: str) -> HttpResponse:
    """After a change that matters to the forecast: assess, say what was done, show the vehicle."""
    condition.assess_one(studio=request.member.studio, vehicle_id=vehicle_id, at=timezone.now())
    messages.success(request, said)
    return redirect("studio:vehicle", vehicle_id=vehicle_id)


def who_and_when(request: MemberRequest) -> dict[str, Any]:
    """What every verb asks for: the studio, who does it and when."""
    return {"studio": request.member.studio, "actor": request.member.actor, "at": timezone.now()}


def sent(request: MemberRequest) -> Any:
    """The sent form, or None where the page is only looked at."""
    return request.POST if request.method == "POST" else None


def keep_statements(request: MemberRequest, customer_id: int, form: AskedForm) -> None:
    """Record each consent that was ticked, in its words."""
    for said in form.statements():
        register.set_consent(
            customer_id=customer_id,
            purpose=said.purpose,
            given=True,
            how=said.how,
            wording=said.wording,
            **who_and_when(request),
        )


def person_initial(request: MemberRequest) -> dict[str, Any]:
    """What a new customer's form starts from."""
    return {"language": request.member.studio.language, "zone": request.member.studio.zone}


def register_person(request: MemberRequest, form: CustomerForm | NewKeeperForm, *, since: date) -> Any:
    """Put a person on record together with what they said, or nothing of it."""
    with transaction.atomic():
        person = register.register_customer(since=since, **form.person(), **who_and_when(request))
        keep_statements(request, person.pk, form)
    return person


@access("desk")
@require_http_methods(["GET", "POST"])
def register_customer(request: MemberRequest) -> HttpResponse:
    """Put a customer on record, with the consents that were asked at the same time."""
    today = studio_today(request)
    form = CustomerForm(sent(request), today=today, initial={**person_initial(request), "since": today})
    if form.is_valid():
        person = attempt(form, partial(register_person, request, form, since=form.cleaned_data["since"]))
        if person is not None:
            agreed = " and ".join(AGREED[said.purpose] for said in form.statements()) or "nothing yet"
            messages.success(request, f"{person.name} is on record and agrees to {agreed}.")
            return redirect("studio:customer", customer_id=person.pk)
    return render(request, "studio/register_customer.html", {"form": form})


@access("desk")
@require_http_methods(["GET", "POST"])
def change_customer(request: MemberRequest, customer_id: int) -> HttpResponse:
    """Change how a customer is called and reached."""
    view = directory.customer(request.member.studio, customer_id)
    if view is None:
        raise Http404
    initial = {name: getattr(view.row, name) for name in ("name", "email", "phone", "fleet")}
    initial |= {"language": view.language, "zone": view.zone}
    form = ChangeCustomerForm(sent(request), initial=initial)
    if form.is_valid():
        verb = partial(keeping.change_customer, customer_id=customer_id, **form.person(), **who_and_when(request))
        person = attempt(form, verb)
        if person is not None:
            moved = person.email != view.row.email
            messages.success(
                request,
                "The changes are on record."
                + (" Whoever reads the old mailbox can no longer sign in here." if moved and view.row.email else ""),
            )
            return redirect("studio:customer", customer_id=customer_id)
    return render(request, "studio/change_customer.html", {"form": form, "customer": view.row})


def choose_customer(request: MemberRequest, *, link: Callable[[int], str], **context: Any) -> HttpResponse:
    """A page on which one customer is chosen.

    Args:
        link: the address behind a customer's number.
        context: `heading`, `lead`, `new` (the address for somebody who is not on record), `vehicle` where there is one.
    """
    page = directory.customers(request.member.studio, search=search_text(request), page=page_number(request))
    rows = [{"row": row, "url": link(row.id)} for row in page.rows]
    context |= {"rows": rows, "page": page, "q": search_text(request), "more": other_pages(request)}
    return render(request, "studio/choose_customer.html", context)


@access("desk")
@require_GET
def new_vehicle(request: MemberRequest) -> HttpResponse:
    """Whose vehicle is it? The first step of putting a vehicle on record."""
    return choose_customer(
        request,
        heading="Register a vehicle",
        lead="Whose vehicle is it?",
        link=lambda customer_id: reverse("studio:register_vehicle", args=[customer_id]),
        new=reverse("studio:register_customer"),
    )


def _register_vehicle(request: MemberRequest, form: VehicleForm, customer_id: int, body: str) -> Any:
    with transaction.atomic():  # the vehicle with its surfaces, or nothing
        vehicle = register.register_vehicle(
            keeper_id=customer_id,
            body=body,
            first_seen=form.cleaned_data["first_seen"],
            **form.vehicle(),
            **who_and_when(request),
        )
        keeping.add_usual_surfaces(vehicle_id=vehicle.pk, codes=form.cleaned_data["surfaces"], **who_and_when(request))
    return vehicle


@access("desk")
@require_http_methods(["GET", "POST"])
def register_vehicle(request: MemberRequest, customer_id: int) -> HttpResponse:
    """Put a customer's vehicle on record: first its body, then the rest with the surfaces which that body has."""
    view = directory.customer(request.member.studio, customer_id)
    if view is None:
        raise Http404
    body, today = request.GET.get("body", ""), studio_today(request)
    if body not in BODY_WORDS:
        return render(request, "studio/choose_body.html", {"customer": view.row, "bodies": outlines(BODY_WORDS)})
    presets, sites = presets_of(body), directory.site_choices(request.member.studio)
    initial = {"first_seen": today, "surfaces": [preset.code for preset in presets if preset.usual]}
    form = VehicleForm(sent(request), today=today, sites=sites, presets=presets, initial=initial)
    if form.is_valid():
        vehicle = attempt(form, partial(_register_vehicle, request, form, customer_id, body))
        if vehicle is not None:
            said = f"{vehicle.plate} is on record. Next: how it is used, and the layers that are on it."
            return assessed(request, vehicle.pk, said)
    context = {"form": form, "customer": view.row, "body": BODY_WORDS[body], "sites": sites}
    return render(request, "studio/register_vehicle.html", context)


@access("desk")
@require_http_methods(["GET", "POST"])
def change_vehicle(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Mend what is on record about a vehicle."""
    vehicle = kept_or_404(request, vehicle_id)
    names = ("plate", "size", "colour", "paint", "powertrain", "body")
    initial = {name: getattr(vehicle, name) for name in names}
    initial |= {"description": vehicle.vehicle, "site": vehicle.site_id}
    form = ChangeVehicleForm(sent(request), sites=directory.site_choices(request.member.studio), initial=initial)
    if form.is_valid():
        verb = partial(keeping.change_vehicle, vehicle_id=vehicle_id, **form.vehicle(), **who_and_when(request))
        if attempt(form, verb) is not None:
            return assessed(request, vehicle_id, "The changes are on record. The forecast below counts them.")
    context = {
        "form": form,
        "vehicle": vehicle,
        "heading": "Change the vehicle's particulars",
        "button": "Keep the changes",
    }
    return render(request, "studio/record.html", context)


def _add_usual(request: MemberRequest, vehicle_id: int, form: UsualSurfacesForm) -> Any:
    return keeping.add_usual_surfaces(
        vehicle_id=vehicle_id, codes=form.cleaned_data["surfaces"], **who_and_when(request)
    )


def _add_own(request: MemberRequest, vehicle_id: int, form: OwnSurfaceForm) -> Any:
    return (register.add_surface(vehicle_id=vehicle_id, **form.cleaned_data, **who_and_when(request)),)


@access("member")
@require_http_methods(["GET", "POST"])
def surfaces(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """The surfaces of a vehicle; adds those of the usual list, or one of the studio's own."""
    vehicle, today, which = kept_or_404(request, vehicle_id), studio_today(request), request.POST.get("record")
    had = {row.code for row in vehicle.surfaces}
    presets = [preset for preset in presets_of(vehicle.body) if preset.code not in had]
    usual = UsualSurfacesForm(request.POST if which == "usual" else None, presets=presets)
    own = OwnSurfaceForm(request.POST if which == "own" else None, today=today)
    added = None
    if usual.is_valid():
        added = attempt(usual, partial(_add_usual, request, vehicle_id, usual))
    elif own.is_valid():
        added = attempt(own, partial(_add_own, request, vehicle_id, own))
    if added is not None:
        count = len(added)
        return assessed(request, vehicle_id, f"{count} surface{'s' if count > 1 else ''} added.")
    context = {
        "vehicle": vehicle,
        "rows": [{"row": row, **_surface_words(row)} for row in vehicle.surfaces],
        "usual_form": usual if presets else None,
        "own_form": own,
    }
    return render(request, "studio/surfaces.html", context)


def _surface_words(row: SurfaceFacts) -> dict[str, str]:
    finish = FINISH_WORDS[row.finish] + (f" on {day_words(row.refinished_on)}" if row.refinished_on else "")
    return {"lies": ORIENTATION_WORDS[row.orientation], "finish": finish}


@access("member")
@require_http_methods(["GET", "POST"])
def change_surface(request: MemberRequest, vehicle_id: int, surface_id: int) -> HttpResponse:
    """Change one surface, or take off one that was entered by mistake."""
    vehicle = kept_or_404(request, vehicle_id)
    surface = next((row for row in vehicle.surfaces if row.id == surface_id), None)
    if surface is None:
        raise Http404
    names = ("orientation", "substrate", "finish", "refinished_on")
    wants_removal = request.POST.get("record") == "remove"
    form = SurfaceFields(
        None if wants_removal else sent(request),
        today=studio_today(request),
        initial={name: getattr(surface, name) for name in names},
    )
    if wants_removal:
        try:
            keeping.remove_surface(surface_id=surface_id, **who_and_when(request))
        except DomainError as error:
            messages.error(request, plain(error))
        else:
            return assessed(request, vehicle_id, f"The {surface.name} is off the record.")
    elif form.is_valid():
        verb = partial(keeping.change_surface, surface_id=surface_id, **form.cleaned_data, **who_and_when(request))
        if attempt(form, verb) is not None:
            return assessed(request, vehicle_id, f"The {surface.name} is changed. The forecast below counts it.")
    return render(request, "studio/change_surface.html", {"form": form, "vehicle": vehicle, "surface": surface})
