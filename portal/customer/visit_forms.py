"""Forms of a customer's visits."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from lifecycle.care.asking import WISH_LENGTH
from lifecycle.care.visit_reads import AskChoices, VisitView

PARTS = (("any", _("any time of day")), ("morning", _("morning")), ("afternoon", _("afternoon")))


def _day(first: date, last: date | None) -> forms.DateInput:
    bounds = {"min": first.isoformat()} | ({"max": last.isoformat()} if last else {})
    return forms.DateInput(format="%Y-%m-%d", attrs={"type": "date", **bounds})


class AskForm(forms.Form):
    """A day that suits, what it is about, and own words."""

    on = forms.DateField(label=_("Day that suits you"))
    part = forms.ChoiceField(label=_("Time of day"), choices=PARTS, widget=forms.RadioSelect, initial="any")
    tasks = forms.MultipleChoiceField(label=_("What it is about"), required=False, widget=forms.CheckboxSelectMultiple)
    wish = forms.CharField(
        label=_("In your own words"), required=False, max_length=WISH_LENGTH, widget=forms.Textarea(attrs={"rows": 3})
    )

    def __init__(self, *args: Any, choices: AskChoices, **kwargs: Any) -> None:
        super().__init__(*args, initial={"on": choices.suggested, "part": "any"}, **kwargs)
        self.fields["on"].widget = _day(choices.first, choices.last)
        self.fields["tasks"].choices = list(choices.tasks)
        if choices.proposal_id is not None or not choices.tasks:
            del self.fields["tasks"]


class MoveForm(forms.Form):
    """Another day."""

    on = forms.DateField(label=_("Day that suits you better"))
    part = forms.ChoiceField(label=_("Time of day"), choices=PARTS, widget=forms.RadioSelect, initial="any")
    seen = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, visit: VisitView, today: date, **kwargs: Any) -> None:
        super().__init__(*args, initial={"seen": visit.sequence, "part": visit.part}, **kwargs)
        self.fields["on"].widget = _day(today, None)


class SeenForm(forms.Form):
    """A button that acts on the visit as it was seen; with the chosen offer where there is one."""

    seen = forms.IntegerField(min_value=0)
    offer = forms.CharField(max_length=16, required=False)
