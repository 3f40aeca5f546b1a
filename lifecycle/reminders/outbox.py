"""The outbox: reminders whose time has come are written into messages, and messages are handed to the provider.

The promise: a reminder is written once per care window and step. Its message is handed to the provider or is shown as
stopped or failed. A hand-over whose outcome nobody knows is "unconfirmed"; a receipt settles it, else one recorded
resend with the same Message-ID.

Several reminders of one person and purpose whose time has come are written into one message: the message belongs to the
first, and names all of them in its headers.
"""

from __future__ import annotations

import time
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final

from django.db import transaction

from lifecycle.models import Reminder, ReminderState
from lifecycle.reminders import approval, handing, letters, wordings
from lifecycle.reminders import claim as claims
from lifecycle.reminders.facts import Facts, gather
from lifecycle.reminders.planner import CHANGING, apply_decision, open_later_rungs
from lifecycle.reminders.render import prices_for
from lifecycle.reminders.rules import Send, decide
from lifecycle.reminders.sweep import sweep
from lifecycle.reminders.transport import Postman

__all__ = ["deliver", "enqueue", "sweep"]

PEOPLE_AT_ONCE: Final = 100
# Messages are claimed and looked at together: as many as go in `LOOK_HOLDS_S` at the pace of the claim before, so that
# the look is hardly ever older than that. Nobody knows the pace of the first claim of a run, so that is of few: at a
# provider that takes a second for a mail its last look is that many seconds old. A "no" of the customer needs no look:
# it stops the message itself.
FIRST_AT_ONCE: Final = 20
MOST_AT_ONCE: Final = 200
# A run ends before the next alarm, whose clock is fresher.
RUN_S: Final = 45.0


def enqueue(*, at: datetime) -> Mapping[str, int]:
    """Write the messages of all planned reminders whose time has come, after asking the rules once more.

    Returns:
        Counts: written (messages), reminders (in them), moved (to a later time), held (held back after all).
    """
    counts: Counter[str] = Counter(written=0, reminders=0, moved=0, held=0)
    ready = Reminder.objects.filter(state=ReminderState.PLANNED, send_at__lte=at)
    people = list(ready.order_by("customer_id").values_list("customer_id", flat=True).distinct())
    gate = approval.gate_for_run(ready)
    for start in range(0, len(people), PEOPLE_AT_ONCE):
        some = people[start : start + PEOPLE_AT_ONCE]
        rows = list(
            ready.filter(customer__in=some)
            .select_related("due__vehicle", "vehicle", "studio", "customer__studio")
            .order_by("customer_id", "send_at", "pk")
        )
        facts = gather([row.due for row in rows], at=at, people=some)
        ink = letters.Ink(prices_for(rows), wordings.voices({row.studio_id for row in rows}), gate)
        groups: dict[tuple[int, str], list[Reminder]] = defaultdict(list)
        for row in rows:
            groups[row.customer_id, row.purpose].append(row)
        for group in groups.values():
            counts.update(_write_group(group, facts, ink, at))
    approval.release_small_batches(gate, at=at)
    return dict(counts)


def _write_group(
    group: Sequence[Reminder],
    facts: Facts,
    ink: letters.Ink,
    at: datetime,
) -> Counter[str]:
    """One person, one purpose: one message about all that may still be said, in one transaction."""
    counts: Counter[str] = Counter()
    with transaction.atomic():
        good: list[Reminder] = []
        for row in group:
            decision = decide(facts.of(row.due, row.step, row.customer))
            if isinstance(decision, Send) and decision.at <= at:
                row.planned_on = decision.planned_on
                good.append(row)
            elif apply_decision(row, decision, at, person=row.customer):
                changed = {name: getattr(row, name) for name in CHANGING}
                counts["moved" if isinstance(decision, Send) else "held"] += Reminder.objects.filter(
                    pk=row.pk, state=ReminderState.PLANNED
                ).update(**changed)
        mine = _take_over(good, at)
        if mine:
            message = letters.write(mine, facts=facts, ink=ink, at=at)
            Reminder.objects.filter(pk__in=[row.pk for row in mine[1:]]).update(
                reason_code="in_one_mail", reason=f"Written in one mail with others: message {message.uid}."
            )
            open_later_rungs(mine, at)
            counts.update(written=1, reminders=len(mine))
    return counts


def _take_over(rows: Sequence[Reminder], at: datetime) -> list[Reminder]:
    """Turn planned reminders to written, each by compare-and-set: what another run has taken is left to it."""
    return [
        row
        for row in rows
        if Reminder.objects.filter(pk=row.pk, state=ReminderState.PLANNED).update(
            state=ReminderState.WRITTEN, changed_at=at, planned_on=row.planned_on
        )
    ]


def deliver(*, at: datetime, limit: int | None = None, for_s: float = RUN_S) -> Mapping[str, int]:
    """Hand waiting messages to the provider: claim, look again, hand over outside any transaction, write the outcome.

    Run twice, in parallel, or killed at any point, it hands nothing over twice without saying so.

    Args:
        limit: at most so many messages in this run; None for all that wait.
        for_s: seconds after which it claims no more.

    Returns:
        Counts: accepted, retry, failed, unconfirmed, stopped, later, rewritten, lost (somebody else had it).
    """
    counts: Counter[str] = Counter(
        accepted=0, retry=0, failed=0, unconfirmed=0, stopped=0, later=0, rewritten=0, lost=0
    )
    left, size, began = limit, FIRST_AT_ONCE, time.monotonic()
    with Postman() as postman:
        while time.monotonic() - began < for_s:
            start = time.monotonic()
            claim = claims.take(at=at, limit=size if left is None else min(left, size))
            if not claim.messages:
                break
            if left is not None:
                left -= len(claim.messages)
            if not handing.hand_over(claim, postman, at=at, counts=counts):
                break
            pace = len(claim.messages) / max(time.monotonic() - start, 1e-3)
            size = max(1, min(MOST_AT_ONCE, int(pace * handing.LOOK_HOLDS_S)))
    return dict(counts)
