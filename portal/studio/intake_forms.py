"""Forms of the intake. Each works by itself without script; with it, the same fields are sent one by one."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, Final
from uuid import uuid4

from django import forms

from lifecycle.care.intake import FindingDetails
from lifecycle.care.intake_reads import FindingRow, Intake
from lifecycle.care.record import FINDING_KINDS
from portal.drawings import places
from portal.drawings.places import Spot

from .forms import DayInput

SEVERITIES: Final = ((1, "1 slight"), (2, "2"), (3, "3 clear"), (4, "4"), (5, "5 grave"))
LIGHTS: Final = (
    ("", "not noted"),
    ("inspection lamp", "inspection lamp"),
    ("swirl-finding lamp", "hand lamp, warm and cold"),
    ("lit bay", "lit bay"),
    ("daylight", "daylight"),
)
NO_PHOTO: Final = {"required": "Choose a photo."}


def spots_of(view: Intake) -> list[Spot]:
    """The vehicle's surfaces as the drawings see them."""
    return [Spot(row.id, row.code, row.name, row.orientation, row.substrate) for row in view.surfaces]


class KeyedForm(forms.Form):
    """A form that is stored once however often it arrives: its key is made with it."""

    key = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs["initial"] = {"key": uuid4(), **(kwargs.get("initial") or {})}
        kwargs.setdefault("auto_id", f"{type(self).__name__.lower()}_%s")  # several of them stand on one page
        super().__init__(*args, **kwargs)


class DayForm(KeyedForm):
    """About a day that cannot lie ahead; today unless another is given."""

    on = forms.DateField(label="Day", widget=DayInput, required=False, help_text="Empty: today.")

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def clean_on(self) -> date:
        day: date = self.cleaned_data["on"] or self.today
        if day > self.today:
            raise forms.ValidationError(f"{day} lies in the future; give the day on which it happened.")
        return day


class OpenForm(DayForm):
    """Start of a walk-around or of a pre-detail inspection."""

    kind = forms.ChoiceField(
        choices=[("walk_around", ""), ("pre_detail", "")], widget=forms.HiddenInput, initial="walk_around"
    )
    light = forms.ChoiceField(label="Light", choices=LIGHTS, required=False)


class CleaningForm(DayForm):
    """What was done before the inspection under light."""

    washed = forms.BooleanField(label="Washed", required=False)
    decontaminated = forms.BooleanField(label="Decontaminated", required=False)
    note = forms.CharField(label="Note", required=False, max_length=300)


class FinishForm(KeyedForm):
    """What is said at the end of an inspection; after a walk-around the rough price."""

    inspection = forms.UUIDField(widget=forms.HiddenInput)
    rough_low = forms.DecimalField(
        label="Rough price from", required=False, min_value=0, max_digits=9, decimal_places=2
    )
    rough_high = forms.DecimalField(label="to", required=False, min_value=0, max_digits=9, decimal_places=2)
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2}), max_length=4000)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("rough_low", "rough_high"):
            self.fields[name].widget.attrs["inputmode"] = "decimal"


class ManyFiles(forms.ClearableFileInput):
    """Photos, several at once."""

    allow_multiple_selected = True


class PhotosField(forms.FileField):
    """Several files. Their own verb looks at them one by one, so that a bad one loses nothing else."""

    widget = ManyFiles

    def clean(self, data: Any, initial: Any = None) -> None:
        return None


