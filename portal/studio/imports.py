"""Lists brought in: a file, what it does not tell by itself, its columns, what it would do, and taking it back."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle.care import import_reads, importing
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import attempt, bounded_int, other_pages, page_number, plain
from .register import who_and_when

STRUCTURE: Final = ("encoding", "delimiter", "sheet", "header")
# What a sheet would take for the start of a formula (OWASP, CSV injection; from memory).
FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
SHOW: Final = (("new", "new"), ("change", "changes"), ("same", "same as before"), ("error", "errors"))
SAID: Final = {
    "apply": "The file is being recorded.",
    "undo": "The file is being taken back.",
    "away": "The file is deleted; nothing of it was recorded.",
    "again": "Say anew how the file is to be read.",
}


class FileForm(forms.Form):
    """A list and what it holds."""

    kind = forms.ChoiceField(label="What the list holds")
    file = forms.FileField(
        label="File",
        help_text="CSV or XLSX, 25 MB and 100,000 rows at most.",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,.xlsx"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = import_reads.kinds()
        # An empty file gets the verb's words, which say what to do.
        self.fields["file"].allow_empty_file = True


@access("owner")
@require_http_methods(["GET", "POST"])
def imports(request: MemberRequest) -> HttpResponse:
    """The lists that came, and a new one."""
    sent = (request.POST, request.FILES) if request.method == "POST" else (None, None)
    form = FileForm(*sent)
    if form.is_valid():
        data = form.cleaned_data
        verb = partial(importing.receive_file, kind=data["kind"], upload=data["file"], **who_and_when(request))
        file = attempt(form, verb)
        if file is not None:
            return redirect("studio:import_file", file.pk)
    rows = import_reads.imports(request.member.studio)
    kinds = [(words, import_reads.fields_of(kind)) for kind, words in import_reads.kinds()]
    return render(request, "studio/imports.html", {"form": form, "rows": rows, "kinds": kinds})


@access("owner")
@require_http_methods(["GET", "POST"])
def import_file(request: MemberRequest, import_id: int) -> HttpResponse:
    """One list, at the step where it stands."""
    row = _row_or_404(request, import_id)
    if request.method == "POST":
        return _say(request, import_id)
    if request.headers.get("HX-Request") and not row.working:
        return HttpResponse(headers={"HX-Refresh": "true"})  # the work is over: the page shows the next step
    return _page(request, import_id)


def _row_or_404(request: MemberRequest, import_id: int) -> import_reads.ImportView:
    try:
        return import_reads.import_file(request.member.studio, import_id)
    except NotFoundHere as error:
        raise Http404 from error


def _page(request: MemberRequest, import_id: int, *, wrong: str = "", status: int = 200) -> HttpResponse:
    """The page of the step; what was chosen in a form that is refused stays chosen."""
    row = _row_or_404(request, import_id)
    context: dict[str, Any] = {"row": row, "wrong": wrong, "shows": SHOW}
    if row.state == "asking":
        context |= _asking(request, import_id)
    elif row.state in ("checked", "done"):
        show = request.GET.get("show", "")
        show = _shown(row, show)
        context |= {
            "page": import_reads.rows(request.member.studio, import_id, verdict=show, page=page_number(request)),
            "show": show, "more": other_pages(request),
            "counts": [(name, words, getattr(row, {"change": "changed", "error": "wrong"}.get(name, name)))
                       for name, words in SHOW],
        }  # fmt: skip
    return render(request, "studio/import_file.html", context, status=status)


def _shown(row: import_reads.ImportView, asked: str) -> str:
    """Which rows are shown: what stands in the way of a recorded file; else what was asked for, the errors first."""
    if row.state == "done":
        return "stands"
    if asked in dict(SHOW):
        return asked
    return "error" if row.wrong and asked != "all" else ""


def _asking(request: MemberRequest, import_id: int) -> dict[str, Any]:
    asked = import_reads.asked(request.member.studio, import_id)
    if asked.look is None:
        return {"asked": asked, "questions": (), "structure": ()}
    structure = [question for question in asked.look.questions if question.name in STRUCTURE]
    values = [question for question in asked.look.questions if question.name not in STRUCTURE]
    columns = [
        {"column": column, "chosen": request.POST.get(f"col-{column.number}", column.field)} for column in asked.columns
    ]
    return {
        "asked": asked, "structure": structure, "values": values, "columns": columns,
        "chosen": {name: request.POST.get(f"q-{name}", "") for name in importing.ANSWERS},
    }  # fmt: skip


def _answers(request: MemberRequest) -> dict[str, str]:
    return {name: request.POST[f"q-{name}"] for name in importing.ANSWERS if request.POST.get(f"q-{name}")}


def _columns(request: MemberRequest) -> dict[int, str]:
    said = {name: value for name, value in request.POST.items() if name.startswith("col-") and value}
    return {number: said[name] for name in said if (number := bounded_int(name[4:], low=0, high=999, default=0))}


def _say(request: MemberRequest, import_id: int) -> HttpResponse:
    """Do what the button says."""
    who, doing = {"import_id": import_id, **who_and_when(request)}, request.POST.get("do", "")
    simple: dict[str, Callable[..., Any]] = {
        "apply": importing.apply_import, "undo": importing.take_import_back, "away": importing.put_away,
        "again": importing.ask_again,
    }  # fmt: skip
    try:
        if doing in simple:
            simple[doing](**who)
            messages.success(request, SAID[doing])
        elif doing == "answer":
            _refuse_open(request, import_id)
            importing.answer(answers=_answers(request), **who)
        elif doing == "columns":
            importing.choose_columns(columns=_columns(request), **who)
            if _answers(request):
                importing.answer(answers=_answers(request), **who)
            asked = import_reads.asked(request.member.studio, import_id)
            if asked.look is not None and asked.look.questions:
                return _page(request, import_id, wrong="One thing more is to be said; it stands below the columns.")
            importing.look_through(**who)
    except NotFoundHere as error:
        raise Http404 from error
    except DomainError as error:
        return _page(request, import_id, wrong=plain(error), status=422)
    return redirect(
        "studio:imports" if doing == "away" else "studio:import_file", *([] if doing == "away" else [import_id])
    )


def _refuse_open(request: MemberRequest, import_id: int) -> None:
    """Every question of the page wants its answer.

    Raises:
        DomainError: names the first one without.
    """
    asked, said = import_reads.asked(request.member.studio, import_id), _answers(request)
    for question in asked.look.questions if asked.look is not None else ():
        if question.name in STRUCTURE and question.name not in said:
            raise DomainError(f"Choose an answer: {question.says}")


class _Echo:
    """A file that hands back what is written."""

    def write(self, text: str) -> str:
        return text


def _safe(text: str) -> str:
    """A text that no sheet takes for a formula."""
    return f"'{text}" if text.startswith(FORMULA) else text


@access("owner")
@require_GET
def import_errors(request: MemberRequest, import_id: int) -> StreamingHttpResponse:
    """Every cell in error as CSV: row, column, value, what is wrong and how to mend it."""
    _row_or_404(request, import_id)
    found = import_reads.errors(request.member.studio, import_id)

    def lines() -> Iterator[str]:
        writer = csv.writer(_Echo())
        yield "\ufeff" + writer.writerow(["row", "column", "value", "what is wrong"])
        for line, *texts in found:
            yield writer.writerow([line, *(_safe(text) for text in texts)])

    answer = StreamingHttpResponse(lines(), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="errors-{import_id}.csv"'
    answer["X-Content-Type-Options"] = "nosniff"
    return answer
