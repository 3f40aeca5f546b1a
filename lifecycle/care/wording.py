"""Plain words for surfaces, layers, days and ranges. Short, honest, no threats, never a bare percentage."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from lifecycle.care.facts import CareFacts
from lifecycle.care.tasks_table import interval
from lifecycle.wear.types import Band, LayerForecast, Mechanism

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
LAYER_WORDS = {
    "wax": "wax",
    "sealant": "polymer sealant",
    "booster": "booster",
    "ceramic_entry": "entry ceramic coat",
    "ceramic_mid": "mid ceramic coat",
    "ceramic_top": "top ceramic coat",
    "film_body": "clear film",
    "film_top_coat": "film's water-repellent top",
    "wrap": "vinyl wrap",
    "windscreen_coat": "windscreen coat",
    "windscreen_wipe_on": "wipe-on screen treatment",
    "side_glass_coat": "side glass coat",
    "wheel_coat": "wheel coat",
    "trim_coat": "trim coat",
    "trim_dressing": "trim dressing",
    "headlamp_coat": "headlamp coat",
    "leather_coat": "leather coat",
    "leather_guard": "leather guard",
    "textile_guard": "textile proofing",
    "engine_bay_dressing": "engine bay dressing",
    "engine_bay_coating": "engine bay coat",
    "metal_sealant": "metal sealant",
    "unknown": "layer of unknown kind",
}
MECHANISM_WORDS = {
    Mechanism.SUNLIGHT: "sunlight",
    Mechanism.HYDROLYSIS: "long wetness",
    Mechanism.HEAT: "heat",
    Mechanism.WASH_CONTACT: "rubbing while washing",
    Mechanism.WASH_CHEMISTRY: "strong cleaners",
    Mechanism.ROAD: "the road",
    Mechanism.CONTAMINATION: "dirt and fallout",
}
BRUSHES = ("bristle_tunnel", "self_service_brush", "soft_cloth_tunnel")
STRONG_CLEANERS = ("touch_free_high_ph", "dish_soap")


def day_words(day: date) -> str:
    """`3 March 2026`."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def zone_name(at: datetime) -> str:
    """The zone of an aware time as people read it: "CET"; "UTC-03" for a zone that has no name but its distance."""
    name = at.tzname() or ""
    return f"UTC{name}" if name[:1] in ("+", "-") else name


def between(first: date, last: date) -> str:
    """A range of days, "on ... itself" where both are one."""
    if first == last:
        return f"on {day_words(first)} itself"
    return f"between {day_words(first)} and {day_words(last)}"


def spoken(code: str) -> str:
    """A surface's code as people say it: `doors_left` is "left doors"."""
    words = code.split("_")
    if len(words) > 1 and words[-1] in ("left", "right", "front", "rear"):
        words = [words[-1], *words[:-1]]
    return " ".join(words)


def surface_words(codes: tuple[str, ...]) -> str:
    """Up to three surfaces by name, then how many more; "whole car" for none."""
    if not codes:
        return "whole car"
    names = [spoken(code) for code in codes]
    if len(names) > 3:
        names = [*names[:3], f"{len(names) - 3} more"]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def layer_words(kind: str) -> str:
    """A kind of layer in words."""
    return LAYER_WORDS.get(kind, kind.replace("_", " "))


def capital(sentence: str) -> str:
    """First letter upper case."""
    return sentence[:1].upper() + sentence[1:]


def seen_words(seen_on: date | None, *, since: date, as_of: date) -> str:
    """Whether what we say rests on a look or is an estimate (no look for more than about six months)."""
    if seen_on is None:
        return f"an estimate, not seen since {day_words(since)}"
    if as_of - seen_on > timedelta(days=interval("seen.days")):
        return f"an estimate, not seen since {day_words(seen_on)}"
    return f"last seen by the studio on {day_words(seen_on)}"


def known_words(layer: LayerForecast, as_of: date) -> str:
    """What we know of a layer: its kind, its day, and when it was last seen."""
    seen = seen_words(layer.seen_on, since=layer.applied, as_of=as_of)
    return f"The {layer_words(layer.kind)} went on {day_words(layer.applied)}; {seen}."


def wash_advice(facts: CareFacts) -> str:
    """Advice that costs nothing and comes before anything sold; "" where the wash is gentle.

    Figures: contact of brushes 2 to 3, chemistry of strong cleaners 2.5 to 3.5 times the reference (judgement).
    """
    habit = facts.habit
    if habit is None:
        return ""
    if habit.wash_method in BRUSHES:
        return (
            f"The {habit.wash_method.replace('_', ' ')} rubs about 2 to 3 times as hard as two buckets: changing the"
            " wash comes before buying a coat."
        )
    if habit.wash_method in STRONG_CLEANERS or habit.wash_ph in ("alkaline", "acid"):
        return (
            "The strong cleaner takes about 2.5 to 3.5 times as much of a layer as a neutral one: changing the wash"
            " comes before buying a coat."
        )
    return ""


def changed_words(layer: LayerForecast | None, facts: CareFacts, *, note: str = "") -> str:
    """What changed: what wears the layer most at this duty, a note, and wash advice."""
    parts = [note] if note else []
    if layer is not None and layer.reasons:
        top = [MECHANISM_WORDS[reason.mechanism] for reason in layer.reasons[:2] if reason.share > 0]
        if top:
            parts.append(f"What wears it most here: {' and '.join(top)}.")
    advice = wash_advice(facts)
    if advice:
        parts.append(advice)
    return " ".join(parts) or "Nothing new is known since it was applied or last seen."


def life_words(first: date | None, last: date | None, as_of: date) -> str:
    """When useful life ends, as a range of days that 8 of 10 such layers fall into."""
    if first is None or last is None:
        return "No forecast is given for it."
    past = " (part of that range is already behind us)" if first < as_of else ""
    return f"In about 8 of 10 such cases its useful life ends {between(first, last)}{past}."


def in_ten(band: Band) -> str:
    """A chance as a range of cases in ten, never a bare percentage: `6 to 8 in 10`."""
    low = min(max(round(band.p10 * 10), 0), 10)
    high = min(max(round(band.p90 * 10), low), 10)
    if low == high:
        low, high = (low - 1, high) if low == 10 else (low, high + 1)
    return f"{low} to {high} in 10"
