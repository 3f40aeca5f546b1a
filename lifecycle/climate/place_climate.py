"""What is said of a place's climate: every quantity by month with its source, distance, period, mark and error word.

Computed from a `ClimateYear` alone, so that a page reads it from the stored row and never asks a source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from lifecycle.climate import derived
from lifecycle.climate.class_table import NAME as TABLE_NAME
from lifecycle.climate.figures import climate_value, figure
from lifecycle.climate.hours import HourlyYear
from lifecycle.climate.sources import ERROR_WORDS
from lifecycle.wear import atmosphere, solar, usage
from lifecycle.wear.types import Band, ClimateYear, Mark

# key, title, unit, whether the year is a sum (else a mean).
MEASURED: Final = (
    ("ghi_kwh_m2_day", "Sunlight", "kWh/m² a day", False),
    ("air_c", "Air temperature", "°C", False),
    ("diurnal_range_k", "Daily range", "K", False),
    ("rh_pct", "Humidity", "%", False),
    ("rain_mm", "Rain", "mm", True),
    ("rain_days", "Rain days", "days", True),
    ("wind_ms", "Wind", "m/s", False),
)
DERIVED: Final = (
    ("uv_mj_m2", "Ultraviolet 295-385 nm", "MJ/m²", True),
    ("wet_hours", "Wet hours", "h", True),
    ("frost_days", "Frost days", "days", True),
)
# What a derived quantity leans on.
_LEANS_ON: Final = {
    "uv_mj_m2": ("ghi_kwh_m2_day",), "wet_hours": ("rh_pct", "air_c"), "frost_days": ("air_c", "diurnal_range_k"),
    "aridity": ("rain_mm", "air_c"),
}  # fmt: skip
COAST_KM: Final = 10.0
MONTH_NAMES: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True)
class Quantity:
    """Twelve months of one quantity. `year` is their sum or their mean over the days, as `summed` says."""

    key: str
    title: str
    unit: str
    months: tuple[float, ...]
    year: float
    summed: bool
    mark: Mark
    source: str
    error_word: str


@dataclass(frozen=True, slots=True)
class PlaceClimate:
    """All that is said of a place.

    Attributes:
        quantities: measured ones first, then the ones worked out.
        wetness_class: t1 to t5 of ISO 9223 (1992) by `wet_hours`.
        sea_km, sea_says: distance to the sea and who says so; None and "" where nobody does.
        chloride: from the sea, mg/m² and day, 10-90 %; None without a distance.
        chloride_class: S0 to S3 of ISO 9223 (1992) by its middle.
        salt_months: months in which frost makes road salt likely (January first); whether any is spread is the site's.
        hours: the source's own hours, where it was asked directly; the stored row keeps their sums only.
    """

    climate: ClimateYear
    quantities: tuple[Quantity, ...]
    wetness_class: str
    aridity_index: float
    aridity_class: str
    aridity_word: str
    sea_km: float | None
    sea_says: str
    chloride: Band | None
    chloride_class: str
    salt_months: tuple[bool, ...]
    hours: HourlyYear | None = None

    def quantity(self, key: str) -> Quantity:
        """One quantity by its key.

        Raises:
            KeyError: no such quantity.
        """
        for quantity in self.quantities:
            if quantity.key == key:
                return quantity
        raise KeyError(key)


def worst_word(words: tuple[str, ...]) -> str:
    """The least sure of some error words; a word that is not known counts as unknown."""
    ranks = [ERROR_WORDS.index(word) if word in ERROR_WORDS else len(ERROR_WORDS) - 1 for word in words]
    return ERROR_WORDS[max(ranks)]


def origin(climate: ClimateYear, key: str) -> tuple[str, str, Mark]:
    """(source, error word, mark) of one of the twelve-month quantities of a climate year."""
    for name, source, word in climate.parts:
        if name == key or (name == "rain" and key in ("rain_mm", "rain_days")):
            return source, word, Mark.JUDGEMENT if source == "assumed" else _mark(source)
    return climate.source, climate.error_word, _mark(climate.source)


def _mark(source: str) -> Mark:
    # Class means are our own averages over published normals; the others are taken as published.
    return Mark.COMPUTED if source == TABLE_NAME else Mark.PUBLISHED


def _year(months: tuple[float, ...], *, summed: bool) -> float:
    if summed:
        return float(sum(months))
    return float(np.average(np.array(months), weights=solar.MONTH_DAYS))


def _measured(climate: ClimateYear) -> list[Quantity]:
    found = []
    for key, title, unit, summed in MEASURED:
        months: tuple[float, ...] = getattr(climate, key)
        source, word, mark = origin(climate, key)
        found.append(Quantity(key, title, unit, months, _year(months, summed=summed), summed, mark, source, word))
    return found


def _derived(climate: ClimateYear) -> list[Quantity]:
    work = {"uv_mj_m2": derived.uv_mj_m2, "wet_hours": derived.wet_hours, "frost_days": derived.frost_days}
    found = []
    for key, title, unit, summed in DERIVED:
        months = tuple(float(part) for part in work[key](climate))
        counted = bool(getattr(climate, key))
        words = tuple(origin(climate, name)[1] for name in _LEANS_ON[key])
        # Worked out from months, wetness and frost are never better than fair.
        word = worst_word(words if counted or key == "uv_mj_m2" else (*words, "fair"))
        source = f"hours of {climate.source}" if counted else f"worked out from the months of {climate.source}"
        found.append(Quantity(key, title, unit, months, sum(months), summed, Mark.COMPUTED, source, word))
    return found


def salt_months(climate: ClimateYear) -> tuple[bool, ...]:
    """Months of the salt season with at least a day of frost (judgement), January first."""
    season = usage.salt_months(lat_deg=climate.place.lat)
    least = climate_value("salt.frost_days")
    return tuple(bool(on and days >= least) for on, days in zip(season, derived.frost_days(climate), strict=True))


def _sea(given_m: float | None, map_km: float | None) -> tuple[float | None, str]:
    """(km, who says so). The map cannot say how near a sea on the coast is, and sea salt falls within the first km."""
    if given_m is not None:
        return given_m / 1000.0, "given"
    if map_km is None:
        return None, ""
    if map_km < COAST_KM:
        return None, f"within some {2 * COAST_KM:.0f} km by the map, which cannot say how near"
    return map_km, "by the map, about 10 km exact; it knows no narrow sound, fjord or inlet"


def place_climate(
    climate: ClimateYear, *, map_sea_km: float | None = None, hours: HourlyYear | None = None
) -> PlaceClimate:
    """All that is said of the climate's own place.

    Args:
        climate: with the place's own height and distance from the sea.
        map_sea_km: distance from the sea by the map, used where the place itself says nothing.
        hours: the hours behind the climate, where they are at hand.
    """
    given = climate.place.sea_distance_m
    sea_km, sea_says = _sea(given, map_sea_km)
    chloride = derived.chloride_mg_m2_day(sea_km) if sea_km is not None else None
    quantities = (*_measured(climate), *_derived(climate))
    index = derived.aridity_index(climate)
    wet = next(quantity.year for quantity in quantities if quantity.key == "wet_hours")
    return PlaceClimate(
        climate=climate,
        quantities=quantities,
        wetness_class=atmosphere.wetness_class(wet),
        aridity_index=index,
        aridity_class=derived.aridity_class(index),
        aridity_word=worst_word(tuple(origin(climate, name)[1] for name in _LEANS_ON["aridity"])),
        sea_km=sea_km,
        sea_says=sea_says,
        chloride=chloride,
        chloride_class=atmosphere.chloride_class(chloride.p50) if chloride is not None else "",
        salt_months=salt_months(climate),
        hours=hours,
    )


def chloride_mark() -> Mark:
    """The mark of the chloride figures."""
    return figure("chloride.surf").mark
