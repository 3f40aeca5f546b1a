"""Hand out the PDF of a sealed report."""

from __future__ import annotations

from django.http import HttpResponse

from lifecycle.care.reports.view import ReportView

from .pdf import make_pdf


def pdf_answer(view: ReportView) -> HttpResponse:
    """The PDF as a download; nobody but this person's browser keeps it."""
    number = view.seal.number if view.seal else 0
    answer = HttpResponse(make_pdf(view), content_type="application/pdf")
    answer["Content-Disposition"] = f'attachment; filename="report-{number}.pdf"'
    answer["Cache-Control"] = "private, no-store"
    return answer
