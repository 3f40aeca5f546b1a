"""The outbox: reminders whose time has come are written into messages, and messages are handed to the provider.

The promise: a reminder is written once per care window and step. Its message is handed to the provider or is shown as
stopped or failed. A hand-over whose outcome nobody knows is "unconfirmed"; a receipt settles it, else one recorded
resend with the same Message-ID.

Several reminders of one person and purpose whose time has come are written into one message: the message belongs to the
first, and names all of them in its headers.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import transaction
from django.db.models import F

from lifecycle import journal
from lifecycle.models import Message, MessageState, Reminder, ReminderState
from lifecycle.reminders import claim as claims
from lifecycle.reminders import letters, wordings
from lifecycle.reminders.facts import Facts, gather
from lifecycle.reminders.planner import CHANGING, apply_decision, open_later_rungs
from lifecycle.reminders.receipts import suppress
from lifecycle.reminders.render import Prices, prices_for
from lifecycle.reminders.retries import TABLE, Kind
from lifecycle.reminders.rules import Send, decide
from lifecycle.reminders.sweep import sweep
from lifecycle.reminders.transport import CannotReach, Outcome, Postman, Result

__all__ = ["deliver", "enqueue", "sweep"]

PEOPLE_AT_ONCE: Final = 100
MESSAGES_AT_ONCE: Final = 20


def enqueue(*, at: datetime) -> Mapping[str, int]:
    """Write the messages of all planned reminders whose time has come, after asking the rules once more.

    Returns:
        Counts: written (messages), reminders (in them), moved (to a later time), held (held back after all).
    """
    counts: Counter[str] = Counter(written=0, reminders=0, moved=0, held=0)
    ready = Reminder.objects.filter(state=ReminderState.PLANNED, send_at__lte=at)
    people = list(ready.order_by("customer_id").values_list("customer_id", flat=True).distinct())
    for start in range(0, len(people), PEOPLE_AT_ONCE):
        some = people[start : start + PEOPLE_AT_ONCE]
        rows = list(
            ready.filter(customer__in=some)
            .select_related("due__vehicle", "vehicle", "studio", "customer__studio")
            .order_by("customer_id", "send_at", "pk")
        )
        facts = gather([row.due for row in rows], at=at, people=some)
        prices = prices_for(rows)
        voices = wordings.voices({row.studio_id for row in rows})
        groups: dict[tuple[int, str], list[Reminder]] = defaultdict(list)
        for row in rows:
            groups[row.customer_id, row.purpose].append(row)
        for group in groups.values():
            counts.update(_write_group(group, facts, prices, voices, at))
    return dict(counts)


def _write_group(
    group: Sequence[Reminder], facts: Facts, prices: Prices, voices: wordings.Voices, at: datetime
) -> Counter[str]:
    """One person, one purpose: one message about all that may still be said, in one transaction."""
    counts: Counter[str] = Counter()
    with transaction.atomic():
        good: list[Reminder] = []
        for row in group:
            decision = decide(facts.of(row.due, row.step, row.customer))
            if isinstance(decision, Send) and decision.at <= at:
                good.append(row)
            elif apply_decision(row, decision, at, person=row.customer):
                changed = {name: getattr(row, name) for name in CHANGING}
                counts["moved" if isinstance(decision, Send) else "held"] += Reminder.objects.filter(
                    pk=row.pk, state=ReminderState.PLANNED
                ).update(**changed)
        mine = _take_over(good, at)
        if mine:
            message = letters.write(mine, facts=facts, prices=prices, voices=voices, at=at)
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
            state=ReminderState.WRITTEN, changed_at=at
        )
    ]


def deliver(*, at: datetime, limit: int = 200) -> Mapping[str, int]:
    """Hand waiting messages to the provider: claim, look again, hand over outside any transaction, write the outcome.

    Run twice, in parallel, or killed at any point, it hands nothing over twice without saying so.

    Args:
        limit: at most so many messages in this run.

    Returns:
        Counts: accepted, retry, failed, unconfirmed, stopped, later, rewritten, lost (somebody else had it).
    """
    counts: Counter[str] = Counter(
        accepted=0, retry=0, failed=0, unconfirmed=0, stopped=0, later=0, rewritten=0, lost=0
    )
    left = limit
    with Postman() as postman:
        while left > 0:
            claim = claims.take(at=at, limit=min(left, MESSAGES_AT_ONCE))
            if not claim.messages:
                break
            left -= len(claim.messages)
            if not _deliver_claimed(claim, postman, at, counts):
                break
    return dict(counts)


def _deliver_claimed(claim: claims.Claim, postman: Postman, at: datetime, counts: Counter[str]) -> bool:
    """Deliver a claimed batch. False: the provider cannot be reached, the rest was put back untouched."""
    seen = letters.look(claim.messages, at=at)
    reached, until = True, None
    for message in claim.messages:
        if not reached:
            claims.put_back(message, claim.token, at=at)
            continue
        verdict = seen.verdict(message)
        if isinstance(verdict, letters.Stop):
            counts["stopped"] += _stop(message, claim, verdict.reason, at)
            continue
        if isinstance(verdict, letters.Later):
            counts["later"] += claims.put_back(message, claim.token, at=at, next_try_at=verdict.at)
            continue
        if isinstance(verdict, letters.Rewrite):
            with transaction.atomic():
                letters.rewrite(message, verdict, seen, at=at)
            counts["rewritten"] += 1
        try:
            postman.open()
        except CannotReach as error:
            reached = False
            counts[_wait_out(message, claim, str(error), error.kind, at)] += 1
            continue
        if not claims.begin(message, claim.token, at=at):
            counts["lost"] += 1
            continue
        result = postman.hand_over(message)
        reached = not result.all_alike
        until = at + result.wait if result.all_alike and result.wait else None
        counts[_write_outcome(message, claim, result, at)] += 1
    if until is not None:
        claims.hold(at=at, until=until)
    return reached


def _stop(message: Message, claim: claims.Claim, reason: str, at: datetime) -> bool:
    """What never left is stopped; what may have left once is failed, and is not sent again."""
    fields: dict[str, Any] = {"state": MessageState.STOPPED, "error": reason}
    verb = "message stopped"
    if message.resends:
        verb = "message failed"
        fields = {
            "state": MessageState.FAILED,
            "error": f"The outcome of its hand-over is unknown; it is not sent again: {reason}",
        }
    with transaction.atomic():
        done = claims.put_back(message, claim.token, at=at, next_try_at=None, **fields)
        if done:
            _note(message, verb, at, reason=reason)
    return done


def _write_outcome(message: Message, claim: claims.Claim, result: Result, at: datetime) -> str:
    """The small write after a hand-over. Returns the count that it belongs to."""
    if result.outcome is Outcome.TEMPORARY:
        return _try_again(message, claim, result, at)
    if result.outcome is Outcome.OUTAGE:
        return _wait_out(message, claim, result.error, result.kind, at, begun=True, wait=result.wait)
    state, verb = {
        Outcome.ACCEPTED: (MessageState.ACCEPTED, "message accepted"),
        Outcome.PERMANENT: (MessageState.FAILED, "message failed"),
        Outcome.UNKNOWN: (MessageState.UNCONFIRMED, "message unconfirmed"),
    }[result.outcome]
    with transaction.atomic():
        fields: dict[str, Any] = {"error": result.error}
        if result.provider_id:
            fields["provider_id"] = result.provider_id
        if claims.settle(message, claim.token, state=state, at=at, **fields):
            _note(message, verb, at, provider_id=result.provider_id)
        if result.bad_address:
            suppress(message=message, why="bounced", at=at)
    return str(state)


def _wait_out(
    message: Message,
    claim: claims.Claim,
    error: str,
    kind: Kind,
    at: datetime,
    *,
    begun: bool = False,
    wait: timedelta | None = None,
) -> str:
    """An outage or a wrong password is no fault of the message: it uses up no try. The end of its window, or the sweep
    after two weeks, is the limit."""
    fields: dict[str, Any] = {
        "state": MessageState.RETRY, "error": error,
        "next_try_at": at + (wait or timedelta(minutes=TABLE[kind].outage)),
    }  # fmt: skip
    if begun:
        claims.settle(message, claim.token, at=at, attempts=F("attempts") - 1, **fields)
    else:
        claims.put_back(message, claim.token, at=at, **fields)
    return str(MessageState.RETRY)


def _try_again(message: Message, claim: claims.Claim, result: Result, at: datetime) -> str:
    """Set the next try by the table for this kind of error, or give up when it is used up."""
    waits = TABLE[result.kind].waits
    tries = message.attempts + 1
    fields: dict[str, Any] = {"state": MessageState.FAILED, "error": result.error, "next_try_at": None}
    if tries <= len(waits):
        fields["state"] = MessageState.RETRY
        fields["next_try_at"] = at + timedelta(minutes=waits[tries - 1])
    with transaction.atomic():
        done = claims.settle(message, claim.token, at=at, **fields)
        if done and fields["state"] == MessageState.FAILED:
            _note(message, "message failed", at, tries=tries)
    return str(fields["state"])


def _note(message: Message, verb: str, at: datetime, **data: Any) -> None:
    journal.record(
        studio=message.studio, actor="cycle", at=at, verb=verb, subject="message", subject_id=message.pk,
        uid=str(message.uid), **data,
    )  # fmt: skip
