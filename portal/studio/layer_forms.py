"""Forms about putting layers on: one layer, a package, a product's data-sheet windows, the packages themselves."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, Final

from django import forms

from lifecycle.care import layering, sheet_windows
from lifecycle.care.goods import PRODUCT_KINDS
from lifecycle.care.package_rules import WHERE
from lifecycle.care.packages import MOST_ITEMS, ItemEntry, ItemWork, PackageRow
from lifecycle.care.stack_rules import PREPS, Conditions
from lifecycle.wear import choices as words

from .forms import DayInput
from .record_forms import DatedForm

MEASURED: Final = {
    "air_c": "Air, °C",
    "surface_c": "Panel, °C",
    "rh_pct": "Humidity of the air, %",
    "coat_gap_h": "Longest time between two coats, hours",
}
WINDOW_LABELS: Final = {
    "air_low_c": "Air, °C: from",
    "air_high_c": "Air, °C: to",
    "surface_low_c": "Panel, °C: from",
    "surface_high_c": "Panel, °C: to",
    "rh_low_pct": "Humidity, %: from",
    "rh_high_pct": "Humidity, %: to",
    "recoat_low_h": "Next coat, hours: from",
    "recoat_high_h": "Next coat, hours: to",
    "keep_dry_h": "Keep dry, hours",
    "no_wash_days": "No wash, days",
    "no_chemicals_days": "No chemicals and no top-up, days",
    "full_days": "Full cure, days",
}


def _number(label: str, low: float, high: float) -> forms.FloatField:
    return forms.FloatField(
        label=label,
        required=False,
        min_value=low,
        max_value=high,
        widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
    )


# What holds for everything that is put on in one bay on one day.
SHARED: Final = ("air_c", "surface_c", "rh_pct")


def _measured(names: Iterable[str]) -> dict[str, forms.FloatField]:
    return {name: _number(MEASURED[name], *layering.LIMITS[name][:2]) for name in names}


class WorkFields(forms.Form):
    """How a layer was put on: what was done before, what was measured, from which batch."""

    prep = forms.MultipleChoiceField(
        label="Done before",
        required=False,
        choices=PREPS.items(),
        widget=forms.CheckboxSelectMultiple,
    )
    batch = forms.CharField(label="Batch", required=False, max_length=40)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields |= _measured(MEASURED)

    def before(self) -> list[forms.BoundField]:
        """What stands above the measurements."""
        return [field for field in self if field.name not in (*MEASURED, "batch", "applicator")]

    def measured(self) -> list[forms.BoundField]:
        """The measurements, in one block."""
        return [self[name] for name in MEASURED]

    def behind(self) -> list[forms.BoundField]:
        """What stands below the measurements."""
        return [self[name] for name in ("batch", "applicator") if name in self.fields]

    def now(self) -> Conditions:
        """What was measured. Fields that are wrong count as not measured."""
        return Conditions(**{name: self.cleaned_data.get(name) for name in MEASURED})


class LayerForm(WorkFields, DatedForm):
    """A layer that was put on, on one or several surfaces at once."""

    field_order = ("surfaces", "product", "kind", "coats", "applied", "prep")
    surfaces = forms.TypedMultipleChoiceField(
        label="Surfaces",
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick the surface that the layer is on."},
    )
    product = forms.TypedChoiceField(label="Product", coerce=int, required=False, empty_value=None)
    kind = forms.ChoiceField(
        label="Kind of layer",
        required=False,
        choices=[("", "as the product"), *((kind, kind.replace("_", " ")) for kind in words.LAYER_KINDS)],
        help_text="Needed only where no product is chosen.",
    )
    coats = forms.IntegerField(label="Coats", min_value=1, max_value=12, initial=1)
    applied = forms.DateField(label="Put on", widget=DayInput)
    applicator = forms.TypedChoiceField(label="By", coerce=int, required=False, empty_value=None)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields[
            "prep"
        ].help_text = "A polish also belongs on record as a correction, so that the clear coat is counted."
        self.fields["surfaces"].choices = [(row.id, row.label) for row in self.choices.surfaces]
        self.fields["product"].choices = [
            ("", "not on the product list"),
            *((row.id, f"{row.label} ({row.kind.replace('_', ' ')})") for row in self.choices.products),
        ]
        self.fields["applicator"].choices = [("", "not noted"), *((row.id, row.label) for row in self.choices.members)]

    def clean_applied(self) -> Any:
        return self._not_ahead(self.cleaned_data["applied"])

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        kinds = {row.id: row.kind for row in self.choices.products}
        if not cleaned.get("kind"):
            cleaned["kind"] = kinds.get(cleaned.get("product"), "")
        if not cleaned["kind"] and not self.errors:
            self.add_error("product", "Choose a product, or say which kind of layer it is.")
        return cleaned


class PackageWorkForm(DatedForm):
    """When a package was put on and by whom."""

    applied = forms.DateField(label="Put on", widget=DayInput)
    applicator = forms.TypedChoiceField(label="By", coerce=int, required=False, empty_value=None)
    leave_out = forms.BooleanField(label="Leave out what is refused and record the others", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["applicator"].choices = [("", "not noted"), *((row.id, row.label) for row in self.choices.members)]
        self.fields |= _measured(SHARED)

    def clean_applied(self) -> Any:
        return self._not_ahead(self.cleaned_data["applied"])

    def measured(self) -> list[forms.BoundField]:
        """What was measured for all of the package."""
        return [self[name] for name in SHARED]

    def in_the_bay(self) -> Conditions:
        """What was measured for all of it. Fields that are wrong count as not measured."""
        return Conditions(**{name: self.cleaned_data.get(name) for name in SHARED})


class ItemWorkForm(WorkFields):
    """One product of a package: its batch, what was done before and what was measured."""

    field_order = ("coats", "prep")
    coats = forms.IntegerField(label="Coats", min_value=1, max_value=12)

    def measured_otherwise(self) -> bool:
        """Whether anything was typed that holds for this product alone."""
        return self.is_bound and any(self[name].value() for name in MEASURED)

    def work(self, bay: Conditions) -> ItemWork:
        """As the verb takes it; what was not measured for this product alone is as in the `bay`. Needs a valid form."""
        data, own = self.cleaned_data, self.now()
        shared = {name: getattr(bay, name) for name in SHARED if getattr(own, name) is None}
        return ItemWork(batch=data["batch"], coats=data["coats"], prep=tuple(data["prep"]), now=replace(own, **shared))


class WindowsForm(forms.Form):
    """What a product's data sheet says."""

    allowed_over = forms.MultipleChoiceField(
        label="The sheet permits it over",
        required=False,
        choices=[(kind, kind.replace("_", " ")) for kind in PRODUCT_KINDS],
        widget=forms.CheckboxSelectMultiple,
        help_text="Only what the sheet names. It lifts the usual refusal for that ground.",
    )
    matte_fit = forms.BooleanField(label="made for matte paint and film", required=False)
    isocyanates = forms.BooleanField(label="contains isocyanates", required=False)
    solvents = forms.BooleanField(label="contains solvents", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        own = {}
        for name, label in WINDOW_LABELS.items():
            low, high, _unit = sheet_windows.LIMITS[name]
            own[name] = _number(label, low, high)
        self.fields = own | self.fields

    def told(self) -> dict[str, Any]:
        """As the verb takes it. Needs a valid form."""
        data = self.cleaned_data
        return {
            "windows": {name: data[name] for name in WINDOW_LABELS},
            "allowed_over": data["allowed_over"],
            "flags": {flag: data[flag] for flag in sheet_windows.FLAGS},
        }


class PackageForm(forms.Form):
    """A package's name and what is said about it."""

    name = forms.CharField(label="Name", max_length=80)
    note = forms.CharField(
        label="Note", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2}),
        help_text="For the people who put it on.",
    )  # fmt: skip


