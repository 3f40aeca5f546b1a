"""From reminders to a written message, and the look before it leaves: does what it says still hold?"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Final

from lifecycle import journal
from lifecycle.models import (
    Customer,
    Handover,
    HandoverState,
    Message,
    MessageState,
    Reminder,
    ReminderState,
    Step,
    Suppression,
    Visit,
    VisitState,
)
from lifecycle.reminders import approval
from lifecycle.reminders.facts import Facts, gather, zone_of
from lifecycle.reminders.planner import CHANGING, apply_decision
from lifecycle.reminders.render import Prices, Rendered, compose, prices_for
from lifecycle.reminders.rules import Decision, Send, decide
from lifecycle.reminders.sweep import STALE_AFTER
from lifecycle.reminders.wordings import Voice, Voices

# Minutes until the next look at a message that a pause of its studio holds: so late it may leave once the pause is
# over, and so soon it is stopped where it no longer holds meanwhile. Judgement.
PAUSE_MINUTES: Final = 5


@dataclass(frozen=True, slots=True)
class Go:
    """Hand it over."""


@dataclass(frozen=True, slots=True)
class Later:
    """Not before `at`: quiet hours, another notice went out first, or the studio has paused its reminders."""

    at: datetime


@dataclass(frozen=True, slots=True)
class Stop:
    """Never hand it over."""

    reason: str


@dataclass(frozen=True, slots=True)
class Rewrite:
    """Some of what it is about no longer holds or is for later, or the day that it names was planned anew: write it
    anew about what holds now. Only for what never left.

    Attributes:
        days: by key of the kept reminders, the planned day that the mail may name now.
    """

    keep: tuple[Reminder, ...]
    drop: tuple[tuple[Reminder, Decision], ...]
    days: Mapping[int, date | None]


@dataclass(frozen=True, slots=True)
class Anew:
    """All of what it is about is for a day when its words would be too old: it is stopped, and its reminders are
    planned again, so that another message is written in time. Only for what never left."""

    rows: tuple[tuple[Reminder, Decision], ...]


Verdict = Go | Later | Stop | Rewrite | Anew
TOO_EARLY: Final = "Its time was planned so much later that it is written anew then."


def asked_before(facts: Facts, reminders: Iterable[Reminder]) -> dict[int, date]:
    """By window: the day on which its first notice was accepted, for the notices that follow it."""
    days: dict[int, date] = {}
    for row in reminders:
        when = facts.first.get(row.due_id, ("none", None))[1]
        if when is not None and row.step != Step.FIRST:
            days[row.due_id] = when.astimezone(zone_of(row.customer)).date()
    return days


@dataclass(frozen=True, slots=True)
class Ink:
    """What a run writes with, read once: the price lists, the studios' words, and what their owners see first."""

    prices: Prices
    voices: Voices
    gate: approval.Gate


def write(reminders: Sequence[Reminder], *, facts: Facts, ink: Ink, at: datetime) -> Message:
    """Render and freeze one message about reminders of one person and purpose. The caller holds the transaction."""
    uid = uuid.uuid4()
    first = reminders[0]
    rendered = compose(
        reminders=reminders, prices=ink.prices, uid=uid, at=at, asked_before=asked_before(facts, reminders),
        voices=ink.voices,
    )  # fmt: skip
    needs = ink.gate.needs(first.customer.studio, rendered, kind=first.purpose)
    message: Message = Message.objects.create(
        studio_id=first.studio_id, uid=uid, customer=first.customer, reminder=first, purpose=first.purpose,
        to_email=first.customer.email, from_email=rendered.from_email, subject=rendered.subject, text=rendered.text,
        html=rendered.html, headers=rendered.headers, state_at=at, written_at=at,
        state=MessageState.WAITING if needs else MessageState.READY, error=approval.words_of(needs),
        approval_for=needs, batch=ink.gate.batch, words=rendered.words,
    )  # fmt: skip
    journal.record(
        studio=first.studio, actor="cycle", at=at, verb="message written", subject="message", subject_id=message.pk,
        vehicle_id=first.vehicle_id, reminders=[row.pk for row in reminders], uid=str(uid),
    )  # fmt: skip
    return message


