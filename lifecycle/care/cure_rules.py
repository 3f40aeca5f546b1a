"""How long a fresh layer is left alone: by the product's data sheet, else by common practice; longer in the cold.

Pure: no Django. The one source for the care windows (`curing`), the allowed-over rules and the cure calendar.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Final

from lifecycle.care.stack_rules import GROUPS, NO_SHEET, SHEET, TABLE, Sheet, figure
from lifecycle.wear.marks import load_figures

REFERENCE_C: Final = 20.0
# step: (hours or days, what is left undone until then, the sheet's field)
STEPS: Final = {
    "dry": ("h", "keep dry", "keep_dry_h"),
    "rain": ("h", "no soaking rain, no dew", ""),
    "wipers": ("h", "no wipers", ""),
    "rubbing": ("h", "no rubbing", ""),
    "wash": ("days", "no wash", "no_wash_days"),
    "chemicals": ("days", "no chemicals, no booster", "no_chemicals_days"),
    "full": ("days", "fully cured about", "full_days"),
}


@dataclass(frozen=True, slots=True)
class Rest:
    """One step of a cure: `low_h` to `high_h` hours after the layer went on; equal where the data sheet says so."""

    step: str
    words: str
    low_h: float
    high_h: float
    mark: str
    source: str

    def until(self, applied: date) -> tuple[date, date]:
        """The range of days: the first on which it may be over, and the first on which it is by either end.

        The hour of the work is not on record, so that a step of hours is counted from the evening of its day.
        """
        return applied + timedelta(days=_days(self.low_h)), applied + timedelta(days=_days(self.high_h))


def _days(hours: float) -> int:
    # "12 h" from the evening is the next morning; whole days are themselves.
    return max(1, -int(-hours // 24)) if hours < 72 else round(hours / 24)


def cold_factor(air_c: float) -> float:
    """How many times as long a cure takes at a mean air temperature, °C: half as long again per 10 K below 20 °C."""
    return 1.0 + figure("cure.cold_share_per_10k").value * max(0.0, REFERENCE_C - air_c) / 10.0


def _step(group: str, step: str, slower: float, sheet: Sheet) -> Rest | None:
    unit, words, field = STEPS[step]
    hours = 1.0 if unit == "h" else 24.0
    if group == "film" and step == "full":
        words = "haze and bubbles settled about"
    own = getattr(sheet, field) if field else None
    if own is not None:
        took = own * hours * slower
        return Rest(step, words, took, took, SHEET, "the data sheet of the product as the studio entered it")
    key = f"cure.{group}.{step}_{unit}"
    if key not in load_figures(TABLE):
        return None
    told = figure(key)
    # Chemicals are kept off for a time of their own and until full cure; it is the cure that the cold stretches.
    stretch = 1.0 if step == "chemicals" else slower
    return Rest(step, words, told.low * hours * stretch, told.high * hours * stretch, told.mark.value, told.source)


def rests(kind: str, *, air_c: float = REFERENCE_C, sheet: Sheet = NO_SHEET) -> tuple[Rest, ...]:
    """The steps of a fresh layer's cure, in the order of `STEPS`; none for an unknown layer.

    Args:
        air_c: mean air temperature while it cures, °C; below 20 °C everything takes longer.
        sheet: the product's own times at 20 °C; where it is silent the table holds.
    """
    group = GROUPS.get(kind)
    if group is None:
        return ()
    slower = cold_factor(air_c)
    found = {step: rest for step in STEPS if (rest := _step(group, step, slower, sheet)) is not None}
    chemicals, full = found.get("chemicals"), found.get("full")
    if chemicals is not None and full is not None and chemicals.mark != SHEET:
        # Nothing goes onto a coat that has not cured, however long its chemicals were kept off.
        low, high = max(chemicals.low_h, full.low_h), max(chemicals.high_h, full.high_h)
        found["chemicals"] = replace(chemicals, low_h=low, high_h=high)
    return tuple(found.values())


def cured_days(kind: str, *, air_c: float = REFERENCE_C, sheet: Sheet = NO_SHEET) -> float:
    """Days until a layer bears chemicals and another layer, by the longer end: without chemicals and full cure for a
    ceramic coat, without wash for film, dry for the rest; 0 for an unknown layer."""
    by_step = {rest.step: rest for rest in rests(kind, air_c=air_c, sheet=sheet)}
    rest = by_step.get("chemicals") or by_step.get("wash") or by_step.get("dry")
    return rest.high_h / 24.0 if rest is not None else 0.0
