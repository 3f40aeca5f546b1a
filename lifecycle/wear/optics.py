"""Gloss from first principles: Fresnel's mirror, the gloss unit of ISO 2813, and what fine roughness takes away.

A gloss unit is the share of light mirrored at 20, 60 or 85 degrees over that of black glass of index 1.567, times 100.
Fine scratches scatter: `G = G0 exp(-(4 pi Rq cos(theta) / lambda)^2)`, so 20 degrees sees micro-mar first. numpy only.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.wear.types import FloatArray

GLASS_INDEX = 1.567  # at 587.6 nm, ISO 2813
WAVELENGTH_NM = 550.0
GEOMETRIES = (20.0, 60.0, 85.0)


def fresnel_reflectance(index: ArrayLike, *, angle_deg: ArrayLike) -> FloatArray:
    """Share of unpolarised light mirrored by a smooth surface of a refractive index, 0 to 1 (Fresnel).

    Args:
        index: refractive index, at least 1.  angle_deg: from the normal, 0 to 90.

    Raises:
        ValueError: index below 1, or an angle outside 0 to 90 degrees.
    """
    n, angle = np.asarray(index, dtype=float), np.asarray(angle_deg, dtype=float)
    if np.any(~(n >= 1.0)) or np.any(~((angle >= 0.0) & (angle <= 90.0))):
        raise ValueError("Give a refractive index of 1 or more and an angle of 0 to 90 degrees.")
    cosine = np.cos(np.radians(angle))
    inside = np.sqrt(n**2 - np.sin(np.radians(angle)) ** 2)
    across = ((cosine - inside) / (cosine + inside)) ** 2
    along = ((n**2 * cosine - inside) / (n**2 * cosine + inside)) ** 2
    return np.asarray(0.5 * (across + along), dtype=float)


def gloss_units(index: ArrayLike, *, angle_deg: float = 20.0, roughness_nm: ArrayLike = 0.0) -> FloatArray:
    """Gloss, GU, of a clear coat of a refractive index with fine roughness Rq (root mean square, nm).

    Raises:
        ValueError: see `fresnel_reflectance`; a negative roughness.
    """
    smooth = fresnel_reflectance(index, angle_deg=angle_deg) / fresnel_reflectance(GLASS_INDEX, angle_deg=angle_deg)
    return np.asarray(100.0 * smooth * mirrored_share(roughness_nm, angle_deg=angle_deg), dtype=float)


def mirrored_share(roughness_nm: ArrayLike, *, angle_deg: float = 20.0) -> FloatArray:
    """Share of the mirrored light that a roughness Rq leaves in the mirror's direction, at 550 nm.

    Valid while Rq is well below the wavelength (a tenth of it, 55 nm); beyond, it understates what is left.

    Raises:
        ValueError: a negative roughness.
    """
    rough = np.asarray(roughness_nm, dtype=float)
    if np.any(~(rough >= 0.0)):
        raise ValueError("roughness_nm is negative; write 0 or more.")
    phase = 4.0 * math.pi * rough * math.cos(math.radians(angle_deg)) / WAVELENGTH_NM
    return np.asarray(np.exp(-(phase**2)), dtype=float)


def roughness_of_gloss_nm(gloss_gu: float, *, smooth_gu: float, angle_deg: float = 20.0) -> float:
    """Rq in nm that brings a surface from `smooth_gu` down to `gloss_gu`; 0 where it is no duller.

    Raises:
        ValueError: a gloss not above 0.
    """
    if not (gloss_gu > 0.0 and smooth_gu > 0.0):
        raise ValueError(f"gloss is {gloss_gu} of {smooth_gu} GU; write figures above 0.")
    if gloss_gu >= smooth_gu:
        return 0.0
    phase = math.sqrt(math.log(smooth_gu / gloss_gu))
    return phase * WAVELENGTH_NM / (4.0 * math.pi * math.cos(math.radians(angle_deg)))


def best_geometry(gloss_at_60_gu: float) -> float:
    """Angle to measure at: 20 degrees above 70 GU at 60 degrees, 85 below 10, else 60 (ASTM D523)."""
    if gloss_at_60_gu > 70.0:
        return 20.0
    return 85.0 if gloss_at_60_gu < 10.0 else 60.0