class FindingForm(KeyedForm):
    """One finding. The place is tapped (x, y), or said in words; the words win."""

    inspection = forms.UUIDField(widget=forms.HiddenInput)
    surface = forms.TypedChoiceField(label="Surface", coerce=int, required=False, empty_value=None)
    piece = forms.ChoiceField(label="Which part of it", required=False)
    place = forms.ChoiceField(
        label="Where on it", required=False, choices=[("", "not said"), *places.choices()], help_text=""
    )
    x = forms.FloatField(widget=forms.HiddenInput, required=False, min_value=0, max_value=1)
    y = forms.FloatField(widget=forms.HiddenInput, required=False, min_value=0, max_value=1)
    on_outline = forms.BooleanField(widget=forms.HiddenInput, required=False)
    kind = forms.ChoiceField(
        label="What is it?",
        choices=FINDING_KINDS,
        widget=forms.RadioSelect,
        error_messages={"required": "Say what it is; “other” where nothing fits."},
    )
    severity = forms.TypedChoiceField(
        label="How bad?", choices=SEVERITIES, coerce=int, widget=forms.RadioSelect, initial=2
    )
    size_mm = forms.FloatField(label="Size, mm", required=False, min_value=0.1, max_value=5000)
    pre_existing = forms.BooleanField(label="Pre-existing: it was there before our work", required=False, initial=True)
    note = forms.CharField(label="Note", required=False, max_length=300)
    photos = PhotosField(
        label="Photos", required=False, widget=ManyFiles(attrs={"multiple": True, "accept": "image/*"})
    )

    def __init__(self, *args: Any, spots: Sequence[Spot], body: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.spots = {spot.id: spot for spot in spots}
        self.body = body
        self.pieces = {spot.id: [piece.label for piece in places.pieces_of(spot.code, body)] for spot in spots}
        self.fields["surface"].choices = [("", "the whole vehicle"), *((spot.id, spot.name) for spot in spots)]
        parts = dict.fromkeys(label for labels in self.pieces.values() if len(labels) > 1 for label in labels)
        self.fields["piece"].choices = [("", "not said"), *((label, label) for label in parts)]
        self.fields["size_mm"].widget.attrs |= {"inputmode": "decimal", "step": "any"}

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if cleaned.get("place"):
            self._place_in_words(cleaned)
        elif self.initial.get("surface") and cleaned.get("surface") != self.initial["surface"]:
            cleaned |= {"x": None, "y": None, "on_outline": False}  # the point was of the other surface
        if cleaned.get("surface") is None and cleaned.get("on_outline"):
            cleaned["on_outline"] = False
        return cleaned

    def _place_in_words(self, cleaned: dict[str, Any]) -> None:
        surface = cleaned.get("surface")
        if surface is None:
            self.add_error("surface", "Say which surface it is on, or set the place to “not said”.")
            return
        labels, manner = self.pieces[surface], places.manner_of(self.spots[surface].orientation)
        piece = cleaned.get("piece", "")
        if len(labels) > 1 and piece not in labels:
            self.add_error("piece", f"The {self.spots[surface].name} have parts: {', '.join(labels)}. Say which one.")
            return
        index = labels.index(piece) if len(labels) > 1 else 0
        point = places.point_of(cleaned["place"], manner, piece=index, count=len(labels))
        if point is None:
            self.add_error(
                "place", f"For the {self.spots[surface].name} choose from the group “{places.GROUP_WORDS[manner]}”."
            )
            return
        cleaned |= {"x": point[0], "y": point[1], "on_outline": True}

    def details(self) -> FindingDetails:
        """The finding in the words of its verb. Needs a valid form."""
        data = self.cleaned_data
        return FindingDetails(
            kind=data["kind"], surface_id=data["surface"], severity=data["severity"], size_mm=data["size_mm"],
            pre_existing=data["pre_existing"], note=data["note"], on_outline=data["on_outline"], x=data["x"],
            y=data["y"],
        )  # fmt: skip


class ChangeFindingForm(FindingForm):
    """A finding that is on record; it stays with its inspection."""

    inspection = None


def initial_of(finding: FindingRow) -> dict[str, Any]:
    """What the form of a finding that is on record starts with."""
    names = ("kind", "severity", "size_mm", "pre_existing", "note", "on_outline", "x", "y")
    return {"surface": finding.surface_id} | {name: getattr(finding, name) for name in names}


class PhotoForm(KeyedForm):
    """One photo of a finding, or of the inspection as a whole."""

    inspection = forms.UUIDField(widget=forms.HiddenInput)
    finding = forms.UUIDField(required=False, widget=forms.HiddenInput)
    photo = forms.FileField(label="Photo", error_messages=NO_PHOTO)
