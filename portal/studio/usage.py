"""Record how a vehicle is used, when it was laid up, and what was taken off its clear coat."""

from __future__ import annotations

from functools import partial

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from lifecycle.care import corrections, keeping, record
from portal.access.people import MemberRequest
from portal.access.registry import access

from . import cautions
from .common import attempt, studio_today
from .corrections import said
from .register import assessed, kept_or_404, sent, who_and_when
from .usage_forms import CorrectionForm, EndStorageForm, HabitsForm, StorageForm, habits_initial


@access("member")
@require_http_methods(["GET", "POST"])
def habits(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Record how the vehicle is used from a day on; the form starts from what holds now."""
    vehicle, today = kept_or_404(request, vehicle_id), studio_today(request)
    initial = habits_initial(
        vehicle.habits, today=today, first_seen=vehicle.first_seen, road_salt=vehicle.site_road_salt
    )
    form = HabitsForm(sent(request), today=today, initial=initial)
    if form.is_valid():
        verb = partial(record.record_habits, vehicle_id=vehicle_id, **form.habits(), **who_and_when(request))
        if attempt(form, verb) is not None:
            return assessed(request, vehicle_id, "How it is used is on record. The forecast below counts it.")
    return render(request, "studio/habits.html", {"form": form, "vehicle": vehicle})


@access("member")
@require_http_methods(["GET", "POST"])
def storage(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Record a time in storage, or the end of one that has none."""
    vehicle, today = kept_or_404(request, vehicle_id), studio_today(request)
    running = next((row for row in vehicle.storages if row.end is None), None)
    if running is not None:
        form = EndStorageForm(sent(request), initial={"end": max(today, running.start)})
    else:
        form = StorageForm(sent(request), initial={"start": today})
    if form.is_valid():
        if running is not None:
            verb = partial(
                keeping.end_storage, storage_id=running.id, end=form.cleaned_data["end"], **who_and_when(request)
            )
        else:
            verb = partial(keeping.lay_up, vehicle_id=vehicle_id, **form.cleaned_data, **who_and_when(request))
        if attempt(form, verb) is not None:
            return assessed(request, vehicle_id, "The storage is on record. The forecast below counts it.")
    context = {"form": form, "vehicle": vehicle, "running": running}
    return render(request, "studio/storage.html", context)


@access("member")
@require_http_methods(["GET", "POST"])
def correction(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Record that clear coat was taken off one or several surfaces."""
    vehicle, today = kept_or_404(request, vehicle_id), studio_today(request)
    initial = {"on": today, "surfaces": request.GET.getlist("surface")}
    form = CorrectionForm(sent(request), surfaces=vehicle.surfaces, today=today, initial=initial)
    if form.is_valid():
        data = dict(form.cleaned_data)
        verb = partial(
            corrections.record_corrections, vehicle_id=vehicle_id, surface_ids=data.pop("surfaces"),
            member_id=request.member.id, **data, **who_and_when(request),
        )  # fmt: skip
        outcome = attempt(form, verb)
        if outcome is not None:
            said(request, outcome)
            return assessed(request, vehicle_id, "The forecast below counts it.")
    context = {
        "form": form,
        "vehicle": vehicle,
        "heading": "Record a correction",
        "lead": "Every coat above the clear coat ends on these surfaces; a film stays and loses its own top coat. A "
        "panel without budget is refused, the others go on.",
        "cautions": cautions.CORRECTION,
    }
    return render(request, "studio/record.html", context)
