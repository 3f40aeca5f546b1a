"""Record a layer: what speaks against it is shown while it is typed and before it is written."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial
from typing import Any

from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from lifecycle.care import documents, layering
from lifecycle.care.packages import packages
from lifecycle.care.stack_rules import Finding, Level
from portal.access.people import MemberRequest
from portal.access.registry import access

from . import cautions
from .common import attempt, studio_today
from .layer_forms import LayerForm
from .records import choices_or_404, done
from .register import sent, who_and_when


@dataclass(frozen=True, slots=True)
class Told:
    """One finding with the surfaces that it is about; none named where it is about all."""

    finding: Finding
    surfaces: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was found: the lines to show, whether a reason is asked for, and a mark of what has to be read first."""

    lines: tuple[Told, ...]
    blocked: bool
    digest: str


def verdict(checked: Iterable[layering.Checked]) -> Verdict:
    """The findings of several surfaces as lines, gravest first, each once."""
    rows = tuple(checked)
    by_finding: dict[Finding, list[str]] = {}
    for row in rows:
        for finding in row.findings:
            by_finding.setdefault(finding, []).append(row.surface)
    order = list(Level)
    lines = sorted(by_finding.items(), key=lambda pair: -order.index(pair[0].level))
    heavy = [f"{finding.code} {finding.says} {names}" for finding, names in lines if finding.level is not Level.NOTE]
    digest = hashlib.sha256("\n".join(heavy).encode()).hexdigest()[:16] if heavy else ""
    told = tuple(Told(finding, tuple(names) if len(names) < len(rows) else ()) for finding, names in lines)
    return Verdict(told, any(finding.level is Level.BLOCK for finding in by_finding), digest)


def held_back(request: MemberRequest, form: Any, found: Verdict, *, left_out: bool = False) -> bool:
    """Whether recording waits: for a reason, or for the warnings to be read. Says so in the form."""
    if not found.digest:
        return False
    if found.blocked and not request.POST.get("override_reason", "").strip() and not left_out:
        form.add_error(None, "Not recorded: a rule stands against it. Change what is wrong, or give the reason below.")
        return True
    if request.POST.get("seen") != found.digest:
        form.add_error(None, "Not recorded yet: read what stands below, then press Record once more.")
        return True
    return False


def _check(request: MemberRequest, form: LayerForm, vehicle_id: int) -> Verdict | None:
    """The findings for what has been typed so far; None while the kind or the day is missing."""
    data = form.cleaned_data
    if not data.get("kind") or not data.get("applied"):
        return None
    verb = partial(
        layering.check_layer,
        studio=request.member.studio,
        vehicle_id=vehicle_id,
        surface_ids=data.get("surfaces", ()),
        kind=data["kind"],
        applied=data["applied"],
        product_id=data.get("product"),
        coats=data.get("coats") or 1,
        prep=data.get("prep", ()),
        now=form.now(),
    )
    checked = attempt(form, verb)
    return verdict(checked) if checked is not None else None


def _record_layers(request: MemberRequest, form: LayerForm) -> int:
    data = form.cleaned_data
    reason = request.POST.get("override_reason", "")
    with transaction.atomic():
        for surface_id in data["surfaces"]:  # all of them or none
            layering.record_layer(
                surface_id=surface_id,
                kind=data["kind"],
                applied=data["applied"],
                product_id=data["product"],
                coats=data["coats"],
                batch=data["batch"],
                applicator_id=data["applicator"],
                prep=data["prep"],
                now=form.now(),
                override_reason=reason,
                **who_and_when(request),
            )
    return len(data["surfaces"])


@access("technician")
@require_http_methods(["GET", "POST"])
def layer(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Record a layer on one or several surfaces; "check" only shows what speaks against it."""
    choices, today = choices_or_404(request, vehicle_id), studio_today(request)
    initial = {"applied": today, "applicator": request.member.id, "surfaces": request.GET.getlist("surface")}
    form = LayerForm(sent(request), choices=choices, today=today, initial=initial)
    found: Verdict | None = None
    checking = "check" in request.POST
    if request.method == "POST":
        valid = form.is_valid()
        found = _check(request, form, vehicle_id)
        if valid and not checking and found is not None and form.is_valid() and not held_back(request, form, found):
            count = attempt(form, partial(_record_layers, request, form))
            if count is not None:
                return done(request, choices, f"Layer recorded on {count} surface{'s' if count > 1 else ''}")
    context = {
        "form": form,
        "found": found,
        "checked": request.method == "POST",
        "override_reason": request.POST.get("override_reason", ""),
        "vehicle": choices,
        "packages": packages(request.member.studio),
        "cautions": cautions.for_layer(choices.powertrain),
        "product_sheets": documents.sheets(request.member.studio, today=today),
        "product_cautions": cautions.of_products(choices.products),
    }
    partly = checking and request.headers.get("HX-Request")
    return render(request, "studio/layer_findings.html" if partly else "studio/layer.html", context)
