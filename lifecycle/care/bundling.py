"""Care windows to visits: fewest visits, every window served once inside itself, work in its proper order.

Windows are bundled by the classic greedy for stabbing intervals: take the window that closes first (a contract's first
where two close together) and everything that is still open on its last day. That needs the fewest days that any plan
needs (at most as many as there are windows of which no two share a day). Tasks that must not share a visit part ways.
A visit's ideal day is that of the least loss (`visit_loss`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from lifecycle.care.due import Due
from lifecycle.care.tasks_table import PHASES, CareTask, load_tasks
from lifecycle.care.visit_loss import best_day, window_from
from lifecycle.care.wording import between, day_words

BAY_DAY_H = 8.0
# The wash that readies the outside for other work, as a share of a full maintenance wash. Judgement; with it the usual
# trio (decontaminate, inspect, booster) saves about 1.5 h on a medium car, which is common practice.
READY_WASH_SHARE = 0.6
HAS_ITS_WASH = frozenset({"decontamination_wash", "maintenance_wash", "wake_up", "lay_up"})
# A short look that the longer one contains costs no hours of its own.
CONTAINED_IN = {
    "retest": "inspection",
    "first_check": "inspection",
    "maintenance_wash": "decontamination_wash",
    "iron_removal": "decontamination_wash",
}
# Nothing goes onto a coat in cure, and no wet soft top stands beside one (common practice).
APART = (
    frozenset({"booster", "recoat"}),
    frozenset({"wax_renewal", "recoat"}),
    frozenset({"textile_proof", "recoat"}),
    frozenset({"lay_up", "wake_up"}),
)
# An event is answered at once; only short looks ride along.
SHORT_LOOKS = frozenset({"event_response", "inspection", "first_check", "retest", "film_edge_check", "maker_notice"})


@dataclass(frozen=True, slots=True)
class Bundle:
    """One proposed visit.

    Attributes:
        earliest, ideal, latest: days on which every member's window is open.
        dues: the members in the order of work.
        labour_h: hours of hands, with one wash for all.  cure_h: hours that the car then stays dry; not labour.
        visits_avoided, hours_shared: against one visit for each task.
        notes: prerequisites that no member brings along (readings, consent, full cure), and cautions for the bay.
    """

    earliest: date
    ideal: date
    latest: date
    dues: tuple[Due, ...]
    labour_h: float
    cure_h: float
    visits_avoided: int
    hours_shared: float
    why: str
    notes: tuple[str, ...]

    @property
    def tasks(self) -> tuple[str, ...]:
        """Task words in the order of work."""
        return tuple(due.task for due in self.dues)

    @property
    def bay_days(self) -> int:
        """Bay-days of 8 h that the labour fills."""
        return max(1, math.ceil(self.labour_h / BAY_DAY_H))


def may_share(task: str, others: Sequence[str]) -> bool:
    """Whether a task may be done in one visit with the others."""
    for other in others:
        if any({task, other} == apart for apart in APART):
            return False
        if "event_response" in (task, other) and not {task, other} <= SHORT_LOOKS:
            return False
    return True


def _task(name: str) -> CareTask:
    try:
        return load_tasks()[name]
    except KeyError:
        raise ValueError(f"{name!r} is no care task; use one of {', '.join(load_tasks())}.") from None


def order_of_work(dues: Sequence[Due]) -> tuple[Due, ...]:
    """Wheels, engine bay, wash, iron and tar, look, polish, wipe, film, paint coat, trim, glass, interior."""
    return tuple(sorted(dues, key=lambda due: (PHASES.index(_task(due.task).phase), due.task)))


def _ready_wash_h(task: CareTask, size: str) -> float:
    if "wash" not in task.needs_first or task.task in HAS_ITS_WASH:
        return 0.0
    return READY_WASH_SHARE * _task("maintenance_wash").labour_h(size)


def labour_hours(tasks: Sequence[str], *, size: str, told: Mapping[str, float] | None = None) -> tuple[float, float]:
    """(labour hours of one visit with these tasks, hours that it shares against one visit for each).

    One wash readies the car for all; a look that a longer one contains is not counted again.

    Args:
        told: hours by task that take the place of the table's (an event, by what has happened).

    Raises:
        ValueError: no such task or size.
    """
    known = [_task(name) for name in tasks]
    hours = {task.task: (told or {}).get(task.task, task.labour_h(size)) for task in known}
    alone = sum(hours[task.task] + _ready_wash_h(task, size) for task in known)
    counted = [task for task in known if CONTAINED_IN.get(task.task) not in tasks]
    wash = 0.0 if HAS_ITS_WASH & set(tasks) else max((_ready_wash_h(task, size) for task in known), default=0.0)
    together = sum(hours[task.task] for task in counted) + wash
    return round(together, 2), round(alone - together, 2)


def _notes(dues: Sequence[Due]) -> tuple[str, ...]:
    tasks = [_task(due.task) for due in dues]
    brought = {task.task for task in tasks} | ({"wash"} if tasks else set())
    missing = {need for task in tasks for need in task.needs_first if need not in brought}
    words = {
        "decontamination_wash": "Iron and tar are removed as found before anything is judged or goes on.",
        "retest": "A retest on the cleaned surface comes first.",
        "readings": "Film readings come first.",
        "consent": "The owner's consent comes first.",
        "full_cure": "Only onto a coat that has fully cured.",
        "dry_gate": "Only onto dry panels, with air and panel within the temperatures of the product's data sheet.",
        "prepared": "Clay, a light polish and a wipe come first, within the clear-coat budget.",
        "softened": "What sits there is softened before anything is wiped.",
        "powertrain_check": "The kind of powertrain is checked first: it says what must not be wetted or touched.",
        "cooled": "Only from cold or lukewarm.",
        "cold_wheels": "Wheels and brakes are cold, and the cleaner is free of acid.",
        "brakes_masked": "Brakes are masked.",
        "painted_metal": "Not on bare metal.",
        "masked": "Paint and trim around it are masked.",
        "degreased": "Degreased and dry.",
        "glass_polish": "The glass is polished first.",
        "blades": "Wiper blades are cleaned or new.",
        "dry_cloth": "The cloth is clean and has dried for 12 to 24 hours.",
        "gentle_clean": "Cleaned gently and dry.",
    }
    return tuple(words[need] for need in words if need in missing) + tuple(
        dict.fromkeys(task.caution for task in tasks if task.caution)
    )


def _why(dues: Sequence[Due], hardest: Due, *, first: date, last: date, shared: float) -> str:
    title = _task(hardest.task).title
    fixed = f"the contract date {day_words(hardest.contract)}" if hardest.contract else f"the {title}"
    head = f"Fixed by {fixed}; it fits {between(first, last)}"
    if len(dues) == 1:
        return f"{head}."
    return f"{head}: {len(dues)} tasks in one visit instead of {len(dues)} visits, sharing about {shared:g} h."


def _bundle(members: Sequence[Due], hardest: Due, *, as_of: date, size: str) -> Bundle:
    windows = [window_from(due, as_of) for due in members]
    first, last = max(window[0] for window in windows), min(window[1] for window in windows)
    ideal = best_day(members, first=first, last=last, as_of=as_of)
    dues = order_of_work(members)
    told = {due.task: due.hours for due in dues if due.hours is not None}
    labour, shared = labour_hours([due.task for due in dues], size=size, told=told)
    return Bundle(
        earliest=first,
        ideal=ideal,
        latest=last,
        dues=dues,
        labour_h=labour,
        cure_h=max(_task(due.task).cure_hours for due in dues),
        visits_avoided=len(dues) - 1,
        hours_shared=shared,
        why=_why(dues, hardest, first=first, last=last, shared=shared),
        notes=_notes(dues),
    )


def bundle(dues: Sequence[Due], *, as_of: date, size: str) -> tuple[Bundle, ...]:
    """Bundle the windows of one vehicle into visits, soonest first.

    Every due is in exactly one bundle, and every day from its `earliest` to its `latest` lies in the windows of all its
    members. A window that closed before `as_of` counts as open for four weeks from then.

    Args:
        size: of the vehicle, S, M, L or XL.

    Raises:
        ValueError: no such task or size.
    """
    waiting = sorted(dues, key=lambda due: (window_from(due, as_of)[1], due.contract is None, due.earliest, due.task))
    bundles: list[Bundle] = []
    while waiting:
        hardest = waiting[0]
        day = window_from(hardest, as_of)[1]
        members: list[Due] = []
        for due in waiting:
            if window_from(due, as_of)[0] <= day and may_share(due.task, [one.task for one in members]):
                members.append(due)
        anchor = next((due for due in members if due.contract is not None), hardest)
        bundles.append(_bundle(members, anchor, as_of=as_of, size=size))
        waiting = [due for due in waiting if not any(due is one for one in members)]
    return tuple(sorted(bundles, key=lambda one: (one.latest, one.earliest)))
