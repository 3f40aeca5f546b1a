"""What may go on a surface, and in which air: figures, findings, and the gate of temperature, humidity and dew point.

Pure: no Django. The figures stand in stack_rules.csv with their marks; a product's data sheet overrules them. What may
go over what is in `over_rules`, how long a fresh layer is left alone in `cure_rules`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from types import MappingProxyType
from typing import Final

from lifecycle.care.wording import LAYER_WORDS
from lifecycle.wear.marks import Figure, parameter
from lifecycle.wear.panel import dew_point_c

TABLE: Final = Path(__file__).with_name("stack_rules.csv")
SHEET: Final = "product's data sheet"
CERAMIC: Final = frozenset({"ceramic_entry", "ceramic_mid", "ceramic_top"})
FILM: Final = frozenset({"film_body", "wrap"})
GLASS: Final = frozenset({"windscreen_coat", "windscreen_wipe_on", "side_glass_coat"})
# What sits on paint and would part the next layer from it.
SACRIFICIAL: Final = frozenset({"wax", "sealant", "booster"})
PAINT_COATS: Final = CERAMIC | FILM | SACRIFICIAL
# The bonded coat of a surface. Two of them never stand on one surface at the same time.
BASE_COATS: Final = CERAMIC | frozenset(
    {"windscreen_coat", "side_glass_coat", "wheel_coat", "trim_coat", "headlamp_coat", "leather_coat", "textile_guard",
     "engine_bay_coating"}
)  # fmt: skip
GROUPS: Final = MappingProxyType(
    dict.fromkeys(CERAMIC, "ceramic")
    | dict.fromkeys(FILM, "film")
    | dict.fromkeys(GLASS, "glass")
    | {kind: kind for kind in SACRIFICIAL}
    | {"film_top_coat": "booster", "wheel_coat": "wheel", "trim_coat": "trim", "trim_dressing": "trim",
       "headlamp_coat": "headlamp", "leather_coat": "leather", "leather_guard": "leather", "textile_guard": "textile",
       "engine_bay_dressing": "engine_bay", "engine_bay_coating": "engine_bay", "metal_sealant": "metal"}
)  # fmt: skip
PREPS: Final = MappingProxyType(
    {
        "none": "nothing",
        "washed": "washed and dried",
        "decontaminated": "decontaminated with chemicals",
        "clayed": "clayed",
        "polished": "polished",
        "stripped": "stripped with chemicals, proven by a wipe test",
        "film_removed": "old film taken off",
        "panel_wiped": "panel-wiped",
    }
)
LAID_BARE: Final = frozenset({"polished", "stripped"})


class Level(StrEnum):
    """How much a finding weighs: told; confirmed before recording; recorded only with a written reason."""

    NOTE = "note"
    WARN = "warn"
    BLOCK = "block"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that speaks for care or against the work.

    Attributes:
        code: machine word of the rule.  says: the reason in words.  figure: the number that decides, with its unit.
        mark: where the figure comes from (a `Mark`, or the product's data sheet).  source: the words of the source.
    """

    code: str
    level: Level
    says: str
    figure: str
    mark: str
    source: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """What a product's data sheet says; None: it is silent and common practice holds.

    °C of air and of the surface, % relative humidity, hours between coats, hours kept dry, days without wash, without
    chemicals, until full cure (at 20 °C). `allowed_over`: kinds of layer that it may go over.
    """

    air_low_c: float | None = None
    air_high_c: float | None = None
    surface_low_c: float | None = None
    surface_high_c: float | None = None
    rh_low_pct: float | None = None
    rh_high_pct: float | None = None
    recoat_low_h: float | None = None
    recoat_high_h: float | None = None
    keep_dry_h: float | None = None
    no_wash_days: float | None = None
    no_chemicals_days: float | None = None
    full_days: float | None = None
    allowed_over: tuple[str, ...] = ()
    matte_fit: bool = False


@dataclass(frozen=True, slots=True)
class Conditions:
    """What was measured when the layer went on: air and surface °C, relative humidity %, longest time between two
    coats in hours. None: not measured."""

    air_c: float | None = None
    surface_c: float | None = None
    rh_pct: float | None = None
    coat_gap_h: float | None = None


NO_SHEET: Final = Sheet()
NOT_MEASURED: Final = Conditions()


def figure(key: str) -> Figure:
    """A figure of stack_rules.csv with its range, mark and source.

    Raises:
        KeyError: no such key.
    """
    return parameter(key, path=TABLE)


def slot(kind: str) -> str:
    """The place in a stack that only one live layer of a surface can take: the film, the base coat, or the kind itself.

    Waxes, sealants, boosters and dressings lie on a base and each has its own place.
    """
    if kind in FILM:
        return "film"
    return "base" if kind in BASE_COATS else kind


