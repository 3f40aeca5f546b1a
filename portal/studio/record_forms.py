"""Forms of the technician: a wash or event, an inspection with its readings and findings."""

from __future__ import annotations

import re
from datetime import date
from typing import Any, Final

from django import forms

from lifecycle.care.directory import RecordChoices
from lifecycle.care.reading_rows import LIMITS, ReadingEntry
from lifecycle.care.record import FINDING_KINDS, STUDIO_EVENT_KINDS, FindingEntry
from lifecycle.wear import choices as words

from .forms import DayInput

READING_KINDS: Final = (
    ("beading_score", "beading score, 0 to 5"),
    ("contact_angle_deg", "contact angle, degrees"),
    ("gloss_gu", "gloss at 20 degrees, GU"),
    ("works", "still works: 1 yes, 0 no"),
    ("thickness_um", "total film thickness, µm"),
)
METHODS: Final = (("", "—"), ("magnetic", "magnetic"), ("eddy", "eddy current"), ("ultrasonic", "ultrasonic"))
MAX_VALUES: Final = 20


def _spaced(code: str) -> str:
    return code.replace("_", " ")


class DatedForm(forms.Form):
    """A form about a day that cannot lie ahead."""

    def __init__(self, *args: Any, choices: RecordChoices, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.choices, self.today = choices, today

    def _not_ahead(self, day: date) -> date:
        if day > self.today:
            raise forms.ValidationError(f"{day} lies in the future; give the day on which it happened.")
        return day


class EventForm(DatedForm):
    """A wash, or something that happened."""

    kind = forms.ChoiceField(label="What", choices=[(kind, _spaced(kind)) for kind in STUDIO_EVENT_KINDS])
    on = forms.DateField(label="On", widget=DayInput)
    surface = forms.TypedChoiceField(
        label="Surface",
        coerce=int,
        required=False,
        empty_value=None,
        help_text="Needed for a correction, a repaint and a swapped part: they end the coats of that surface.",
    )
    by = forms.ChoiceField(label="By", choices=[("studio", "the studio"), ("customer", "the customer")])
    dwell_h = forms.FloatField(
        label="Hours on the surface", required=False, min_value=0, max_value=10_000, help_text="For droppings and sap."
    )
    air_c = forms.FloatField(label="Air temperature, °C", required=False, min_value=-60, max_value=60)
    note = forms.CharField(label="Note", required=False, max_length=300)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["surface"].choices = [
            ("", "the whole vehicle"),
            *((row.id, row.label) for row in self.choices.surfaces),
        ]

    def clean_on(self) -> date:
        return self._not_ahead(self.cleaned_data["on"])


class InspectionForm(DatedForm):
    """The day and how clean the surfaces were; readings and findings come beside it."""

    on = forms.DateField(label="Seen on", widget=DayInput)
    clean_state = forms.ChoiceField(
        label="How clean were the surfaces?",
        choices=[(state, state) for state in words.CLEAN_STATES],
        initial="washed",
        help_text="A dirty surface that does not bead says little about wear; a decontaminated one outweighs.",
    )
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 3}), max_length=4000)

    def clean_on(self) -> date:
        return self._not_ahead(self.cleaned_data["on"])


class ReadingForm(forms.Form):
    """One measurement; several thickness values of one spot may stand in one field."""

    surface = forms.TypedChoiceField(label="Surface", coerce=int, required=False, empty_value=None)
    kind = forms.ChoiceField(label="Kind", choices=READING_KINDS, required=False, initial="beading_score")
    value = forms.CharField(label="Value", required=False, max_length=200)
    method = forms.ChoiceField(label="Gauge", choices=METHODS, required=False)

    def __init__(self, *args: Any, surfaces: list[tuple[Any, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["surface"].choices = surfaces
        self.values: list[float] = []

    def clean_value(self) -> str:
        text: str = self.cleaned_data["value"]
        try:
            # "112,5" is a decimal comma; values are parted by spaces or semicolons.
            self.values = [float(part.replace(",", ".")) for part in re.split(r"[\s;]+", text.strip()) if part]
        except ValueError as error:
            raise forms.ValidationError(f"{text!r} is not a number; several values are parted by spaces.") from error
        if len(self.values) > MAX_VALUES:
            raise forms.ValidationError(f"{len(self.values)} values are too many for one line; {MAX_VALUES} at most.")
        return text

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if self.values and not cleaned.get("surface"):
            self.add_error("surface", "Say which surface was measured.")
        if cleaned.get("surface") and not self.values and "value" not in self.errors:
            self.add_error("value", "Give the value, or set the surface back to —.")
        low, high, unit = LIMITS.get(cleaned.get("kind", ""), (float("-inf"), float("inf"), ""))
        wrong = [value for value in self.values if not low <= value <= high]
        if wrong:
            self.add_error("value", f"{wrong[0]:g} is not between {low:g} and {high:g} {unit}.")
        if len(self.values) > 1 and cleaned.get("kind") != "thickness_um":
            self.add_error("value", "Several values in one line are for film thickness only.")
        return cleaned

    def entries(self) -> list[ReadingEntry]:
        """The readings of this line; none if it was left empty. Needs a valid form."""
        data = self.cleaned_data
        return [
            ReadingEntry(surface_id=data["surface"], kind=data["kind"], value=value, method=data["method"])
            for value in self.values
        ]


class FindingForm(forms.Form):
    """One thing that was noticed."""

    kind = forms.ChoiceField(label="What", required=False, choices=[("", "—"), *FINDING_KINDS])
    surface = forms.TypedChoiceField(label="Surface", coerce=int, required=False, empty_value=None)
    severity = forms.IntegerField(label="Severity, 1 to 5", required=False, min_value=1, max_value=5, initial=1)
    pre_existing = forms.BooleanField(label="was there before our work", required=False, initial=True)
    note = forms.CharField(label="Note", required=False, max_length=300)

    def __init__(self, *args: Any, surfaces: list[tuple[Any, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["surface"].choices = surfaces

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if cleaned.get("note") and not cleaned.get("kind"):
            self.add_error("kind", "Say what it is; “other” where nothing fits.")
        return cleaned

    def entries(self) -> list[FindingEntry]:
        """The finding of this line; none if it was left empty. Needs a valid form."""
        data = self.cleaned_data
        if not data.get("kind"):  # an untouched line has no data at all
            return []
        return [
            FindingEntry(
                kind=data["kind"],
                surface_id=data["surface"],
                severity=data["severity"] or 1,
                pre_existing=data["pre_existing"],
                note=data["note"],
            )
        ]


READINGS = forms.formset_factory(ReadingForm, extra=4, max_num=40, absolute_max=40)
FINDINGS_SET = forms.formset_factory(FindingForm, extra=1, max_num=20, absolute_max=20)
