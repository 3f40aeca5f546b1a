"""Forms about a vehicle's life: paint, parts, glass, unknown layers, wheel sets, contract rules, wrong entries."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, Final

from django import forms

from lifecycle.care.keeping_reads import SurfaceFacts
from lifecycle.care.life_reads import RemovedPart, WheelSet
from lifecycle.care.wheels import SEASONS
from lifecycle.care.wording import day_words
from lifecycle.wear.choices import SUBSTRATES
from lifecycle.wear.stack import PAINTED

from .forms import DayInput
from .register_forms import DayForm

NEW_PART_WORDS: Final = {
    "factory": "new, with its finish from the factory",
    "refinish": "painted before it was fitted",
    "unknown": "not known",
}
EXTENT_WORDS: Final = {
    "whole": "the whole panel: its coats end",
    "local": "a touch-up in one place: the coats beside it stay",
}


class PartForm(DayForm):
    """Work on one surface, on a day."""

    surface = forms.TypedChoiceField(label="Surface", coerce=int)
    on = forms.DateField(label="On", widget=DayInput)
    note = forms.CharField(
        label="Note of who did it", required=False, max_length=300, help_text="No names: the note stays with the car."
    )

    def __init__(self, *args: Any, surfaces: Sequence[SurfaceFacts], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["surface"].choices = [(row.id, row.name) for row in surfaces if self.fits(row)]

    def fits(self, row: SurfaceFacts) -> bool:
        """Whether this work can be done on a surface."""
        return True

    def clean_on(self) -> date | None:
        return self.not_ahead("on")


class RepaintForm(PartForm):
    """New paint, all over a panel or in one place."""

    field_order = ("surface", "extent", "on", "note")
    extent = forms.ChoiceField(label="How much", choices=EXTENT_WORDS.items(), widget=forms.RadioSelect)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["note"].label = "The painter's note"

    def fits(self, row: SurfaceFacts) -> bool:
        return row.substrate in PAINTED and row.orientation not in ("inside", "wheel")

    def work(self) -> dict[str, Any]:
        """The fields as the verb takes them. Needs a valid form."""
        data = dict(self.cleaned_data)
        return {"surface_id": data["surface"], "whole": data["extent"] == "whole", "on": data["on"],
                "note": data["note"]}  # fmt: skip


class SwapForm(PartForm):
    """Another part in the same place."""

    field_order = ("surface", "finish", "substrate", "on", "note")
    finish = forms.ChoiceField(label="Finish of the new part", choices=NEW_PART_WORDS.items(), widget=forms.RadioSelect)
    substrate = forms.ChoiceField(
        label="Made of",
        required=False,
        choices=[("", "the same as before"), *((word, word) for word in SUBSTRATES if word != "glass")],
    )

    def __init__(self, *args: Any, removed: Sequence[RemovedPart] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        again = [(row.id, f"{row.name}, off since {row.removed_on:%d %b %Y}") for row in removed]
        self.fields["surface"].choices = [*self.fields["surface"].choices, *again]

    def fits(self, row: SurfaceFacts) -> bool:
        return row.substrate != "glass"

    def work(self) -> dict[str, Any]:
        """The fields as the verb takes them. Needs a valid form."""
        data = dict(self.cleaned_data)
        return data | {"surface_id": data.pop("surface")}


class GlassForm(PartForm):
    """A new pane."""

    def fits(self, row: SurfaceFacts) -> bool:
        return row.substrate == "glass"

    def work(self) -> dict[str, Any]:
        """The fields as the verb takes them. Needs a valid form."""
        data = dict(self.cleaned_data)
        return {"surface_id": data["surface"], "on": data["on"], "note": data["note"]}


class RemovedForm(GlassForm):
    """A part that is no longer there."""

    def fits(self, row: SurfaceFacts) -> bool:
        return True


class UnknownForm(DayForm):
    """Something unknown lies on some surfaces."""

    surfaces = forms.TypedMultipleChoiceField(
        label="Surfaces",
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick at least one surface."},
    )
    there_on = forms.DateField(
        label="On it at the latest since",
        widget=DayInput,
        help_text="The day on which it was first noticed, or on which the vehicle came here first.",
    )

    def __init__(self, *args: Any, surfaces: Sequence[SurfaceFacts], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["surfaces"].choices = [(row.id, row.name) for row in surfaces]

    def clean_there_on(self) -> date | None:
        return self.not_ahead("there_on")

    def work(self) -> dict[str, Any]:
        """The fields as the verb takes them. Needs a valid form."""
        return {"surface_ids": self.cleaned_data["surfaces"], "there_on": self.cleaned_data["there_on"]}


def set_words(row: WheelSet) -> str:
    """What a wheel set is called: by its season where that is known."""
    return row.season_words or row.name


class SwapWheelsForm(DayForm):
    """Which set goes on, and when."""

    surface_id = forms.TypedChoiceField(label="The set that goes on", coerce=int, widget=forms.RadioSelect)
    on = forms.DateField(label="On", widget=DayInput)

    def __init__(self, *args: Any, sets: Sequence[WheelSet], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["surface_id"].choices = [(row.id, set_words(row)) for row in sets if row.on_since is None]

    def clean_on(self) -> date | None:
        return self.not_ahead("on")


class AddSetForm(DayForm):
    """Another wheel set."""

    season = forms.ChoiceField(label="For", choices=SEASONS.items())
    on_since = forms.DateField(
        label="On the vehicle since",
        required=False,
        widget=DayInput,
        help_text="Empty: it is in store, and the set that is on stays on.",
    )

    def clean_on_since(self) -> date | None:
        return self.not_ahead("on_since")


class NameSetForm(forms.Form):
    """For which season a set is."""

    surface_id = forms.TypedChoiceField(label="Set", coerce=int)
    season = forms.ChoiceField(label="For", choices=SEASONS.items())

    def __init__(self, *args: Any, sets: Sequence[WheelSet], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["surface_id"].choices = [(row.id, set_words(row)) for row in sets]


class RuleForm(forms.Form):
    """Inspections that a contract asks for again and again."""

    title = forms.CharField(label="What the contract asks for", max_length=120, help_text="Like: yearly inspection.")
    starts_on = forms.DateField(
        label="Counted from", widget=DayInput, help_text="The first inspection comes one interval after this day."
    )
    every_months = forms.IntegerField(label="Every so many months", min_value=1, max_value=120, initial=12)
    tolerance_days = forms.IntegerField(
        label="Give or take, days",
        min_value=0,
        max_value=366,
        initial=30,
        help_text="How far from each day the contract lets the inspection be.",
    )
    ends_on = forms.DateField(
        label="The last on or before", required=False, widget=DayInput, help_text="Empty: the contract names no end."
    )
    written_in = forms.CharField(
        label="Where it is written", max_length=200, help_text="The paper and its paragraph; no names."
    )


class DoneForm(forms.Form):
    """Which inspection was the one that was asked for."""

    inspection_id = forms.TypedChoiceField(label="Inspection of", coerce=int, widget=forms.RadioSelect)

    def __init__(self, *args: Any, inspections: Sequence[tuple[int, date]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["inspection_id"].choices = [(pk, f"{day_words(day)}") for pk, day in inspections]


class WhyForm(forms.Form):
    """Why an entry is taken back."""

    why = forms.CharField(label="Why", max_length=200, help_text="The entry stays on record with this reason.")


class ReadmitForm(DayForm):
    """A vehicle comes back, with whoever keeps it now."""

    on = forms.DateField(label="Here again since", widget=DayInput)
    plate = forms.CharField(label="Plate now", max_length=20)

    def clean_on(self) -> date | None:
        return self.not_ahead("on")


class EraseForm(forms.Form):
    """A person's name, typed again, before everything that names them goes."""

    typed = forms.CharField(
        label="The name, typed again",
        max_length=160,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text="As it stands above. What is erased cannot be brought back.",
    )
    never_write = forms.BooleanField(
        label="Keep a digest of the address, so that nobody writes to it even if it is put on record again",
        required=False,
    )
