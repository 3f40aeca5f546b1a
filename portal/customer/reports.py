"""A sealed report for who kept the vehicle when it was sealed: to read and to keep."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from lifecycle.care.reports.reads import for_customer
from lifecycle.care.reports.signature import HEIGHT, WIDTH
from lifecycle.care.reports.view import ReportView
from lifecycle.errors import NotFoundHere
from portal.access.people import PortalRequest
from portal.access.registry import access
from portal.drawings import report_plan
from portal.reports import qr
from portal.reports.answer import pdf_answer
from portal.reports.words import report_words, signed_words


def _mine(request: PortalRequest, report_id: int) -> tuple[ReportView, bool]:
    try:
        return for_customer(request.customer_ids, report_id)
    except NotFoundHere as error:
        raise Http404 from error


@access("customer")
@require_GET
@never_cache
def report(request: PortalRequest, report_id: int) -> HttpResponse:
    """A report that was sealed while I kept the vehicle."""
    view, keeps_still = _mine(request, report_id)
    context = {
        "view": view, "seal": view.seal, "words": report_words(view), "keeps_still": keeps_still,
        "plan": report_plan.draw(view.findings, body=view.body, key="plan"),
        # Photos are served to the keeper of now; whoever kept it then has them in the PDF.
        "photo_address": "customer:photo" if keeps_still else "",
        "signed": signed_words(view.signed, view.seal.sealed_at), "qr": qr.inline(view.seal.token),
        "drawn": report_plan.signature(view.signed.strokes, width=WIDTH, height=HEIGHT),
        "check_url": qr.check_url(view.seal.token),
    }  # fmt: skip
    return render(request, "customer/report.html", context)


@access("customer")
@require_GET
@never_cache
def report_pdf(request: PortalRequest, report_id: int) -> HttpResponse:
    """The same as a PDF."""
    return pdf_answer(_mine(request, report_id)[0])
