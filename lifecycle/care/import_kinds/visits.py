"""Past visits from a list. A visit that was done tells the forecast of its washes, as when it is settled by hand."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any, Final
from zoneinfo import ZoneInfo

from lifecycle.care.imports.rows import Row
from lifecycle.care.tasks_table import load_tasks
from lifecycle.care.visits import EVENT_OF_TASK
from lifecycle.models import CareEvent, ImportMade, Keeper, Site, Studio, Verdict, Visit, VisitState

from .base import Change, OnceOnly, Planned, ask_for_assessment, insert, keys_of, new_keys, spoken, update, wrong
from .places import not_ahead, vehicle_of, vehicle_words
from .prices import task_names
from .vehicles import KnownVehicles

OVER: Final = (VisitState.DONE, VisitState.CANCELLED, VisitState.NO_SHOW)
MOST_HOURS: Final = 200
MOST_PAID: Final = Decimal("9999999.99")


@dataclass(slots=True)
class _New:
    visit: Visit
    events: list[CareEvent]
    number: str
    values: dict[str, Any] = field(default_factory=dict)
    there: Any = None


class _Record:
    """What is on record: visits by number and by day, keepers by time, events by day, sites by name."""

    def __init__(self, studio: Studio) -> None:
        self.studio = studio
        self.by_id = {row.pk: row for row in Visit.objects.of(studio)}
        self.by_day: dict[tuple[int, date], list[Any]] = defaultdict(list)
        for visit in self.by_id.values():
            self.by_day[visit.vehicle_id, visit.on].append(visit)
        self.numbers = keys_of(studio, "visit")
        self.numbered = {pk: number for number, pk in self.numbers.items()}
        self.keepers: dict[int, list[Any]] = defaultdict(list)
        for keeper in Keeper.objects.of(studio):
            self.keepers[keeper.vehicle_id].append(keeper)
        events = CareEvent.objects.of(studio).filter(surface=None, kind__in=set(EVENT_OF_TASK.values()))
        self.events = set(events.values_list("vehicle_id", "kind", "on"))
        self.sites = {row.name.casefold(): row for row in Site.objects.of(studio)}
        self.site_by_id = {row.pk: row for row in self.sites.values()}

    def keeper(self, vehicle_id: int, day: date) -> int | None:
        kept = (k for k in self.keepers[vehicle_id] if k.start <= day and (k.end is None or day < k.end))
        found = next(kept, None)
        return found.customer_id if found is not None else None


def plan(studio: Studio, rows: Iterable[Row], *, at: datetime) -> list[Planned]:
    """What each row would do; a handful of queries, whatever their number."""
    known, record, once = KnownVehicles(studio), _Record(studio), OnceOnly()
    names, today, planned = task_names(), studio.day(at), []
    for row in rows:
        vehicle = vehicle_of(row, known)
        if "on" not in row.values and not row.troubles:
            row.trouble("on", "this row has no day; give the day of the visit.")
        not_ahead(row, "on", today)
        tasks = _tasks(row, names)
        _figures(row)
        site = _site(row, record)
        key = row.values.get("number") or f"{vehicle_words(row)}, {spoken(row.values.get('on'))}"
        there = None
        if not row.troubles:
            if "number" in row.values:
                once.seen(row, "number", row.values["number"], "visit number")
            else:
                once.seen(row, "on", (vehicle.pk, row.values["on"]), "vehicle and day, and neither has a number")
            there = _there(row, vehicle, record)
        if row.troubles:
            planned.append(wrong(row, key))
        elif there is None:
            planned.append(
                _new(
                    row,
                    key=key,
                    vehicle=vehicle,
                    site=site or record.site_by_id[vehicle.site_id],
                    tasks=tasks,
                    record=record,
                )
            )
        else:
            planned.append(_again(row, key, there, tasks, record))
    return planned


def _tasks(row: Row, names: dict[str, str]) -> list[str]:
    said = [part.strip() for part in str(row.values.get("tasks", "")).replace(";", ",").split(",") if part.strip()]
    found = []
    for part in said:
        code = names.get(" ".join(part.replace("_", " ").casefold().split()))
        if code is None:
            row.trouble("tasks", f"{part[:40]} is no care task here; write it as it stands under Prices.")
        elif code not in found:
            found.append(code)
    if not said and not row.troubles:
        row.trouble("tasks", "this row has no care task; give at least one, parted by commas.")
    return found


def _figures(row: Row) -> None:
    hours, paid = row.values.get("hours"), row.values.get("paid")
    if hours is not None and not 0 < hours <= MOST_HOURS:
        row.trouble("hours", f"is not between 0 and {MOST_HOURS} hours.")
    if paid is not None and (not 0 <= paid <= MOST_PAID or paid != paid.quantize(Decimal("0.01"))):
        row.trouble("paid", f"is no sum between 0 and {MOST_PAID} with two decimals at most.")
    if paid is not None and row.values.get("state", "done") != VisitState.DONE:
        row.trouble("paid", "only a visit that was done is paid; empty it, or mend the state.")


def _site(row: Row, record: _Record) -> Any:
    said = row.values.get("site")
    if said is not None and said.casefold() not in record.sites:
        row.trouble("site", "is no site of this studio; write its name as it stands under Sites.")
    return record.sites.get(said.casefold()) if said is not None else None


def _there(row: Row, vehicle: Any, record: _Record) -> Any:
    """The visit on record that a row is; a trouble where it is still open, another vehicle's, or not clear which."""
    number = row.values.get("number", "")
    found = record.by_id.get(record.numbers.get(number, 0))
    if found is None:
        same = [visit for visit in record.by_day[vehicle.pk, row.values["on"]] if visit.pk not in record.numbered]
        if len(same) > 1:
            row.trouble("on", f"{len(same)} visits of this vehicle are on record for that day; this one is not clear.")
        found = same[0] if len(same) == 1 else None
    elif found.vehicle_id != vehicle.pk or found.on != row.values["on"]:
        row.trouble("number", f"is on record as a visit on {found.on} of another day or vehicle; mend one of the two.")
    if found is not None and found.state not in OVER:
        row.trouble("on", f"a visit of that day is {found.get_state_display()}; settle it on its page first.")
    return found


