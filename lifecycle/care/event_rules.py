"""Things that happened: droppings, sap, fallout, overspray, floods; and work on the paint that a maker is told."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from lifecycle.care.candidates import Candidate, ordered
from lifecycle.care.chances import Window
from lifecycle.care.facts import CERAMIC, FILM, CareFacts, SurfaceFacts
from lifecycle.care.tasks_table import interval
from lifecycle.care.wording import changed_words, day_words, in_ten, layer_words
from lifecycle.wear.types import EventInput

URGENT = {
    "bird_dropping": "a bird dropping",
    "sap": "tree sap",
    "fallout": "fallout",
    "overspray": "overspray",
    "flood": "a flood",
}
WORK_ON_PAINT = {"correction": "corrected", "repaint": "repainted", "part_swap": "replaced"}


def is_hot(event: EventInput, facts: CareFacts) -> bool:
    """Hot enough for the same day: air of 25 °C or more, the month's usual afternoon where nobody said."""
    if event.air_c is not None:
        return event.air_c >= interval("event.hot_air_c")
    climate, month = facts.forecast.climate, event.on.month - 1
    return climate.air_c[month] + climate.diurnal_range_k[month] / 2 >= interval("event.hot_air_c")


def _late(event: EventInput, facts: CareFacts) -> bool:
    """Past the time for haste: only a look for etching is left."""
    return facts.as_of - event.on > timedelta(days=interval("event.open_days"))


def _window(event: EventInput, facts: CareFacts) -> Window:
    """The same day in heat, within 24 to 48 h else, a look for etching once two weeks have passed."""
    as_of, day = facts.as_of, timedelta(days=1)
    if _late(event, facts):
        return event.on, as_of + 7 * day, as_of + timedelta(days=interval("late.days"))
    if is_hot(event, facts):
        return ordered(event.on, as_of, as_of)
    return ordered(
        event.on, max(as_of, event.on + day), max(as_of + day, event.on + timedelta(days=interval("event.days")))
    )


def _open(event: EventInput, facts: CareFacts) -> bool:
    """Nobody has looked at it since, and it is not too long ago."""
    age = facts.as_of - event.on
    if event.kind not in URGENT or age < timedelta(0) or age > timedelta(days=interval("event.look_days")):
        return False
    concerned = [one for one in facts.surfaces if event.surface in (None, one.code)]
    days = [day for one in concerned for day in (one.seen_on, one.clean_on) if day is not None]
    return max(days, default=date.min) <= event.on


def _etching(codes: tuple[str, ...], facts: CareFacts) -> str:
    risks = [
        one.forecast.etch_risk for one in facts.surfaces if one.code in codes and one.forecast.etch_risk is not None
    ]
    if not risks:
        return "How likely a mark stays depends on warmth and hours: from 1 to 9 in 10 such cases."
    worst = max(risks, key=lambda risk: risk.p50)
    return f"A mark stays in about {in_ten(worst)} such cases; it is fewer if it is off within 3 to 6 hours."


def event_responses(facts: CareFacts) -> Iterator[Candidate]:
    """A visit for what sits on the paint: soften, do not rub; polish only after a budget check."""
    for event in facts.vehicle.events:
        if not _open(event, facts):
            continue
        codes = (event.surface,) if event.surface is not None else facts.body_codes()
        hours = f", on it for about {event.dwell_h:.0f} hours or more" if event.dwell_h is not None else ""
        heat = " in hot weather" if is_hot(event, facts) else ""
        late = _late(event, facts)
        answer = None if late else interval("event.hot_hours" if is_hot(event, facts) else "event.hours")
        soon = "" if late else ", the same day" if is_hot(event, facts) else ", within 24 to 48 hours"
        cause = (
            f"{URGENT[event.kind]} of {day_words(event.on)}{heat}{hours} is to be softened and lifted, not rubbed{soon}"
        )
        if event.kind == "flood":
            cause = f"{URGENT['flood']} of {day_words(event.on)} is to be looked at before anything is cleaned"
        yield Candidate(
            task="event_response",
            surfaces=codes,
            window=_window(event, facts),
            reason="event",
            cause=cause,
            known=f"It was reported for {day_words(event.on)}; nobody at the studio has looked at it since.",
            changed=changed_words(None, facts, note=f"{URGENT[event.kind].capitalize()} has come onto the car."),
            expected=f"{_etching(codes, facts)} If one stays, the clear-coat budget is checked before any polishing.",
            keys=tuple(layer.key for one in facts.surfaces if one.code in codes for layer in one.layers),
            fixed=True,
            hours=interval(f"event.labour_{event.kind}"),
            answer_h=answer,
        )


def _work_on(surface: SurfaceFacts, day: date, facts: CareFacts) -> str | None:
    """What was done to the paint of a surface on a day, in a word; None if nothing is on record."""
    for event in facts.vehicle.events:
        if event.kind in WORK_ON_PAINT and event.on == day and event.surface in (None, surface.code):
            return WORK_ON_PAINT[event.kind]
    removals = surface.given.removals if surface.given else ()
    return WORK_ON_PAINT["correction"] if any(one.on == day for one in removals) else None


def maker_notices(facts: CareFacts) -> Iterator[Candidate]:
    """After work on a panel with a lasting coat its maker is told; what that means is the maker's to say."""
    age = timedelta(days=interval("notice.days"))
    for surface in facts.surfaces:
        for layer in surface.ended:
            work = _work_on(surface, layer.ended, facts)
            renewed = any(one.applied >= layer.ended for one in surface.layers if one.kind in CERAMIC | FILM)
            if work is None or renewed or layer.kind not in CERAMIC | FILM:
                continue
            if not timedelta(0) <= facts.as_of - layer.ended <= age:
                continue
            day = day_words(layer.ended)
            yield Candidate(
                task="maker_notice",
                surfaces=(surface.code,),
                window=(layer.ended, layer.ended + timedelta(days=14), layer.ended + timedelta(days=30)),
                reason="event",
                cause=f"{work} on {day}, which ended the {layer_words(layer.kind)} there, so its maker is to be told",
                known=f"The {layer_words(layer.kind)} there ended on {day}; other panels keep theirs and their age.",
                changed=changed_words(None, facts, note="Work on the paint has ended a lasting layer."),
                expected="An answer usually comes within 2 to 4 weeks; what the work means is the maker's to say.",
                keys=(layer.key,),
                fixed=True,
            )
