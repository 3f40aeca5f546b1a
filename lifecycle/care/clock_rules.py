"""Clocks that wear does not move: contract dates, yearly and first checks, film edges, storage."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from lifecycle.care.candidates import Candidate, around
from lifecycle.care.chances import Window
from lifecycle.care.facts import CERAMIC, FILM, SHORT_LIVED, CareFacts, SurfaceFacts
from lifecycle.care.tasks_table import interval
from lifecycle.care.wording import between, changed_words, day_words, known_words, layer_words, seen_words
from lifecycle.wear.chemistry import UNKNOWN_KIND
from lifecycle.wear.degradation import DAYS_PER_MONTH, months_after
from lifecycle.wear.types import ContractInspection, LayerForecast

WEEKLY = SHORT_LIVED | {"trim_dressing", "windscreen_wipe_on", "leather_guard"}


def _inspection(
    facts: CareFacts, *, window: Window, reason: str, cause: str, contract: date | None = None
) -> Candidate:
    since = min((layer.applied for _, layer in facts.live_layers), default=facts.as_of)
    seen = facts.studio_seen_on
    known = "The studio has no record of a look at this car." if not facts.live_layers and seen is None else (
        f"The state of the car: {seen_words(seen, since=since, as_of=facts.as_of)}."
    )  # fmt: skip
    return Candidate(
        task="inspection",
        surfaces=(),
        window=window,
        reason=reason,
        cause=cause,
        known=known,
        changed=changed_words(None, facts),
        expected=f"A look {between(window[0], window[2])} narrows every range of the forecast.",
        keys=tuple(layer.key for _, layer in facts.live_layers),
        contract=contract,
        fixed=contract is not None,
    )


def _contract_window(one: ContractInspection) -> Window:
    return around(one.due, days=one.tolerance_days)


def _contracts(facts: CareFacts) -> list[Candidate]:
    """Contract inspections that no studio reading inside their window has served, within a year ahead."""
    found: list[Candidate] = []
    seen = facts.studio_seen_on
    for one in sorted(facts.vehicle.contracts, key=lambda contract: contract.due):
        window = _contract_window(one)
        late = facts.as_of - window[2] > timedelta(days=interval("contract.overdue_days"))
        far = window[0] - facts.as_of > timedelta(days=interval("ahead.days"))
        if late or far or (seen is not None and seen >= window[0]):
            continue
        title = f" ({one.title})" if one.title else ""
        give = f", give or take {one.tolerance_days} days" if one.tolerance_days else ""
        cause = f"the contract{title} names {day_words(one.due)}{give}"
        found.append(_inspection(facts, window=window, reason="contract", cause=cause, contract=one.due))
    return found


def _yearly(facts: CareFacts) -> Candidate:
    """Yearly, counted from the last look or the last lasting layer."""
    lasting = [layer.applied for _, layer in facts.live_layers if layer.kind not in WEEKLY]
    days = lasting or [layer.applied for _, layer in facts.live_layers]
    start = max([*days, *([facts.studio_seen_on] if facts.studio_seen_on else [])], default=None)
    unknown = [layer for _, layer in facts.live_layers if layer.kind == UNKNOWN_KIND and layer.seen_on is None]
    if start is None or (unknown and facts.studio_seen_on is None):
        first = facts.as_of if start is None else start
        cause = "no forecast can be given" + ("" if unknown else " without a layer on record")
        window = (first, first + timedelta(days=28), first + timedelta(days=90))
        return _inspection(facts, window=window, reason="unknown", cause=cause)
    day = months_after(start, interval("inspection.months"))
    window = around(day, days=7 * interval("inspection.window_weeks"))
    return _inspection(facts, window=window, reason="yearly", cause=f"the yearly look, counted from {day_words(start)}")


def inspections(facts: CareFacts) -> Iterator[Candidate]:
    """The next contract inspection; where no contract names a day within a year, the yearly look.

    A contract date stands by itself: wear neither moves it nor hides it, and it serves as the year's look.
    """
    contracts = _contracts(facts)
    if contracts:
        yield contracts[0]
    else:
        yield _yearly(facts)


def _not_seen_after(surface: SurfaceFacts, day: date) -> bool:
    return surface.seen_on is None or surface.seen_on < day


def first_checks(facts: CareFacts) -> Iterator[Candidate]:
    """New ceramic coats and film, 2 to 6 weeks after application."""
    weeks = interval("first_check.weeks")
    for surface in facts.surfaces:
        layer = surface.live(CERAMIC | FILM)
        if layer is None:
            continue
        first, ideal, last = (layer.applied + timedelta(weeks=count) for count in (weeks / 2, weeks, weeks * 1.5))
        missed = facts.as_of > last + timedelta(days=interval("late.days"))
        if missed or not _not_seen_after(surface, first):
            continue
        yield Candidate(
            task="first_check",
            surfaces=(surface.code,),
            window=(first, ideal, last),
            reason="first_check",
            cause=f"the {layer_words(layer.kind)} of {day_words(layer.applied)} is new",
            known=known_words(layer, facts.as_of),
            changed=changed_words(None, facts, note="A new layer has gone on."),
            expected=f"A first check {between(first, last)} usually finds nothing.",
            keys=(layer.key,),
        )


def _edge_window(surface: SurfaceFacts, layer: LayerForecast, facts: CareFacts) -> Window:
    """One to two weeks after fitting, then half-yearly after each look."""
    new = interval("film_edge.first_days")
    first = layer.applied + timedelta(days=7), layer.applied + timedelta(days=new), layer.applied + timedelta(days=14)
    if facts.as_of <= first[2] + timedelta(days=interval("late.days")) and _not_seen_after(surface, first[0]):
        return first
    start = max(layer.applied, surface.seen_on or layer.applied)
    return around(facts.driven_later(start, interval("film_edge.months") * DAYS_PER_MONTH), days=42)


def film_edges(facts: CareFacts) -> Iterator[Candidate]:
    """Edges of film and wrap; the check rides on any wash."""
    for surface in facts.surfaces:
        layer = surface.live(FILM)
        if layer is None:
            continue
        window = _edge_window(surface, layer, facts)
        yield Candidate(
            task="film_edge_check",
            surfaces=(surface.code,),
            window=window,
            reason="interval",
            cause=f"edges of the {layer_words(layer.kind)} lift first where nobody looks",
            known=known_words(layer, facts.as_of),
            changed=changed_words(layer, facts),
            expected=f"A look {between(window[0], window[2])} finds a lifted edge while it can still be laid down.",
            keys=(layer.key,),
        )


def storage_visits(facts: CareFacts) -> Iterator[Candidate]:
    """A lay-up before storage and a wake-up after it; only a wake-up wash comes before any scoring."""
    for period in facts.storage:
        start, end = period.start, period.end
        if facts.as_of < start:
            window = (start - timedelta(days=28), start - timedelta(days=7), start - timedelta(days=1))
            yield _stored(facts, task="lay_up", window=window, cause=f"storage begins on {day_words(start)}")
        if end is None:
            continue
        woken = [day for day in (facts.studio_seen_on, *(one.clean_on for one in facts.surfaces)) if day and day >= end]
        if not woken and facts.as_of <= end + timedelta(days=60):
            window = (end, end + timedelta(days=7), end + timedelta(days=28))
            yield _stored(facts, task="wake_up", window=window, cause=f"storage ends on {day_words(end)}")


def _stored(facts: CareFacts, *, task: str, window: Window, cause: str) -> Candidate:
    return Candidate(
        task=task,
        surfaces=(),
        window=window,
        reason="storage",
        cause=cause,
        known="Layers age in storage too, only slower; their life stays capped by the calendar.",
        changed=changed_words(
            None, facts, note="The car stands still for a time, and no reminders are sent meanwhile."
        ),
        expected=f"The visit fits {between(window[0], window[2])}.",
        keys=tuple(layer.key for _, layer in facts.live_layers),
        fixed=True,
    )
