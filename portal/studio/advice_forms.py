"""Forms of advice: recommending by hand, and taking back with what was seen since."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from lifecycle.outlook.evidence import Evidence


class RecommendForm(forms.Form):
    """A recommendation that a person of the studio makes."""

    task = forms.ChoiceField(label="Work")
    surfaces = forms.MultipleChoiceField(
        label="Surfaces", required=False, widget=forms.CheckboxSelectMultiple, help_text="None for the whole vehicle."
    )
    why = forms.CharField(label="Why", max_length=200, help_text="What you saw; no names.")

    def __init__(
        self, *args: Any, tasks: Sequence[tuple[str, str]], surfaces: Sequence[tuple[str, str]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["task"].choices = [("", "choose"), *tasks]
        self.fields["surfaces"].choices = list(surfaces)
        if not surfaces:
            del self.fields["surfaces"]


class WithdrawForm(forms.Form):
    """Why advice is taken back, and the new evidence."""

    evidence = forms.ChoiceField(label="New evidence", required=False, help_text="What was put on record since.")
    why = forms.CharField(label="Why it is taken back", max_length=200)

    def __init__(self, *args: Any, evidence: Sequence[Evidence], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = [(row.key, f"{row.on:%d %b %Y}: {row.words}") for row in evidence]
        self.fields["evidence"].choices = [("", "none of the record: said below"), *rows]
