"""Light on a tilted surface of a vehicle that stands with any heading: an option, and the check of the judgement
factors `sun.*`.

The model's own factors are judgement. Here the same is worked out: Erbs' split of the global irradiance into beam and
diffuse, the sky of Hay & Davies and a ground that reflects, through pvlib, which is imported only when asked for (it
costs a second and 140 MB). What the vehicle shades of itself (wheel arch, sill under the doors) and what stands around
it is not in a free plane, so these figures are upper bounds for wheels and sills.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from lifecycle.wear import solar
from lifecycle.wear.marks import value
from lifecycle.wear.types import FloatArray

COMPUTED = ("flat", "side", "front", "rear", "sill", "screen", "wheel")
HEADINGS = 8
LOWEST_SUN_DEG = 3.0
# Optical depth of clean air at sea level at 360 nm, where the energy of 295-385 nm lies: 0.008735 x 0.36^-4.08 (Leckner
# 1978, from memory). Half of what it scatters comes down.
AIR_DEPTH = 0.56


class OrientationLaw(StrEnum):
    """`JUDGEMENT` takes the factors `sun.*` of the table, `COMPUTED` a tilted plane, mean over headings."""

    JUDGEMENT = "judgement"
    COMPUTED = "computed"


@dataclass(frozen=True, slots=True)
class PlaneLight:
    """Light on a plane over that on a flat one at the same moment; arrays (headings, *hours). `sky_view` is the share
    of the sky that the plane sees."""

    uv_ratio: FloatArray
    sun_ratio: FloatArray
    sky_view: float


def direct_share_of_uv(air_mass: ArrayLike) -> FloatArray:
    """Share of clear-sky ultraviolet (360 nm) that comes straight from the sun; the rest is skylight.

    Clean air lets `exp(-0.56 AM)` through and sends half of what it scatters down: seven tenths with the sun overhead,
    half at air mass 2.
    """
    through = np.exp(-AIR_DEPTH * np.asarray(air_mass, dtype=float))
    return np.asarray(through / (through + 0.5 * (1.0 - through)), dtype=float)


def plane_light(
    *,
    ghi_w_m2: ArrayLike,
    lat_deg: float,
    day_of_year: ArrayLike,
    solar_hour: ArrayLike,
    tilt_deg: float,
    headings_deg: ArrayLike | None = None,
) -> PlaneLight:
    """Light on a plane tilted from the horizontal.

    Args:
        ghi_w_m2: global horizontal irradiance, W/m²; day_of_year and solar_hour: of its middle, same shape.
        tilt_deg: 0 flat and facing up, 90 upright, more: facing down.
        headings_deg: azimuths that the plane faces, degrees from north; None: eight all around.

    With the sun below 3 degrees the ratio of that height is used; without any light it is 1.
    """
    from pvlib import irradiance

    sun = np.asarray(ghi_w_m2, dtype=float)
    place = {"lat_deg": lat_deg, "day_of_year": day_of_year, "solar_hour": solar_hour}
    cosine = np.maximum(solar.cos_zenith(**place), np.sin(np.radians(LOWEST_SUN_DEG)))
    zenith = np.degrees(np.arccos(cosine))
    outside = solar.extraterrestrial_normal_w_m2(day_of_year) * cosine
    diffuse = sun * diffuse_share(sun / outside)
    # What clouds and haze scatter forward comes from near the sun (Hay & Davies 1980): the clearer, the more.
    direct = (sun - diffuse) + diffuse * (sun - diffuse) / outside
    direct_uv = direct_share_of_uv(solar.relative_air_mass(cosine))
    around = 360.0 / HEADINGS * np.arange(HEADINGS) if headings_deg is None else np.atleast_1d(headings_deg)
    facing = np.asarray(around, dtype=float).reshape(-1, *([1] * sun.ndim))
    projected = np.maximum(
        irradiance.aoi_projection(tilt_deg, facing, zenith[None], solar.azimuth_deg(**place)[None]), 0.0
    )
    ratios = []
    for beam, albedo in (
        (direct * direct_uv, value("tilt.albedo_uv")),
        (direct, value("tilt.albedo")),
    ):
        ground = irradiance.get_ground_diffuse(tilt_deg, sun, albedo=albedo)
        on_plane = beam / cosine * projected + irradiance.isotropic(tilt_deg, sun - beam) + ground
        ratios.append(np.divide(on_plane, sun, out=np.ones_like(on_plane), where=sun > 0.0))
    return PlaneLight(ratios[0], ratios[1], 0.5 * (1.0 + float(np.cos(np.radians(tilt_deg)))))


def diffuse_share(clearness: FloatArray) -> FloatArray:
    """Diffuse share of global irradiance by clearness kt (Erbs, Klein & Duffie 1982, Solar Energy 28, 293)."""
    kt = np.clip(clearness, 0.0, 1.0)
    middle = 0.9511 - 0.1604 * kt + 4.388 * kt**2 - 16.638 * kt**3 + 12.336 * kt**4
    return np.asarray(np.where(kt <= 0.22, 1.0 - 0.09 * kt, np.where(kt > 0.8, 0.165, middle)), dtype=float)
