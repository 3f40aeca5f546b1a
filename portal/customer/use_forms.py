"""The form in which a keeper says how the vehicle is, or would be, used."""

from __future__ import annotations

import re
from typing import Any, Final

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from lifecycle.care.another_use import Use, place_of
from lifecycle.care.tongue import measures
from lifecycle.errors import DomainError
from lifecycle.wear.types import Place
from portal.studio.common import plain

from .words import PARKING, WASHING

SALT: Final = {
    "none": gettext_lazy("none"),
    "some": gettext_lazy("some: a few frosty weeks"),
    "regular": gettext_lazy("regular: most of the winter"),
    "heavy": gettext_lazy("heavy: salted roads all winter"),
}
_GROUPED: Final = re.compile(r"^\d{1,3}([.,' \u00a0\u202f]\d{3})+$")
_PLAIN: Final = re.compile(r"^\d+([.,]\d+)?$")


class AmountField(forms.CharField):
    """A number as people write it: 15000, 15 000, 15.000, 2,5."""

    def __init__(self, *, least: float, most: float, unit: Any, **kwargs: Any) -> None:
        super().__init__(widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}), **kwargs)
        self.least, self.most, self.unit = least, most, unit

    def clean(self, value: Any) -> float | None:
        """The number.

        Raises:
            ValidationError: no number, or outside the limits.
        """
        text = str(super().clean(value) or "").strip()
        if not text:
            return None
        if _GROUPED.match(text):
            number = float(re.sub(r"\D", "", text))
        elif _PLAIN.match(text):
            number = float(text.replace(",", "."))
        else:
            raise forms.ValidationError(
                _("“%(text)s” is no number; write digits alone, for example %(example)s.")
                % {"text": text[:40], "example": f"{min(self.most, 12):g}"}
            )
        if not self.least <= number <= self.most:
            raise forms.ValidationError(
                _("%(text)s is not between %(least)s and %(most)s %(unit)s; write a number in that range.")
                % {"text": text[:40], "least": f"{self.least:g}", "most": f"{self.most:.0f}", "unit": self.unit}
            )
        return number


class UseForm(forms.Form):
    """Parking, washing, distance and place. An empty place is where the vehicle lives now."""

    parking = forms.ChoiceField(label=gettext_lazy("Parked"), choices=PARKING.items())
    wash_method = forms.ChoiceField(label=gettext_lazy("Washed"), choices=WASHING.items())
    washes_per_year = AmountField(
        label=gettext_lazy("Washes a year"), least=0, most=400, unit=gettext_lazy("washes a year")
    )
    km_per_year = AmountField(label=gettext_lazy("Kilometres a year"), least=0, most=500_000, unit="km")
    where = forms.CharField(
        label=gettext_lazy("Living elsewhere (leave empty: where it lives now)"), required=False, max_length=80,
        help_text=gettext_lazy("A larger city, such as “Madrid”, or latitude and longitude, such as “58.1, 6.7”."),
    )  # fmt: skip
    road_salt = forms.ChoiceField(label=gettext_lazy("Salt on the roads"), choices=SALT.items())
    extra = AmountField(
        label=gettext_lazy("What this would cost besides, a year (a garage’s rent; may stay empty)"), required=False,
        least=0, most=1_000_000, unit=gettext_lazy("in the studio’s currency"),
    )  # fmt: skip

    def __init__(self, *args: Any, present_km: float, **kwargs: Any) -> None:
        self.present_km = present_km
        kwargs.setdefault("auto_id", "u-%s")
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        if measures.miles():
            # Under a name of its own, so that an address that is passed on means the same to everybody.
            del self.fields["km_per_year"]
            self.fields["miles_per_year"] = AmountField(
                label=_("Miles a year"), least=0, most=300_000, unit=measures.distance_unit()
            )
            self.order_fields(("parking", "wash_method", "washes_per_year", "miles_per_year"))

    def clean_where(self) -> str:
        """Find the place now, so that a wrong one is told beside its field."""
        self.place: Place | None = None
        text: str = self.cleaned_data["where"]
        try:
            self.place = place_of(text)
        except DomainError as error:
            raise forms.ValidationError(plain(error)) from error
        return text

    def use(self) -> Use:
        """What was asked; call after `is_valid`."""
        data = self.cleaned_data
        km = data["km_per_year"] if "km_per_year" in data else self._km(data["miles_per_year"])
        return Use(
            parking=data["parking"], wash_method=data["wash_method"], washes_per_year=data["washes_per_year"],
            km_per_year=km, road_salt=data["road_salt"], place=self.place,
            extra_per_year=data["extra"],
        )  # fmt: skip

    def _km(self, typed: float) -> float:
        """Miles as kilometres; the present distance, which was shown rounded to whole miles, comes back unchanged."""
        as_shown = abs(typed - measures.to_distance(self.present_km)) <= 0.5
        return self.present_km if as_shown else measures.to_km(typed)

    def problems(self) -> list[tuple[str, str, str]]:
        """(id of the field, its label, what is wrong), for a summary beside the answer."""
        return [
            (self[name].id_for_label, str(self[name].label), str(error))
            for name, errors in self.errors.items() if name in self.fields for error in errors
        ]  # fmt: skip


def initial_of(use: Use) -> dict[str, Any]:
    """The form's first values: how the vehicle is used now."""
    name = "miles_per_year" if measures.miles() else "km_per_year"
    return {
        "parking": use.parking, "wash_method": use.wash_method, "washes_per_year": f"{use.washes_per_year:g}",
        name: f"{measures.to_distance(use.km_per_year):.0f}", "road_salt": use.road_salt,
    }  # fmt: skip