def spoken(kind: str) -> str:
    """A kind of layer in words, another word (of an event) without its underscores."""
    return LAYER_WORDS.get(kind, kind.replace("_", " "))


def standing(kind: str) -> str:
    """The start of a sentence about a layer that stands: "A wax stands here"."""
    words = spoken(kind)
    return f"A{'n' if words[0] in 'aeiou' else ''} {words} stands here"


def by_table(code: str, level: Level, says: str, key: str) -> Finding:
    """A finding that rests on a figure of the table."""
    told = figure(key)
    unit = "" if told.unit == "1" else f" {told.unit}{'s' if told.unit == 'day' and told.value != 1 else ''}"
    return Finding(code, level, says, f"{told.value:g}{unit}", told.mark.value, told.source)


def by_sheet(code: str, level: Level, says: str, shown: str) -> Finding:
    """A finding that rests on the data sheet."""
    return Finding(code, level, says, shown, SHEET, "the data sheet of the product as the studio entered it")


def by_practice(code: str, level: Level, says: str, source: str) -> Finding:
    """A finding that rests on a rule without a number."""
    return Finding(code, level, says, "", "common practice", source)


def least_surface_c(*, air_c: float, rh_pct: float) -> float:
    """The lowest surface temperature that passes the dew-point gate, °C: dew point + 3 K (Magnus, 17.625 / 243.04)."""
    return float(dew_point_c(air_c=air_c, rh_pct=rh_pct)) + figure("dew.margin_k").value


def _dew(now: Conditions) -> Iterator[Finding]:
    if now.air_c is None or now.rh_pct is None:
        text = "The dew-point gate was not checked: measure air temperature, humidity and the panel."
        yield by_table("dew_unchecked", Level.NOTE, text, "dew.margin_k")
        return
    need = least_surface_c(air_c=now.air_c, rh_pct=now.rh_pct)
    dew = need - figure("dew.margin_k").value
    air = f"{now.air_c:g} °C, {now.rh_pct:g} %"
    told = f"The dew point is {dew:.1f} °C ({air}), so the panel needs {need:.1f} °C or more"
    if now.surface_c is None:
        yield by_table("dew_unchecked", Level.NOTE, f"{told}; measure it.", "dew.margin_k")
    elif now.surface_c < need:
        text = f"{told} and has {now.surface_c:g} °C: moisture would settle under the coat. Warm it or dry the air."
        yield by_table("dew_point", Level.BLOCK, text, "dew.margin_k")


def _bounds(kind: str, end: str) -> str:
    group = GROUPS.get(kind, "")
    if group in ("ceramic", "wax", "sealant", "booster"):
        return f"temp.paint.{end}_c"
    if group == "film":
        return f"temp.film.{end}_c"
    return "temp.wheel.max_c" if (group, end) == ("wheel", "max") else f"temp.other.{end}_c"


def _temperature(kind: str, name: str, value: float | None, low: float | None, high: float | None) -> Iterator[Finding]:
    if value is None:
        return
    code = f"{name}_temperature"
    for end, bound, beyond in (("min", low, "below"), ("max", high, "above")):
        key = _bounds(kind, end)
        limit = bound if bound is not None else figure(key).value
        if not (value < limit if end == "min" else value > limit):
            continue
        text = f"The {name} has {value:g} °C, {beyond} the {limit:g} °C within which {spoken(kind)} is put on."
        if bound is not None:
            yield by_sheet(code, Level.BLOCK, text, f"{bound:g} °C")
        else:
            yield by_table(code, Level.BLOCK, text, key)
        return
    if low is None and high is None and _bounds(kind, "min") == "temp.paint.min_c":
        for end in ("ideal_min", "ideal_max"):
            key = f"temp.paint.{end}_c"
            if value < figure(key).value if end == "ideal_min" else value > figure(key).value:
                text = f"The {name} has {value:g} °C; it goes on, though 18 to 25 °C is better."
                yield by_table(f"{code}_not_ideal", Level.NOTE, text, key)


