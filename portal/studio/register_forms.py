"""Forms that put customers, vehicles and surfaces on record, and change them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from django import forms
from django.conf import settings

from lifecycle.care.directory import Choice
from lifecycle.care.keeping import known_zone
from lifecycle.care.surface_presets import BODIES, SurfacePreset
from lifecycle.care.wording import spoken
from lifecycle.errors import DomainError
from lifecycle.wear import choices as words

from .common import plain
from .forms import DayInput

# What is read out or printed on the form; it can be changed to what the customer really saw.
WORDINGS: Final = {
    "service": "Please write to me by e-mail when care of my vehicle is due: what, why, in which weeks, and what "
    "happens if I wait. I can end this at any time.",
    "promotion": "Please also write to me by e-mail about work that I could buy, at most once in 30 days and six times "
    "a year. I can end this at any time.",
}
BODY_WORDS: Final = {body: body for body in BODIES} | {"suv": "SUV", "pickup": "pick-up", "coupe": "coupé"}
SIZE_WORDS: Final = {"S": "S, small", "M": "M, medium", "L": "L, large", "XL": "XL, very large"}
COLOUR_WORDS: Final = {
    "white": "white",
    "light": "light: silver, cream, pearl",
    "mid": "mid: red, green, grey, bright blue",
    "dark": "dark: dark blue, dark grey",
    "black": "black",
}
PAINT_WORDS: Final = {
    "clear_coat": "colour under a clear coat",
    "single_stage": "single stage: colour without a clear coat",
    "matte": "matte clear coat",
}
ORIENTATION_WORDS: Final = {
    "flat": "flat, facing the sky",
    "side": "upright, on the side",
    "front": "upright, at the front",
    "rear": "upright, at the rear",
    "sill": "low on the side, by the road",
    "screen": "sloping, like a windscreen",
    "wheel": "on the wheels",
    "inside": "inside or under a lid",
}
FINISH_WORDS: Final = {
    "factory": "from the factory",
    "refinish": "resprayed",
    "touch_up": "touched up",
    "unknown": "not known",
}


class DayForm(forms.Form):
    """A form about a day that cannot lie ahead."""

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def not_ahead(self, name: str) -> date | None:
        """The day of a field, refused where it has not come yet."""
        day: date | None = self.cleaned_data[name]
        if day is not None and day > self.today:
            raise forms.ValidationError(f"{day} lies in the future; give the day on which it happened.")
        return day


@dataclass(frozen=True, slots=True)
class Statement:
    """A consent that was given: for what, how it was said, and the words that the person saw or heard."""

    purpose: str
    how: str
    wording: str


class AskedForm(DayForm):
    """Consent, asked for each purpose by itself. What is not ticked is not recorded at all."""

    service = forms.BooleanField(label="agrees to care reminders", required=False)
    service_wording = forms.CharField(
        label="The words about care reminders",
        required=False,
        max_length=2000,
        initial=WORDINGS["service"],
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    promotion = forms.BooleanField(label="agrees to offers", required=False)
    promotion_wording = forms.CharField(
        label="The words about offers",
        required=False,
        max_length=2000,
        initial=WORDINGS["promotion"],
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    how = forms.CharField(
        label="How they said it",
        required=False,
        max_length=60,
        help_text="For example: paper form, by phone. Needed where one of the two is ticked.",
    )

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        ticked = [purpose for purpose in WORDINGS if cleaned.get(purpose)]
        for purpose in ticked:
            if not (cleaned.get(f"{purpose}_wording") or "").strip() and f"{purpose}_wording" not in self.errors:
                self.add_error(f"{purpose}_wording", "Keep the words that the customer saw or heard.")
        if ticked and not (cleaned.get("how") or "").strip() and "how" not in self.errors:
            self.add_error("how", "Say how they agreed, for example on a paper form.")
        return cleaned

    def statements(self) -> tuple[Statement, ...]:
        """What was agreed to. Needs a valid form."""
        data = self.cleaned_data
        return tuple(
            Statement(purpose, data["how"], data[f"{purpose}_wording"]) for purpose in WORDINGS if data[purpose]
        )

    def plain_fields(self) -> Iterator[forms.BoundField]:
        """The fields before the consent, which a template shows in a group of its own."""
        asked = AskedForm.base_fields
        return (field for field in self.visible_fields() if field.name not in asked)


class PersonFields(forms.Form):
    """Who somebody is and how to reach them."""

    name = forms.CharField(label="Name", max_length=160, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    email = forms.EmailField(
        label="E-mail", required=False, max_length=254, help_text="Without one no reminder can be sent."
    )
    phone = forms.CharField(label="Phone", required=False, max_length=40)
    language = forms.ChoiceField(label="Language of the letters", choices=settings.MAIL_LANGUAGES)
    zone = forms.CharField(
        label="Time zone", max_length=64, help_text="Like Europe/Oslo. It decides when the night is quiet."
    )
    fleet = forms.BooleanField(label="a firm with several vehicles", required=False)

    def clean_zone(self) -> str:
        try:
            return known_zone(self.cleaned_data["zone"])
        except DomainError as error:
            raise forms.ValidationError(plain(error)) from error

    def person(self) -> dict[str, Any]:
        """The fields as the verbs take them. Needs a valid form."""
        return {name: self.cleaned_data[name] for name in PersonFields.base_fields}


class CustomerForm(AskedForm, PersonFields):
    """A new customer, with what they agreed to."""

    field_order = (*PersonFields.base_fields, "since")
    since = forms.DateField(label="Customer since", widget=DayInput)

    def clean_since(self) -> date | None:
        return self.not_ahead("since")


class NewKeeperForm(AskedForm, PersonFields):
    """A customer who comes on record because a vehicle became theirs."""

    field_order = ("on", *PersonFields.base_fields)
    on = forms.DateField(label="Keeps the vehicle since", widget=DayInput)

    def clean_on(self) -> date | None:
        return self.not_ahead("on")


class TransferForm(AskedForm):
    """The day from which somebody who is on record keeps the vehicle."""

    field_order = ("on",)
    on = forms.DateField(label="Keeps the vehicle since", widget=DayInput)

    def clean_on(self) -> date | None:
        return self.not_ahead("on")


class ChangeCustomerForm(PersonFields):
    """What can change about a customer."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["email"].help_text = (
            "Without one no reminder can be sent. A new address takes the door away from the old one: whoever reads "
            "the old mailbox can no longer sign in."
        )


