"""Chance that a dropping, sap or fallout has etched the paint: a range, from dwell and temperature.

Damage grows with dwell and `exp(-Ea/R (1/T - 1/313 K))`, Ea 60 to 80 kJ/mol (judgement on published work: hydrolysis by
enzymes and softening of the lacquer both go with temperature and dwell; a rival experiment names the drying grain, with
the same dependence). The half time is judgement and carries a wide range.
"""

from __future__ import annotations

import math

from lifecycle.wear import normal
from lifecycle.wear.exposure import GAS_CONSTANT_KJ
from lifecycle.wear.figures import figure, wear_value
from lifecycle.wear.panel import absorptance
from lifecycle.wear.types import Band

ETCHING = ("bird_dropping", "sap", "fallout")
ETCH_KELVIN = 313.15


def temperature_factor(surface_c: float, *, activation_kj_mol: float) -> float:
    """Rate over that at 40 °C."""
    return math.exp(-activation_kj_mol / GAS_CONSTANT_KJ * (1.0 / (surface_c + 273.15) - 1.0 / ETCH_KELVIN))


def equivalent_hours(*, dwell_h: float, air_c: float, colour: str, activation_kj_mol: float) -> float:
    """Dwell on the panel as hours at 40 °C surface temperature.

    Half of the dwell counts as sunlit, half as night; `air_c` is the warm air that was reported. The panel rises over
    the air by `etch.sun_rise` times the colour's absorptance (infrared surveys of bonnets: white 33, black 62 °C at 24
    °C).
    """
    day = temperature_factor(
        air_c + wear_value("etch.sun_rise") * absorptance(colour), activation_kj_mol=activation_kj_mol
    )
    night = temperature_factor(air_c - wear_value("etch.night_fall"), activation_kj_mol=activation_kj_mol)
    return dwell_h * 0.5 * (day + night)


def etch_chance(*, dwell_h: float, air_c: float, colour: str, function_left: float = 0.0) -> Band:
    """Chance (10-50-90 % range) that the paint is etched.

    Args:
        dwell_h: hours on the panel.  air_c: warm air while it lay there, °C.  colour: as in the scenario file.
        function_left: of the topmost layer; a fresh one lengthens the half time.

    Raises:
        ValueError: negative dwell, unknown colour.
    """
    if dwell_h < 0:
        raise ValueError(f"dwell_h is {dwell_h}; write hours, 0 or more.")
    half, activation = figure("etch.half_h"), figure("etch.ea")
    lasting = half.value * (1.0 + wear_value("etch.shield") * function_left)
    low, middle, high = (
        math.log(max(equivalent_hours(dwell_h=dwell_h, air_c=air_c, colour=colour, activation_kj_mol=energy), 1e-9))
        for energy in (activation.low, activation.value, activation.high)
    )
    _, half_sd = normal.lognormal_of_range(half.low, half.high)
    spread = normal.Z90 * math.hypot(half_sd, abs(high - low) / (2.0 * normal.Z90))
    score, sd = middle - math.log(lasting), wear_value("etch.sd")
    return Band(*(float(normal.cdf((score + shift) / sd)) for shift in (-spread, 0.0, spread)))
