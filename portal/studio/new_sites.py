"""Another site of the studio, and the bays of one."""

from __future__ import annotations

from functools import partial

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from lifecycle.care import founding, house_reads
from lifecycle.errors import NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import attempt
from .house_forms import BayForm, NewSiteForm
from .register import sent, who_and_when


@access("owner")
@require_http_methods(["GET", "POST"])
def new_site(request: MemberRequest) -> HttpResponse:
    """Put a site with its bays on record."""
    form = NewSiteForm(sent(request), initial={"zone": request.member.studio.zone})
    if form.is_valid():
        told = form.cleaned_data
        verb = partial(
            founding.add_site,
            name=told["name"],
            lat=form.place.lat,
            lon=form.place.lon,
            height_m=told["height_m"] if told["height_m"] is not None else form.place.height_m,
            sea_distance_m=told["sea_distance_m"],
            zone=told["zone"],
            road_salt=told["road_salt"],
            bays=told["bays"],
            **who_and_when(request),
        )
        site = attempt(form, verb)
        if site is not None:
            messages.success(request, f"{site.name} is on record; vehicles can be registered there.")
            return redirect("studio:site", site_id=site.pk)
    return render(request, "studio/new_site.html", {"form": form})


@access("owner")
@require_http_methods(["GET", "POST"])
def bays(request: MemberRequest, site_id: int) -> HttpResponse:
    """The bays of a site; adds one."""
    try:
        view = house_reads.bays_of(request.member.studio, site_id)
    except NotFoundHere as error:
        raise Http404 from error
    form = BayForm(sent(request))
    if form.is_valid():
        bay = attempt(form, partial(founding.add_bay, site_id=site_id, **form.cleaned_data, **who_and_when(request)))
        if bay is not None:
            messages.success(request, f"{bay.name} is on record.")
            return redirect("studio:bays", site_id=site_id)
    return render(request, "studio/bays.html", {"site": view, "form": form})