def _events(studio: Studio, vehicle_id: int, on: date, tasks: Iterable[str], record: _Record) -> list[CareEvent]:
    """Washes and the like that a finished visit tells the forecast of, where they are not on record yet."""
    found = []
    for kind in dict.fromkeys(EVENT_OF_TASK[task] for task in tasks if task in EVENT_OF_TASK):
        if (vehicle_id, kind, on) not in record.events:
            record.events.add((vehicle_id, kind, on))
            found.append(CareEvent(studio=studio, vehicle_id=vehicle_id, kind=kind, on=on, by="studio"))
    return found


def _new(row: Row, *, key: str, vehicle: Any, site: Any, tasks: list[str], record: _Record) -> Planned:
    studio = record.studio
    table, values, on = load_tasks(), row.values, row.values["on"]
    hours = float(values["hours"]) if "hours" in values else sum(table[task].labour_h(vehicle.size) for task in tasks)
    noon = datetime.combine(on, time(12), ZoneInfo(site.zone))
    state = values.get("state", VisitState.DONE)
    visit = Visit(
        studio=studio, vehicle_id=vehicle.pk, site_id=site.pk, customer_id=record.keeper(vehicle.pk, on), on=on,
        hours=hours, tasks=tasks, paid=values.get("paid"), state=state, booked_at=noon, settled_at=noon,
    )  # fmt: skip
    events = _events(studio, vehicle.pk, on, tasks, record) if state == VisitState.DONE else []
    changes = [
        ["visit", "", f"{on}, {VisitState(state).label}"], ["care", "", ", ".join(table[task].title for task in tasks)],
        ["hours", "", f"{hours:g}"],
    ]  # fmt: skip
    if visit.paid is not None:
        changes.append(["paid", "", spoken(visit.paid)])
    changes += [["event", "", event.kind.replace("_", " ")] for event in events]
    return Planned(row.line, Verdict.NEW, key, changes, act=_New(visit, events, values.get("number", "")))


def _again(row: Row, key: str, there: Any, tasks: list[str], record: _Record) -> Planned:
    """The visit is on record: hours, sum and further tasks may change."""
    values, table = row.values, load_tasks()
    lost = [table[task].title if task in table else task for task in there.tasks if task not in tasks]
    state = values.get("state", there.state)
    if lost or state != there.state:
        name = "tasks" if lost else "state"
        says = f"the visit on record names {', '.join(lost)} too; add it here." if lost else (
            f"the visit is on record as {there.get_state_display()}; a list does not change that.")  # fmt: skip
        row.trouble(name, says)
        return wrong(row, key)
    wanted = {"hours": float(values["hours"]) if "hours" in values else None, "paid": values.get("paid")}
    new: dict[str, Any] = {name: v for name, v in wanted.items() if v is not None and getattr(there, name) != v}
    changes = [[name, spoken(getattr(there, name)), spoken(value)] for name, value in new.items()]
    added = [task for task in tasks if task not in there.tasks]
    if added:
        new["tasks"] = [*there.tasks, *added]
        changes.append(["care", ", ".join(there.tasks), ", ".join(new["tasks"])])
    events = _events(record.studio, there.vehicle_id, there.on, added, record) if there.state == VisitState.DONE else []
    number = values.get("number", "")
    number = "" if number in record.numbers else number
    if number:
        changes.append(["visit number", "nothing", number])
    verdict = Verdict.CHANGE if changes else Verdict.SAME
    return Planned(row.line, verdict, key, changes, act=_New(there, events, number, new, there))


def write(studio: Studio, planned: Sequence[Planned], *, at: datetime) -> list[ImportMade]:
    """Write what was planned; needs a plan without an error."""
    todo = [(item.line, item.act) for item in planned if item.verdict != Verdict.SAME]
    made = insert([(line, act.visit) for line, act in todo if act.there is None])
    made += update(
        Visit,
        [
            Change(line, act.there.pk, act.values, {name: getattr(act.there, name) for name in act.values})
            for line, act in todo if act.there is not None and act.values
        ],
    )  # fmt: skip
    made += insert([(line, event) for line, act in todo for event in act.events])
    ask_for_assessment(act.visit.vehicle_id for _, act in todo)
    return [*made, *new_keys(studio, [(line, "visit", act.number, act.visit) for line, act in todo if act.number])]