def preview(*, reminders: Sequence[Reminder], uid: uuid.UUID, at: datetime, voice: Voice | None = None) -> Rendered:
    """What would be written now: the same renderer, prices and facts as the mail.

    Args:
        voice: another language or words not kept yet, to see how they speak.
    """
    facts = gather([row.due for row in reminders], at=at)
    return compose(
        reminders=reminders,
        prices=prices_for(reminders),
        uid=uid,
        at=at,
        asked_before=asked_before(facts, reminders),
        voice=voice,
    )


@dataclass(slots=True)
class Look:
    """The look at a batch of messages just before they leave, in a fixed number of queries."""

    facts: Facts
    reminders: Mapping[int, list[Reminder]]
    prices: Prices
    visits: Mapping[int, Visit]  # each that a message is about
    handovers: Mapping[int, str]  # address of each open offer of a vehicle

    def verdict(self, message: Message) -> Verdict:
        """Whether what the message says still holds. The copy of a report was signed for: only its address can have
        gone bad. An answer about a visit holds until the visit changes again."""
        if message.visit_id is not None:
            visit = self.visits.get(message.visit_id)
            if visit is None or visit.sequence != message.visit_sequence:
                return Stop("The visit has changed since it was written.")
            # It waited for the owner, or for the provider. Other days that are offered are still to be answered.
            if visit.state == VisitState.BOOKED and visit.on < message.studio.day(self.facts.at):
                return Stop("The day of the visit is over.")
        if message.handover_id is not None:
            return self._handover_verdict(message)
        about_reminders = message.report_id is None and message.visit_id is None
        return self._reminders_verdict(message) if about_reminders else self._copy_verdict(message)

    def _reminders_verdict(self, message: Message) -> Verdict:
        rows = self.reminders.get(message.pk, [])
        if not rows:
            return Stop("The reminder that it was written for is gone.")
        if message.to_email.lower() != message.customer.email.lower():
            return Stop("The customer's address has changed since it was written.")
        # A pause is no reason to stop what is written: it waits. Whatever else speaks against it still does.
        facts = [(row, self.facts.of(row.due, row.step, message.customer, leave_out={message.pk})) for row in rows]
        paused = any(known.studio_paused for _, known in facts)
        decisions = [(row, decide(replace(known, studio_paused=False) if paused else known)) for row, known in facts]
        good = [(row, decision) for row, decision in decisions if isinstance(decision, Send)]
        bad: list[tuple[Reminder, Decision]] = [(row, said) for row, said in decisions if not isinstance(said, Send)]
        if not good or (bad and message.resends):
            return Stop(bad[0][1].reason)
        later = self._later(message, good, paused=paused)
        if later is not None:
            too_old = later.at >= message.written_at + STALE_AFTER and not paused and not message.resends
            return Anew((*good, *bad)) if too_old else later
        at = self.facts.at
        bad += [(row, decision) for row, decision in good if decision.at > at]
        good = [(row, decision) for row, decision in good if decision.at <= at]
        days = {row.pk: decision.planned_on for row, decision in good}
        moved = any(row.planned_on != days[row.pk] for row, _ in good)
        if bad or (moved and not message.resends):
            return Rewrite(tuple(row for row, _ in good), tuple(bad), days)
        return Go()

    def _later(self, message: Message, good: Sequence[tuple[Reminder, Send]], *, paused: bool) -> Later | None:
        """When something of it may be said; None where it may be now.

        One window that waits holds none of the others back: it is written about anew then. What may have left says the
        same when it is sent again, so it waits for all of them.
        """
        at = self.facts.at
        when = (max if message.resends else min)(decision.at for _, decision in good)
        if paused:
            return Later(max(when, at + timedelta(minutes=PAUSE_MINUTES)))
        return Later(when) if when > at else None

    def _handover_verdict(self, message: Message) -> Verdict:
        if self.handovers.get(message.handover_id or 0, "") != message.to_email.lower():
            return Stop("The offer to the new keeper is no longer open.")
        suppressed = Suppression.objects.filter(
            studio=message.studio_id, email__iexact=message.to_email, lifted_at=None
        )
        return Stop("The address bounced or complained.") if suppressed.exists() else Go()

    def _copy_verdict(self, message: Message) -> Verdict:
        if message.to_email.lower() != message.customer.email.lower():
            return Stop("The customer's address has changed since it was written.")
        if (message.studio_id, message.to_email.lower()) in self.facts.suppressed:
            return Stop("The address bounced or complained.")
        return Go()


