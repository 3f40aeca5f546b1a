"""The list of vehicles, and one vehicle with its drawings, numbers and reasons."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from lifecycle.care import directory, worklist
from lifecycle.care.cure_calendar import cure_calendar
from lifecycle.care.keeping_reads import retired_on
from lifecycle.care.life_reads import keeper_lines
from lifecycle.care.photos import photos_of
from lifecycle.care.rechecks import usage_says
from lifecycle.care.vehicle_reads import vehicle_for_studio
from lifecycle.errors import NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import ROLES_OF, access
from portal.drawings.page import vehicle_page

from .common import other_pages, page_number, search_text, studio_today


@access("member")
@require_GET
def vehicles(request: MemberRequest) -> HttpResponse:
    """Vehicles by plate, found by plate, description or keeper."""
    page = directory.vehicles(request.member.studio, search=search_text(request), page=page_number(request))
    context = {"page": page, "q": search_text(request), "more": other_pages(request)}
    context["may_register"] = request.member.role in ROLES_OF["desk"]
    return render(request, "studio/vehicles.html", context)


@access("member")
@require_GET
def vehicle(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """One vehicle: the drawings its keeper sees too, and the numbers behind them."""
    try:
        view = vehicle_for_studio(studio=request.member.studio, vehicle_id=vehicle_id, today=studio_today(request))
    except NotFoundHere as error:
        raise Http404 from error
    left_on = retired_on(request.member.studio, vehicle_id)
    rows = {row.due_id: row for row in worklist.windows_of(request.member.studio, vehicle_id, today=view.today)}
    context = {
        "vehicle": view,
        "page": vehicle_page(view),
        "dues": [
            {"due": due, "window": rows[due.id].window, "reminder": rows[due.id].reminder}
            for due in view.dues
            if due.id in rows
        ],
        "photos": photos_of(request.member.studio, vehicle_id),
        "left_on": left_on,
        "keepers": keeper_lines(vehicle_id),
        "cure": cure_calendar(studio=request.member.studio, vehicle_id=vehicle_id, today=view.today),
        "usage_says": usage_says(view.habits.since if view.habits else None, on=view.today),
        "may_keep": left_on is None,
        "may_record": left_on is None and request.member.role in ROLES_OF["technician"],
        "may_book": left_on is None and request.member.role in ROLES_OF["desk"],
    }
    return render(request, "studio/vehicle.html", context)
