"""Reports of inspections: the list, the draft that the customer signs, the sealed report, addenda, and one search."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle.care.reports import reads
from lifecycle.care.reports.signature import HEIGHT, WIDTH
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.reminders import report_copy
from portal.access.people import MemberRequest
from portal.access.registry import ROLES_OF, access
from portal.drawings import report_plan
from portal.reports import qr
from portal.reports.answer import pdf_answer
from portal.reports.words import report_words, signed_words

from .common import attempt
from .register import sent, who_and_when
from .report_forms import AddendumForm, SignForm


def _or_404(read: Any) -> Any:
    try:
        return read()
    except NotFoundHere as error:
        raise Http404 from error


def _may_write(request: MemberRequest) -> bool:
    return request.member.role in ROLES_OF["technician"]


@access("member")
@require_GET
def reports(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """The inspections of a vehicle and what was sealed of each."""
    vehicle, lines = _or_404(lambda: reads.of_vehicle(request.member.studio, vehicle_id))
    context = {"vehicle": vehicle, "lines": lines, "may_seal": _may_write(request)}
    return render(request, "studio/reports.html", context)


@access("technician")
@require_http_methods(["GET", "POST"])
def report_draft(request: MemberRequest, inspection_id: int) -> HttpResponse:
    """The whole report as it will be sealed; the customer signs below it."""
    studio = request.member.studio
    read = partial(reads.draft_view, studio=studio, inspection_id=inspection_id, at=timezone.now())
    try:
        found, view = _or_404(read)
    except DomainError as error:
        messages.info(request, error.message)
        sealed = reads.report_of(studio, inspection_id)
        return redirect("studio:report", report_id=sealed) if sealed else redirect("studio:vehicles")
    form = SignForm(sent(request), initial={"name": found.keeper, "draft": found.seen})
    if form.is_valid():
        done = attempt(form, partial(_seal, request, inspection_id, form))
        if done is not None:
            return _sealed(request, done, f"Report {done.row.number} is sealed.", done.row.pk)
        # Whatever was wrong: the next signature is for what stands on the page now.
        form.data = {**form.data.dict(), "draft": found.seen}
    context = {
        "form": form, "view": view, "words": report_words(view), "width": WIDTH, "height": HEIGHT,
        "plan": report_plan.draw(view.findings, body=view.body, key="plan"), "photo_address": "studio:photo",
    }  # fmt: skip
    return render(request, "studio/report_draft.html", context)


def _seal(request: MemberRequest, inspection_id: int, form: SignForm) -> report_copy.Sealed:
    return report_copy.seal_and_send(
        inspection_id=inspection_id, member_id=request.member.id, seen=form.cleaned_data["draft"],
        signature=form.signature(), **who_and_when(request),
    )  # fmt: skip


def _sealed(request: MemberRequest, done: report_copy.Sealed, said: str, report_id: int) -> HttpResponse:
    copy = "The keeper's copy goes out by mail." if done.message else f"No copy goes out: {done.no_mail}."
    messages.success(request, f"{said} {copy}")
    return redirect("studio:report", report_id=report_id)


@access("member")
@require_GET
def report(request: MemberRequest, report_id: int) -> HttpResponse:
    """A sealed report with its addenda."""
    view = _or_404(lambda: reads.for_studio(request.member.studio, report_id))
    context = {
        "view": view, "seal": view.seal, "words": report_words(view), "may_add": _may_write(request),
        "plan": report_plan.draw(view.findings, body=view.body, key="plan"), "photo_address": "studio:photo",
        "signed": signed_words(view.signed, view.seal.sealed_at), "qr": qr.inline(view.seal.token),
        "drawn": report_plan.signature(view.signed.strokes, width=WIDTH, height=HEIGHT),
        "check_url": qr.check_url(view.seal.token),
    }  # fmt: skip
    return render(request, "studio/report.html", context)


@access("member")
@require_GET
def report_pdf(request: MemberRequest, report_id: int) -> HttpResponse:
    """The sealed report as a PDF."""
    return pdf_answer(_or_404(lambda: reads.for_studio(request.member.studio, report_id)))


@access("technician")
@require_http_methods(["GET", "POST"])
def report_addendum(request: MemberRequest, report_id: int) -> HttpResponse:
    """Add to a sealed report: sealed itself, and chained."""
    view = _or_404(lambda: reads.for_studio(request.member.studio, report_id))
    choices = [(row.n, f"{row.n} {row.what}" + (f", {row.surface}" if row.surface else "")) for row in view.findings]
    form = AddendumForm(sent(request), findings=choices)
    if form.is_valid():
        verb = partial(
            report_copy.add_and_send, report_id=view.seal.id, text=form.cleaned_data["text"],
            findings=form.cleaned_data.get("findings", ()), member_id=request.member.id, **who_and_when(request),
        )  # fmt: skip
        done = attempt(form, verb)
        if done is not None:
            return _sealed(request, done, f"Addendum {done.row.number} is sealed.", view.seal.id)
    return render(request, "studio/report_addendum.html", {"form": form, "view": view, "seal": view.seal})


@access("member")
@require_GET
def findings(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Was it there before? Findings of a vehicle by panel and date, with the reports that hold them."""
    panel = request.GET.get("panel", "")[:40]
    found = _or_404(lambda: reads.findings(request.member.studio, vehicle_id, panel=panel))
    panel = panel if panel in dict(found.panels) else ""
    return render(request, "studio/findings.html", {"found": found, "panel": panel})