def look(messages: Sequence[Message], *, at: datetime) -> Look:
    """Read what is needed to judge these messages. They come with `customer.studio` loaded."""
    ids = {message.pk: message.told_of() for message in messages}
    wanted = [pk for several in ids.values() for pk in several]
    people = {message.customer_id: message.customer for message in messages}
    rows = Reminder.objects.filter(pk__in=wanted, state=ReminderState.WRITTEN)
    found = {row.pk: row for row in rows.select_related("due__vehicle")}
    _join(found.values(), people)
    reminders: dict[int, list[Reminder]] = defaultdict(list)
    for message in messages:
        reminders[message.pk] = [found[pk] for pk in ids[message.pk] if pk in found]
    facts = gather([row.due for row in found.values()], at=at, people=set(people), known=people)
    about = {message.visit_id for message in messages if message.visit_id is not None}
    visits = Visit.objects.in_bulk(about) if about else {}
    offers = {message.handover_id for message in messages if message.handover_id is not None}
    still = Handover.objects.filter(pk__in=offers, state=HandoverState.OPEN, ends_at__gt=at) if offers else ()
    handovers = {row.pk: row.to_email.lower() for row in still}
    return Look(facts, reminders, prices_for(list(found.values())), visits, handovers)


def _join(rows: Iterable[Reminder], people: Mapping[int, Customer]) -> None:
    """Give reminders the objects that are in memory already: reading them by joins takes longer than the rules do."""
    for row in rows:
        if row.vehicle_id == row.due.vehicle_id:
            row.vehicle = row.due.vehicle
        if row.customer_id in people:
            row.customer = people[row.customer_id]
            if row.studio_id == row.customer.studio_id:
                row.studio = row.customer.studio


def plan_again(rows: Iterable[tuple[Reminder, Decision]], at: datetime) -> None:
    """Put reminders of a message that never left back to what the rules say of them now."""
    for row, decision in rows:
        apply_decision(row, decision, at, person=row.customer)
        row.save(update_fields=CHANGING)


def rewrite(message: Message, verdict: Rewrite, seen: Look, *, at: datetime) -> list[str]:
    """Write a message that never left anew, about less; what fell away says why. The caller holds the transaction.

    Returns:
        Why the owner is to see it first: nobody has approved the words that it is in now. Else empty.
    """
    for row in verdict.keep:
        row.planned_on = verdict.days[row.pk]
        row.save(update_fields=["planned_on"])
    rendered = compose(
        reminders=verdict.keep, prices=seen.prices, uid=message.uid, at=at,
        asked_before=asked_before(seen.facts, verdict.keep),
    )  # fmt: skip
    message.reminder = verdict.keep[0]
    message.subject, message.text, message.html = rendered.subject, rendered.text, rendered.html
    message.headers = rendered.headers
    needs: list[str] = []
    if rendered.words != message.words:
        needs = approval.gate((message.studio_id,)).needs(
            message.studio, rendered, kind=message.purpose, only_words=True
        )
    message.words, message.approval_for = rendered.words, needs
    message.save(update_fields=["reminder", "subject", "text", "html", "headers", "words", "approval_for"])
    plan_again(verdict.drop, at)
    journal.record(
        studio=message.studio, actor="cycle", at=at, verb="message rewritten", subject="message",
        subject_id=message.pk, reminders=[row.pk for row in verdict.keep], dropped=[row.pk for row, _ in verdict.drop],
    )  # fmt: skip
    return needs