class VehicleFields(forms.Form):
    """What a vehicle is."""

    plate = forms.CharField(
        label="Plate", max_length=20, widget=forms.TextInput(attrs={"autocapitalize": "characters"})
    )
    description = forms.CharField(label="Description", max_length=120, help_text="Like: black large SUV.")
    site = forms.TypedChoiceField(label="Site that looks after it", coerce=int)
    size = forms.ChoiceField(label="Size", choices=[("", "—"), *SIZE_WORDS.items()])
    colour = forms.ChoiceField(
        label="Colour",
        choices=[("", "—"), *COLOUR_WORDS.items()],
        help_text="What counts is how dark it is: dark panels get hotter in the sun.",
    )
    paint = forms.ChoiceField(label="Paint", choices=PAINT_WORDS.items())
    powertrain = forms.ChoiceField(label="Powertrain", choices=[(kind, kind) for kind in words.POWERTRAINS])

    def __init__(self, *args: Any, sites: Sequence[Choice], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        listed: list[tuple[Any, str]] = [(site.id, site.label) for site in sites]
        self.fields["site"].choices = listed if len(listed) == 1 else [("", "—"), *listed]

    def vehicle(self) -> dict[str, Any]:
        """The fields as the verbs take them. Needs a valid form."""
        data = {name: self.cleaned_data[name] for name in VehicleFields.base_fields if name != "site"}
        return data | {"site_id": self.cleaned_data["site"]}


class VehicleForm(DayForm, VehicleFields):
    """A new vehicle with the surfaces that are looked after."""

    field_order = (*VehicleFields.base_fields, "first_seen")
    first_seen = forms.DateField(label="First seen in the studio", widget=DayInput)
    surfaces = forms.MultipleChoiceField(
        label="Surfaces that are looked after",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="How they lie and what they are made of is filled in as usual; each can be changed afterwards.",
    )

    def __init__(self, *args: Any, presets: Sequence[SurfacePreset], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["surfaces"].choices = [(preset.code, spoken(preset.code)) for preset in presets]

    def clean_first_seen(self) -> date | None:
        return self.not_ahead("first_seen")


class ChangeVehicleForm(VehicleFields):
    """What can change about a vehicle."""

    body = forms.ChoiceField(label="Body", choices=BODY_WORDS.items())

    def vehicle(self) -> dict[str, Any]:
        return super().vehicle() | {"body": self.cleaned_data["body"]}


class UsualSurfacesForm(forms.Form):
    """Surfaces of the usual list that the vehicle does not have on record yet."""

    surfaces = forms.MultipleChoiceField(
        label="Surfaces",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick the surfaces to add."},
    )

    def __init__(self, *args: Any, presets: Sequence[SurfacePreset], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["surfaces"].choices = [(preset.code, spoken(preset.code)) for preset in presets]


class SurfaceFields(DayForm):
    """How a surface lies, what it is made of, and what its finish went through."""

    orientation = forms.ChoiceField(label="How it lies", choices=ORIENTATION_WORDS.items())
    substrate = forms.ChoiceField(label="Made of", choices=[(kind, kind) for kind in words.SUBSTRATES])
    finish = forms.ChoiceField(label="Finish", choices=FINISH_WORDS.items())
    refinished_on = forms.DateField(
        label="Day of the respray or touch-up", required=False, widget=DayInput, help_text="Where it is known."
    )

    def clean_refinished_on(self) -> date | None:
        return self.not_ahead("refinished_on")

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if cleaned.get("refinished_on") and cleaned.get("finish") == "factory":
            self.add_error("refinished_on", "A factory finish has no such day; empty it, or change the finish.")
        return cleaned


class OwnSurfaceForm(SurfaceFields):
    """A surface that is not on the usual list, by a name of the studio's own."""

    field_order = ("code",)
    code = forms.CharField(label="Name", max_length=40, help_text="Like: roof box, left mirror.")

    def clean_code(self) -> str:
        code = re.sub(r"\W+", "_", self.cleaned_data["code"].lower()).strip("_")
        if not code:
            raise forms.ValidationError("Give it a name with letters or figures in it.")
        return code