class PackageItemForm(forms.Form):
    """One product of a package and where it goes. An empty line is none."""

    product = forms.TypedChoiceField(label="Product", coerce=int, required=False, empty_value=None)
    coats = forms.IntegerField(label="Coats", required=False, min_value=1, max_value=12, initial=1)
    where = forms.ChoiceField(label="Where", choices=WHERE.items(), required=False, initial="painted")
    codes = forms.CharField(label="Surfaces named", required=False, max_length=300)

    def __init__(self, *args: Any, products: Sequence[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["product"].choices = [("", "—"), *products]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        names = str(cleaned.get("codes", "")).lower().split(",")
        cleaned["names"] = tuple(name.strip().replace(" ", "_") for name in names if name.strip())
        if cleaned.get("product") and cleaned.get("where") == "codes" and not cleaned["names"]:
            self.add_error("codes", "Name the surfaces, parted by commas: bonnet, front wings.")
        return cleaned

    def entries(self) -> list[ItemEntry]:
        """The item of this line; none if it was left empty. Needs a valid form."""
        data = self.cleaned_data
        if not data.get("product"):
            return []
        where = data.get("where") or "painted"
        return [ItemEntry(data["product"], data.get("coats") or 1, where, data["names"] if where == "codes" else ())]


ITEMS = forms.formset_factory(PackageItemForm, extra=3, max_num=MOST_ITEMS, absolute_max=MOST_ITEMS)


def item_lines(row: PackageRow | None) -> list[dict[str, Any]]:
    """What the lines of a package's form start from."""
    return [
        {"product": item.product_id, "coats": item.coats, "where": item.where,
         "codes": ", ".join(code.replace("_", " ") for code in item.codes)}
        for item in (row.items if row is not None else ())
    ]  # fmt: skip
