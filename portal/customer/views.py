"""The customer's pages: what I keep, how it is, what I want to hear about."""

from __future__ import annotations

from uuid import UUID

from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.cache import patch_vary_headers
from django.views.decorators.cache import never_cache
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET

from lifecycle.care import customer_reads
from lifecycle.care.photos import photo_file, photos_for_customer
from lifecycle.care.reports.reads import of_customer
from lifecycle.care.sentence import vehicle_sentence
from lifecycle.care.tongue.measures import thickness_words
from lifecycle.care.vehicle_reads import vehicle_for_customer
from lifecycle.care.vehicle_view import VehicleView
from lifecycle.errors import NotFoundHere
from portal.access.people import PortalRequest
from portal.access.registry import access
from portal.drawings.page import surface_page, vehicle_page
from portal.drawings.section import THIN_UM
from portal.pictures import picture_answer

from .common import today_of
from .words import due_words, habits_words, inputs_words, visit_words


@access("customer")
@require_GET
@never_cache
def home(request: PortalRequest) -> HttpResponse:
    """The vehicles that I keep; with only one, its page at once."""
    kept = customer_reads.kept_ids(request.customer_ids)
    if len(kept) == 1:
        return redirect("customer:vehicle", vehicle_id=kept[0])
    lines = customer_reads.vehicle_lines(customer_ids=request.customer_ids, today=today_of(request))
    return render(request, "customer/home.html", {"lines": lines})


def _mine(request: PortalRequest, vehicle_id: int) -> VehicleView:
    try:
        return vehicle_for_customer(customer_ids=request.customer_ids, vehicle_id=vehicle_id, today=today_of(request))
    except NotFoundHere as error:
        raise Http404 from error


@access("customer")
@gzip_page
@require_GET
@never_cache
def surface(request: PortalRequest, vehicle_id: int, surface_id: int) -> HttpResponse:
    """One surface with its section and courses: what its fold holds, or a page of its own."""
    view = _mine(request, vehicle_id)
    number, row = next(((n, one) for n, one in enumerate(view.surfaces, 1) if one.id == surface_id), (0, None))
    if row is None:
        raise Http404
    context = {"vehicle": view, "surface": surface_page(number, row, view), "inputs": inputs_words(view)}
    part = bool(getattr(request, "htmx", False))
    answer = render(request, "customer/surface_part.html" if part else "customer/surface.html", context)
    patch_vary_headers(answer, ["HX-Request"])
    return answer


@access("customer")
@gzip_page
@require_GET
@never_cache
def vehicle(request: PortalRequest, vehicle_id: int) -> HttpResponse:
    """How my vehicle is, what is due and why, and how we know. Only the worst surface comes with its drawings, the
    others when their fold is opened; all of them where the whole page is asked for, to print."""
    view = _mine(request, vehicle_id)
    whole = "whole" in request.GET
    context = {
        "page": vehicle_page(view, whole=whole),
        "whole": whole,
        "thin": thickness_words(THIN_UM),
        "vehicle": view,
        "sentence": vehicle_sentence(view),
        "dues": due_words(view),
        "visits": [(visit.id, visit_words(visit, view.today)) for visit in view.proposals],
        "habits": habits_words(view),
        "inputs": inputs_words(view),
        "phone": view.studio_phone.replace(" ", "\u00a0"),  # no line breaks it
        "photos": photos_for_customer(request.customer_ids, vehicle_id),
        "reports": of_customer(request.customer_ids, vehicle_id),
    }
    return render(request, "customer/vehicle.html", context)


@access("customer")
@require_GET
def photo(request: PortalRequest, uid: UUID, size: str) -> HttpResponseBase:
    """One photo of a vehicle that I keep, added since I took it over."""
    try:
        return picture_answer(request, photo_file(uid, size, customer_ids=request.customer_ids))
    except NotFoundHere as error:
        raise Http404 from error
