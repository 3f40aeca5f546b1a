"""Forms of reports: the signature and the addendum."""

from __future__ import annotations

from typing import Any

from django import forms

from lifecycle.care.reports.signature import MOST_CHARACTERS, Signature, read_strokes, signature
from lifecycle.care.sealing import MOST_TEXT
from portal.reports.words import SEEN


class SignForm(forms.Form):
    """Name, and either lines drawn in the field or a tick. `draft` stands for exactly what was on the page."""

    name = forms.CharField(label="Name of the person who signs", max_length=160, strip=True)
    seen = forms.BooleanField(label=SEEN, required=False)
    strokes = forms.CharField(widget=forms.HiddenInput, required=False, max_length=MOST_CHARACTERS + 1)
    draft = forms.CharField(widget=forms.HiddenInput, max_length=64)

    def signature(self) -> Signature:
        """What was signed.

        Raises:
            DomainError: neither drawn nor ticked, or not readable.
        """
        strokes = read_strokes(self.cleaned_data["strokes"])
        how = "drawn" if strokes or not self.cleaned_data["seen"] else "typed"
        return signature(how=how, name=self.cleaned_data["name"], strokes=strokes, ticked=self.cleaned_data["seen"])


class AddendumForm(forms.Form):
    """What is to be added or set right."""

    text = forms.CharField(
        label="What is added or set right", max_length=MOST_TEXT, widget=forms.Textarea(attrs={"rows": 6}),
        help_text="Names of people do not belong here: what is sealed cannot be erased.",
    )  # fmt: skip
    findings = forms.TypedMultipleChoiceField(
        label="About which findings", coerce=int, required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args: Any, findings: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["findings"].choices = findings
        if not findings:
            del self.fields["findings"]
