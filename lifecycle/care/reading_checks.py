"""What looks wrong about readings while they are typed: doubts to be looked at, never blocks. Pure, no Django.

| kind | rule | mark and source |
|---|---|---|
| method | the gauge cannot read this substrate | ISO 2808, from memory |
| unit | µm that make sense only as mil, or the other way round (1 mil = 25.4 µm: the international inch) | published |
| low | paint under 85 µm (only the finest polish) or 70 µm (nothing) in all | figures `clear.*` |
| high | over 200 µm: a repair of unknown layers | figure `clear.most_total` |
| apart | a value far from the others of its spot | SSPC-PA 2 drops readings that do not repeat; bound: judgement |
| neighbours | the panel reads unlike its neighbours, or unevenly | `wear.refinish`, judgement |
| film | a film on the panel is part of the total | figure of the film's kind |
| few | fewer than five spots: no clear-coat budget | `clearcoat.LEAST_READINGS` |
| angle, gloss | steeper than smooth surfaces allow; glossier than black glass | see the rules |
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from statistics import mean, median
from typing import Final

from lifecycle.care.typed import UM_PER_MIL
from lifecycle.wear.clearcoat import CLEAR_LAYER_UM, GAUGES, LEAST_READINGS, film_over_um
from lifecycle.wear.drop import STEEPEST_DEG
from lifecycle.wear.figures import wear_value
from lifecycle.wear.refinish import refinish_signs
from lifecycle.wear.stack import LiveLayer
from lifecycle.wear.types import Mark, SurfaceInput, Thickness

# A clear coat alone has 20 to 60 µm in published stacks, a whole paint far more.
LEAST_TOTAL_UM: Final = 20.0
PLAUSIBLE_UM: Final = (50.0, 1000.0)
APART_UM: Final = 5.0  # judgement; beside it three sigma of the difference of two values of the gauge
BLACK_GLASS_GU: Final = 100.0  # ISO 2813: polished black glass of refractive index 1.567


@dataclass(frozen=True, slots=True)
class Doubt:
    """One sentence about readings. `asks`: it wants a word of the person before it is recorded; else it only tells."""

    surface: str
    kind: str
    says: str
    mark: Mark
    spot: int | None = None
    asks: bool = True

    @property
    def of_water(self) -> bool:
        """Whether it is about gloss or water, not about the film."""
        return self.kind in ("angle", "gloss")

    @property
    def key(self) -> str:
        """The same as long as the doubt says the same."""
        return f"{self.surface}.{self.spot or 0}.{self.kind}.{zlib.crc32(self.says.encode()):08x}"


@dataclass(frozen=True, slots=True)
class PanelRead:
    """Film values of a panel as they were typed, in µm by spot; `unit` is what they were typed in (um or mil)."""

    code: str
    method: str
    gauge_sd_um: float
    unit: str
    spots: Mapping[int, tuple[float, ...]]

    @property
    def values(self) -> tuple[float, ...]:
        """The mean of each spot, µm."""
        return tuple(mean(values) for _, values in sorted(self.spots.items()))


def in_unit(value_um: float, unit: str) -> str:
    """A thickness in words in the unit it was typed in."""
    return f"{value_um / UM_PER_MIL:.2g} mil" if unit == "mil" else f"{value_um:.4g} µm"


def _unit_doubt(value: float, unit: str, spot: int, code: str) -> Doubt | None:
    low, high = PLAUSIBLE_UM
    if unit == "um" and value < LEAST_TOTAL_UM and low <= value * UM_PER_MIL <= high:
        says = (
            f"{value:g} µm is thinner than any paint; {value:g} mil would be {value * UM_PER_MIL:.0f} µm. "
            "Did you mean mil?"
        )
        return Doubt(code, "unit", says, Mark.PUBLISHED, spot)
    typed = value / UM_PER_MIL
    if unit == "mil" and value > high and low <= typed <= high:
        says = f"{typed:g} mil would be {value:.0f} µm, far more than paint. Did you mean µm?"
        return Doubt(code, "unit", says, Mark.PUBLISHED, spot)
    return None


def _apart(panel: PanelRead, spot: int, values: Sequence[float]) -> Doubt | None:
    """The value of a spot that lies furthest from its others, where that is further than a gauge scatters."""
    if len(values) < 3:
        return None
    bound = max(APART_UM, 3.0 * 2.0**0.5 * panel.gauge_sd_um)
    beside = [median([*values[:place], *values[place + 1 :]]) for place in range(len(values))]
    place = max(range(len(values)), key=lambda n: abs(values[n] - beside[n]))
    if abs(values[place] - beside[place]) <= bound:
        return None
    says = (
        f"Spot {spot}: {in_unit(values[place], panel.unit)} lies apart from its others, about "
        f"{in_unit(beside[place], panel.unit)}. Read the spot again; drop a value that does not repeat."
    )
    return Doubt(panel.code, "apart", says, Mark.JUDGEMENT, spot)


def _spot_doubts(panel: PanelRead) -> list[Doubt]:
    found = []
    for spot, values in sorted(panel.spots.items()):
        if not values:
            continue
        wrong_unit = next((d for v in values if (d := _unit_doubt(v, panel.unit, spot, panel.code))), None)
        if wrong_unit is not None:
            found.append(wrong_unit)
        elif min(values) <= 0:
            says = f"Spot {spot}: zero is no paint thickness. Zero the gauge on bare metal and read again."
            found.append(Doubt(panel.code, "zero", says, Mark.COMMON_PRACTICE, spot))
        elif apart := _apart(panel, spot, values):
            found.append(apart)
    return found


def _total_doubts(panel: PanelRead, film_um: float) -> list[Doubt]:
    """Low and high totals of the paint, without the film on it."""
    if panel.method == "ultrasonic" and mean(panel.values) <= CLEAR_LAYER_UM:
        return []  # the clear coat alone
    thinnest, thickest = min(panel.values) - film_um, max(panel.values) - film_um
    least, middle, most = (wear_value(name) for name in ("clear.least_total", "clear.middle_from", "clear.most_total"))
    without = " without the film" if film_um else ""
    if thinnest <= 0 < film_um:
        says = "The total is less than the film alone: is the film on record still on this panel?"
        return [Doubt(panel.code, "film", says, Mark.JUDGEMENT)]
    if thinnest < middle:
        rule = "nothing more is taken off below" if thinnest < least else "at most a finishing polish below"
        bound = least if thinnest < least else middle
        says = f"The thinnest spot reads {in_unit(thinnest, panel.unit)} in all{without}: {rule} {bound:g} µm."
        return [Doubt(panel.code, "low", says, Mark.PUBLISHED if thinnest < least else Mark.JUDGEMENT)]
    if thickest > most:
        says = (
            f"{in_unit(thickest, panel.unit)}{without} is more than {most:g} µm: factory paint reads 90 to 180 µm, so "
            "this speaks of a repair, and the clear coat's share is not known."
        )
        return [Doubt(panel.code, "high", says, Mark.PUBLISHED)]
    return []


def _method_doubt(panel: PanelRead, surface: SurfaceInput) -> Doubt | None:
    name, substrate = panel.code.replace("_", " "), surface.substrate
    if substrate in GAUGES.get(panel.method, (substrate,)):
        return None
    says = f"A {panel.method.replace('eddy', 'eddy-current')} gauge does not read paint on {substrate} (the {name})"
    mend = "use ultrasound" if substrate not in ("steel", "aluminium") else "use the other probe"
    says += f": {mend}, or mend what the surface is made of if the gauge does show a value."
    return Doubt(panel.code, "method", says, Mark.FROM_MEMORY)


def _film_note(
    panel: PanelRead, surface: SurfaceInput, stack: Sequence[LiveLayer], on: date
) -> tuple[float, Doubt | None]:
    film = film_over_um(stack, on=on)
    if film is None or not panel.values:
        return 0.0, None
    total = mean(panel.values)
    says = (
        f"A film lies here: about {film.value:.0f} of {total:.0f} µm ({film.low:.0f} to {film.high:.0f}) is film, "
        f"which leaves about {max(total - film.value, 0):.0f} µm of paint."
    )
    return film.value, Doubt(surface.code, "film", says, film.mark, asks=False)


def film_doubts(
    read: Sequence[PanelRead],
    *,
    surfaces: Sequence[SurfaceInput],
    stacks: Mapping[str, Sequence[LiveLayer]],
    on: date,
) -> tuple[Doubt, ...]:
    """Doubts about film values, in the order of the panels.

    Args:
        read: the panels that were typed.  surfaces: all of the vehicle, with their earlier readings: they are the
        neighbours.  stacks: layers by surface code, to know the films.  on: the day of the reading.
    """
    typed = {panel.code: panel for panel in read if any(panel.spots.values())}
    beside = [
        replace(
            one, thickness=Thickness(typed[one.code].values, typed[one.code].method, typed[one.code].gauge_sd_um, on)
        )
        if one.code in typed and typed[one.code].method in GAUGES
        else one
        for one in surfaces
    ]
    signs = refinish_signs(beside, stacks=stacks)
    found: list[Doubt] = []
    for surface in surfaces:
        panel = typed.get(surface.code)
        if panel is None:
            continue
        doubts = _spot_doubts(panel)
        method = _method_doubt(panel, surface)
        film_um, note = _film_note(panel, surface, stacks.get(surface.code, ()), on)
        if method is not None:
            doubts.insert(0, method)
        elif not any(doubt.kind in ("unit", "zero") for doubt in doubts):
            doubts += _total_doubts(panel, film_um)
            sign = signs.get(surface.code)
            if sign is not None and sign.says and surface.finish != "refinish":
                doubts.append(Doubt(surface.code, "neighbours", sign.says, sign.mark))
        if note is not None:
            doubts.append(note)
        if len(panel.values) < LEAST_READINGS and panel.method in GAUGES:
            count = len(panel.values)
            says = f"{count} spot{'s' if count > 1 else ''}: the clear-coat budget asks for {LEAST_READINGS} or more."
            doubts.append(Doubt(surface.code, "few", says, Mark.PUBLISHED, asks=False))
        found += doubts
    return tuple(found)


def angle_doubt(code: str, angle_deg: float) -> Doubt | None:
    """A contact angle steeper than a smooth surface allows (119 degrees, Nishino et al. 1999, from memory)."""
    if angle_deg <= STEEPEST_DEG:
        return None
    says = (
        f"{angle_deg:g}° is steeper than smooth surfaces show (about {STEEPEST_DEG:.0f}°): dust, or the base line of "
        "the drop was set too high. Wipe, and read again."
    )
    return Doubt(code, "angle", says, Mark.FROM_MEMORY)


def gloss_doubt(code: str, gloss_gu: float) -> Doubt | None:
    """More gloss at 20 degrees than polished black glass, which is 100 GU (ISO 2813); a clear coat of refractive index
    1.54 comes to 92.7 GU (computed from Fresnel's formulas)."""
    if gloss_gu <= BLACK_GLASS_GU:
        return None
    says = (
        f"{gloss_gu:g} GU is more than polished black glass (100 GU at 20°): wipe the tile and calibrate; only "
        "metallic paint reads a little more."
    )
    return Doubt(code, "gloss", says, Mark.PUBLISHED)
