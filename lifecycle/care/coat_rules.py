"""Ceramic coats: top up while they are bonded, look again before the end, talk of a re-coat only after that look."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from lifecycle.care import stack_rules
from lifecycle.care.budget import why_no_recoat
from lifecycle.care.candidates import Candidate, not_before, ordered
from lifecycle.care.chances import Window, chance_by, chance_day, wear_window
from lifecycle.care.clean_rules import clogged_window
from lifecycle.care.curing import touchable_on
from lifecycle.care.due import WHERE, Refused
from lifecycle.care.facts import CERAMIC, PAINT_LAYERS, CareFacts, SurfaceFacts
from lifecycle.care.tasks_table import figure, interval
from lifecycle.care.wording import (
    between,
    changed_words,
    day_words,
    known_words,
    layer_words,
    life_words,
)
from lifecycle.wear.degradation import DAYS_PER_MONTH
from lifecycle.wear.types import LayerForecast, Stage

Wish = Candidate | Refused
# Function left exp(-c D): it passes 0.75 at ln(4/3) / ln 2 of the life at which it passes 0.50.
SETTLED_SHARE_OF_TIRED = 0.415
WELCOME = (Stage.FRESH, Stage.SETTLED, Stage.TIRED)
USED_UP = (Stage.END, Stage.GONE)


@dataclass(frozen=True, slots=True)
class Coat:
    """A ceramic coat on one surface, with the days that the rules turn on."""

    surface: SurfaceFacts
    layer: LayerForecast
    window: Window | None
    chance_now: float
    retested_on: date | None
    bound: date | None


def booster_months(contamination: float) -> float:
    """Months between boosters: 9 at the reference contamination, 4 on harsh duty, 12 (yearly at most) in a garage.

    Nine months over the yearly mean of K, kept inside 4 to 12 (range common practice, the law between is judgement).
    """
    months = figure("booster.months")
    return min(max(months.value / max(contamination, 0.01), months.low), months.high)


def _coats(facts: CareFacts) -> Iterator[Coat]:
    for surface in facts.painted():
        layer = surface.live(CERAMIC)
        if layer is None:
            continue
        tested = surface.seen_clean_on
        fresh = tested is not None and facts.as_of - tested <= timedelta(days=interval("seen.days"))
        rest = timedelta(days=stack_rules.figure("cure.ceramic.chemicals_days").value)
        after_cure = tested is not None and tested - layer.applied >= rest
        yield Coat(
            surface=surface,
            layer=layer,
            window=wear_window(layer, orientation=surface.orientation),
            chance_now=chance_by(layer, facts.as_of) or 0.0,
            retested_on=tested if fresh and after_cure else None,
            bound=touchable_on(surface, facts),
        )


def _life(coat: Coat, facts: CareFacts) -> str:
    first, last = (chance_day(coat.layer, chance, orientation=coat.surface.orientation) for chance in (0.1, 0.9))
    return life_words(first, last, facts.as_of)


def _wish(
    coat: Coat, facts: CareFacts, *, task: str, window: Window, reason: str, cause: str, note: str = ""
) -> Candidate:
    return Candidate(
        task=task,
        surfaces=(coat.surface.code,),
        window=not_before(window, coat.bound),
        reason=reason,
        cause=cause,
        known=known_words(coat.layer, facts.as_of),
        changed=changed_words(coat.layer, facts, note=note),
        expected=_life(coat, facts),
        keys=(coat.layer.key,),
        not_before=coat.bound,
    )


def _clogged(coat: Coat, facts: CareFacts) -> Iterator[Wish]:
    """Clogged: one decontamination and a retest; neither a re-coat nor a top-up before that."""
    window = clogged_window(coat.surface, facts, coat.surface.clean_on or coat.layer.applied)
    unknown = coat.surface.wear_unknown
    cause = (
        "clogged, wear unknown: the water test counts only after a decontamination wash"
        if unknown
        else "the water test counts only after a decontamination wash, which is due as well"
    )
    yield _wish(coat, facts, task="retest", window=window, reason="clogging", cause=cause)
    rest = (
        "clogged, so the wear is unknown; decontaminate and retest first"
        if unknown
        else "bound dirt hides how the coat really is; decontaminate and retest first"
    )
    yield Refused("recoat", (coat.surface.code,), f"No re-coat yet on {WHERE}: {rest}.")
    yield Refused("booster", (coat.surface.code,), f"No booster yet on {WHERE}: {rest}.")


def _booster(coat: Coat, facts: CareFacts) -> Iterator[Candidate]:
    """A top-up by interval since the coat or the last one, on a settled or tired coat, after cure, before its end."""
    layer, tired, end = coat.layer, coat.layer.tired_on, coat.layer.end_on
    given = coat.surface.given.layers if coat.surface.given else ()
    tops = [one.applied for one in given if one.kind == "booster" and one.applied <= facts.as_of]
    tops += [one.applied for one in coat.surface.layers if one.kind == "booster"]
    tops += [
        one.on
        for one in facts.vehicle.events
        if one.kind == "top_up" and one.surface in (None, coat.surface.code) and one.on <= facts.as_of
    ]
    start = max([layer.applied, *(day for day in tops if day >= layer.applied)])
    months = booster_months(facts.contamination)
    days = months * DAYS_PER_MONTH
    spread = timedelta(days=round(min(interval("booster.window_months") * DAYS_PER_MONTH, 0.25 * days)))
    ideal = facts.driven_later(start, days)
    yearly = months >= figure("booster.months").high
    earliest, latest = (ideal if yearly else ideal - spread), ideal + spread
    if layer.stage is Stage.FRESH and tired is not None:
        earliest = max(earliest, layer.applied + SETTLED_SHARE_OF_TIRED * (tired.p10 - layer.applied))
        settled = layer.applied + SETTLED_SHARE_OF_TIRED * (tired.p50 - layer.applied)
        ideal, latest = max(ideal, settled), max(latest, settled + spread / 2)
    window = not_before(ordered(earliest, ideal, latest), coat.bound)
    if end is not None and end.p50 <= window[0]:
        return
    if end is not None and window[1] < end.p50 < window[2]:
        window = (window[0], window[1], end.p50)
    low = max(round(months / 1.5), 4)
    rhythm = "no more than once a year" if yearly else f"every {low} to {max(round(months / 0.75), low + 2)} months"
    yield _wish(
        coat,
        facts,
        task="booster",
        window=window,
        reason="interval",
        cause=f"the {layer_words(layer.kind)} was last built up on {day_words(start)}, and at this use a top-up"
        f" {rhythm} keeps it slick",
        note="A top-up goes only onto a cured, decontaminated coat that is still bonded, and does not restart its age.",
    )


def _ends(coat: Coat, window: Window) -> str:
    last = chance_day(coat.layer, 0.9, orientation=coat.surface.orientation) or window[2]
    return f"the {layer_words(coat.layer.kind)} is expected to end its useful life {between(window[0], last)}"


def _recoat(coat: Coat, facts: CareFacts, tested: date) -> Iterator[Wish]:
    """A re-coat within the budget; the cheaper ways stand first in the words."""
    refused = why_no_recoat(coat.surface, facts)
    if refused is not None:
        yield Refused("recoat", (coat.surface.code,), f"No re-coat on {WHERE}: {refused}.")
        return
    if coat.window is not None:
        cause = f"after the retest of {day_words(tested)} {_ends(coat, coat.window)}"
        note = "Cheaper first: nothing now, or a sealant every 4 to 6 months; a re-coat is talked about, not pressed."
        yield _wish(coat, facts, task="recoat", window=coat.window, reason="wear", cause=cause, note=note)


def _near_end(coat: Coat, facts: CareFacts) -> Iterator[Wish]:
    """The coat is used up, or tired with a chance of at least 0.2 of being so (the ideal point of its window)."""
    used_up = coat.layer.stage in USED_UP
    if used_up:
        text = f"No booster on {WHERE}: a top-up does not rescue a coat that has come to its end."
        yield Refused("booster", (coat.surface.code,), text)
    if coat.retested_on is None:
        yield from _look_again(coat, facts)
        text = (
            f"No re-coat on {WHERE} yet: first a decontamination wash and a retest, which may show that it still works."
        )
        yield Refused("recoat", (coat.surface.code,), text)
        return
    talk = list(_recoat(coat, facts, coat.retested_on))
    yield from talk
    if not used_up and not any(isinstance(one, Candidate) for one in talk):
        yield from _booster(coat, facts)


def _look_again(coat: Coat, facts: CareFacts) -> Iterator[Candidate]:
    """The wear window of a coat opens with a look at it, not with a sale."""
    if coat.window is None:
        return
    cause = _ends(coat, coat.window)
    note = "The retest decides between leaving it, a top-up and talking about a re-coat."
    yield _wish(coat, facts, task="retest", window=coat.window, reason="wear", cause=cause, note=note)


def ceramic(facts: CareFacts) -> Iterator[Wish]:
    """What ceramic coats ask for, surface by surface."""
    for coat in _coats(facts):
        if coat.surface.forecast.clogged:
            yield from _clogged(coat, facts)
        elif coat.layer.stage in USED_UP or (
            coat.layer.stage is Stage.TIRED and coat.chance_now >= interval("wear.chance_ideal")
        ):
            yield from _near_end(coat, facts)
        elif coat.layer.stage in WELCOME:
            yield from _booster(coat, facts)
            if coat.retested_on is None:
                yield from _look_again(coat, facts)


def bare_panels(facts: CareFacts) -> Iterator[Wish]:
    """Panels whose coat was taken off (a correction, a repaint) while the rest of the car keeps its own."""
    for surface in facts.painted():
        gone = [one for one in surface.ended if one.ended <= facts.as_of]
        if surface.live(PAINT_LAYERS) is not None or not gone:
            continue
        last = max(gone, key=lambda one: one.ended)
        task = {"wax": "wax_renewal", "sealant": "sealant_renewal"}.get(
            last.kind, "recoat" if last.kind in CERAMIC else ""
        )
        if not task or facts.as_of - last.ended > timedelta(days=interval("bare.days")):
            continue
        refused = why_no_recoat(surface, facts) if task == "recoat" else None
        if refused is not None:
            yield Refused(task, (surface.code,), f"No re-coat on {WHERE}: {refused}; a wax or sealant stays possible.")
            continue
        bound = touchable_on(surface, facts)
        window = (last.ended, last.ended + timedelta(days=14), last.ended + timedelta(days=60))
        yield Candidate(
            task=task,
            surfaces=(surface.code,),
            window=not_before(window, bound),
            reason="bare",
            cause=f"its {layer_words(last.kind)} came off on {day_words(last.ended)} and nothing has gone on since",
            known=f"The {layer_words(last.kind)} came off on {day_words(last.ended)}; the other panels keep theirs.",
            changed=changed_words(None, facts, note="This panel alone stands bare."),
            expected="Bare clear coat bears some weeks to months without a layer; wax or sealant is the cheaper cover.",
            keys=(last.key,),
            not_before=bound,
        )
