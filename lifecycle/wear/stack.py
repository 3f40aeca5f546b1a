"""Which layers of a surface are there on which day: order, ends, and the layers that a top-up event implies.

A correction ends every coat above the clear on its surface, on film only what lies on the film. A repaint or another
part ends all. A newer coat of a kind that is renewed rather than built up (wax, dressing, glass coat) ends the older
one. A top-up never resets the base.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from lifecycle.wear.chemistry import UNKNOWN_KIND, chemistries, chemistry
from lifecycle.wear.types import EndedLayer, EventInput, LayerInput, SurfaceInput

PAINTED = ("steel", "aluminium", "plastic", "composite")
FILMS = ("film_body", "wrap")
# Lower first, for layers of one day.
ORDER = (UNKNOWN_KIND, *FILMS, "film_top_coat", "ceramic_top", "ceramic_mid", "ceramic_entry")
STRIPPING_EVENTS = {"correction": "corrected", "repaint": "repainted", "part_swap": "the part was swapped"}


@dataclass(frozen=True, slots=True)
class LiveLayer:
    """A layer with the day it ended (None: it is there), why, and whether it was given or follows from a top-up
    event."""

    layer: LayerInput
    ended: date | None = None
    why: str = ""
    implied: bool = False

    def is_live(self, on: date) -> bool:
        """Whether the layer is on the surface at the end of a day."""
        return self.layer.applied <= on and (self.ended is None or on < self.ended)


def _rank(kind: str) -> int:
    return ORDER.index(kind) if kind in ORDER else len(ORDER)


def _known(kind: str) -> str:
    if kind != UNKNOWN_KIND and kind not in chemistries():
        raise ValueError(f"{kind!r} is no kind of layer; use one of {', '.join((*chemistries(), UNKNOWN_KIND))}.")
    return kind


def concerns(event: EventInput, surface: SurfaceInput) -> bool:
    """Whether an event touches a surface; one without a surface touches every painted one (a flood and a
    decontamination every one)."""
    if event.surface is not None:
        return event.surface == surface.code
    return surface.substrate in PAINTED or event.kind in ("flood", "decontamination")


def correction_days(surface: SurfaceInput, events: tuple[EventInput, ...]) -> tuple[date, ...]:
    """Days on which material was taken off the surface, from removals and correction events, sorted."""
    days = {removal.on for removal in surface.removals if removal.stage != "unknown_past"}
    days |= {event.on for event in events if event.kind == "correction" and concerns(event, surface)}
    return tuple(sorted(days))


def _implied_top_ups(surface: SurfaceInput, events: tuple[EventInput, ...]) -> list[LiveLayer]:
    given = [layer for layer in surface.layers if _rank(layer.kind) == len(ORDER)]
    implied = []
    for event in events:
        if event.kind != "top_up" or not concerns(event, surface) or surface.substrate not in PAINTED:
            continue
        under = any(layer.applied <= event.on for layer in surface.layers)
        if under and not any(abs((layer.applied - event.on).days) <= 1 for layer in given):
            key = f"{surface.code}:top_up:{event.on.isoformat()}"
            implied.append(LiveLayer(LayerInput(key=key, kind="booster", applied=event.on), implied=True))
    return implied


def _stripped(live: LiveLayer, surface: SurfaceInput, events: tuple[EventInput, ...]) -> LiveLayer:
    kind, applied = live.layer.kind, live.layer.applied
    ends: list[tuple[date, str]] = []
    if live.layer.ended is not None:
        ends.append((live.layer.ended, "taken off or replaced"))
    if kind not in FILMS:
        ends += [(day, STRIPPING_EVENTS["correction"]) for day in correction_days(surface, events) if day > applied]
    for event in events:
        if event.kind in ("repaint", "part_swap") and concerns(event, surface) and event.on > applied:
            ends.append((event.on, STRIPPING_EVENTS[event.kind]))
    if surface.refinished_on is not None and surface.refinished_on > applied:
        ends.append((surface.refinished_on, STRIPPING_EVENTS["repaint"]))
    if not ends:
        return live
    day, why = min(ends)
    return replace(live, ended=day, why=why)


def layers_of(surface: SurfaceInput, events: tuple[EventInput, ...], *, as_of: date) -> tuple[LiveLayer, ...]:
    """All layers of a surface from the bottom up, each with its end if it has one by `as_of`.

    Raises:
        ValueError: a kind that the table does not know.
    """
    given = [LiveLayer(layer) for layer in surface.layers if _known(layer.kind) and layer.applied <= as_of]
    known = [event for event in events if event.on <= as_of]
    stack = sorted(
        given + _implied_top_ups(surface, tuple(known)), key=lambda live: (live.layer.applied, _rank(live.layer.kind))
    )
    stack = [_stripped(live, surface, tuple(known)) for live in stack]
    for index, live in enumerate(stack):
        kind = live.layer.kind
        if kind == UNKNOWN_KIND or not chemistry(kind).replaces:
            continue
        newer = [
            other.layer.applied
            for other in stack[index + 1 :]
            if other.layer.kind == kind and other.layer.applied > live.layer.applied
        ]
        if newer and (live.ended is None or min(newer) < live.ended):
            stack[index] = replace(live, ended=min(newer), why="renewed with the same kind")
    return tuple(stack)


def ended_layers(stack: tuple[LiveLayer, ...], *, as_of: date) -> tuple[EndedLayer, ...]:
    """Those that are gone by `as_of`."""
    return tuple(
        EndedLayer(live.layer.key, live.layer.kind, live.ended, live.why)
        for live in stack
        if live.ended is not None and live.ended <= as_of
    )
