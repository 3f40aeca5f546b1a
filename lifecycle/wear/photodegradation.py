"""Weathering laws as published, held apart from the model's own choices, so that each can be checked by itself.

The general form (open code of a solar-module durability project, BSD-3; Martin et al. 1993 behind it):

    D = R0 sum_t RH^n exp(-Ea / (R T)) { sum_lambda [exp(-C2 lambda) G]^p dlambda } dt

Every factor can be left out. Wear rates of this model (`doses.py`) are its special case with one ultraviolet band.
numpy only.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.wear.panel import ZERO_C_IN_K
from lifecycle.wear.types import FloatArray

GAS_CONSTANT_KJ = 8.314462618e-3


def reciprocity_factor(irradiance_ratio: ArrayLike, *, power: float) -> FloatArray:
    """Damage rate over that at irradiance ratio 1: Schwarzschild's `ratio^p`; p = 1 is the reciprocity law.

    A review of reciprocity experiments (NIST) finds that this power law fits nearly all polymers. 0 in the dark.
    """
    return np.asarray(np.maximum(np.asarray(irradiance_ratio, dtype=float), 0.0) ** power, dtype=float)


def bin_widths_nm(wavelength_nm: ArrayLike) -> FloatArray:
    """Width of the band around each wavelength: half the way to both neighbours; the outer ones as their neighbours.

    Raises:
        ValueError: fewer than three wavelengths, or not rising.
    """
    at = np.asarray(wavelength_nm, dtype=float)
    if at.ndim != 1 or at.size < 3 or np.any(np.diff(at) <= 0.0):
        raise ValueError("wavelength_nm: give at least three rising wavelengths in nm.")
    inner = 0.5 * (at[2:] - at[:-2])
    return np.concatenate((inner[:1], inner, inner[-1:]))


def degradation_dose(
    *,
    surface_c: ArrayLike,
    activation_kj_mol: float = 0.0,
    surface_rh_pct: ArrayLike | None = None,
    humidity_power: float = 0.0,
    irradiance: ArrayLike | None = None,
    uv_power: float = 0.0,
    wavelength_nm: ArrayLike | None = None,
    action_per_nm: float = 0.0,
    step_h: ArrayLike = 1.0,
    rate_constant: float = 1.0,
) -> float:
    """Dose of the general form above; 1 per step where every dependence is left out.

    Args:
        surface_c: temperature of the material in each time step, °C.  activation_kj_mol: Ea; 0 leaves temperature out.
        surface_rh_pct: relative humidity at the surface, % (not a share).  humidity_power: n.
        irradiance: W/m² per step, or with `wavelength_nm` W/m² nm of shape (steps, wavelengths).  uv_power: p.
        wavelength_nm: middle of each band.  action_per_nm: C2; shorter waves then do more damage.
        step_h: length of each step.  rate_constant: R0.

    Raises:
        ValueError: a power without its quantity, or a spectrum of another shape than its wavelengths.
    """
    kelvin = np.atleast_1d(np.asarray(surface_c, dtype=float)) + ZERO_C_IN_K
    rate = np.exp(-activation_kj_mol / (GAS_CONSTANT_KJ * kelvin))
    if humidity_power != 0.0:
        if surface_rh_pct is None:
            raise ValueError("humidity_power is given without surface_rh_pct; give the humidity at the surface.")
        rate = rate * np.asarray(surface_rh_pct, dtype=float) ** humidity_power
    if uv_power != 0.0:
        if irradiance is None:
            raise ValueError("uv_power is given without irradiance; give the irradiance of each step.")
        light = np.asarray(irradiance, dtype=float)
        if wavelength_nm is None:
            rate = rate * np.maximum(light, 0.0) ** uv_power
        else:
            rate = rate * _spectral(light, wavelength_nm, action_per_nm=action_per_nm, power=uv_power)
    return rate_constant * float(np.sum(rate * np.asarray(step_h, dtype=float)))


def _spectral(light: FloatArray, wavelength_nm: ArrayLike, *, action_per_nm: float, power: float) -> FloatArray:
    at = np.asarray(wavelength_nm, dtype=float)
    if light.shape[-1] != at.size:
        raise ValueError(f"irradiance has {light.shape[-1]} bands for {at.size} wavelengths; give one for each.")
    weighted = np.maximum(np.exp(-action_per_nm * at) * light, 0.0) ** power
    return np.asarray(weighted @ bin_widths_nm(at), dtype=float)


def activation_of_factor_kj_mol(factor: float, *, low_c: float, high_c: float) -> float:
    """Ea of a van 't Hoff factor for ten kelvin, between two temperatures: `R T1 T2 ln(Tf) / 10` in kJ/mol.

    The factor 1.41 of Fischer & Ketola 2004 (50 coatings) is 25.4 kJ/mol at 20-30 °C and 32.7 at 60-70 °C.

    Raises:
        ValueError: factor not above 0.
    """
    if not factor > 0.0:
        raise ValueError(f"factor is {factor}; write a factor above 0.")
    one, other = low_c + ZERO_C_IN_K, high_c + ZERO_C_IN_K
    return GAS_CONSTANT_KJ * one * other * math.log(factor) / 10.0


def hydrolysis_days(*, surface_c: float, rh_pct: float, activation_kj_mol: float, ln_rate: float) -> float:
    """Days to the end of a polymer in wet heat: `exp(Ea / (R T) - ln_rate) / RH^2`, RH as a share.

    Pickett & Coyle 2013: polyester Ea 129, ln_rate 39.3; polycarbonate 92, 24.9. The signs of the stored constants
    differ between copies; with these, polyester at 85 °C and 85 % ends after 77 days, as it does in a chamber.

    Raises:
        ValueError: rh_pct not above 0.
    """
    if not rh_pct > 0.0:
        raise ValueError(f"rh_pct is {rh_pct}; write a humidity above 0 %.")
    exponent = activation_kj_mol / (GAS_CONSTANT_KJ * (surface_c + ZERO_C_IN_K)) - ln_rate
    return math.exp(exponent) / (rh_pct / 100.0) ** 2


def absorber_left(years: ArrayLike, *, absorbance_new: float, loss_per_year: float) -> FloatArray:
    """Absorbance of a clear film whose ultraviolet absorber is lost by light:
    `log10((10^A0 - 1) 10^(-k t) + 1)` (after Pickett; formula from memory).

    `loss_per_year` is k, the loss while the film is opaque, in absorbance a year. An opaque film loses absorber at a
    steady rate, then fails fast: that rates vary widely with the binder, and that first-order fits depend on A0, is
    published (Permanence of UV absorbers, J. Test. Eval. 32(3)).
    """
    left = 10.0 ** (-loss_per_year * np.asarray(years, dtype=float))
    return np.asarray(np.log10((10.0**absorbance_new - 1.0) * left + 1.0), dtype=float)


def transmitted_share(absorbance: ArrayLike) -> FloatArray:
    """Share of light that passes an absorbance: `10^-A`."""
    return np.asarray(10.0 ** -np.asarray(absorbance, dtype=float), dtype=float)