def _humidity(rh_pct: float | None, sheet: Sheet) -> Iterator[Finding]:
    if rh_pct is None:
        return
    for bound, beyond in ((sheet.rh_low_pct, "below"), (sheet.rh_high_pct, "above")):
        if bound is not None and (rh_pct < bound if beyond == "below" else rh_pct > bound):
            text = f"The air has {rh_pct:g} % humidity, {beyond} the {bound:g} % of the data sheet."
            yield by_sheet("humidity", Level.BLOCK, text, f"{bound:g} %")
            return
    if sheet.rh_high_pct is None and rh_pct >= figure("rh.stop_pct").value:
        text = f"The air has {rh_pct:g} % humidity: stop, nothing flashes and cures as it should."
        yield by_table("humidity", Level.BLOCK, text, "rh.stop_pct")
    elif sheet.rh_high_pct is None and rh_pct >= figure("rh.warn_pct").value:
        text = f"The air has {rh_pct:g} % humidity, where many stop: flashing takes longer and hazes."
        yield by_table("humidity_high", Level.WARN, text, "rh.warn_pct")
    elif sheet.rh_low_pct is None and rh_pct < figure("rh.dry_pct").value:
        text = f"The air has {rh_pct:g} % humidity: so dry that solvents flash oddly; try a small spot first."
        yield by_table("humidity_low", Level.WARN, text, "rh.dry_pct")
    elif sheet.rh_low_pct is sheet.rh_high_pct is None and not (
        figure("rh.ideal_min_pct").value <= rh_pct <= figure("rh.ideal_max_pct").value
    ):
        text = f"The air has {rh_pct:g} % humidity; it goes on, though 40 to 65 % is better."
        yield by_table("humidity_not_ideal", Level.NOTE, text, "rh.ideal_max_pct")


def _recoat(kind: str, coats: int, gap_h: float | None, sheet: Sheet) -> Iterator[Finding]:
    if coats < 2 or gap_h is None or (kind not in CERAMIC and sheet.recoat_low_h is sheet.recoat_high_h is None):
        return
    late = f"The second coat came after {gap_h:g} h: beyond its window it needs keying or a polish, which is a new job."
    early = f"The second coat came after {gap_h:g} h, before the first had flashed and set."
    if sheet.recoat_high_h is not None:
        if gap_h > sheet.recoat_high_h:
            yield by_sheet("recoat_late", Level.BLOCK, late, f"{sheet.recoat_high_h:g} h")
    elif gap_h > figure("recoat.latest_h").value:
        yield by_table("recoat_late", Level.BLOCK, late, "recoat.latest_h")
    elif gap_h > figure("recoat.max_h").value:
        text = f"The second coat came after {gap_h:g} h; usual is 1 to 4 h, and only some products allow the same day."
        yield by_table("recoat_late", Level.WARN, text, "recoat.max_h")
    if sheet.recoat_low_h is not None:
        if gap_h < sheet.recoat_low_h:
            yield by_sheet("recoat_early", Level.BLOCK, early, f"{sheet.recoat_low_h:g} h")
    elif gap_h < figure("recoat.min_h").value:
        yield by_table("recoat_early", Level.WARN, early, "recoat.min_h")


def gate(*, kind: str, now: Conditions, sheet: Sheet = NO_SHEET, coats: int = 1) -> tuple[Finding, ...]:
    """What the air, the panel and the time between coats say against putting a layer on.

    Args:
        kind: of the layer.  now: what was measured.  sheet: the product's own windows, which overrule common practice.
        coats: how many coats are put on.

    Raises:
        ValueError: a measurement that is not finite, or humidity outside 0 to 100 %.
    """
    for name, value in (("air_c", now.air_c), ("surface_c", now.surface_c), ("coat_gap_h", now.coat_gap_h)):
        if value is not None and not math.isfinite(value):
            raise ValueError(f"{name} is {value}; give a finite number.")
    if now.rh_pct is not None and not 0 <= now.rh_pct <= 100:
        raise ValueError(f"rh_pct is {now.rh_pct}; relative humidity lies between 0 and 100 %.")
    if kind == "unknown":  # an earlier layer that somebody found: nobody is putting it on now
        return ()
    wet = kind in FILM  # film is laid wet: neither dew nor humidity part it from the paint
    return (
        *(() if wet else _dew(now)),
        *_temperature(kind, "air", now.air_c, sheet.air_low_c, sheet.air_high_c),
        *_temperature(kind, "surface", now.surface_c, sheet.surface_low_c, sheet.surface_high_c),
        *(() if wet and sheet.rh_low_pct is sheet.rh_high_pct is None else _humidity(now.rh_pct, sheet)),
        *_recoat(kind, coats, now.coat_gap_h, sheet),
    )


def usual_windows(kind: str) -> dict[str, str]:
    """What common practice says where a data sheet is silent, in words, for the owner who enters one."""
    low, high = (figure(_bounds(kind, end)) for end in ("min", "max"))
    span = f"{low.value:g} to {high.value:g} °C ({low.mark.value})"
    told = {"air": span, "surface": f"{span}, and 3 °C above the dew point"}
    if kind not in FILM:
        told["rh"] = f"under {figure('rh.stop_pct').value:g} %, better 40 to 65 % ({figure('rh.stop_pct').mark.value})"
    if kind in CERAMIC:
        told["recoat"] = "1 to 4 h, some the same day (common practice)"
    return told
