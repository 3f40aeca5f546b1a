"""The four small forms of the care log. Each keeps what was typed when something in it is wrong."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any
from uuid import uuid4

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from lifecycle.care.care_log import LogSurface
from lifecycle.wear.drop import SCORES

from .first_aid import AID
from .use_forms import AmountField


class _ReportForm(forms.Form):
    """A day and a surface; the day begins as today."""

    on = forms.DateField(
        label=gettext_lazy("Day"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": gettext_lazy("That is no day; write it as year-month-day, for example 2026-04-03.")},
    )  # fmt: skip
    key = forms.UUIDField(widget=forms.HiddenInput, required=False)

    def __init__(self, data: Any = None, *, today: date, surfaces: Sequence[LogSurface] = (), **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"on": today, "key": uuid4()})
        super().__init__(data, auto_id=f"{self.prefix_of()}-%s", label_suffix="", **kwargs)
        if "on" in self.fields:
            self.fields["on"].widget.attrs["max"] = today.isoformat()
        if "surface" in self.fields:
            self.fields["surface"].choices = self.surface_choices(surfaces)  # type: ignore[attr-defined]

    def prefix_of(self) -> str:
        return type(self).__name__.removesuffix("Form").lower()

    def surface_choices(self, surfaces: Sequence[LogSurface]) -> list[tuple[str, str]]:
        return [("", _("the whole vehicle")), *((str(row.id), row.name) for row in surfaces)]


def _surface(**kwargs: Any) -> forms.TypedChoiceField:
    return forms.TypedChoiceField(label=gettext_lazy("Where"), coerce=int, empty_value=None, **kwargs)


class WashForm(_ReportForm):
    """A wash of one's own."""


class MishapForm(_ReportForm):
    """Something has come onto the paint."""

    kind = forms.ChoiceField(label=gettext_lazy("What"), choices=[(key, aid.title) for key, aid in AID.items()])
    surface = _surface(required=False)
    dwell_h = AmountField(
        label=gettext_lazy("Hours it has been on (may stay empty)"), required=False, least=0, most=10_000,
        unit=gettext_lazy("hours"),
    )  # fmt: skip
    field_order = ("kind", "surface", "on", "dwell_h")


class WaterForm(_ReportForm):
    """A water test with the picture scale, which is drawn beside the form."""

    surface = _surface()
    clean_state = forms.ChoiceField(
        label=gettext_lazy("The surface was"),
        choices=[("washed", gettext_lazy("freshly washed")), ("dirty", gettext_lazy("not washed"))],
        help_text=gettext_lazy("On a surface that is not washed, flat water says little about the coat."),
    )
    score = forms.TypedChoiceField(
        coerce=int, choices=[(str(score), str(score)) for score in SCORES],
        error_messages={"required": gettext_lazy("Choose the picture that looks most like it.")},
    )  # fmt: skip
    field_order = ("surface", "on", "clean_state", "score")

    def surface_choices(self, surfaces: Sequence[LogSurface]) -> list[tuple[str, str]]:
        return [(str(row.id), row.name) for row in surfaces if row.water]


class PhotoForm(_ReportForm):
    """A photo; the file itself is read from the request."""

    on = None  # type: ignore[assignment]
    surface = _surface(required=False)
    caption = forms.CharField(label=gettext_lazy("What it shows (may stay empty)"), required=False, max_length=200)
