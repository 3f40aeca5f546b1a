"""Iron removal alone: wheels and paint by time, and wherever somebody felt or saw specks. Not on bare metal.

A chemical decontamination takes the iron too, so that these fall away where one fits (see `rules`).
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from lifecycle.care.candidates import Candidate, not_before
from lifecycle.care.chances import Window
from lifecycle.care.curing import touchable_on
from lifecycle.care.due import WHERE, Refused
from lifecycle.care.facts import PAINT_LAYERS, CareFacts, SurfaceFacts
from lifecycle.care.tasks_table import figure, interval
from lifecycle.care.wording import changed_words, day_words
from lifecycle.wear.degradation import DAYS_PER_MONTH

SPECKS, REMOVED = "iron_specks", "iron_removal"  # events of the record; the wear model takes no notice of them
BARE_METAL = frozenset({"metal_sealant"})  # what lies on polished metal and chrome
WHEEL = "wheel"


def last_removed(surface: SurfaceFacts, facts: CareFacts) -> date | None:
    """The last day on which the surface was free of iron: removed alone, or with a decontamination."""
    days = [
        one.on
        for one in facts.vehicle.events
        if one.kind == REMOVED and one.surface in (None, surface.code) and one.on <= facts.as_of
    ]
    if surface.clean_on is not None:
        days.append(surface.clean_on)
    return max(days, default=None)


def is_mounted(surface: SurfaceFacts, day: date) -> bool:
    """Whether a part that comes and goes is on the vehicle; one of which nobody said otherwise is."""
    periods = surface.given.mounted if surface.given else ()
    return not periods or any(one.start <= day and (one.end is None or day < one.end) for one in periods)


def _candidate(surface: SurfaceFacts, facts: CareFacts, *, window: Window, cause: str, reason: str) -> Candidate:
    since = last_removed(surface, facts)
    bound = touchable_on(surface, facts)
    return Candidate(
        task="iron_removal",
        surfaces=(surface.code,),
        window=not_before(window, bound),
        reason=reason,
        cause=cause,
        known=f"As far as we know it was last free of iron on {day_words(since)}."
        if since is not None
        else "When it was last free of iron is not on record.",
        changed=changed_words(None, facts),
        expected="Most specks come off without rubbing; what stays is left to the clay, within the clear-coat budget.",
        keys=tuple(layer.key for layer in surface.layers),
        not_before=bound,
    )


def _timed(surface: SurfaceFacts, facts: CareFacts) -> Candidate | None:
    """Paint 6 to 12 months, wheels 3 to 6 (common practice); where inside that goes by contamination (judgement)."""
    wheel = surface.orientation == WHEEL
    layer = surface.live(frozenset({"wheel_coat"}) if wheel else PAINT_LAYERS)
    if layer is None or not is_mounted(surface, facts.as_of):
        return None
    clean = last_removed(surface, facts)
    start = max(layer.applied, clean) if wheel and clean is not None else layer.applied if wheel else clean
    if start is None:
        return None
    months = figure("iron.wheel_months" if wheel else "iron.months")
    best = min(max(months.value / max(facts.contamination, 0.01), months.low), months.high)
    first, ideal, last = (
        facts.driven_later(start, count * DAYS_PER_MONTH) for count in (months.low, best, months.high)
    )
    dust = "brake dust brings iron" if wheel else "iron settles on paint"
    cause = f"{dust}, last taken off as far as we know on {day_words(start)}"
    return _candidate(surface, facts, window=(first, ideal, last), cause=cause, reason="interval")


def _specked(surface: SurfaceFacts, facts: CareFacts) -> date | None:
    """The day of the newest open report of specks on the surface, None where there is none."""
    clean = last_removed(surface, facts)
    told = [
        one.on
        for one in facts.vehicle.events
        if one.kind == SPECKS
        and (one.surface == surface.code or (one.surface is None and surface.code in facts.body_codes()))
        and timedelta(0) <= facts.as_of - one.on <= timedelta(days=interval("iron.open_days"))
        and (clean is None or one.on > clean)
    ]
    return max(told, default=None)


def iron_removals(facts: CareFacts) -> Iterator[Candidate | Refused]:
    """Iron removal alone: where specks were reported since the last one, else by time; refused on bare metal."""
    painted = set(facts.body_codes())
    for surface in facts.surfaces:
        if surface.code not in painted and surface.orientation != WHEEL:
            continue
        on = _specked(surface, facts)
        if surface.live(BARE_METAL) is not None:
            if on is not None:
                yield Refused("iron_removal", (surface.code,), f"No iron remover on bare metal ({WHERE}).")
            continue
        if on is not None:
            days = timedelta(days=interval("iron.specks_days"))
            cause = f"iron specks were felt or seen on {day_words(on)}"
            yield _candidate(surface, facts, window=(on, on + days / 3, on + days), cause=cause, reason="event")
            continue
        found = _timed(surface, facts)
        if found is not None:
            yield found
