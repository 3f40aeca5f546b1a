"""Dose laws: what an hour of sun, damp and warmth does to a layer, over an hour at 25 °C.

Doses are sums over hours, each 1 in an hour at 25 °C with 50 W/m² of ultraviolet (sunlight), in saturated air
(hydrolysis) or by temperature alone (heat):

- sunlight `(I_UV z / 50)^p exp(-Ea/R (1/T_s - 1/298.15))`, `p` and `Ea` after Fischer & Ketola 2004;
- hydrolysis `(RH_s / 100)^n exp(-Eh/R (...))`, RH_s at the surface, 100 where it is wet by rain or dew;
- heat `exp(-Et/R (...))`.
"""

from __future__ import annotations

from dataclasses import dataclass

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


@dataclass(frozen=True, slots=True, eq=False)
class Sky:
    """Weather of hours that a surface may meet, and the sun over them; the fields broadcast together.

    Attributes:
        ghi_w_m2: global horizontal irradiance, hourly mean, W/m².  air_c: °C.  rh_pct: %.  wind_ms: at 10 m, m/s.
        cloud: share of the sky, 0 to 1.  cos_zenith: of the sun at the middle of the hour.
        extraterrestrial_w_m2: on a plane facing the sun, W/m².
        wet: share of the hour in which rain keeps a surface wet, 0 to 1; the surface is then at air temperature.
    """

    ghi_w_m2: ArrayLike
    air_c: ArrayLike
    rh_pct: ArrayLike
    wind_ms: ArrayLike
    cloud: ArrayLike
    cos_zenith: ArrayLike
    extraterrestrial_w_m2: ArrayLike
    wet: ArrayLike = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Aspect:
    """How a surface takes the weather: absorptance, 0 to 1, and its ultraviolet, its sunlight and its view of the sky
    over those of a flat surface in the open. With a computed orientation the shares have the headings of the vehicle as
    their first axis."""

    absorptance: float = 0.70
    uv: ArrayLike = 1.0
    sun: ArrayLike = 1.0
    sky_view: ArrayLike = 1.0


FLAT = Aspect()


def hourly_rates(sky: Sky, aspect: Aspect = FLAT, *, law: PanelLaw = PanelLaw.SKY) -> FloatArray:
    """Dose of sunlight, hydrolysis and heat in each hour in the open, shape (3, hours); `law` see `panel.PanelLaw`."""
    sun, cosine = np.asarray(sky.ghi_w_m2, dtype=float), np.asarray(sky.cos_zenith, dtype=float)
    # The sun is held above 3 degrees here too: kt is undefined at the horizon.
    outside = np.asarray(sky.extraterrestrial_w_m2, dtype=float) * np.maximum(cosine, np.cos(np.radians(87.0)))
    share = uv.uv_share(air_mass=solar.relative_air_mass(cosine), clearness=sun / outside)
    surface = panel.panel_temperature_c(
        air_c=sky.air_c,
        irradiance_w_m2=sun * np.asarray(aspect.sun, dtype=float),
        wind_ms=sky.wind_ms,
        cloud=sky.cloud,
        absorptance=aspect.absorptance,
        sky_view=aspect.sky_view,
        law=law,
    )
    humid = panel.surface_humidity_pct(air_c=sky.air_c, rh_pct=sky.rh_pct, surface_c=surface)
    wetness = np.asarray(sky.wet, dtype=float)
    dry_dose = hydrolysis_rate(surface_rh_pct=humid, surface_c=surface)
    wet_dose = hydrolysis_rate(surface_rh_pct=100.0, surface_c=sky.air_c)
    return np.stack(
        np.broadcast_arrays(
            sunlight_rate(uv_w_m2=sun * share * np.asarray(aspect.uv, dtype=float), surface_c=surface),
            (1.0 - wetness) * dry_dose + wetness * wet_dose,
            heat_rate(surface_c=surface),
        )
    )


def summed(rates: FloatArray) -> FloatArray:
    """E_U, E_H, E_T: rates by the hour (see `hourly_rates`) summed over the hours, shape (3,)."""
    return np.asarray(rates.reshape(3, -1).sum(axis=1), dtype=float)
