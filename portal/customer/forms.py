"""The choices that a customer makes, in the words that are kept with them."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.utils.translation import gettext_lazy as _

from lifecycle.care.wishes import languages

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
# How a statement came to be on record; anything else is shown as the studio wrote it down.
HOWS: Final = {
    "own page": _("on your own page"),
    "link in a mail": _("by the link in a mail"),
    "paper form": _("on a paper form"),
    "e-mail": _("by e-mail"),
    "spoken": _("in speech"),
}


class ChoiceForm(forms.Form):
    """One statement: this purpose, yes or no, at this studio."""

    customer = forms.IntegerField(min_value=1)
    purpose = forms.ChoiceField(choices=[(key, key) for key in PURPOSES])
    answer = forms.ChoiceField(choices=[("yes", "yes"), ("no", "no")])


class WishesForm(forms.Form):
    """How to be written to: language, quiet hours, a pause."""

    customer = forms.IntegerField(min_value=1, widget=forms.HiddenInput)
    language = forms.ChoiceField(label=_("Language of mails"))
    quiet_from = forms.TimeField(
        label=_("Quiet hours from"), required=False, widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text=_("No mail is sent in these hours of your day. Left empty: 20:00 to 08:00."),
    )  # fmt: skip
    quiet_to = forms.TimeField(
        label=_("Quiet hours until"), required=False, widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    )
    paused_until = forms.DateField(
        label=_("Pause until"), required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text=_("Nothing is written before this day. What is due then comes then. Left empty: no pause."),
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["language"].choices = languages()  # type: ignore[attr-defined]


class EraseForm(forms.Form):
    """The name typed again, so that nobody is erased by a slip."""

    typed = forms.CharField(
        label=_("Type your name as it stands above"), max_length=160,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )  # fmt: skip
    never_write = forms.BooleanField(
        label=_("Keep a digest of my address, so that nobody writes to it again"), required=False,
        help_text=_("The digest cannot be read back; it only refuses the address should somebody enter it anew."),
    )  # fmt: skip
