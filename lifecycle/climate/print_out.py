"""The table of a place's climate as lines of text, with marks and a small plot."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from lifecycle.climate.derived import P90
from lifecycle.climate.figures import figure
from lifecycle.climate.place_climate import MONTH_NAMES, PlaceClimate, Quantity

BLOCKS: Final = "▁▂▃▄▅▆▇█"
PLOTTED: Final = ("ghi_kwh_m2_day", "air_c", "wet_hours", "rain_mm", "frost_days")
_DIGITS: Final = {"ghi_kwh_m2_day": 2, "air_c": 1, "diurnal_range_k": 1, "wind_ms": 1, "uv_mj_m2": 1}


def bars(months: tuple[float, ...]) -> str:
    """Twelve block characters from the least to the most; all at the bottom where nothing changes."""
    low, high = min(months), max(months)
    span = high - low
    if span < 1e-3 * max(abs(high), 1.0):
        return BLOCKS[0] * len(months)
    return "".join(BLOCKS[round((month - low) / span * (len(BLOCKS) - 1))] for month in months)


def _row(quantity: Quantity) -> str:
    digits = _DIGITS.get(quantity.key, 0)
    months = "".join(f"{month:>7.{digits}f}" for month in quantity.months)
    year = f"{quantity.year:>8.{digits}f} {'sum ' if quantity.summed else 'mean'}"
    name = f"{quantity.title}, {quantity.unit}"
    return f"{name:<31}{months}{year}  {quantity.error_word}; {quantity.mark.value}; {quantity.source}"


def _sea(climate: PlaceClimate) -> str:
    if climate.chloride is None or climate.sea_km is None:
        return f"Sea salt: unknown; the sea: {climate.sea_says or 'nobody has said how far'}."
    band = climate.chloride
    return (
        f"Sea {climate.sea_km:.1f} km ({climate.sea_says}): chloride {band.p10:.1f} to {band.p90:.1f}, most likely "
        f"near {band.p50:.1f} mg/m² a day, class {climate.chloride_class} (10-90 % at {P90:.2f} times a log spread of "
        f"{figure('chloride.ln_sd').value:g}; {figure('chloride.surf').mark.value})."
    )


def climate_lines(climate: PlaceClimate, *, title: str) -> Iterator[str]:
    """The whole print-out of one place."""
    year = climate.climate
    place = year.place
    height = "height not known" if place.height_m is None else f"{place.height_m:.0f} m"
    far = "" if year.distance_km is None else f", {year.distance_km:.0f} km away"
    yield f"{title}: {place.lat:.2f}, {place.lon:.2f}, {height}; class {year.koppen_class or 'unknown'}"
    yield f"{year.source} ({year.error_word}{far}{', ' + year.period if year.period else ''}). {year.detail}"
    yield ""
    yield " " * 31 + "".join(f"{name:>7}" for name in MONTH_NAMES) + f"{'year':>8}"
    yield from (_row(quantity) for quantity in climate.quantities)
    yield ""
    for key in PLOTTED:
        quantity = climate.quantity(key)
        low, high = min(quantity.months), max(quantity.months)
        digits = _DIGITS.get(key, 0)
        yield f"{quantity.title:<16} {bars(quantity.months)}  {low:.{digits}f} to {high:.{digits}f} {quantity.unit}"
    yield ""
    wet = climate.quantity("wet_hours")
    yield f"Wetness class {climate.wetness_class} of ISO 9223 by {wet.year:.0f} h a year ({wet.error_word})."
    index = f"rain over evaporation {climate.aridity_index:.2f}"
    yield f"Aridity: {climate.aridity_class}, {index} ({climate.aridity_word})."
    yield _sea(climate)
    salted = [name for name, on in zip(MONTH_NAMES, climate.salt_months, strict=True) if on]
    yield f"Frost that brings road salt where it is used: {', '.join(salted) if salted else 'no month'} (judgement)."
