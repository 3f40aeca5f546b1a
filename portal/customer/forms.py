"""The choices that a customer makes, in the words that are kept with them."""

from __future__ import annotations

from typing import Final

from django import forms
from django.utils.translation import gettext_lazy as _

PURPOSES: Final = {
    "service": _("Care reminders"),
    "promotion": _("Offers"),
}
WORDINGS: Final = {
    "service": _(
        "Please write to me by e-mail when care of my vehicle is due: what, why, in which weeks, and what happens if I "
        "wait. I can end this at any time, on this page or with one click in any of these mails."
    ),
    "promotion": _(
        "Please also write to me about work that I could buy, at most once in 30 days and six times a year. I can end "
        "this at any time, on this page or with one click in any of these mails."
    ),
}


class ChoiceForm(forms.Form):
    """One statement: this purpose, yes or no, at this studio."""

    customer = forms.IntegerField(min_value=1)
    purpose = forms.ChoiceField(choices=[(key, key) for key in PURPOSES])
    answer = forms.ChoiceField(choices=[("yes", "yes"), ("no", "no")])
