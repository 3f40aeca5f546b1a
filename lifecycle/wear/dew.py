"""Dew on a panel: when it forms, and how much. numpy only.

A panel under a clear sky falls below the air by radiation (`panel.py`); below the dew point it is wet long before the
humidity of the air reaches the 80 % of the standard time of wetness.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.wear import panel
from lifecycle.wear.types import FloatArray

WIND_CUT_OFF_MS = 4.4


def has_dew(
    *, surface_c: ArrayLike, air_c: ArrayLike, rh_pct: ArrayLike
) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Whether water condenses: surface at or below the dew point of the air, and the dew point above 0 °C (below it
    hoar frost forms, which does not wet)."""
    dew_point = panel.dew_point_c(air_c=air_c, rh_pct=rh_pct)
    return np.asarray((np.asarray(surface_c, dtype=float) <= dew_point) & (dew_point > 0.0))


def dew_yield_mm_h(
    *, air_c: ArrayLike, rh_pct: ArrayLike, wind_ms: ArrayLike, cloud: ArrayLike, height_km: float = 0.0
) -> FloatArray:
    """Dew on a good radiator facing the sky, mm/h; 0 where none forms (Beysens 2016, Atmos. Res. 167, 146).

    `1/12 (0.37 (1 + 0.204323 H - 0.0238893 H^2 - (18.0132 - 1.04963 H + 0.21891 H^2) 1e-3 Td) ((Td + 273.15)/285)^4
    (1 - cloud) + 0.06 (Td - Ta) (1 + 100 (1 - exp(-(v/4.4)^20))))`, H in km. Wind above 4.4 m/s ends it.

    Args:
        cloud: share of the sky, 0 to 1 (the paper: oktas over eight).
    """
    air, wind = np.asarray(air_c, dtype=float), np.asarray(wind_ms, dtype=float)
    point = panel.dew_point_c(air_c=air, rh_pct=rh_pct)
    h = height_km
    sky = 1.0 + 0.204323 * h - 0.0238893 * h**2 - (18.0132 - 1.04963 * h + 0.21891 * h**2) * 1e-3 * point
    cooled = 0.37 * sky * ((point + panel.ZERO_C_IN_K) / 285.0) ** 4 * (1.0 - np.asarray(cloud, dtype=float))
    warmed = 0.06 * (point - air) * (1.0 + 100.0 * (1.0 - np.exp(-((wind / WIND_CUT_OFF_MS) ** 20))))
    return np.asarray(np.maximum((cooled + warmed) / 12.0, 0.0), dtype=float)
