"""The owner enters what a product's data sheet says: windows, cure times, permitted grounds, what it contains."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.db import transaction

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.goods import PRODUCT_KINDS
from lifecycle.care.register import known
from lifecycle.errors import DomainError
from lifecycle.models import Product, Studio, Vehicle

# field: lowest, highest, unit
LIMITS: Final = {
    "air_low_c": (-20.0, 60.0, "°C"), "air_high_c": (-20.0, 60.0, "°C"),
    "surface_low_c": (-20.0, 90.0, "°C"), "surface_high_c": (-20.0, 90.0, "°C"),
    "rh_low_pct": (0.0, 100.0, "%"), "rh_high_pct": (0.0, 100.0, "%"),
    "recoat_low_h": (0.0, 240.0, "hours"), "recoat_high_h": (0.0, 240.0, "hours"),
    "keep_dry_h": (0.0, 240.0, "hours"), "no_wash_days": (0.0, 90.0, "days"),
    "no_chemicals_days": (0.0, 180.0, "days"), "full_days": (0.0, 180.0, "days"),
}  # fmt: skip
PAIRS: Final = (
    ("air_low_c", "air_high_c"), ("surface_low_c", "surface_high_c"), ("rh_low_pct", "rh_high_pct"),
    ("recoat_low_h", "recoat_high_h"),
)  # fmt: skip
CARE_FIELDS: Final = frozenset({"no_wash_days", "no_chemicals_days"})
FLAGS: Final = ("matte_fit", "isocyanates", "solvents")


@dataclass(frozen=True, slots=True)
class ProductWindows:
    """What is on record of a data sheet; None: the sheet is silent or nobody entered it."""

    id: int
    code: str
    name: str
    kind: str
    windows: Mapping[str, float | None]
    allowed_over: tuple[str, ...]
    flags: Mapping[str, bool]


def product_windows(studio: Studio, product_id: int) -> ProductWindows:
    """The windows of one product.

    Raises:
        NotFoundHere: the product is not of this studio.
    """
    row = one(Product, studio, product_id)
    return ProductWindows(
        id=row.pk, code=row.code, name=row.name, kind=row.kind,
        windows={field: getattr(row, field) for field in LIMITS}, allowed_over=tuple(row.allowed_over),
        flags={flag: getattr(row, flag) for flag in FLAGS},
    )  # fmt: skip


def _checked(windows: Mapping[str, float | None]) -> dict[str, float | None]:
    for field, value in windows.items():
        known("window", field, tuple(LIMITS))
        low, high, unit = LIMITS[field]
        if value is not None and not (math.isfinite(value) and low <= value <= high):
            raise DomainError(f"{field}: {value:g} is not between {low:g} and {high:g} {unit}.", field=field)
    for low_field, high_field in PAIRS:
        least, most = windows.get(low_field), windows.get(high_field)
        if least is not None and most is not None and least > most:
            raise DomainError(f"{high_field}: {most:g} is less than the low end, {least:g}.", field=high_field)
    return {field: windows.get(field) for field in LIMITS}


def save_windows(
    *,
    studio: Studio,
    product_id: int,
    windows: Mapping[str, float | None],
    allowed_over: Collection[str] = (),
    flags: Mapping[str, bool] | None = None,
    actor: str,
    at: datetime,
) -> Product:
    """Keep what the data sheet says. Layers already on record keep what was measured and decided then.

    Args:
        windows: by the fields of `LIMITS`, °C, %, hours and days (at 20 °C); a missing or None one is silent.
        allowed_over: kinds of layer that the sheet names as a ground.  flags: by `FLAGS`, missing ones are no.

    Raises:
        DomainError: an unknown field or kind, or a figure that cannot be.
        NotFoundHere: the product is not of this studio.
    """
    wanted: dict[str, Any] = dict(_checked(windows))
    for kind in allowed_over:
        known("allowed_over", kind, PRODUCT_KINDS)
    wanted["allowed_over"] = [kind for kind in PRODUCT_KINDS if kind in set(allowed_over)]
    wanted |= {flag: bool((flags or {}).get(flag)) for flag in FLAGS}
    with transaction.atomic():
        product = one(Product, studio, product_id, lock=True)
        changed = [field for field, value in wanted.items() if getattr(product, field) != value]
        if changed:
            for field in changed:
                setattr(product, field, wanted[field])
            product.save(update_fields=changed)
            if set(changed) & CARE_FIELDS:  # the windows of care turn on them
                wearing = product.layers.filter(ended=None).values("surface__vehicle")
                Vehicle.objects.filter(pk__in=wearing, retired_on=None).update(assess_again=True)
            journal.record(
                studio=studio, actor=actor, at=at, verb="product windows changed", subject="product",
                subject_id=product.pk, fields=changed,
            )  # fmt: skip
    return product
