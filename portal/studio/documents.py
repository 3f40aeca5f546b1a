"""Safety and product data sheets: which revision holds, which is missing or old, and the files themselves."""

from __future__ import annotations

from functools import partial
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle.care import documents as sheets
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import ROLES_OF, access

from .common import attempt, bounded_int, plain, studio_today
from .forms import DayInput
from .register import who_and_when

KINDS = (("sds", "safety data sheet (SDS)"), ("pds", "product data sheet (PDS)"))


class DocumentForm(forms.Form):
    """One sheet of one product."""

    product = forms.TypedChoiceField(label="Product", coerce=int)
    kind = forms.ChoiceField(label="Kind", choices=KINDS)
    revision = forms.CharField(label="Revision", required=False, max_length=40, help_text="As printed on it, like 3.1.")
    revised_on = forms.DateField(
        label="Revised on", widget=DayInput, help_text="The day printed on it; without one, the day you got it."
    )
    language = forms.CharField(label="Language", max_length=8, help_text="Like en, de or pt-BR.")
    document = forms.FileField(label="File", help_text="A PDF.", widget=forms.FileInput(attrs={"accept": ".pdf"}))

    def __init__(self, *args: Any, products: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["product"].choices = products
        # An empty file gets the verb's words, which name it.
        self.fields["document"].allow_empty_file = True


@access("member")
@require_http_methods(["GET", "POST"])
def documents(request: MemberRequest) -> HttpResponse:
    """Every product with its sheets; technicians add one or retire one."""
    may_change = request.member.role in ROLES_OF["technician"]
    if request.method == "POST" and not may_change:
        raise PermissionDenied("Sheets are added by technicians and owners.")
    if request.method == "POST" and request.POST.get("record") == "retire":
        return _retire(request)
    rows = sheets.sheets(request.member.studio, today=studio_today(request))
    choices = [(row.product_id, row.product) for row in rows]
    start = {"language": request.member.studio.language, "product": request.GET.get("product", "")}
    sent = (request.POST, request.FILES) if request.method == "POST" else (None, None)
    form = DocumentForm(*sent, products=choices, initial=start)
    if form.is_valid():
        data = dict(form.cleaned_data)
        verb = partial(
            sheets.add_document,
            product_id=data.pop("product"),
            upload=data.pop("document"),
            **data,
            **who_and_when(request),
        )
        if attempt(form, verb) is not None:
            messages.success(request, f"The {dict(KINDS)[data['kind']]} is on record.")
            return redirect("studio:documents")
    context = {"form": form, "rows": rows, "may_change": may_change}
    return render(request, "studio/documents.html", context)


def _retire(request: MemberRequest) -> HttpResponse:
    document_id = bounded_int(request.POST.get("document", ""), low=0, high=2**62, default=0)
    try:
        sheets.retire_document(document_id=document_id, **who_and_when(request))
        messages.success(request, "The sheet is retired; it stays among the earlier ones.")
    except NotFoundHere as error:
        raise Http404 from error
    except DomainError as error:
        messages.error(request, plain(error))
    return redirect("studio:documents")


@access("member")
@require_GET
def document(request: MemberRequest, sheet: UUID) -> HttpResponseBase:
    """One sheet, to be saved: never opened inside the portal."""
    try:
        found = sheets.document_file(request.member.studio, sheet)
        stream = found.stored.open("rb")
    except (NotFoundHere, FileNotFoundError) as error:  # of another studio, or lost by the storage
        raise Http404 from error
    answer = FileResponse(stream, as_attachment=True, filename=found.name, content_type="application/pdf")
    answer["ETag"] = found.etag
    answer["Cache-Control"] = "private, max-age=3600"
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Security-Policy"] = "sandbox; default-src 'none'"
    return answer
