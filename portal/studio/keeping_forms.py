"""Forms about papers and keepers: a contract's date, and a vehicle that leaves."""

from __future__ import annotations

from datetime import date
from typing import Final

from django import forms

from .forms import DayInput
from .register_forms import DayForm

WHY_WORDS: Final = {"sold": "sold outside", "scrapped": "scrapped"}


class ContractForm(forms.Form):
    """An inspection that a contract asks for."""

    title = forms.CharField(label="What the contract asks for", max_length=120, help_text="Like: yearly inspection.")
    due = forms.DateField(label="Due on", widget=DayInput)
    tolerance_days = forms.IntegerField(
        label="Give or take, days",
        min_value=0,
        max_value=366,
        initial=30,
        help_text="How far from that day the contract lets the inspection be.",
    )


class RetireForm(DayForm):
    """The vehicle leaves for good."""

    why = forms.ChoiceField(label="What became of it", choices=WHY_WORDS.items(), widget=forms.RadioSelect)
    on = forms.DateField(label="On", widget=DayInput)

    def clean_on(self) -> date | None:
        return self.not_ahead("on")
