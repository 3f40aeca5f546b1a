"""Forms of the owner's house: members, products, prices, a new site, a bay."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from django import forms

from lifecycle.care import goods
from lifecycle.care.keeping import known_zone
from lifecycle.errors import DomainError
from lifecycle.wear.choices import SIZES

from .common import plain
from .sites import PlaceForm

ROLE_WORDS: Final = {
    "technician": "technician: records work, readings and findings",
    "desk": "desk: customers, bookings, offers, mails",
    "owner": "owner: all of it, and the studio itself",
}
ENDS: Final = ("low", "high")


class RoleForm(forms.Form):
    """What a member may do."""

    role = forms.ChoiceField(label="Role", choices=ROLE_WORDS.items(), widget=forms.RadioSelect)


class MemberForm(RoleForm):
    """A new member."""

    field_order = ("name", "email", "role")
    name = forms.CharField(label="Name", max_length=120)
    email = forms.EmailField(label="E-mail", max_length=254, help_text="The link that sets the password is sent here.")


class ProductForm(forms.Form):
    """What a product is. Life and thickness are empty where the table's figures hold."""

    code = forms.CharField(label="Code", max_length=20, help_text="The studio's own short name, like C36.")
    name = forms.CharField(label="Name", max_length=120)
    kind = forms.ChoiceField(
        label="Kind of layer", choices=[(kind, kind.replace("_", " ")) for kind in goods.PRODUCT_KINDS]
    )
    life_low_months = forms.FloatField(
        label="Life, months: one in ten ends before",
        required=False,
        help_text="At ordinary use, from the data sheet or from experience. Both ends empty: the life table's.",
        widget=forms.NumberInput(attrs={"step": "any"}),
    )
    life_high_months = forms.FloatField(
        label="Life, months: one in ten lasts longer",
        required=False,
        widget=forms.NumberInput(attrs={"step": "any"}),
    )
    thickness_um = forms.FloatField(
        label="Thickness, µm",
        required=False,
        help_text="Empty: the usual one of its kind.",
        widget=forms.NumberInput(attrs={"step": "any"}),
    )
    caution = forms.CharField(
        label="Caution",
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Shown beside the form that records this product. The safety data sheet comes first.",
    )

    def __init__(self, *args: Any, fixed_kind: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].disabled = fixed_kind


class NewSiteForm(PlaceForm):
    """A new site: its name, where it lies and how many bays it has."""

    field_order = ("name", "where", "height_m", "sea_distance_m", "road_salt", "zone", "bays")
    name = forms.CharField(label="Name", max_length=120)
    zone = forms.CharField(label="Time zone", max_length=64, help_text="Like Europe/Oslo.")
    bays = forms.IntegerField(label="Bays", min_value=0, max_value=50, initial=1)

    def clean_zone(self) -> str:
        try:
            return known_zone(self.cleaned_data["zone"])
        except DomainError as error:
            raise forms.ValidationError(plain(error)) from error


class BayForm(forms.Form):
    """A bay of a site."""

    name = forms.CharField(label="Name of the new bay", max_length=60)


@dataclass(frozen=True, slots=True)
class PriceCell:
    """The fields of one task and size: low, then high."""

    size: str
    ends: tuple[forms.BoundField, ...]


@dataclass(frozen=True, slots=True)
class PriceLine:
    title: str
    cells: tuple[PriceCell, ...]


@dataclass(frozen=True, slots=True)
class PriceEntry:
    task: str
    size: str
    low: Decimal | None
    high: Decimal | None


def _field_name(task: str, size: str, end: str) -> str:
    return f"{task}-{size}-{end}"


class PriceForm(forms.Form):
    """Every care task by every size, low and high; an empty pair is no price."""

    def __init__(self, *args: Any, table: Sequence[goods.PriceRow], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.table = table
        for row in table:
            for size in SIZES:
                for index, end in enumerate(ENDS):
                    pair = row.prices[size]
                    self.fields[_field_name(row.task, size, end)] = forms.DecimalField(
                        required=False,
                        min_value=0,
                        max_digits=9,
                        decimal_places=2,
                        initial=_short(pair[index]) if pair else None,
                        widget=forms.NumberInput(attrs={"aria-label": f"{row.title}, {size}, {end}", "step": "0.01"}),
                    )

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        for row in self.table:
            for size in SIZES:
                names = [_field_name(row.task, size, end) for end in ENDS]
                if any(name in self.errors for name in names):
                    continue
                low, high = (cleaned.get(name) for name in names)
                if (low is None) != (high is None):
                    self.add_error(names[0] if low is None else names[1], "Give both ends, or neither.")
                elif low is not None and high is not None and high < low:
                    self.add_error(names[1], f"The high end is less than {low}.")
        return cleaned

    def lines(self) -> Iterator[PriceLine]:
        """The rows of the table with their fields."""
        for row in self.table:
            cells = tuple(
                PriceCell(size, tuple(self[_field_name(row.task, size, end)] for end in ENDS)) for size in SIZES
            )
            yield PriceLine(row.title, cells)

    def changes(self) -> Iterator[PriceEntry]:
        """What differs from the list. Needs a valid form."""
        for row in self.table:
            for size in SIZES:
                low, high = (self.cleaned_data[_field_name(row.task, size, end)] for end in ENDS)
                if row.prices[size] != ((low, high) if low is not None else None):
                    yield PriceEntry(row.task, size, low, high)


def _short(amount: Decimal) -> str:
    """Without needless decimals: 65, 65.50."""
    return f"{amount:.0f}" if amount == amount.to_integral_value() else f"{amount:.2f}"
