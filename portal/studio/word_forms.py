"""The form of a kind of mail's own words: one field a part, and what it is shown with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.utils.html import escape

from lifecycle.reminders.trials import Sample
from lifecycle.reminders.wordings import Voice
from lifecycle.reminders.words import built_in


class WordsForm(forms.Form):
    """Fields named like the parts. What is left empty keeps the built-in words, which stand beside each field."""

    def __init__(self, data: Mapping[str, Any] | None, *, voice: Voice, samples: Sequence[Sample]) -> None:
        super().__init__(data)
        for part in voice.kind.parts:
            widget = forms.TextInput() if part.one_line else forms.Textarea(attrs={"rows": 3})
            words = built_in(part, voice.language)
            stands = f"Built in: “{words}”" if words else "Built in: nothing"
            needs = f" Needed: {', '.join(f'{{{name}}}' for name in part.needs)}." if part.needs else ""
            self.fields[part.name] = forms.CharField(
                label=part.label, required=False, widget=widget, strip=False, initial=voice.own.get(part.name, ""),
                help_text=escape(
                    f"{stands} You may use {', '.join(f'{{{name}}}' for name in part.may)}; at most {part.longest} "
                    f"characters.{needs}"
                ),
            )  # fmt: skip
        self.fields["sample"] = forms.TypedChoiceField(
            label="Show it with", required=False, coerce=int, empty_value=0,
            choices=[(one.id, one.label) for one in samples] or [("", "nothing on record yet")],
        )  # fmt: skip

    @property
    def words(self) -> dict[str, str]:
        """What was typed, part by part."""
        return {name: str(value) for name, value in self.cleaned_data.items() if name != "sample"}
