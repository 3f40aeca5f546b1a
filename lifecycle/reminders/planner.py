"""Plan the reminders of all care windows: per window and step one row that says when, or why not.

A row is planned only for a time that is not before it was made. What is held back for now is looked at again at every
run and may become planned; what is held back for good, or written, is left alone. Two planners at once do no harm: the
row is unique per window and step, and a row that was written meanwhile is not touched.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from django.db import transaction

from lifecycle.models import (
    LIVE_DUE,
    CareDue,
    Customer,
    DueState,
    JournalEntry,
    Reminder,
    ReminderState,
    Step,
)
from lifecycle.reminders.facts import gather, purpose_of
from lifecycle.reminders.rules import Decision, Send, Wait, decide

BATCH = 200
CHANGING = ("customer", "purpose", "state", "send_at", "planned_on", "reason_code", "reason", "final", "changed_at")


def plan(*, at: datetime) -> Mapping[str, int]:
    """Decide about every step of every live care window of every studio, and write the decisions down.

    Returns:
        Counts of rows: planned, waiting (looked at again), skipped (for good), changed (of all these), closed (whose
        window is no longer open).
    """
    counts: Counter[str] = Counter(planned=0, waiting=0, skipped=0, changed=0)
    for ids in _batches():
        counts.update(_plan_batch(ids, at))
    counts["closed"] = _close(at)
    return dict(counts)


def _batches() -> Iterator[list[int]]:
    last = 0
    while True:
        rows = CareDue.objects.filter(state__in=LIVE_DUE, pk__gt=last).order_by("pk")
        ids = list(rows.values_list("pk", flat=True)[:BATCH])
        if not ids:
            return
        yield ids
        last = ids[-1]


def steps_of(due: CareDue, first: Reminder | None) -> tuple[Step, ...]:
    """The rungs of the ladder that there is something to say about: the later ones once the first notice is written (or
    never will be), the last one only where a contract names a date."""
    if first is None or not (first.state == ReminderState.WRITTEN or first.final):
        return (Step.FIRST,)
    return (Step.FIRST, Step.FOLLOW_UP) if due.contract_on is None else (Step.FIRST, Step.FOLLOW_UP, Step.LAST)


def _plan_batch(ids: Sequence[int], at: datetime) -> Counter[str]:
    counts: Counter[str] = Counter()
    with transaction.atomic():
        # Two planners take turns: PostgreSQL by these locks, SQLite because its transactions begin immediately.
        live = CareDue.objects.filter(pk__in=ids, state__in=LIVE_DUE).select_related("vehicle").order_by("pk")
        dues = list(live.select_for_update(of=("self",)))
        facts = gather(dues, at=at)
        rows = {(row.due_id, row.step): row for row in Reminder.objects.filter(due__in=[due.pk for due in dues])}
        fresh: list[Reminder] = []
        changed: list[Reminder] = []
        for due in dues:
            person = facts.person(due)
            if person is None:
                counts["nobody"] += 1
                continue
            first = rows.get((due.pk, Step.FIRST))
            for step in steps_of(due, first):
                row = rows.get((due.pk, step))
                if row is not None and (row.state == ReminderState.WRITTEN or row.final):
                    continue
                if row is not None:
                    row.due = due  # loaded already: no query per row
                decision = decide(facts.of(due, step, person))
                counts["planned" if isinstance(decision, Send) else "skipped" if decision.final else "waiting"] += 1
                if row is None:
                    fresh.append(_new(due, step, person, decision, at))
                elif apply_decision(row, decision, at, person=person):
                    changed.append(row)
        counts["changed"] = _write(fresh, changed, at)
    return counts


def _new(due: CareDue, step: Step, person: Customer, decision: Decision, at: datetime) -> Reminder:
    row = Reminder(
        studio_id=due.studio_id,
        customer=person,
        vehicle_id=due.vehicle_id,
        due=due,
        step=step,
        made_at=at,
        changed_at=at,
    )
    apply_decision(row, decision, at, person=person)
    return row


def apply_decision(row: Reminder, decision: Decision, at: datetime, *, person: Customer) -> bool:
    """Put a decision on a row, unsaved. False: it says what the row says already."""
    send_at = decision.at if isinstance(decision, Send) else None
    state = ReminderState.PLANNED if send_at is not None else ReminderState.SKIPPED
    planned_on = decision.planned_on if isinstance(decision, Send) else None
    told = (
        planned_on,
        state,
        decision.reason_code,
        decision.reason,
        decision.final,
        person.pk,
        purpose_of(row.due.task),
    )
    was = (row.planned_on, row.state, row.reason_code, row.reason, row.final, row.customer_id, row.purpose)
    # A window that is open is due "now" at every look; that alone is no change.
    waits = row.send_at is not None and send_at is not None and row.send_at <= send_at == at
    if told == was and (row.send_at == send_at or waits):
        return False
    row.state, row.reason_code, row.reason, row.final = state, decision.reason_code, decision.reason, decision.final
    row.customer, row.purpose = person, purpose_of(row.due.task)
    row.send_at, row.planned_on, row.changed_at = send_at, planned_on, at
    return True


def _write(fresh: Sequence[Reminder], changed: Sequence[Reminder], at: datetime) -> int:
    """Write new and changed rows with their journal entries, in a fixed number of queries."""
    if fresh:
        # Another planner may have made the same row a moment ago: then its row stands, and is looked at next time.
        Reminder.objects.bulk_create(fresh, ignore_conflicts=True)
    done = len(fresh)
    if changed:
        open_rows = Reminder.objects.exclude(state=ReminderState.WRITTEN)
        done += open_rows.bulk_update(changed, CHANGING)
    # Rows that were never planned say enough by themselves; what is planned, and what is taken back, is journalled.
    told = [row for row in fresh if row.state == ReminderState.PLANNED] + list(changed)
    JournalEntry.objects.bulk_create(
        [
            JournalEntry(
                studio_id=row.studio_id,
                actor="cycle",
                at=at,
                verb="reminder planned" if row.state == ReminderState.PLANNED else "reminder held back",
                subject="due",
                subject_id=row.due_id,
                vehicle_id=row.vehicle_id,
                data={"step": str(row.step), "reason": row.reason_code, "send_at": row.send_at},
            )
            for row in told
        ]
    )
    return done


def open_later_rungs(written: Sequence[Reminder], at: datetime) -> None:
    """With a first notice that has just been written its later rungs come on record; they wait for it to go out."""
    wait = Wait("first_comes_first", "The first notice has not gone out yet.")
    Reminder.objects.bulk_create(
        [
            _new(row.due, step, row.customer, wait, at)
            for row in written
            if row.step == Step.FIRST
            for step in (Step.FOLLOW_UP, Step.LAST)
            if step == Step.FOLLOW_UP or row.due.contract_on is not None
        ],
        ignore_conflicts=True,
    )


CLOSED_WORDS = {
    DueState.DONE: ("due_done", "The care was done."),
    DueState.WITHDRAWN: ("due_withdrawn", "The care is no longer due."),
}


def _close(at: datetime) -> int:
    """Reminders of windows that are no longer open are held back for good."""
    closed = 0
    for state, (code, reason) in CLOSED_WORDS.items():
        rows = Reminder.objects.filter(due__state=state, final=False).exclude(state=ReminderState.WRITTEN)
        closed += rows.update(
            state=ReminderState.SKIPPED, send_at=None, reason_code=code, reason=reason, final=True, changed_at=at
        )
    return closed
