"""Dose laws: what an hour of sun, damp and warmth does to a layer, over an hour at 25 °C.

Doses are sums over hours, each 1 in an hour at 25 °C with 50 W/m² of ultraviolet (sunlight), in saturated air
(hydrolysis) or by temperature alone (heat):

- sunlight `(I_UV z / 50)^p exp(-Ea/R (1/T_s - 1/298.15))`, `p` and `Ea` after Fischer & Ketola 2004;
- hydrolysis `(RH_s / 100)^n exp(-Eh/R (...))`, RH_s at the surface, 100 where it is wet by rain or dew;
- heat `exp(-Et/R (...))`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.wear import panel, solar, uv
from lifecycle.wear.marks import value
from lifecycle.wear.panel import PanelLaw
from lifecycle.wear.photodegradation import GAS_CONSTANT_KJ, reciprocity_factor
from lifecycle.wear.types import FloatArray, Mechanism

PHYSICAL = (Mechanism.SUNLIGHT, Mechanism.HYDROLYSIS, Mechanism.HEAT)
_REFERENCE_KELVIN = 298.15


def arrhenius(surface_c: ArrayLike, *, activation_kj_mol: float) -> FloatArray:
    """Rate over the rate at 25 °C: `exp(-E/R (1/T - 1/298.15))`."""
    kelvin = np.asarray(surface_c, dtype=float) + panel.ZERO_C_IN_K
    return np.asarray(np.exp(-activation_kj_mol / GAS_CONSTANT_KJ * (1.0 / kelvin - 1.0 / _REFERENCE_KELVIN)))


def sunlight_rate(*, uv_w_m2: ArrayLike, surface_c: ArrayLike) -> FloatArray:
    """Dose of sunlight per hour; `uv_w_m2` is the ultraviolet (295-385 nm) on the surface. 0 in the dark."""
    relative = np.asarray(uv_w_m2, dtype=float) / value("dose.uv_scale")
    warmth = arrhenius(surface_c, activation_kj_mol=value("dose.ea_sunlight"))
    return np.asarray(reciprocity_factor(relative, power=value("dose.uv_power")) * warmth, dtype=float)


def hydrolysis_rate(*, surface_rh_pct: ArrayLike, surface_c: ArrayLike) -> FloatArray:
    """Dose of wet hydrolysis per hour; `surface_rh_pct` at the surface, 100 where wet."""
    humid = (np.asarray(surface_rh_pct, dtype=float) / 100.0) ** value("dose.humidity_power")
    return np.asarray(humid * arrhenius(surface_c, activation_kj_mol=value("dose.ea_hydrolysis")), dtype=float)


def heat_rate(*, surface_c: ArrayLike) -> FloatArray:
    """Dose of heat per hour."""
    return arrhenius(surface_c, activation_kj_mol=value("dose.ea_heat"))


def hourly_rates(
    *,
    ghi_w_m2: ArrayLike,
    air_c: ArrayLike,
    rh_pct: ArrayLike,
    wind_ms: ArrayLike,
    cloud: ArrayLike,
    cos_zenith: ArrayLike,
    extraterrestrial_w_m2: ArrayLike,
    wet: ArrayLike = 0.0,
    absorptance: float = 0.70,
    sun_share: ArrayLike = 1.0,
    warmth_share: ArrayLike | None = None,
    sky_view: ArrayLike | None = None,
    law: PanelLaw = PanelLaw.SKY,
) -> FloatArray:
    """Dose of sunlight, hydrolysis and heat in each hour in the open, shape (3, hours).

    Args:
        ghi_w_m2: global horizontal irradiance, hourly mean, W/m².  air_c: °C.  rh_pct: %.  wind_ms: at 10 m, m/s.
        cloud: share of the sky, 0 to 1.  cos_zenith: of the sun at the middle of the hour.
        extraterrestrial_w_m2: on a plane facing the sun, W/m².
        wet: share of the hour in which rain keeps the surface wet, 0 to 1; the surface is then at air temperature.
        absorptance: of the surface, 0 to 1.  sun_share: ultraviolet on the surface over that on a flat one.
        warmth_share: the same for all sunlight; None: as `sun_share`.  sky_view: share of the sky that the surface
            sees, 0 to 1; None: as `warmth_share`.
        law: see `panel.PanelLaw`.
    """
    sun, cosine = np.asarray(ghi_w_m2, dtype=float), np.asarray(cos_zenith, dtype=float)
    uv_on_it = np.asarray(sun_share, dtype=float)
    warmth = uv_on_it if warmth_share is None else np.asarray(warmth_share, dtype=float)
    # The sun is held above 3 degrees here too: kt is undefined at the horizon.
    outside = np.asarray(extraterrestrial_w_m2, dtype=float) * np.maximum(cosine, np.cos(np.radians(87.0)))
    share = uv.uv_share(air_mass=solar.relative_air_mass(cosine), clearness=sun / outside)
    surface = panel.panel_temperature_c(
        air_c=air_c,
        irradiance_w_m2=sun * warmth,
        wind_ms=wind_ms,
        cloud=cloud,
        absorptance=absorptance,
        sky_view=warmth if sky_view is None else sky_view,
        law=law,
    )
    humid = panel.surface_humidity_pct(air_c=air_c, rh_pct=rh_pct, surface_c=surface)
    wetness = np.asarray(wet, dtype=float)
    dry_dose = hydrolysis_rate(surface_rh_pct=humid, surface_c=surface)
    wet_dose = hydrolysis_rate(surface_rh_pct=100.0, surface_c=air_c)
    return np.stack(
        np.broadcast_arrays(
            sunlight_rate(uv_w_m2=sun * share * uv_on_it, surface_c=surface),
            (1.0 - wetness) * dry_dose + wetness * wet_dose,
            heat_rate(surface_c=surface),
        )
    )


def summed(rates: FloatArray) -> FloatArray:
    """E_U, E_H, E_T: rates by the hour (see `hourly_rates`) summed over the hours, shape (3,)."""
    return np.asarray(rates.reshape(3, -1).sum(axis=1), dtype=float)
