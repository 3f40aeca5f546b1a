"""The one parameter table with the studio's own figures: the owner sees all of it and may replace what is estimated."""

from __future__ import annotations

from functools import partial
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle.care import figures
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.wear.types import Mark
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import attempt, bounded_int, search_text

# What a studio can say of a figure of its own; "computed" is what the model does itself.
OWN_MARKS: Final = (
    Mark.JUDGEMENT, Mark.LEARNED_HERE, Mark.FROM_MEMORY, Mark.COMMON_PRACTICE, Mark.PUBLISHED,
)  # fmt: skip
MOST_ID: Final = 2**62


class FigureForm(forms.Form):
    """A figure of the studio's own: value with its range, mark and source."""

    value = forms.FloatField(label="Value", widget=forms.NumberInput(attrs={"step": "any"}))
    low = forms.FloatField(label="Low", widget=forms.NumberInput(attrs={"step": "any"}))
    high = forms.FloatField(label="High", widget=forms.NumberInput(attrs={"step": "any"}))
    mark = forms.ChoiceField(label="Mark", choices=[(mark.value, mark.value) for mark in OWN_MARKS])
    source = forms.CharField(
        label="Source",
        max_length=figures.LONGEST_SOURCE,
        help_text="Where the figure comes from: a data sheet, inspections of which vehicles, whose experience.",
    )
    product_id = forms.TypedChoiceField(
        label="For", required=False, empty_value=None, coerce=int, choices=[("", "all of the studio")]
    )

    def __init__(self, *args: Any, view: figures.FigureView, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        unit = f", {view.row.unit}" if view.row.unit else ""
        for name in ("value", "low", "high"):
            self.fields[name].label = f"{self.fields[name].label}{unit}"
        if view.row.is_range:
            self.fields["low"].help_text = "One in ten ends before."
            self.fields["high"].help_text = "One in ten lasts longer."
            self.fields["value"].required = False
            self.fields["value"].help_text = "Empty: the middle of low and high, as the model takes it."
        if view.products:
            self.fields["product_id"].choices = [
                ("", "all of the studio"),
                *((product.id, product.name) for product in view.products),
            ]
        else:
            del self.fields["product_id"]


@access("owner")
@require_GET
def table(request: MemberRequest, group: str = "") -> HttpResponse:
    """Figures of the wear model with range, mark and source, and what the studio has put in their place: those of one
    subject, those that were searched for, else the studio's own."""
    search, own_only = search_text(request), request.GET.get("own") == "1"
    found = figures.figure_table(request.member.studio, search=search, group=group, own_only=own_only)
    if group and group not in {one.name for one in found.index}:
        raise Http404
    context = {"table": found, "q": search, "group": group, "own_only": own_only}
    return render(request, "studio/figures.html", context)


def _drop(request: MemberRequest, key: str) -> HttpResponse:
    override_id = bounded_int(request.POST["drop"], low=0, high=MOST_ID, default=0)
    try:
        figures.drop_override(
            studio=request.member.studio, override_id=override_id, actor=request.member.actor, at=timezone.now()
        )
    except NotFoundHere as error:
        raise Http404 from error
    except DomainError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, f"{key}: the table's figure holds again. The vehicles are assessed anew.")
    return redirect("studio:figure", key=key)


@access("owner")
@require_http_methods(["GET", "POST"])
def figure(request: MemberRequest, key: str) -> HttpResponse:
    """One figure: set the studio's own, or drop it."""
    studio = request.member.studio
    try:
        view = figures.figure_view(studio, key)
    except NotFoundHere as error:
        raise Http404 from error
    if request.method == "POST" and "drop" in request.POST:
        return _drop(request, key)
    own = view.row.own
    start = {name: getattr(own, name) for name in ("value", "low", "high", "mark", "source")} if own else None
    form = FigureForm(request.POST or None, initial=start, view=view)
    if request.method == "POST" and form.is_valid():
        verb = partial(
            figures.override_figure,
            studio=studio,
            key=key,
            actor=request.member.actor,
            at=timezone.now(),
            **form.cleaned_data,
        )
        if attempt(form, verb) is not None:
            messages.success(request, f"{key} is set. The vehicles are assessed anew at the worker's next round.")
            return redirect("studio:figure", key=key)
    return render(request, "studio/figure.html", {"view": view, "form": form})
