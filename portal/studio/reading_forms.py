"""The head of the readings page: which inspection, which unit, which gauges. The grid itself is in `reading_grid`."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import date
from typing import Any, Final

from django import forms

from lifecycle.care.gauge_csv import DELIMITERS
from lifecycle.care.gauges import METHOD_WORDS, GaugeRow
from lifecycle.care.readings import Sheet
from lifecycle.wear.choices import CLEAN_STATES

from .forms import DayInput

UNITS: Final = (("um", "µm"), ("mil", "mil (25.4 µm)"))
UNREGISTERED: Final = (
    ("method:magnetic", "not on the list: magnetic"),
    ("method:eddy", "not on the list: eddy current"),
    ("method:ultrasonic", "not on the list: ultrasonic"),
)


def _of(gauges: Sequence[GaugeRow], *methods: str) -> list[tuple[str, str]]:
    return [
        (str(row.id), f"{row.name}{f', ± {row.sd_um:g} µm' if row.sd_um else ''}")
        for row in gauges
        if row.method in methods
    ]


class SheetForm(forms.Form):
    """What holds for all readings of the sheet."""

    inspection = forms.TypedChoiceField(label="Part of", coerce=int, required=False, empty_value=None)
    on = forms.DateField(label="Read on", widget=DayInput, required=False)
    clean_state = forms.ChoiceField(
        label="How clean were the surfaces?",
        choices=[(state, state) for state in CLEAN_STATES],
        required=False,
        help_text="Beads on a dirty surface say little about wear; a decontaminated one outweighs.",
    )
    gauge = forms.ChoiceField(label="Film gauge", required=False)
    unit = forms.ChoiceField(label="Thickness typed in", choices=UNITS)
    gloss_gauge = forms.ChoiceField(label="Gloss meter", required=False)
    angle_gauge = forms.ChoiceField(label="Drops read with", required=False)
    note = forms.CharField(label="Note", required=False, max_length=4000)
    key = forms.UUIDField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, sheet: Sheet, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["inspection"].choices = [("", "a new inspection"), *sheet.inspections]
        self.fields["inspection"].help_text = "An inspection that is on record keeps its own day and state."
        self.fields["gauge"].choices = [*_of(sheet.gauges, *list(METHOD_WORDS)[:4]), *UNREGISTERED]
        for name, method in (("gloss_gauge", "gloss"), ("angle_gauge", "goniometer")):
            found = _of(sheet.gauges, method)
            if found:
                self.fields[name].choices = [("", "not noted"), *found]
            else:
                del self.fields[name]

    @classmethod
    def fresh(cls, sheet: Sheet, *, today: date, unit: str, gauge: str = "", inspection: str = "") -> dict[str, Any]:
        """The first state of the form. The gauge is the one that was used last here, else the studio's most used."""
        films = {str(row.id): row.readings for row in sheet.gauges if row.films}
        usual = (
            gauge if gauge in films or gauge in dict(UNREGISTERED) else max(films, key=films.__getitem__, default="")
        )
        return {
            "on": today, "clean_state": "washed", "unit": unit, "key": uuid.uuid4(), "inspection": inspection,
            "gauge": usual,
        }  # fmt: skip

    def clean_on(self) -> date:
        day: date = self.cleaned_data["on"] or self.today
        if day > self.today:
            raise forms.ValidationError(f"{day} lies in the future; give the day on which it was read.")
        return day

    def clean_clean_state(self) -> str:
        return self.cleaned_data["clean_state"] or "washed"

    def gauge_id(self, name: str) -> int | None:
        """The registered gauge that was chosen, or None."""
        said = str(self[name].value() or "") if name in self.fields else ""
        return int(said) if said.isascii() and said.isdecimal() and len(said) < 12 else None

    def method(self) -> str:
        """The method of a film gauge that is not on the list, else ""."""
        said = str(self["gauge"].value() or "")
        return said.removeprefix("method:") if said in dict(UNREGISTERED) else ""

    def typed_unit(self) -> str:
        """The unit that was chosen, µm where none was."""
        return "mil" if self.data.get("unit") == "mil" else "um"


class GaugeForm(forms.Form):
    """An instrument of the studio."""

    name = forms.CharField(label="Name", max_length=80, help_text="As it is written on it.")
    method = forms.ChoiceField(label="What it measures", choices=list(METHOD_WORDS.items()))
    sd_um = forms.FloatField(
        label="Standard uncertainty, µm",
        required=False,
        widget=forms.NumberInput(attrs={"step": "any"}),
        help_text="Film gauges only: one sigma. A data sheet's ± 1 µm at two sigma is 0.5.",
    )
    checked_on = forms.DateField(
        label="Last checked",
        required=False,
        widget=DayInput,
        help_text="On shims or a certified plate. Once in twelve months is common practice.",
    )


class RetireForm(forms.Form):
    """The day from which a gauge is out of use."""

    on = forms.DateField(label="Out of use since", widget=DayInput)


class PasteForm(forms.Form):
    """The text of a gauge, pasted or as a file, and how it is to be read."""

    text = forms.CharField(
        label="Paste the readings",
        required=False,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false", "autocapitalize": "off"}),
        help_text="One line each, as the gauge or a table writes them.",
    )
    file = forms.FileField(label="or choose the gauge’s file", required=False)
    delimiter = forms.ChoiceField(
        label="Columns are parted by",
        required=False,
        choices=[("", "find out"), *((name, name) for name in DELIMITERS)],
    )
    unit = forms.ChoiceField(label="Where the text names no unit", choices=UNITS)
