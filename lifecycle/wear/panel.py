"""Temperature of a parked panel, humidity at its surface and the dew point. numpy only.

Valid for a dry, insulated, thin panel in quasi-steady state (steel sheet follows the sun within about ten minutes).
Outside air temperatures of -40 to 50 °C the Magnus formula loses more than 1 %.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.wear.marks import value
from lifecycle.wear.types import FloatArray

COLOURS = ("white", "light", "mid", "dark", "black")
ORIENTATIONS = ("flat", "side", "front", "rear", "sill", "screen", "wheel", "inside")
ZERO_C_IN_K = 273.15


class PanelLaw(StrEnum):
    """`SKY` is the model's own law. `PLAIN` has no loss to the sky; published check values were computed with it."""

    SKY = "sky"
    PLAIN = "plain"


def absorptance(colour: str) -> float:
    """Share of sunlight that paint of this colour takes up, 0 to 1 (judgement, held against two thermal surveys).

    Raises:
        ValueError: unknown colour.
    """
    if colour not in COLOURS:
        raise ValueError(f"colour is {colour!r}; use one of {', '.join(COLOURS)}.")
    return value(f"absorptance.{colour}")


def panel_temperature_c(
    *,
    air_c: ArrayLike,
    irradiance_w_m2: ArrayLike,
    wind_ms: ArrayLike,
    cloud: ArrayLike = 1.0,
    absorptance: float = 0.70,
    sky_view: ArrayLike = 1.0,
    law: PanelLaw = PanelLaw.SKY,
) -> FloatArray:
    """Panel temperature, °C: `T_a + (a G - 78.5 (1 - 0.85 cloud) view) / (13.8 + 5.0 v)`.

    Args:
        air_c: air temperature, °C.  irradiance_w_m2: on the panel's plane, W/m².  wind_ms: at 10 m, m/s, not negative.
        cloud: share of the sky covered, 0 to 1.  absorptance: of sunlight, 0 to 1.
        sky_view: share of the sky hemisphere that the panel sees, 0 (roofed) to 1 (flat, free).
        law: `PLAIN` gives `T_a + a G / (16 + 3 max(v, 0.3))` instead.

    The exchange coefficients are judgement (25 % either way); published infrared surveys of car bonnets are met within
    9 K with assumed sun and wind. An infrared thermometer settles it for one car.
    """
    air, sun = np.asarray(air_c, dtype=float), np.asarray(irradiance_w_m2, dtype=float)
    wind = np.asarray(wind_ms, dtype=float)
    if law is PanelLaw.PLAIN:
        plain = air + absorptance * sun / (value("panel.plain_u0") + value("panel.plain_u1") * np.maximum(wind, 0.3))
        return np.asarray(plain, dtype=float)
    covered = value("panel.cloud_share") * np.asarray(cloud, dtype=float)
    to_sky = value("panel.sky_loss") * (1.0 - covered) * np.asarray(sky_view, dtype=float)
    exchange = value("panel.u0") + value("panel.u1") * wind
    return np.asarray(air + (absorptance * sun - to_sky) / exchange, dtype=float)


def saturation_pressure_hpa(air_c: ArrayLike) -> FloatArray:
    """Saturation vapour pressure over water, hPa (Magnus; 17.625 and 243.04 of Alduchov & Eskridge 1996)."""
    celsius = np.asarray(air_c, dtype=float)
    return np.asarray(6.1094 * np.exp(17.625 * celsius / (celsius + 243.04)), dtype=float)


def surface_humidity_pct(*, air_c: ArrayLike, rh_pct: ArrayLike, surface_c: ArrayLike) -> FloatArray:
    """Relative humidity at a surface warmer or colder than the air, %, at its vapour pressure; 100 where dew forms."""
    ratio = saturation_pressure_hpa(air_c) / saturation_pressure_hpa(surface_c)
    return np.asarray(np.clip(np.asarray(rh_pct, dtype=float) * ratio, 0.0, 100.0), dtype=float)


def dew_point_c(*, air_c: ArrayLike, rh_pct: ArrayLike) -> FloatArray:
    """Dew point, °C, by the inverse Magnus formula (17.625 / 243.04). `rh_pct` below 0.1 % counts as 0.1 %."""
    celsius = np.asarray(air_c, dtype=float)
    gamma = np.log(np.maximum(np.asarray(rh_pct, dtype=float), 0.1) / 100.0) + 17.625 * celsius / (celsius + 243.04)
    return np.asarray(243.04 * gamma / (17.625 - gamma), dtype=float)
