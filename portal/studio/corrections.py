"""Paint correction: planned panel by panel against the budget, agreed to, carried out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle import condition
from lifecycle.care import correction_consent, correction_reads, corrections
from lifecycle.care.correction_reads import KeptPlan, PanelRow
from lifecycle.care.reports.signature import HEIGHT, WIDTH
from lifecycle.errors import NotFoundHere
from lifecycle.wear.correction_plan import depth_for
from portal.access.people import MemberRequest
from portal.access.registry import ROLES_OF, access
from portal.drawings import removal_curve
from portal.drawings.removal_curve import CurveRow, whole_range

from . import cautions
from .common import attempt, studio_today
from .correction_forms import ConsentForm, DoneForm, PlanForm
from .register import kept_or_404, sent, who_and_when


@dataclass(frozen=True, slots=True)
class PanelPage:
    """One panel for the planning page."""

    row: PanelRow
    key: str
    picture: SafeString | None
    table: tuple[CurveRow, ...]
    one_steps: str
    full: str
    after: str
    fields: list[forms.BoundField]


def _panel_page(row: PanelRow, form: PlanForm) -> PanelPage:
    title = f"Correction on the {row.name}: fine scratches removed against clear coat taken"
    return PanelPage(
        row=row,
        key=f"p{row.surface_id}",
        picture=removal_curve.draw(row.plan, key=f"r{row.surface_id}", title=title),
        table=removal_curve.rows(row.plan.curve),
        one_steps=whole_range(row.plan.one_steps_left),
        full=whole_range(row.plan.full_left),
        after=whole_range(row.choice.one_steps_after) if row.choice is not None else "",
        fields=form.fields_of(row.surface_id),
    )


def _last_percent() -> dict[str, str]:
    """What the last few percent cost, µm in the middle of the range."""
    return {f"to_{share}": f"{depth_for(share / 100).p50:.1f}" for share in (75, 95, 99)}


@access("technician")
@require_http_methods(["GET", "POST"])
def plan(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Choose a grade for each panel, see what it costs, keep the plan."""
    kept_or_404(request, vehicle_id)
    read = partial(correction_reads.planning, studio=request.member.studio, vehicle_id=vehicle_id, at=timezone.now())
    view = read()
    form = PlanForm(sent(request), panels=view.panels)
    if form.is_valid():
        if "keep" in request.POST:
            verb = partial(
                corrections.keep_plan, vehicle_id=vehicle_id, chosen=form.chosen(), note=form.cleaned_data["note"],
                member_id=request.member.id, inspection_id=view.inspection_id, **who_and_when(request),
            )  # fmt: skip
            made = attempt(form, verb)
            if made is not None:
                messages.success(request, "The plan is kept. Ask the customer in the words below; record the answer.")
                return redirect("studio:kept_plan", vehicle_id=vehicle_id, plan_id=made.pk)
        view = read(chosen=form.chosen())
    context = {
        "view": view,
        "panels": [_panel_page(row, form) for row in view.panels],
        "form": form,
        "last": _last_percent(),
        "reckoned": any(row.choice is not None for row in view.panels),
        "cautions": cautions.CORRECTION,
    }
    return render(request, "studio/correction_plan.html", context)


def _kept_or_404(request: MemberRequest, vehicle_id: int, plan_id: int) -> KeptPlan:
    try:
        found = correction_reads.kept_plan(studio=request.member.studio, plan_id=plan_id, at=timezone.now())
    except NotFoundHere as error:
        raise Http404 from error
    if found.vehicle_id != vehicle_id:
        raise Http404
    return found


@access("member")
@require_GET
def kept_plan(request: MemberRequest, vehicle_id: int, plan_id: int) -> HttpResponse:
    """A plan as it was kept, what was said to it and what was done."""
    found = _kept_or_404(request, vehicle_id, plan_id)
    context = {"plan": found, "may_record": not found.retired and request.member.role in ROLES_OF["technician"]}
    return render(request, "studio/kept_plan.html", context)


@access("member")
@require_http_methods(["GET", "POST"])
def consent(request: MemberRequest, vehicle_id: int, plan_id: int) -> HttpResponse:
    """Show the customer the plan's words and record what they say."""
    kept_or_404(request, vehicle_id)
    found = _kept_or_404(request, vehicle_id, plan_id)
    form = ConsentForm(sent(request))
    if form.is_valid():
        verb = partial(correction_consent.record_consent, plan_id=plan_id, **form.cleaned_data, **who_and_when(request))
        if attempt(form, verb) is not None:
            said = "agrees" if form.cleaned_data["given"] else "does not agree"
            messages.success(request, f"On record: the customer {said}.")
            return redirect("studio:kept_plan", vehicle_id=vehicle_id, plan_id=plan_id)
    context = {"plan": found, "form": form, "width": WIDTH, "height": HEIGHT}
    return render(request, "studio/plan_consent.html", context)


@access("technician")
@require_http_methods(["GET", "POST"])
def carry_out(request: MemberRequest, vehicle_id: int, plan_id: int) -> HttpResponse:
    """Record what was done of a plan; what is refused on one panel does not hold up the others."""
    kept_or_404(request, vehicle_id)
    found, today = _kept_or_404(request, vehicle_id, plan_id), studio_today(request)
    newest = found.looks[0].id if found.looks else None
    form = DoneForm(
        sent(request), panels=found.open, looks=found.looks, today=today, initial={"on": today, "before": newest}
    )
    if form.is_valid():
        data = form.cleaned_data
        verb = partial(
            corrections.carry_out, plan_id=plan_id, entries=form.entries(), on=data["on"], before_id=data["before"],
            after_id=data["after"], member_id=request.member.id, **who_and_when(request),
        )  # fmt: skip
        outcome = attempt(form, verb)
        if outcome is not None:
            said(request, outcome)
            condition.assess_one(studio=request.member.studio, vehicle_id=vehicle_id, at=timezone.now())
            return redirect("studio:kept_plan", vehicle_id=vehicle_id, plan_id=plan_id)
    context = {"plan": found, "form": form, "cautions": cautions.CORRECTION}
    return render(request, "studio/plan_done.html", context)


def said(request: MemberRequest, outcome: corrections.Outcome) -> None:
    """Say what is on record and what was refused, panel by panel."""
    count = len(outcome.done)
    messages.success(request, f"Correction recorded on {count} surface{'s' if count > 1 else ''}.")
    for row in outcome.refused:
        messages.warning(request, row.why)
    if any(row.stage != "unknown_past" for row in outcome.done):
        messages.info(request, "The coats above the clear coat ended there; record what was put on since.")
