"""Forms of the desk: booking, settling, consent, complaints, answers. The record forms are in `record_forms`."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from lifecycle.care.worklist import WorkRow


class DayInput(forms.DateInput):
    """A day, typed or picked."""

    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class BookingForm(forms.Form):
    """The day of a visit and which windows it covers."""

    on = forms.DateField(label="Day of the visit", widget=DayInput)
    tasks = forms.MultipleChoiceField(
        label="Care on that day",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick at least one task, or the visit has nothing to do."},
    )
    hours = forms.FloatField(
        label="Hours in the bay",
        required=False,
        min_value=0.25,
        max_value=200,
        help_text="Empty: the usual labour hours for this size. Cure hours come on top.",
        widget=forms.NumberInput(attrs={"step": "0.25"}),
    )

    def __init__(self, *args: Any, windows: Sequence[WorkRow], today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["tasks"].choices = [(row.task, f"{row.title} ({row.window})") for row in windows]

    def clean_on(self) -> date:
        day: date = self.cleaned_data["on"]
        if day < self.today:
            raise forms.ValidationError(f"{day} lies in the past; give today or a later day.")
        return day


class SettleForm(forms.Form):
    """What became of a booked visit."""

    state = forms.ChoiceField(
        label="What became of it", choices=[("done", "done"), ("cancelled", "cancelled"), ("no_show", "did not come")]
    )
    paid = forms.DecimalField(
        label="Paid",
        required=False,
        min_value=0,
        max_digits=9,
        decimal_places=2,
        help_text="Only for a visit that is done.",
    )


class ConsentForm(forms.Form):
    """A statement of consent, or of its withdrawal, as the customer made it."""

    purpose = forms.ChoiceField(label="About", choices=[("service", "care reminders"), ("promotion", "offers")])
    given = forms.TypedChoiceField(
        label="The customer", coerce=lambda text: text == "yes", choices=[("yes", "agrees"), ("no", "does not agree")]
    )
    how = forms.CharField(label="How they said it", max_length=60, help_text="For example: paper form, by phone.")
    wording = forms.CharField(
        label="The words they saw or heard", widget=forms.Textarea(attrs={"rows": 3}), max_length=2000
    )


class ComplaintForm(forms.Form):
    """A complaint or claim. While it is open nothing promotional is sent."""

    about = forms.CharField(label="What it is about", widget=forms.Textarea(attrs={"rows": 3}), max_length=4000)


class AnswerForm(forms.Form):
    """What a person said to an offer."""

    kind = forms.ChoiceField(label="Answer", widget=forms.RadioSelect)
    why = forms.CharField(
        label="Why, in their words",
        required=False,
        max_length=200,
        help_text="For a no: price, no time, does it himself, not needed, sells the vehicle, goes elsewhere …",
    )
    until = forms.DateField(label="Put off until", required=False, widget=DayInput, help_text="Only for a later.")
    left = forms.MultipleChoiceField(
        label="Left out",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Only for a yes to a part: the surfaces that stay as they are.",
    )

    def __init__(
        self, *args: Any, answers: Sequence[str], surfaces: Sequence[tuple[str, str]] = (), **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["left"].choices = list(surfaces)
        if len(surfaces) < 2:
            del self.fields["left"]
        words = {"accepted": "yes: accepted", "declined": "no: declined", "deferred": "later: put off"}
        self.fields["kind"].choices = [(answer, words[answer]) for answer in answers]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if cleaned.get("kind") == "deferred" and not cleaned.get("until") and "until" not in self.errors:
            self.add_error("until", "Give the day until which it is put off.")
        if cleaned.get("kind") in ("accepted", "declined") and cleaned.get("until"):
            self.add_error("until", "Only a later has a day; empty this field.")
        return cleaned
