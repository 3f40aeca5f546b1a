"""Which care is due, when, and why: the pure rules. No Django, no database, no clock.

`assess_due(forecast=..., vehicle=...)` collects wishes surface by surface (clean_rules, coat_rules, part_rules,
clock_rules, iron_rules, season_rules, event_rules,
budget), makes one window of the wishes for each task, keeps it out of storage and in the
present, and puts the reasons into words. Figures stand in intervals.csv and tasks.csv with their marks and sources.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta

from lifecycle.care.budget import correction_refusals
from lifecycle.care.candidates import TALKS, Candidate, around_storage, keep_current, merge
from lifecycle.care.clean_rules import decontamination, maintenance_wash
from lifecycle.care.clock_rules import film_edges, first_checks, inspections, storage_visits
from lifecycle.care.coat_rules import bare_panels, ceramic
from lifecycle.care.due import WHERE, Due, DueReport, Refused
from lifecycle.care.event_rules import event_responses, maker_notices
from lifecycle.care.facts import CareFacts, facts_of
from lifecycle.care.iron_rules import iron_removals
from lifecycle.care.part_rules import renewals
from lifecycle.care.season_rules import sills_before_winter, wheel_swaps
from lifecycle.care.tasks_table import CareTask, interval, load_tasks
from lifecycle.care.wording import between, capital, day_words, surface_words
from lifecycle.wear.types import VehicleForecast, VehicleInput

__all__ = ["TASKS", "CareTask", "Due", "DueReport", "Refused", "assess_due"]

TASKS: Mapping[str, CareTask] = load_tasks()

# A task that another one of the same days contains: (contained, containing).
CONTAINED = (
    ("maintenance_wash", "decontamination_wash"),
    ("maintenance_wash", "wake_up"),
    ("retest", "inspection"),
)


def _wishes(facts: CareFacts) -> Iterable[Candidate | Refused]:
    """Everything that the rules ask for; a car without a live layer is only inspected, and answered in an event."""
    yield from inspections(facts)
    yield from event_responses(facts)
    yield from maker_notices(facts)
    yield from correction_refusals(facts)
    if not facts.live_layers:
        return
    yield from decontamination(facts)
    yield from maintenance_wash(facts)
    yield from ceramic(facts)
    yield from bare_panels(facts)
    yield from renewals(facts)
    yield from first_checks(facts)
    yield from film_edges(facts)
    yield from storage_visits(facts)
    yield from iron_removals(facts)
    yield from wheel_swaps(facts)
    yield from sills_before_winter(facts)


def _why(candidate: Candidate, as_of: date) -> str:
    """One sentence: surfaces, cause, task, range."""
    earliest, ideal, latest = candidate.window
    title = TASKS[candidate.task].title
    since = candidate.overdue_since
    first = min(max(earliest, as_of), latest)
    fits = f"fits {between(first, latest)}" + (f", best around {day_words(ideal)}" if first < ideal < latest else "")
    late = f"is overdue since {day_words(since)} and " if since is not None else ""
    if since is not None and candidate.task in TALKS:
        late = f"has been worth talking about since {day_words(earliest)} and "
    return capital(f"{surface_words(candidate.surfaces)}: {candidate.cause}; the {title} {late}{fits}.")


def _due(candidate: Candidate, as_of: date) -> Due:
    task = TASKS[candidate.task]
    earliest, ideal, latest = candidate.window
    return Due(
        task=candidate.task,
        surfaces=candidate.surfaces,
        earliest=earliest,
        ideal=ideal,
        latest=latest,
        contract=candidate.contract,
        reason_code=candidate.reason,
        why=_why(candidate, as_of),
        cause=capital(f"{surface_words(candidate.surfaces)}: {candidate.cause}."),
        overdue_since=None if candidate.task in TALKS else candidate.overdue_since,
        known=candidate.known,
        changed=candidate.changed,
        expected=candidate.expected,
        prevents=task.prevents,
        if_postponed=task.if_postponed,
        self_check=task.self_check,
        layer_keys=candidate.keys,
        hours=candidate.hours,
        answer_h=candidate.answer_h,
    )


def _without_contained(by_task: dict[str, Candidate]) -> list[Candidate]:
    """Leave out what another task of the same days contains; a retest asked for by clogging stays."""
    kept = dict(by_task)
    for small, large in CONTAINED:
        if small not in kept or large not in kept or kept[small].reason == "clogging":
            continue
        inner, outer = kept[small].window, kept[large].window
        if inner[0] <= outer[1] <= inner[2] or (
            small == "maintenance_wash" and outer[0] <= inner[2] and inner[0] <= outer[2]
        ):
            del kept[small]
    iron, wash = kept.get("iron_removal"), kept.get("decontamination_wash")
    if iron is not None and wash is not None and wash.window[1] <= iron.window[2]:
        del kept["iron_removal"]  # every chemical decontamination takes the iron too
    return list(kept.values())


def _refusals(refused: Iterable[Refused]) -> tuple[Refused, ...]:
    """One refusal per task and reason, with all its surfaces named."""
    groups: dict[tuple[str, str], list[str]] = {}
    for one in refused:
        groups.setdefault((one.task, one.why), []).extend(one.surfaces)
    return tuple(
        Refused(task, codes, why.replace(WHERE, surface_words(codes)))
        for (task, why), members in groups.items()
        for codes in (tuple(dict.fromkeys(members)),)
    )


def assess_due(*, forecast: VehicleForecast, vehicle: VehicleInput) -> DueReport:
    """Say which care is due for one vehicle, when, and why, and what is not offered.

    There is at most one due per task; the surface with the soonest end of window decides, others join it. Windows that
    open more than a year ahead are left out. Nothing due is a valid answer.

    Args:
        forecast: from the wear model, for the same day as `vehicle.as_of`.
        vehicle: what is known of the vehicle; a storage period's `end` is the first day out of storage.

    Raises:
        ValueError: forecast and vehicle speak of different days, or a habit has a value unknown to the wear tables.
    """
    facts = facts_of(forecast=forecast, vehicle=vehicle)
    wishes = list(_wishes(facts))
    groups: dict[str, list[Candidate]] = {}
    for wish in wishes:
        if isinstance(wish, Candidate):
            groups.setdefault(wish.task, []).append(wish)
    ahead = facts.as_of + timedelta(days=interval("ahead.days"))
    by_task: dict[str, Candidate] = {}
    for task, candidates in groups.items():
        placed = around_storage(merge(keep_current(one, facts.as_of) for one in candidates), facts)
        if placed is not None and placed.window[0] <= ahead:
            by_task[task] = placed
    dues = sorted(
        (_due(one, facts.as_of) for one in _without_contained(by_task)),
        key=lambda due: (due.latest, due.ideal, due.task),
    )
    return DueReport(dues=tuple(dues), refused=_refusals(one for one in wishes if isinstance(one, Refused)))
