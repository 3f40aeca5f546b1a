"""What is asked of `whatif` and what it answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from lifecycle.wear.types import Band, Place

HABIT_FIELDS = (
    "parking", "km_per_year", "wash_method", "washes_per_year", "wash_ph", "road_salt", "trees_birds", "place",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What would be otherwise from today on; None: as now. Words as in the scenario file.

    `decontaminations_per_year` and `top_ups_per_year` come on top of what is planned (nothing); the first top-up is
    today, the first decontamination one interval from today, for five years ahead.
    """

    parking: str | None = None
    km_per_year: float | None = None
    wash_method: str | None = None
    washes_per_year: float | None = None
    wash_ph: str | None = None
    road_salt: str | None = None
    trees_birds: int | None = None
    place: Place | None = None
    decontaminations_per_year: float | None = None
    top_ups_per_year: float | None = None
    top_up_kind: str = "booster"

    def habits(self) -> dict[str, object]:
        """The habits that change, by field."""
        return {name: getattr(self, name) for name in HABIT_FIELDS if getattr(self, name) is not None}


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """Prices as (low, high), read as 10 % and 90 % points, in one currency: `renewal` by kind of layer for the whole
    vehicle, `wash` by method, one decontamination, one top-up, and what the change costs a year besides (a garage)."""

    renewal: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    wash: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    decontamination: tuple[float, float] | None = None
    top_up: tuple[float, float] | None = None
    other_per_year: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class LayerGain:
    """One live layer. Months from today until renewal is sensible, as now and changed, and the difference at one and
    the same rate. Costs a year: the renewal price over the life of a fresh layer at either duty; None without a
    price."""

    surface: str
    key: str
    kind: str
    months_left: Band
    months_left_changed: Band
    months_gained: Band
    cost_per_year: Band | None
    cost_per_year_changed: Band | None
    saved_per_year: Band | None
    says: str


@dataclass(frozen=True, slots=True)
class SurfaceGain:
    """Months of the coming year in which grime does not hide the coat, as now and changed."""

    code: str
    seen_months: Band
    seen_months_changed: Band


@dataclass(frozen=True, slots=True)
class WhatIf:
    """The answer. `care_cost_per_year`: what the change itself costs more a year (washes, decontaminations, top-ups,
    besides); `saved_per_year`: renewals saved less that cost, over the vehicle. None where a price is missing."""

    change: Change
    layers: tuple[LayerGain, ...]
    surfaces: tuple[SurfaceGain, ...]
    care_cost_per_year: Band | None
    saved_per_year: Band | None
    notes: tuple[str, ...] = ()
