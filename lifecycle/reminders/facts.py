"""Rows -> `ReminderFacts`: all that the rules ask about a batch of care windows, in a fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.db.models import Q
from django.db.models.functions import Lower

from lifecycle.care.addresses import digests
from lifecycle.care.renewal import OTHER_WAY, RENEWED_BY
from lifecycle.care.resting import Rest, Word, resting
from lifecycle.care.rules import TASKS
from lifecycle.care.visits import EVENT_OF_TASK, LOOKS
from lifecycle.models import (
    CareDue,
    Complaint,
    Consent,
    Customer,
    DueState,
    Inspection,
    Keeper,
    Layer,
    Message,
    MessageState,
    OfferStep,
    OfferStepKind,
    ProposalState,
    Purpose,
    Refusal,
    Reminder,
    ReminderState,
    Step,
    Storage,
    Suppression,
    Visit,
    VisitProposal,
    VisitState,
)
from lifecycle.reminders.rules import DONE_FOR_DAYS, ReminderFacts

WENT_OUT = (MessageState.ACCEPTED, MessageState.DELIVERED)
NOT_SENT = (MessageState.STOPPED, MessageState.FAILED)
# Visits and outcomes are read back so far: the longest span that a rule asks about, and a day for the zones.
NEAR = timedelta(days=DONE_FOR_DAYS + 1)
# Visits are proposed and their days planned some minutes after a window opens; its notice waits so long at most, so
# that nothing is lost where no plan comes. Judgement.
PLAN_WITHIN = timedelta(days=1)
# Reasons for which the studio itself owes the look, so that even an open complaint does not hold the notice back.
OWED = ("contract", "event", "first_check")
# Settling a visit puts the outcome of these on record by itself; a window that opens after it is a new one.
RECORDED_BY_VISIT = frozenset(EVENT_OF_TASK) | frozenset(LOOKS)
# What people have to put on record after a visit. Until then the forecast does not know of the work.
AWAITED: Final[Mapping[str, str]] = dict.fromkeys((*RENEWED_BY.values(), *OTHER_WAY.values()), "the new layer") | {
    "retest": "the reading"
}


def zone_of(customer: Customer) -> tzinfo:
    """The recipient's zone; the studio's, else UTC, where none is known by that name."""
    for name in (customer.zone, customer.studio.zone):
        try:
            return ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            continue
    return UTC


def _quiet(person: Customer) -> tuple[time, time] | None:
    if person.quiet_from is None or person.quiet_to is None:
        return None
    return person.quiet_from, person.quiet_to


def purpose_of(task: str) -> str:
    """Which consent covers a notice about this task, by the table of care tasks.

    Service is care of what is already there: washes, checks, and the renewal of what wears (wax, sealant, booster,
    glass, wheels, trim, leather, cloth …); consent to care reminders covers it. Promotion is a new coat, film,
    correction or engine bay work, told only with consent to offers. A task that the table does not know counts as
    promotion, which is written more sparingly.
    """
    known = TASKS.get(task)
    return known.kind if known is not None else str(Purpose.PROMOTION)


@dataclass(slots=True)
class Facts:
    """The rows behind the facts of one batch; built by `gather`, asked by `of`."""

    at: datetime
    keeper: dict[int, Customer] = field(default_factory=dict)
    last_keeper: dict[int, Customer] = field(default_factory=dict)
    stored: set[int] = field(default_factory=set)
    visits: dict[int, list[Visit]] = field(default_factory=lambda: defaultdict(list))
    vehicles_of: dict[int, set[int]] = field(default_factory=lambda: defaultdict(set))
    consent: dict[tuple[int, str], bool] = field(default_factory=dict)
    suppressed: dict[tuple[int, str], str] = field(default_factory=dict)
    complaint: set[int] = field(default_factory=set)
    refused: dict[tuple[int, str], Refusal] = field(default_factory=dict)
    sent: dict[tuple[int, str], list[tuple[int, datetime]]] = field(default_factory=lambda: defaultdict(list))
    first: dict[int, tuple[str, datetime | None]] = field(default_factory=dict)
    since: dict[int, date] = field(default_factory=dict)  # by vehicle: the day on which the present keeper came
    recorded: dict[tuple[int, str], date] = field(default_factory=dict)  # the latest outcome of a task on record
    answers: dict[int, tuple[str, date, date | None]] = field(default_factory=dict)  # by window: the latest word
    rests: Mapping[tuple[int, str], Rest] = field(default_factory=dict)
    planned: dict[int, date] = field(default_factory=dict)  # by window: the day that the site's calendar suggests
    looked_for: set[int] = field(default_factory=set)  # windows that the calendar has looked for a day for

    def person(self, due: CareDue) -> Customer | None:
        """Who keeps the vehicle now; else who kept it last; None where nobody ever did."""
        return self.keeper.get(due.vehicle_id) or self.last_keeper.get(due.vehicle_id)

    def of(self, due: CareDue, step: str, person: Customer, *, leave_out: Collection[int] = ()) -> ReminderFacts:
        """The facts for writing to `person` about one step of one window.

        Args:
            leave_out: messages that do not count as sent, because they are the one that is asked about.
        """
        purpose = purpose_of(due.task)
        zone = zone_of(person)
        today = self.at.astimezone(zone).date()
        keeper = self.keeper.get(due.vehicle_id)
        first, first_at = self.first.get(due.pk, ("none", None))
        word, said_on, until = self.answers.get(due.pk, ("", today, None))
        rest = self.rests.get((due.vehicle_id, due.task))
        mine = [visit for vehicle in self.vehicles_of[person.pk] for visit in self.visits.get(vehicle, ())]
        return ReminderFacts(
            step=step,
            purpose=purpose,
            now=self.at,
            zone=zone,
            earliest=due.earliest,
            latest=due.latest,
            contract_on=due.contract_on,
            planned_on=self.planned.get(due.pk),
            # What is written already holds without a plan.
            plan_awaited=not leave_out and due.pk not in self.looked_for and self.at < due.opened_at + PLAN_WITHIN,
            due_state=due.state,
            booked_on=self._booked_on(due, today),
            retired=due.vehicle.retired_on is not None and due.vehicle.retired_on <= today,
            stored=due.vehicle_id in self.stored,
            refused=self._refused(due),
            done_on=self._done_on(due),
            awaited=AWAITED.get(due.task, ""),
            declined=said_on if word == OfferStepKind.DECLINED else None,
            deferred_until=until if word == OfferStepKind.DEFERRED else None,
            resting_until=rest.until if rest is not None else None,
            enrolled_on=self._enrolled_on(due, person),
            keeper_now=keeper is not None and keeper.pk == person.pk,
            has_address=bool(person.email),
            suppressed=self.suppressed.get((person.studio_id, person.email.lower()), ""),
            consent=self.consent.get((person.pk, purpose)),
            complaint_open=person.pk in self.complaint,
            owed=due.reason_code in OWED,
            pressing=due.reason_code in OWED or bool(due.words.get("overdue_since")),
            last_visit=max((v.on for v in mine if v.state == VisitState.DONE), default=None),
            next_visit=min((v.on for v in mine if v.state == VisitState.BOOKED and v.on >= today), default=None),
            sent=tuple(when for pk, when in self.sent[person.pk, purpose] if pk not in leave_out),
            first=first,
            first_at=first_at,
            studio_paused=person.studio.paused_at is not None,
            paused_until=person.paused_until,
            quiet=_quiet(person),
        )

    def _enrolled_on(self, due: CareDue, person: Customer) -> date | None:
        """The day since which the vehicle, the person and the one in the keeping of the other are all on record."""
        days = (self.since.get(due.vehicle_id), due.vehicle.first_seen, person.since)
        return max((day for day in days if day is not None), default=None)

    def _refused(self, due: CareDue) -> str:
        """Why this work is not offered, if it is refused on every surface that the window is about."""
        row = self.refused.get((due.vehicle_id, due.task))
        if row is None:
            return ""
        everywhere = not row.surfaces or (due.surfaces and set(due.surfaces) <= set(row.surfaces))
        return row.why if everywhere else ""

    def _done_on(self, due: CareDue) -> date | None:
        """When a visit last did this work, if what came of it is not on record since."""
        if due.task in RECORDED_BY_VISIT:
            return None
        visits = self.visits.get(due.vehicle_id, ())
        last = max((v.on for v in visits if v.state == VisitState.DONE and due.task in v.tasks), default=None)
        recorded = self.recorded.get((due.vehicle_id, due.task))
        return None if last is not None and recorded is not None and recorded >= last else last

    def _booked_on(self, due: CareDue, today: date) -> date | None:
        if due.state not in (DueState.OPEN, DueState.BOOKED):
            return None
        covering = [
            visit.on
            for visit in self.visits.get(due.vehicle_id, ())
            if visit.state == VisitState.BOOKED and visit.on >= today and due.task in visit.tasks
        ]
        return min(covering, default=None)


def gather(
    dues: Sequence[CareDue],
    *,
    at: datetime,
    people: Collection[int] = (),
    known: Mapping[int, Customer] | None = None,
) -> Facts:
    """Read all that the rules need about these windows. The number of queries does not depend on how many there are.

    Args:
        dues: with `vehicle` loaded.
        people: customers beside the present keepers who are to be written to (the addressees of written messages).
        known: customers that are in memory already, with `studio` loaded, by key; they are not read again.
    """
    facts = Facts(at=at)
    today = at.astimezone(UTC).date()
    vehicles = {due.vehicle_id for due in dues}
    _keepers(facts, vehicles, set(people), today, known or {})
    ids = {person.pk for person in facts.last_keeper.values()} | {person.pk for person in facts.keeper.values()}
    ids |= set(people)
    _vehicles(facts, vehicles, today)
    _outcomes(facts, vehicles, today)
    _answers(facts, vehicles, today)
    _people(facts, ids)
    facts.refused = {
        (row.vehicle_id, row.task): row for row in Refusal.objects.filter(vehicle__in=vehicles).order_by("id")
    }
    _messages(facts, ids, [due.pk for due in dues])
    _plans(facts, dues)
    return facts


def _plans(facts: Facts, dues: Sequence[CareDue]) -> None:
    rows = VisitProposal.objects.filter(dues__in=dues)
    for due_id, state, on, why in rows.values_list("dues", "state", "planned_on", "planned_why"):
        standing = state == ProposalState.PROPOSED
        if standing and on is not None:
            facts.planned[due_id] = min(on, facts.planned.get(due_id, on))  # the soonest holds
        if why or on is not None or not standing:
            facts.looked_for.add(due_id)


def _keepers(facts: Facts, vehicles: set[int], people: set[int], today: date, known: Mapping[int, Customer]) -> None:
    """Keepers of these vehicles, and all vehicles that the same people keep now (their visits count as theirs)."""
    theirs = Keeper.objects.filter(vehicle__in=vehicles).values("customer")
    found = Keeper.objects.filter(Q(vehicle__in=vehicles) | Q(customer__in=theirs) | Q(customer__in=people))
    rows = list(found.order_by("start", "id"))
    others = {row.customer_id for row in rows if row.vehicle_id in vehicles} - set(known)
    persons = {**known, **(Customer.objects.select_related("studio").in_bulk(others) if others else {})}
    for row in rows:
        now = row.start <= today and (row.end is None or row.end > today)
        if now:
            facts.vehicles_of[row.customer_id].add(row.vehicle_id)
        if row.vehicle_id in vehicles:
            facts.last_keeper[row.vehicle_id] = persons[row.customer_id]
            if now:
                facts.keeper[row.vehicle_id] = persons[row.customer_id]
                facts.since[row.vehicle_id] = row.start


def _vehicles(facts: Facts, vehicles: set[int], today: date) -> None:
    open_end = Q(end=None) | Q(end__gt=today)
    facts.stored = set(
        Storage.objects.filter(open_end, vehicle__in=vehicles, start__lte=today).values_list("vehicle_id", flat=True)
    )
    every = vehicles.union(*facts.vehicles_of.values())
    rows = Visit.objects.filter(vehicle__in=every, state__in=(VisitState.BOOKED, VisitState.DONE), on__gte=today - NEAR)
    for visit in rows.order_by("on", "id"):
        facts.visits[visit.vehicle_id].append(visit)


def _outcomes(facts: Facts, vehicles: set[int], today: date) -> None:
    """New layers and readings of the last weeks, as the tasks that they are the outcome of."""
    layers = Layer.objects.filter(surface__vehicle__in=vehicles, kind__in=RENEWED_BY, applied__gte=today - NEAR)
    for vehicle_id, kind, on in layers.order_by("applied").values_list("surface__vehicle_id", "kind", "applied"):
        task = RENEWED_BY[kind]
        facts.recorded[vehicle_id, task] = facts.recorded[vehicle_id, OTHER_WAY.get(task, task)] = on
    looks = Inspection.objects.filter(vehicle__in=vehicles, by="studio", on__gte=today - NEAR, readings__isnull=False)
    for vehicle_id, on in looks.order_by("on").values_list("vehicle_id", "on"):
        facts.recorded[vehicle_id, "retest"] = on


def _answers(facts: Facts, vehicles: set[int], today: date) -> None:
    """What the present keepers said to advice: the latest word on each window, and what rests after two refusals."""
    words: list[Word] = []
    rows = OfferStep.objects.filter(offer__vehicle__in=vehicles, at__lte=facts.at).order_by("at", "id")
    rows = rows.exclude(kind="outcome")  # a later look at the advice, nobody's word
    for offer_id, due_id, vehicle_id, task, at, kind, until in rows.values_list(
        "offer_id", "offer__due_id", "offer__vehicle_id", "offer__task", "at", "kind", "until"
    ):
        day = at.date()
        words.append(Word(vehicle_id, task, offer_id, day, kind))
        if due_id is not None and day >= facts.since.get(vehicle_id, date.max):
            facts.answers[due_id] = (kind, day, until)
    facts.rests = resting(words, since=facts.since, today=today)


def _people(facts: Facts, ids: set[int]) -> None:
    for consent in Consent.objects.filter(customer__in=ids, at__lte=facts.at).order_by("at", "id"):
        facts.consent[consent.customer_id, consent.purpose] = consent.given  # the latest holds
    addresses = Customer.objects.filter(pk__in=ids).values(low=Lower("email"))
    rows = Suppression.objects.annotate(low=Lower("email")).filter(lifted_at=None, low__in=addresses)
    for row in rows:
        facts.suppressed[row.studio_id, row.email.lower()] = row.why
    of_erased = {
        value: (studio_id, email.lower())
        for studio_id, email in Customer.objects.filter(pk__in=ids).exclude(email="").values_list("studio_id", "email")
        for value in digests(studio_id, email)
    }
    for value, why in Suppression.objects.filter(lifted_at=None, digest__in=of_erased).values_list("digest", "why"):
        facts.suppressed[of_erased[value]] = why
    facts.complaint = set(
        Complaint.objects.filter(customer__in=ids, closed_at=None).values_list("customer_id", flat=True)
    )


def _messages(facts: Facts, ids: set[int], dues: list[int]) -> None:
    """What went to these people in a year, and where the first notice of each window stands."""
    state_of: dict[int, tuple[str, datetime]] = {}
    # Copies of sealed reports are no reminders and use up no cap.
    rows = Message.objects.filter(customer__in=ids, report=None, written_at__gt=facts.at - timedelta(days=365))
    for message in rows.only(
        "customer_id", "purpose", "state", "state_at", "written_at", "headers", "reminder_id"
    ).order_by("written_at", "id"):
        if message.state not in NOT_SENT:
            facts.sent[message.customer_id, message.purpose].append((message.pk, message.written_at))
        for pk in message.told_of():
            state_of[pk] = (message.state, message.state_at)
    firsts = Reminder.objects.filter(due__in=dues, step=Step.FIRST).values_list("pk", "due_id", "state", "final")
    for pk, due_id, state, final in firsts:
        facts.first[due_id] = _first(state, final, state_of.get(pk))


def _first(state: str, final: bool, message: tuple[str, datetime] | None) -> tuple[str, datetime | None]:
    if state == ReminderState.WRITTEN:
        if message is None:
            return "unsent", None
        if message[0] in WENT_OUT:
            return "accepted", message[1]
        return ("unsent" if message[0] in (*NOT_SENT, MessageState.BOUNCED) else "on_way"), None
    return ("unsent" if state == ReminderState.SKIPPED and final else "none"), None
