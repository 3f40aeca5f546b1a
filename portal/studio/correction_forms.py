"""Forms of the correction pages: what is planned on each panel, what the customer said, what was done."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django import forms

from lifecycle.care.correction_reads import KeptPanel, Look, PanelRow
from lifecycle.care.corrections import DoneEntry
from lifecycle.care.history import STAGE_WORDS
from lifecycle.care.wording import capital
from lifecycle.wear.correction_choice import MOST_PASSES
from lifecycle.wear.correction_plan import STAGES

from .forms import DayInput
from .register_forms import DayForm

HOW: Final = (("signed", "signed on screen"), ("mail", "by mail"), ("spoken", "spoken and noted"))
BY: Final = (("keeper", "the keeper"), ("sent", "somebody whom the keeper sent"))


def _passes(initial: int = 1) -> forms.IntegerField:
    return forms.IntegerField(label="Passes", min_value=1, max_value=MOST_PASSES, initial=initial)


class PlanForm(forms.Form):
    """A grade and its passes for each panel whose paint is known."""

    def __init__(self, *args: Any, panels: Sequence[PanelRow], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.ids = [row.surface_id for row in panels if row.plan.budget_um is not None]
        for row in panels:
            if row.surface_id not in self.ids:
                continue
            offered = {option.stage for option in row.plan.options if option.offered and not row.refused}
            words = [(s, STAGE_WORDS[s] + ("" if s in offered else " (not offered)")) for s in STAGES]
            self.fields[f"stage-{row.surface_id}"] = forms.ChoiceField(
                label=f"On the {row.name}", choices=[("", "nothing"), *words], required=False
            )
            self.fields[f"passes-{row.surface_id}"] = _passes()
        self.fields["note"] = forms.CharField(label="Note", max_length=300, required=False)

    def chosen(self) -> dict[int, tuple[str, int]]:
        """Surface id -> grade and passes, where something is asked for. Needs a valid form."""
        data = self.cleaned_data
        return {pk: (data[f"stage-{pk}"], data[f"passes-{pk}"]) for pk in self.ids if data[f"stage-{pk}"]}

    def fields_of(self, surface_id: int) -> list[forms.BoundField]:
        """The two fields of a panel; none where its paint is not known."""
        return [self[f"{name}-{surface_id}"] for name in ("stage", "passes")] if surface_id in self.ids else []


class ConsentForm(forms.Form):
    """What the customer said to a plan."""

    given = forms.TypedChoiceField(
        label="The customer",
        choices=(("yes", "agrees"), ("no", "does not agree")),
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
    )
    by = forms.ChoiceField(label="Said by", choices=BY)
    how = forms.ChoiceField(label="How", choices=HOW)
    note = forms.CharField(
        label="What was said, or which mail",
        max_length=300,
        required=False,
        help_text="Needed unless it is signed. No names: who keeps the vehicle is on record.",
    )
    strokes = forms.CharField(required=False, widget=forms.HiddenInput)


@dataclass(frozen=True, slots=True)
class DoneLine:
    """The fields of one panel with the panel."""

    panel: KeptPanel
    done: forms.BoundField
    stage: forms.BoundField
    passes: forms.BoundField


class DoneForm(DayForm):
    """What was done of a plan: day, readings on either side, and each panel's grade and passes."""

    on = forms.DateField(label="Done on", widget=DayInput)
    before = forms.TypedChoiceField(label="Readings before", coerce=int, empty_value=None, required=False)
    after = forms.TypedChoiceField(
        label="Readings after", coerce=int, empty_value=None, required=False,
        help_text="Record them as an inspection first. They check the estimate; the ledger keeps the estimate.",
    )  # fmt: skip

    def __init__(self, *args: Any, panels: Sequence[KeptPanel], looks: Sequence[Look], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known = [("", "none"), *((look.id, f"{look.on:%-d %b %Y}, {look.kind}") for look in looks)]
        for name in ("before", "after"):
            self.fields[name].choices = known
        self.panels = panels
        for panel in panels:
            self.fields[f"done-{panel.id}"] = forms.BooleanField(label=capital(panel.name), required=False)
            self.fields[f"stage-{panel.id}"] = forms.ChoiceField(
                label="What was done", choices=[(stage, STAGE_WORDS[stage]) for stage in STAGES], initial=panel.stage
            )
            self.fields[f"passes-{panel.id}"] = _passes(panel.passes)

    def clean_on(self) -> Any:
        return self.not_ahead("on")

    def entries(self) -> list[DoneEntry]:
        """The ticked panels. Needs a valid form."""
        data = self.cleaned_data
        return [
            DoneEntry(panel.id, data[f"stage-{panel.id}"], data[f"passes-{panel.id}"])
            for panel in self.panels
            if data[f"done-{panel.id}"]
        ]

    def lines(self) -> Iterator[DoneLine]:
        for panel in self.panels:
            yield DoneLine(panel, *(self[f"{name}-{panel.id}"] for name in ("done", "stage", "passes")))

    def day_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("on", "before", "after")]
