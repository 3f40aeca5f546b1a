"""Forms about a vehicle's use and what was taken off it: habits, storage, correction."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, Final

from django import forms

from lifecycle.care.history import STAGE_WORDS
from lifecycle.care.keeping_reads import HabitsFacts, SurfaceFacts
from lifecycle.wear import choices as words
from lifecycle.wear.types import Place
from portal.customer.words import PARKING, WASHING

from .forms import DayInput
from .register_forms import DayForm

PH_WORDS: Final = {"neutral": "neutral", "alkaline": "alkaline (strong)", "acid": "acid", "unknown": "not known"}
SALT_WORDS: Final = {
    "none": "none",
    "some": "some: a few frosty weeks",
    "regular": "regular: most of the winter",
    "heavy": "heavy: salted roads all winter",
}
TREES_WORDS: Final = {
    0: "none: open ground",
    1: "few",
    2: "trees and birds near by",
    3: "many: under trees, or birds above",
}
SOURCE_WORDS: Final = {
    "asked": "the studio asked the keeper",
    "reported": "the keeper reported it",
    "defaulted": "nobody; it is assumed",
}
# Where paint can lie that a polish takes from.
NO_PAINT: Final = ("glass", "leather", "textile")


class HabitsForm(DayForm):
    """How the vehicle is used from a day on."""

    start = forms.DateField(
        label="So since",
        widget=DayInput,
        help_text="What was before this day stays as it is on record; wear is never counted anew backwards.",
    )
    parking = forms.ChoiceField(label="Parked", choices=PARKING.items())
    trees_birds = forms.TypedChoiceField(label="Trees and birds there", coerce=int, choices=TREES_WORDS.items())
    km_per_year = forms.FloatField(label="Kilometres a year", min_value=0, max_value=500_000)
    road_salt = forms.ChoiceField(label="Road salt", choices=SALT_WORDS.items())
    wash_method = forms.ChoiceField(label="Washed", choices=WASHING.items())
    washes_per_year = forms.FloatField(label="Washes a year", min_value=0, max_value=400)
    wash_ph = forms.ChoiceField(label="Cleaner", choices=PH_WORDS.items())
    source = forms.ChoiceField(
        label="Who says so", choices=SOURCE_WORDS.items(), help_text="Assumed habits make the forecast's range wider."
    )
    lat = forms.FloatField(label="Latitude, degrees", required=False, min_value=-90, max_value=90)
    lon = forms.FloatField(label="Longitude, degrees", required=False, min_value=-180, max_value=180)
    height_m = forms.FloatField(label="Height, m", required=False, min_value=-450, max_value=9000)
    sea_distance_m = forms.FloatField(label="Distance to the sea, m", required=False, min_value=0, max_value=4_000_000)

    PLACE = ("lat", "lon", "height_m", "sea_distance_m")

    def clean_start(self) -> date | None:
        return self.not_ahead("start")

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        given = [name for name in self.PLACE if cleaned.get(name) is not None]
        for name in ("lat", "lon"):
            if given and name not in given and name not in self.errors:
                self.add_error(name, "A place needs latitude and longitude; or empty all four fields.")
        return cleaned

    def habits(self) -> dict[str, Any]:
        """The fields as the verb takes them. Needs a valid form."""
        data = dict(self.cleaned_data)
        place = {name: data.pop(name) for name in self.PLACE}
        return data | {"place": Place(**place) if place["lat"] is not None else None}

    def use_fields(self) -> list[forms.BoundField]:
        return [field for field in self.visible_fields() if field.name not in self.PLACE]

    def place_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.PLACE]

    @property
    def place_wrong(self) -> bool:
        """Whether the fold with the place has something to say, or to show."""
        return any(self[name].errors or self[name].value() not in (None, "") for name in self.PLACE)


def _shown(value: float | None) -> str:
    """A number without a needless ".0"."""
    return "" if value is None else str(value).removesuffix(".0")


def habits_initial(now: HabitsFacts | None, *, today: date, first_seen: date, road_salt: str) -> dict[str, Any]:
    """What the form starts from: the habits that hold; without any, the usual use since the vehicle was first seen."""
    if now is None:
        usual = {"parking": "mixed", "km_per_year": 15_000, "wash_method": "two_bucket", "washes_per_year": 26}
        return usual | {"start": first_seen, "wash_ph": "unknown", "road_salt": road_salt, "trees_birds": 1,
                        "source": "asked"}  # fmt: skip
    names = ("parking", "wash_method", "wash_ph", "road_salt", "trees_birds")
    place = {name: _shown(getattr(now.place, name)) for name in HabitsForm.PLACE} if now.place is not None else {}
    told = {name: getattr(now, name) for name in names} | {
        name: _shown(getattr(now, name)) for name in ("km_per_year", "washes_per_year")
    }
    return told | place | {"start": today, "source": "asked"}


class StorageForm(forms.Form):
    """From when to when the vehicle stands unused."""

    start = forms.DateField(label="Laid up from", widget=DayInput)
    end = forms.DateField(
        label="Back in use on", required=False, widget=DayInput, help_text="Empty: not known yet; say it here later."
    )

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        start, end = cleaned.get("start"), cleaned.get("end")
        if start and end and end <= start:
            self.add_error("end", f"{end} is not after {start}.")
        return cleaned


class EndStorageForm(forms.Form):
    """When a stored vehicle comes back into use."""

    end = forms.DateField(label="Back in use on", widget=DayInput)


class CorrectionForm(DayForm):
    """Clear coat that was taken off, on one or several surfaces in the same way."""

    surfaces = forms.TypedMultipleChoiceField(
        label="Surfaces",
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick the surface that was worked on."},
    )
    on = forms.DateField(label="On", widget=DayInput)
    stage = forms.ChoiceField(
        label="What was done", choices=[(stage, STAGE_WORDS[stage]) for stage in words.REMOVAL_STAGES]
    )
    passes = forms.IntegerField(label="Passes", min_value=1, max_value=10, initial=1)
    removal_low_um = forms.FloatField(
        label="Taken off at least, µm",
        required=False,
        min_value=0,
        max_value=200,
        help_text="Only if it was measured; else the usual range of this work is counted.",
    )
    removal_high_um = forms.FloatField(label="Taken off at most, µm", required=False, min_value=0, max_value=200)
    happened_elsewhere = forms.BooleanField(
        label="It has happened already, elsewhere or earlier",
        required=False,
        help_text="Then it is recorded as it was, whatever the budget says, and the journal notes it.",
    )

    def __init__(self, *args: Any, surfaces: Sequence[SurfaceFacts], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["surfaces"].choices = [
            (row.id, row.name) for row in surfaces if row.substrate not in NO_PAINT and row.orientation != "inside"
        ]

    def clean_on(self) -> date | None:
        return self.not_ahead("on")

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        low, high = cleaned.get("removal_low_um"), cleaned.get("removal_high_um")
        if low is not None and high is None and "removal_high_um" not in self.errors:
            self.add_error("removal_high_um", "Give the other end of the range too; the same value if it was one.")
        if high is not None and low is None and "removal_low_um" not in self.errors:
            self.add_error("removal_low_um", "Give the other end of the range too.")
        if low is not None and high is not None and low > high:
            self.add_error("removal_high_um", f"{high:g} µm is less than {low:g} µm.")
        return cleaned
