"""Record what happened and what was seen (what was put on: `layers`). After each, the vehicle is assessed anew."""

from __future__ import annotations

from functools import partial

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from lifecycle import condition
from lifecycle.care import record
from lifecycle.care.directory import RecordChoices, record_choices
from portal.access.people import MemberRequest
from portal.access.registry import access

from . import cautions
from .common import attempt, bounded_int, studio_today
from .record_forms import FINDINGS_SET, READINGS, EventForm, InspectionForm
from .register import kept_or_404


def choices_or_404(request: MemberRequest, vehicle_id: int) -> RecordChoices:
    """The choices of a vehicle's forms, or 404 where it is another studio's or has left."""
    kept_or_404(request, vehicle_id)
    return record_choices(request.member.studio, vehicle_id)


def done(request: MemberRequest, choices: RecordChoices, what: str) -> HttpResponse:
    """After a record: assess, say what was recorded, show the vehicle."""
    condition.assess_one(studio=request.member.studio, vehicle_id=choices.vehicle_id, at=timezone.now())
    messages.success(request, f"{what} for {choices.vehicle}, {choices.plate}. The forecast below counts it.")
    return redirect("studio:vehicle", vehicle_id=choices.vehicle_id)


@access("technician")
@require_http_methods(["GET", "POST"])
def event(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Record a wash or something that happened."""
    choices, today = choices_or_404(request, vehicle_id), studio_today(request)
    form = EventForm(request.POST or None, choices=choices, today=today, initial={"on": today})
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        verb = partial(
            record.record_event,
            studio=request.member.studio,
            vehicle_id=vehicle_id,
            kind=data["kind"],
            on=data["on"],
            surface_id=data["surface"],
            by=data["by"],
            dwell_h=data["dwell_h"],
            air_c=data["air_c"],
            note=data["note"],
            actor=request.member.actor,
            at=timezone.now(),
        )
        if attempt(form, verb) is not None:
            return done(request, choices, f"{data['kind'].replace('_', ' ').capitalize()} recorded")
    context = {
        "form": form,
        "vehicle": choices,
        "heading": "Record a wash or an event",
        "cautions": cautions.for_event(choices.powertrain),
    }
    return render(request, "studio/record.html", context)


@access("technician")
@require_http_methods(["GET", "POST"])
def inspection(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Record an inspection: readings and findings of one day, all or nothing."""
    choices, today = choices_or_404(request, vehicle_id), studio_today(request)
    surfaces = [("", "—"), *((row.id, row.label) for row in choices.surfaces)]
    data = _with_more_rows(request) if request.method == "POST" else None
    form = InspectionForm(data, choices=choices, today=today, initial={"on": today})
    readings = READINGS(data, prefix="reading", form_kwargs={"surfaces": surfaces})
    findings = FINDINGS_SET(data, prefix="finding", form_kwargs={"surfaces": surfaces})
    wants_rows = data is not None and "more" in data
    if data is not None and not wants_rows and all([form.is_valid(), readings.is_valid(), findings.is_valid()]):
        verb = partial(
            record.record_inspection,
            studio=request.member.studio,
            vehicle_id=vehicle_id,
            on=form.cleaned_data["on"],
            clean_state=form.cleaned_data["clean_state"],
            readings=[entry for row in readings for entry in row.entries()],
            findings=[entry for row in findings for entry in row.entries()],
            member_id=request.member.id,
            note=form.cleaned_data["note"],
            actor=request.member.actor,
            at=timezone.now(),
        )
        if attempt(form, verb) is not None:
            return done(request, choices, "Inspection recorded")
    context = {
        "form": form,
        "readings": readings,
        "findings": findings,
        "vehicle": choices,
        "cautions": cautions.for_inspection(choices.powertrain),
        "wants_rows": wants_rows,
    }
    return render(request, "studio/inspection.html", context)


def _with_more_rows(request: MemberRequest) -> object:
    """The sent form; where more rows were asked for, with three more empty reading lines."""
    data = request.POST.copy()
    if "more" in data:
        count = bounded_int(data.get("reading-TOTAL_FORMS", ""), low=0, high=37, default=1)
        data["reading-TOTAL_FORMS"] = str(count + 3)
    return data
