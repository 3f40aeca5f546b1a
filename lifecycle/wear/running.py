"""Surfaces that driving heats: wheels by their brakes, the engine bay by its engine. Their heat has a history of its
own, beside that of the parked vehicle.

Every kilometre brings some minutes at a raised temperature (`brakes.*`, `engine.*`, all judgement). The reference use
of the life tables (15 000 km a year with a combustion engine at the reference place) is divided out: there, nothing
changes against the parked surface. Never coat or dress brakes, discs or tyre tread; work on a cold wheel and a cold
engine bay, and leave orange cables alone.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from lifecycle.wear.days import reference_doses
from lifecycle.wear.doses import heat_rate
from lifecycle.wear.figures import wear_value
from lifecycle.wear.types import FloatArray, SurfaceInput

REFERENCE_KM = 15000.0
ENGINE_BAY = "engine_bay"


class Heat(StrEnum):
    """What warms a surface: weather alone, weather and brakes, or weather and engine."""

    PARKED = "parked"
    BRAKES = "brakes"
    ENGINE = "engine"


def heat_of(surface: SurfaceInput) -> Heat:
    """Wheels are heated by brakes; a surface called engine bay, or with a layer made for it, by the engine."""
    if surface.orientation == "wheel":
        return Heat.BRAKES
    named = surface.code.startswith(ENGINE_BAY) or any(layer.kind.startswith(ENGINE_BAY) for layer in surface.layers)
    return Heat.ENGINE if named else Heat.PARKED


def phases(heat: Heat, *, powertrain: str) -> tuple[tuple[float, float], ...]:
    """(hours per km, rise over the air in K) of the warm phases that driving brings.

    Wheels: driving, and the share of it after braking; engines that brake by themselves spare the discs. Engine bay:
    driving, and the soak after each trip, when no wind cools it.

    Raises:
        ValueError: a powertrain other than combustion, hybrid, electric.
    """
    if powertrain not in ("combustion", "hybrid", "electric"):
        raise ValueError(f"powertrain is {powertrain!r}; use one of combustion, hybrid, electric.")
    driving = 1.0 / wear_value("driving.speed_kmh")
    if heat is Heat.BRAKES:
        braking = wear_value("brakes.share") * wear_value(f"brakes.{powertrain}")
        return (
            (driving * (1.0 - braking), wear_value("brakes.rise")),
            (driving * braking, wear_value("brakes.hot_rise")),
        )
    if heat is Heat.ENGINE:
        part = wear_value(f"engine.{powertrain}")
        soak = wear_value("engine.soak_h") / wear_value("driving.trip_km")
        return ((driving, part * wear_value("engine.rise")), (soak, part * wear_value("engine.soak_rise")))
    return ()


def _per_day(
    parked_per_day: FloatArray, air_c: FloatArray, km_per_year: float, heat: Heat, powertrain: str
) -> FloatArray:
    km_per_day = km_per_year / 365.25
    stages = phases(heat, powertrain=powertrain)
    warm_h = min(sum(hours for hours, _ in stages) * km_per_day, 24.0)
    whole = sum(hours for hours, _ in stages) * km_per_day
    # Beyond a day of driving in a day nothing more can be warmed.
    scale = warm_h / whole if whole > 0.0 else 0.0
    driven = sum(hours * km_per_day * scale * heat_rate(surface_c=air_c + rise) for hours, rise in stages)
    return np.asarray(parked_per_day * (1.0 - warm_h / 24.0) + driven, dtype=float)


def heat_ratio(
    *, parked_per_day: FloatArray, air_c: FloatArray, km_per_year: float, heat: Heat, powertrain: str = "combustion"
) -> FloatArray:
    """Stress by heat over the reference duty, by month, of a surface that driving warms.

    Args:
        parked_per_day: heat dose of the surface while parked, per day, shape (12,).  air_c: mean air, °C, shape (12,).
        km_per_year: distance; 0 while stored.

    The same surface at the reference use has the stress of the parked one, since life tables speak of driven cars.

    Raises:
        ValueError: an unknown powertrain.
    """
    parked_reference = wear_value(f"home.heat_{heat}") / 365.25
    air_reference = np.array([wear_value("home.air_winter"), wear_value("home.air_summer")])
    reference = _per_day(np.full(2, parked_reference), air_reference, REFERENCE_KM, heat, "combustion").mean()
    found = _per_day(parked_per_day, air_c, km_per_year, heat, powertrain)
    base = parked_reference * 365.25 / reference_doses()[2]
    return np.asarray(base * found / reference, dtype=float)
