"""Every other layer by its wear window: waxes, film, glass, wheels, trim, leather, cloth, lamps, engine bay."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from lifecycle.care.candidates import Candidate, not_before, ordered
from lifecycle.care.chances import Window, chance_by, chance_day, wear_window
from lifecycle.care.curing import touchable_on
from lifecycle.care.due import WHERE, Refused
from lifecycle.care.facts import CERAMIC, ENGINE_BAY, FILM, PAINT_LAYERS, CareFacts, SurfaceFacts
from lifecycle.care.iron_rules import is_mounted
from lifecycle.care.season_rules import swap_window
from lifecycle.care.tasks_table import interval
from lifecycle.care.wording import between, changed_words, known_words, layer_words, life_words
from lifecycle.wear.types import LayerForecast

TASK_OF = {
    "wax": "wax_renewal",
    "sealant": "sealant_renewal",
    "booster": "booster",
    "film_body": "film_renewal",
    "wrap": "film_renewal",
    "film_top_coat": "film_top_up",
    "windscreen_coat": "windscreen_retreat",
    "windscreen_wipe_on": "windscreen_retreat",
    "side_glass_coat": "side_glass_retreat",
    "wheel_coat": "wheel_retreat",
    "trim_coat": "trim_coat",
    "trim_dressing": "trim_coat",
    "headlamp_coat": "headlamps",
    "leather_coat": "leather_guard",
    "leather_guard": "leather_guard",
    "textile_guard": "textile_proof",
    "engine_bay_dressing": "engine_bay",
    "engine_bay_coating": "engine_bay",
    "metal_sealant": "metal_sealing",
}
WINTER_TYRES_BELOW_C = 5.0  # mean of the coldest month (judgement)
EARLY_DAYS = timedelta(days=60)  # a screen is done this much before its window rather than in the dark half (judgement)
NO_STEAM = (
    "No engine bay cleaning on an electric vehicle: no steam, no degreaser, nothing near high-voltage parts and orange"
    " cables, and never while charging; trained people may wipe plastic covers dry"
)
HYBRID = (
    "Hybrid: no steam and nothing near high-voltage parts and orange cables, never while charging; trained people only."
)


def before_autumn(window: Window, facts: CareFacts) -> Window:
    """A screen whose ideal day falls into the dark half of the year is treated in September instead, if that is at most
    60 days before its window opens (screen before autumn: common practice; the days are judgement)."""
    earliest, ideal, latest = window
    for year in (ideal.year - 1, ideal.year):
        first, wanted, last, winter_end = (
            facts.season_day(year, 8, 25), facts.season_day(year, 9, 15), facts.season_day(year, 10, 31),
            facts.season_day(year, 9, 15) + timedelta(days=166),
        )  # fmt: skip
        if first <= ideal <= winter_end and wanted >= facts.as_of and earliest - EARLY_DAYS <= wanted:
            return ordered(min(earliest, first), wanted, max(min(latest, last), wanted))
    return window


def at_tyre_change(window: Window, facts: CareFacts) -> Window:
    """Wheels are off in April and October where winters are cold: that day, if the window holds one (common practice).

    In the south the same months swap their tyres; both are taken as the 15th (judgement).
    """
    if min(facts.forecast.climate.air_c) >= WINTER_TYRES_BELOW_C:
        return window
    changes = [date(year, month, 15) for year in range(window[0].year, window[2].year + 1) for month in (4, 10)]
    inside = [day for day in changes if max(window[0], facts.as_of) <= day <= window[2]]
    if not inside:
        return window
    return window[0], min(inside, key=lambda day: abs(day - window[1])), window[2]


def in_a_dry_spell(window: Window, facts: CareFacts) -> Window:
    """Cloth is proofed in a dry spell: the middle of the month with the fewest rain days that the window holds."""
    days = [date(year, month, 15) for year in range(window[0].year, window[2].year + 1) for month in range(1, 13)]
    inside = [day for day in days if max(window[0], facts.as_of) <= day <= window[2]]
    if not inside:
        return window
    rain_days = facts.forecast.climate.rain_days
    return window[0], min(inside, key=lambda day: (rain_days[day.month - 1], abs(day - window[1]))), window[2]


def _suited(window: Window, task: str, facts: CareFacts) -> tuple[Window, bool]:
    """The window with its ideal day suited to the season, and whether the season moved it."""
    move = {"windscreen_retreat": before_autumn, "wheel_retreat": at_tyre_change, "textile_proof": in_a_dry_spell}.get(
        task
    )
    moved = move(window, facts) if move else window
    return moved, moved != window


def wheels_are_off(surface: SurfaceFacts, window: Window, facts: CareFacts) -> bool:
    """Whether a wheel set can be treated off the car: it lies in store, or the swap falls on its best day."""
    if not is_mounted(surface, facts.as_of):
        return True
    swap = swap_window(facts)
    return swap is not None and swap[0] <= window[1] <= swap[2]


def _note(layer: LayerForecast, facts: CareFacts) -> str:
    if layer.kind in ENGINE_BAY and facts.vehicle.powertrain == "hybrid":
        return HYBRID
    short = layer.renewal_months is not None and layer.renewal_months.p50 < 1.5
    if layer.kind == "wax" and short:
        return "At this use a wax lasts weeks; a polymer sealant lasts longer here and needs fewer visits."
    return ""


def _renewal(surface: SurfaceFacts, layer: LayerForecast, facts: CareFacts) -> Candidate | None:
    window = wear_window(layer, orientation=surface.orientation)
    if window is None:
        return None
    task = TASK_OF[layer.kind]
    suited, moved = _suited(window, task, facts)
    if task == "wheel_retreat" and wheels_are_off(surface, suited, facts):
        task = "wheel_retreat_off"
    bound = touchable_on(surface, facts) if layer.kind in PAINT_LAYERS and layer.kind not in FILM else None
    first, last = (chance_day(layer, chance, orientation=surface.orientation) for chance in (0.1, 0.9))
    life = between(first or window[0], last or window[2])
    season = " and the season suits it" if moved else ""
    return Candidate(
        task=task,
        surfaces=(surface.code,),
        window=not_before(suited, bound),
        reason="season" if moved else "wear",
        cause=f"the {layer_words(layer.kind)} is expected to end its useful life {life}{season}",
        known=known_words(layer, facts.as_of),
        changed=changed_words(layer, facts, note=_note(layer, facts)),
        expected=life_words(first, last, facts.as_of),
        keys=(layer.key,),
        not_before=bound,
    )


def _film_unseen(surface: SurfaceFacts, layer: LayerForecast, facts: CareFacts) -> bool:
    recent = timedelta(days=interval("seen.days"))
    return surface.seen_on is None or facts.as_of - surface.seen_on > recent or surface.seen_on < layer.applied


def renewals(facts: CareFacts) -> Iterator[Candidate | Refused]:
    """Renewals by wear window.

    A booster over a live ceramic coat goes by the coat's interval instead; new film is talked about only once the
    studio has seen the old one; no engine bay of an electric vehicle is cleaned.
    """
    for surface, layer in facts.live_layers:
        if layer.kind not in TASK_OF or (layer.kind == "booster" and surface.live(CERAMIC) is not None):
            continue
        if layer.kind in ENGINE_BAY and facts.vehicle.powertrain == "electric":
            yield Refused("engine_bay", (surface.code,), f"{NO_STEAM} ({WHERE}).")
            continue
        if layer.kind in FILM and _film_unseen(surface, layer, facts):
            if (chance_by(layer, facts.as_of) or 0.0) >= interval("wear.chance_open"):
                text = f"No new film on {WHERE} yet: the studio looks at the old one first."
                yield Refused("film_renewal", (surface.code,), text)
            continue
        found = _renewal(surface, layer, facts)
        if found is not None:
            yield found
