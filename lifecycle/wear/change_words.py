"""Sentences about a change of habits: what would be otherwise, and what that gives."""

from __future__ import annotations

from lifecycle.wear.types import Band
from lifecycle.wear.whatif_types import Change
from lifecycle.wear.words import AGENTS, METHODS, PARKING

LITTLE_MONTHS = 0.25


def _often(per_year: float, what: str) -> str:
    return f"{per_year:g} {what}{'' if per_year == 1 else 's'} a year"


def describe(change: Change) -> str:
    """The change in a few words, beginning with a capital letter."""
    parts = []
    if change.parking is not None:
        parts.append(PARKING.get(change.parking, change.parking))
    if change.wash_method is not None:
        parts.append(METHODS.get(change.wash_method, change.wash_method))
    if change.wash_ph is not None and AGENTS.get(change.wash_ph, ""):
        parts.append(f"washed{AGENTS[change.wash_ph]}")
    elif change.wash_ph == "neutral":
        parts.append("washed with a neutral agent")
    if change.washes_per_year is not None:
        parts.append(f"{change.washes_per_year:g} wash{'' if change.washes_per_year == 1 else 'es'} a year")
    if change.km_per_year is not None:
        parts.append(f"{change.km_per_year:.0f} km a year")
    if change.place is not None:
        parts.append("at the other place")
    if change.decontaminations_per_year is not None:
        parts.append(_often(change.decontaminations_per_year, "decontamination"))
    if change.top_ups_per_year is not None:
        parts.append(_often(change.top_ups_per_year, "top-up"))
    text = ", ".join(parts) or "with other habits"
    return text[:1].upper() + text[1:]


def _months(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 3 else f"{value:.1f}"


def gain_sentence(words: str, kind: str, surface: str, gained: Band) -> str:
    """What a change does to one layer: months more or less, always with the range."""
    layer = f"the {kind.replace('_', ' ')} on the {surface.replace('_', ' ')}"
    if max(abs(gained.p10), abs(gained.p90)) < LITTLE_MONTHS:
        return f"{words}: {layer} lasts about as long as now."
    if gained.p50 >= 0:
        span = f"{_months(gained.p10)} to {_months(gained.p90)}"
        return f"{words}: {layer} lasts about {_months(gained.p50)} months longer ({span})."
    span = f"{_months(-gained.p90)} to {_months(-gained.p10)}"
    return f"{words}: {layer} lasts about {_months(-gained.p50)} months less ({span})."
