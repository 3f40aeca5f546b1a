"""Contract rules and dates: what was agreed, as data. Whether anything is covered is never judged here."""

from __future__ import annotations

from functools import partial

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from lifecycle.care import contracts, life_reads
from lifecycle.care.wording import day_words
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import attempt
from .life import or_404
from .life_forms import DoneForm, RuleForm, WhyForm
from .register import assessed, kept_or_404, sent, who_and_when

NOT_JUDGED = "Only dates are kept here. Whether anything is covered is not judged."


@access("desk")
@require_http_methods(["GET", "POST"])
def rule(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Record a rule by which a contract asks for inspections; its days are worked out."""
    vehicle = kept_or_404(request, vehicle_id)
    form = RuleForm(sent(request), initial={"starts_on": vehicle.first_seen})
    if form.is_valid():
        verb = partial(contracts.add_rule, vehicle_id=vehicle_id, **form.cleaned_data, **who_and_when(request))
        if attempt(form, verb) is not None:
            assessed(request, vehicle_id, "The rule is on record, and its days stand below.")
            return redirect("studio:life", vehicle_id=vehicle_id)
    context = {"form": form, "vehicle": vehicle, "heading": "A contract's rule", "lead": NOT_JUDGED}
    return render(request, "studio/record.html", context)


@access("desk")
@require_http_methods(["GET", "POST"])
def stop_rule(request: MemberRequest, vehicle_id: int, rule_id: int) -> HttpResponse:
    """A rule no longer holds."""
    vehicle = kept_or_404(request, vehicle_id)
    row = or_404(partial(life_reads.rule, request.member.studio, vehicle_id, rule_id))
    form = WhyForm(sent(request))
    if form.is_valid():
        verb = partial(contracts.stop_rule, rule_id=rule_id, why=form.cleaned_data["why"], **who_and_when(request))
        if attempt(form, verb) is not None:
            assessed(request, vehicle_id, "The rule holds no more; its open days are withdrawn.")
            return redirect("studio:life", vehicle_id=vehicle_id)
    context = {
        "form": form, "vehicle": vehicle, "heading": f"{row.title}: it no longer holds",
        "lead": "Days that no inspection has served are withdrawn. What was done stays.", "button": "Stop the rule",
    }  # fmt: skip
    return render(request, "studio/record.html", context)


@access("desk")
@require_http_methods(["GET", "POST"])
def term_done(request: MemberRequest, vehicle_id: int, term_id: int) -> HttpResponse:
    """Say which inspection was the one that the contract asked for."""
    vehicle = kept_or_404(request, vehicle_id)
    term, seen = or_404(partial(life_reads.term, request.member.studio, vehicle_id, term_id))
    form = DoneForm(sent(request), inspections=seen, initial={"inspection_id": seen[0][0] if seen else None})
    if form.is_valid():
        verb = partial(contracts.mark_done, term_id=term_id, **form.cleaned_data, **who_and_when(request))
        if attempt(form, verb) is not None:
            messages.info(request, NOT_JUDGED)
            assessed(request, vehicle_id, "The inspection is noted with the contract's date.")
            return redirect("studio:life", vehicle_id=vehicle_id)
    lead = f"{term.title}, asked for on {day_words(term.due)}, give or take {term.tolerance_days} days. {NOT_JUDGED}"
    if not seen:
        lead += " The studio has no inspection of this vehicle on record yet; record one first."
    context = {"form": form, "vehicle": vehicle, "heading": "Which inspection was it?", "lead": lead}
    return render(request, "studio/record.html", context)
