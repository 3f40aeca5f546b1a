"""How corrosive the air of a place is: ISO 9223 and 9224, time of wetness, chloride and sulphur classes. numpy-free.

ISO 9223:2012 gives the first year's metal loss from four yearly figures, ISO 9224:2012 how it goes on. Coefficients of
steel and zinc were read in open files that transcribe the standard; those of copper and aluminium are from memory.
Category edges belong to the category below them ("up to and including").
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass
from types import MappingProxyType

METALS = ("steel", "zinc", "copper", "aluminium")
CATEGORIES = ("C1", "C2", "C3", "C4", "C5", "CX")
# Yearly mean temperature °C, humidity %, SO2 and chloride deposition mg/m² day: where the equations were fitted.
VALID = MappingProxyType(
    {"air_c": (-17.1, 28.7), "rh_pct": (34.0, 93.0), "so2_mg_m2_day": (0.7, 150.4), "chloride_mg_m2_day": (0.4, 760.5)}
)


@dataclass(frozen=True, slots=True)
class DoseResponse:
    """Coefficients of `a Pd^b exp(c RH + f) + d Sd^e exp(g RH + h T)`; f is `cold (T - 10)` up to 10 °C, else `warm
    (T - 10)`."""

    a: float
    b: float
    c: float
    cold: float
    warm: float
    d: float
    e: float
    g: float
    h: float


FIRST_YEAR = MappingProxyType(
    {
        "steel": DoseResponse(1.77, 0.52, 0.020, 0.150, -0.054, 0.102, 0.62, 0.033, 0.040),
        "zinc": DoseResponse(0.0129, 0.44, 0.046, 0.038, -0.071, 0.0175, 0.57, 0.008, 0.085),
        "copper": DoseResponse(0.0053, 0.26, 0.059, 0.126, -0.080, 0.01025, 0.27, 0.036, 0.049),
        "aluminium": DoseResponse(0.0042, 0.73, 0.025, 0.009, -0.043, 0.0018, 0.60, 0.020, 0.094),
    }
)
# Upper edges of C1 to CX; aluminium in g/m² a, without an edge of its own for C1.
EDGES = MappingProxyType(
    {
        "steel": (1.3, 25.0, 50.0, 80.0, 200.0, 700.0),
        "zinc": (0.1, 0.7, 2.1, 4.2, 8.4, 25.0),
        "copper": (0.1, 0.6, 1.3, 2.8, 5.6, 10.0),
        "aluminium": (0.0, 0.6, 2.0, 5.0, 10.0, math.inf),
    }
)
# ISO 9224: exponent of the general case (B1) and of the upper, conservative one (B2).
EXPONENTS = MappingProxyType(
    {"steel": (0.523, 0.575), "zinc": (0.813, 0.873), "copper": (0.667, 0.726), "aluminium": (0.728, 0.807)}
)
# ISO 9223:2012 annex: the loss lies this far from the equation, as factors (from memory; log-normal errors published).
UNCERTAINTY = MappingProxyType(
    {"steel": (0.67, 1.5), "zinc": (0.67, 1.5), "copper": (0.67, 1.5), "aluminium": (0.5, 2.0)}
)


@dataclass(frozen=True, slots=True)
class Corrosion:
    """First year's loss of a metal: µm a (aluminium g/m² a), its low and high by the standard's own uncertainty, its
    category, and the inputs that lie outside the range in which the equation was fitted."""

    metal: str
    loss: float
    low: float
    high: float
    category: str
    outside: tuple[str, ...]


def _metal(metal: str) -> str:
    if metal not in FIRST_YEAR:
        raise ValueError(f"metal is {metal!r}; use one of {', '.join(METALS)}.")
    return metal


def first_year_loss(
    metal: str, *, air_c: float, rh_pct: float, so2_mg_m2_day: float, chloride_mg_m2_day: float
) -> Corrosion:
    """Loss of a metal in its first year in the open (ISO 9223:2012).

    Args:
        air_c, rh_pct: yearly means, °C and %.  so2_mg_m2_day, chloride_mg_m2_day: yearly mean deposition.

    Raises:
        ValueError: an unknown metal, or a negative deposition.
    """
    law = FIRST_YEAR[_metal(metal)]
    given = {
        "air_c": air_c, "rh_pct": rh_pct, "so2_mg_m2_day": so2_mg_m2_day, "chloride_mg_m2_day": chloride_mg_m2_day,
    }  # fmt: skip
    for name in ("so2_mg_m2_day", "chloride_mg_m2_day"):
        if not given[name] >= 0.0:
            raise ValueError(f"{name} is {given[name]}; write a deposition of 0 or more.")
    warmth = (law.cold if air_c <= 10.0 else law.warm) * (air_c - 10.0)
    sulphur = law.a * so2_mg_m2_day**law.b * math.exp(law.c * rh_pct + warmth)
    salt = law.d * chloride_mg_m2_day**law.e * math.exp(law.g * rh_pct + law.h * air_c)
    low, high = UNCERTAINTY[metal]
    loss = sulphur + salt
    outside = tuple(name for name, (least, most) in VALID.items() if not least <= given[name] <= most)
    return Corrosion(metal, loss, loss * low, loss * high, corrosivity(metal, loss), outside)


def corrosivity(metal: str, loss: float) -> str:
    """Category C1 to CX of a first year's loss (µm; aluminium g/m²), "beyond CX" above the table.

    Raises:
        ValueError: an unknown metal, or a negative loss.
    """
    if not loss >= 0.0:
        raise ValueError(f"loss is {loss}; write a loss of 0 or more.")
    index = bisect_left(EDGES[_metal(metal)], loss)
    return CATEGORIES[index] if index < len(CATEGORIES) else "beyond CX"


def long_term_factor(years: float, *, exponent: float, linear_from_years: float | None = 20.0) -> float:
    """Loss after some years over that of the first: `t^b` (ISO 9224).

    The standard's power law holds for twenty years; after that the rate of year twenty goes on,
    `20^b + b 20^(b-1) (t - 20)` (from memory). `linear_from_years=None` keeps the power law, as the standard's own
    table to 100 years does.

    Raises:
        ValueError: negative years.
    """
    if not years >= 0.0:
        raise ValueError(f"years is {years}; write 0 or more.")
    if linear_from_years is None or years <= linear_from_years:
        return math.pow(years, exponent)
    turn = linear_from_years
    return math.pow(turn, exponent) + exponent * math.pow(turn, exponent - 1.0) * (years - turn)


def steel_loss_um(
    years: float, *, wetness_h_year: float, so2_ug_m3: float, chloride_mg_m2_day: float, air_c: float
) -> float:
    """Loss of flat steel, µm (Klinesmith et al. 2007):
    `13.4 t^0.98 (TOW/3800)^0.46 (1 + SO2/25)^0.62 (1 + Cl/50)^0.34 exp(0.016 (T + 20))`."""
    wet = math.pow(wetness_h_year / 3800.0, 0.46)
    dirt = math.pow(1.0 + so2_ug_m3 / 25.0, 0.62) * math.pow(1.0 + chloride_mg_m2_day / 50.0, 0.34)
    return 13.4 * math.pow(years, 0.98) * wet * dirt * math.exp(0.016 * (air_c + 20.0))


def zinc_loss_g_m2(wet_years: float, *, so2_mg_m2_day: float, chloride_mg_m2_day: float, rain_ph: float) -> float:
    """Loss of zinc, g/m², after years of wet time (Benarie & Lipfert 1986): `(4.8 + 0.53 (SO2 + Cl)) t^b`,
    `b = 1.55 - 0.142 pH`. Half of the sites lie within 50 %, the rest within 20 %."""
    yearly = 4.8 + 0.53 * (so2_mg_m2_day + chloride_mg_m2_day)
    return yearly * math.pow(wet_years, 1.55 - 0.142 * rain_ph)


def wetness_hours(*, rh_pct: Iterable[float], air_c: Iterable[float]) -> int:
    """Hours with more than 80 % humidity above 0 °C: the standard's time of wetness.

    It misses salt, which keeps surfaces wet in drier air, and radiative cooling (`dew.py`), both published limits.
    """
    return sum(1 for humid, air in zip(rh_pct, air_c, strict=True) if humid > 80.0 and air > 0.0)


def _class(at: float, edges: tuple[float, ...], words: str, *, name: str) -> str:
    if not at >= 0.0:
        raise ValueError(f"{name} is {at}; write 0 or more.")
    return f"{words}{bisect_left(edges, at)}"


def wetness_class(hours_a_year: float) -> str:
    """t1 to t5: up to 10, 250, 2500, 5500 hours a year and above (ISO 9223:1992; t5 from memory)."""
    return "t" + str(int(_class(hours_a_year, (10.0, 250.0, 2500.0, 5500.0), "", name="hours_a_year")) + 1)


def chloride_class(mg_m2_day: float) -> str:
    """S0 to S3: up to 3, 60, 300, 1500 (ISO 9223:1992); "over S3" beyond, where the standard says nothing."""
    found = _class(mg_m2_day, (3.0, 60.0, 300.0, 1500.0), "S", name="mg_m2_day")
    return "over S3" if found == "S4" else found


def sulphur_class(mg_m2_day: float) -> str:
    """P0 to P3: up to 4, 24, 80 and above (ISO 9223:2012, which ends at 200)."""
    return _class(mg_m2_day, (4.0, 24.0, 80.0), "P", name="mg_m2_day")
