"""When to write to somebody, and when not to, with the reason. Pure: no Django, no database, no clock.

The ladder of one care window: a first notice when it opens (or in time for the day that a visit is planned for), one
follow-up about half-way to its end (or to that day), a last notice only before a date that a contract names. Everything
else is a reason not to write. The figures are judgement and house rules, no source, except where one is named.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta, tzinfo
from typing import ClassVar, Final

from lifecycle.reminders.quiet import morning, out_of_quiet_hours

FOLLOW_UP_AFTER_DAYS: Final = 14
LAST_BEFORE_DAYS: Final = 14
PROMOTION_AFTER_VISIT_DAYS: Final = 21
PROMOTION_GAP_DAYS: Final = 30
PROMOTIONS_A_YEAR: Final = 6
SERVICE_GAP_DAYS: Final = 7
# How late a follow-up or last notice may go out (the machine was off for a weekend); later it would be out of place.
GRACE_DAYS: Final = 3
# So long before the day that the site's calendar suggests the first notice goes out: time to answer. Judgement.
BEFORE_PLANNED_DAYS: Final = 21

# For so long nobody is written to about work that was just done, although its outcome is not on record. Judgement.
DONE_FOR_DAYS: Final = 60

LIVE: Final = ("open", "asked", "booked")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReminderFacts:
    """All that the decision about one step of one care window needs.

    Attributes:
        step: first, follow_up or last.
        purpose: service (care of what is already there) or promotion (a new coat, film, correction, engine bay work).
        now: aware.  zone: the recipient's.
        earliest, latest: the care window.  contract_on: the date that a contract names, if any.
        planned_on: the day that the site's calendar suggests for the visit that would do this care, if any.
        plan_awaited: the window is new, and the calendar has not looked for such a day yet.
        due_state: open, asked, booked, done or withdrawn.
        booked_on: day of a booked visit that covers this care.
        retired, stored: the vehicle is gone for good; is in storage today.
        refused: why the studio does not offer this work (over the clear-coat budget …), "" if it does.
        done_on: day of the latest visit that did this work, as far as its outcome is not on record; None otherwise.
        awaited: what of it is missing on record ("the new layer"); "" where a visit leaves nothing to record.
        declined: day on which the person's latest word on this window was no.
        deferred_until: the day until which their latest word put it off, also after that day.
        resting_until: they said no to this work twice in a row, so it is left alone until this day.
        enrolled_on: the day since which vehicle and person are both on record here; None where nobody knows.
        keeper_now: the person to be written to keeps the vehicle today.
        has_address: there is an e-mail address.  suppressed: why it must not be used, "" if it may.
        consent: given, withdrawn (False) or unknown (None), for this purpose.
        complaint_open: of this person.
        owed: the studio owes this look (a contract date, a first check, an event), so it is told of even then.
        pressing: the care is owed, or overdue; it is told of when its window opens, whatever day is planned.
        last_visit, next_visit: days of the person's last visit that took place and next booked one.
        sent: aware times of the messages of this purpose to this person in the last 365 days, in any order.
        first: where the first notice of this window stands: none (not written yet), on_way, accepted, unsent (it was
            written and did not go out).  first_at: when it was accepted.
        studio_paused: the studio holds all reminders back.
        paused_until: the day until which this person wants to hear nothing, also after that day.
        quiet: the person's own quiet hours, from and to on their clock; None: those of the house.
    """

    step: str
    purpose: str
    now: datetime
    zone: tzinfo
    earliest: date
    latest: date
    contract_on: date | None = None
    planned_on: date | None = None
    plan_awaited: bool = False
    due_state: str = "open"
    booked_on: date | None = None
    retired: bool = False
    stored: bool = False
    refused: str = ""
    done_on: date | None = None
    awaited: str = ""
    declined: date | None = None
    deferred_until: date | None = None
    resting_until: date | None = None
    enrolled_on: date | None = None
    keeper_now: bool = True
    has_address: bool = True
    suppressed: str = ""
    consent: bool | None = True
    complaint_open: bool = False
    owed: bool = False
    pressing: bool = False
    last_visit: date | None = None
    next_visit: date | None = None
    sent: tuple[datetime, ...] = ()
    first: str = "none"
    first_at: datetime | None = None
    studio_paused: bool = False
    paused_until: date | None = None
    quiet: tuple[time, time] | None = None


@dataclass(frozen=True, slots=True)
class Send:
    """Write, not before `at` (aware, UTC, never in the recipient's quiet hours, never before now).

    Attributes:
        planned_on: the day that the mail may name as the one that would suit the studio; None: name none.
    """

    at: datetime
    reason_code: str
    reason: str
    planned_on: date | None = None
    final: ClassVar[bool] = False


@dataclass(frozen=True, slots=True)
class Wait:
    """Do not write now; look again next time."""

    reason_code: str
    reason: str
    final: ClassVar[bool] = False


@dataclass(frozen=True, slots=True)
class Skip:
    """Do not write, for good."""

    reason_code: str
    reason: str
    final: ClassVar[bool] = True


Decision = Send | Wait | Skip


def decide(facts: ReminderFacts) -> Decision:
    """Decide about one step of one care window.

    Raises:
        ValueError: `now` is not aware, the step or purpose is unknown, or the window ends before it begins.
    """
    _check(facts)
    barred = _about_the_care(facts) or _about_the_person(facts) or _about_their_word(facts) or _about_offers(facts)
    if barred is not None:
        return barred
    planned = _time_on_the_ladder(facts)
    if isinstance(planned, Wait | Skip):
        return planned
    decision = _spaced(facts, _after_their_day(facts, planned))
    return replace(decision, planned_on=_planned_on(facts, decision.at)) if isinstance(decision, Send) else decision


def _planned_on(facts: ReminderFacts, at: datetime) -> date | None:
    """The planned day, where it lies inside the window and is still to come when the notice goes out."""
    day = facts.planned_on
    if day is None or not facts.earliest <= day <= facts.latest:
        return None
    return day if day > at.astimezone(facts.zone).date() else None


def _check(facts: ReminderFacts) -> None:
    if facts.now.utcoffset() is None:
        raise ValueError("now has no time zone; pass an aware time.")
    if facts.step not in ("first", "follow_up", "last"):
        raise ValueError(f"step is {facts.step!r}; use first, follow_up or last.")
    if facts.purpose not in ("service", "promotion"):
        raise ValueError(f"purpose is {facts.purpose!r}; use service or promotion.")
    if facts.latest < facts.earliest:
        raise ValueError(f"the window ends on {facts.latest}, before it begins on {facts.earliest}.")


def _today(facts: ReminderFacts) -> date:
    return facts.now.astimezone(facts.zone).date()


def _first_that_holds(checks: Iterable[tuple[bool, Wait | Skip]]) -> Wait | Skip | None:
    return next((decision for holds, decision in checks if holds), None)


def _about_the_care(facts: ReminderFacts) -> Wait | Skip | None:
    """Reasons that lie with the vehicle, the care or the studio."""
    return _first_that_holds(
        (
            (
                facts.due_state not in LIVE,
                Skip(f"due_{facts.due_state}", f"The care is no longer open: {facts.due_state}."),
            ),
            (facts.retired, Skip("vehicle_retired", "The vehicle is no longer looked after here.")),
            (facts.studio_paused, Wait("studio_paused", "The studio has paused its reminders.")),
            (facts.booked_on is not None, Wait("booked", f"A visit on {facts.booked_on} covers this care.")),
            (facts.due_state == "asked", Wait("asked", "A visit for this care is asked for; the answer is awaited.")),
            (facts.due_state == "booked", Wait("booked", "A booked visit covers this care.")),
            (bool(facts.refused), Wait("refused", f"The studio does not offer this work here: {facts.refused}"[:300])),
            (_just_done(facts), Wait("just_done", _just_done_words(facts))),
            (facts.stored, Wait("vehicle_stored", "The vehicle is in storage.")),
            (_today(facts) > facts.latest, Wait("window_over", f"The window ended on {facts.latest}.")),
        )
    )


def _just_done(facts: ReminderFacts) -> bool:
    return facts.done_on is not None and (_today(facts) - facts.done_on).days <= DONE_FOR_DAYS


def _just_done_words(facts: ReminderFacts) -> str:
    if facts.awaited:
        return f"Done on {facts.done_on}; {facts.awaited} is not on record yet."
    return f"Done on {facts.done_on}; it is not written about again for {DONE_FOR_DAYS} days."


def _about_the_person(facts: ReminderFacts) -> Wait | Skip | None:
    """Reasons that lie with the person: keeper, address, consent."""
    kind = "care reminders" if facts.purpose == "service" else "offers"
    return _first_that_holds(
        (
            (not facts.keeper_now, Wait("previous_keeper", "This person does not keep the vehicle any more.")),
            (not facts.has_address, Wait("no_address", "There is no e-mail address.")),
            (
                bool(facts.suppressed),
                Wait("suppressed", f"The address must not be written to: {facts.suppressed}."[:300]),
            ),
            (
                facts.consent is None,
                Wait("consent_unknown", f"It is not known whether this person wants {kind}."),
            ),
            (
                facts.complaint_open and not facts.owed,
                Wait("complaint_open", "A complaint is open; only what the studio owes is told of until it is closed."),
            ),
            (facts.consent is False, Wait("consent_withdrawn", f"This person does not want {kind}.")),
            (
                facts.paused_until is not None and _today(facts) < facts.paused_until,
                Wait("paused_by_person", f"This person wants to hear nothing until {facts.paused_until}."),
            ),
        )
    )


def _about_their_word(facts: ReminderFacts) -> Wait | None:
    """A no holds for this window, a later until its day, two in a row for a year. They may change their mind."""
    today, until, rests = _today(facts), facts.deferred_until, facts.resting_until
    if facts.declined is not None:
        return Wait("declined", f"The answer on {facts.declined} was no; this window is not written about again.")
    if until is not None and today < until:
        return Wait("deferred", f"Put off until {until} by the person; nothing is written before.")
    # A contract date, a first check or something that happened is told of all the same: it is no offer.
    if rests is not None and today < rests and not facts.owed:
        return Wait("resting", f"Declined twice in a row: it is left alone until {rests}.")
    return None


def _about_offers(facts: ReminderFacts) -> Wait | None:
    """Reasons that hold an offer back, but not a care reminder."""
    if facts.purpose != "promotion":
        return None
    near = timedelta(days=PROMOTION_AFTER_VISIT_DAYS)
    today = _today(facts)
    if facts.last_visit is not None and today - facts.last_visit < near:
        return Wait(
            "visit_recent",
            f"The last visit was on {facts.last_visit}; nothing is offered for {PROMOTION_AFTER_VISIT_DAYS} days.",
        )
    if facts.next_visit is not None and facts.next_visit - today < near:
        return Wait("visit_soon", f"A visit is booked for {facts.next_visit}; offers wait until after it.")
    return None


def _time_on_the_ladder(facts: ReminderFacts) -> Send | Wait | Skip:
    if facts.step == "first":
        return _first_notice(facts)
    if facts.step == "follow_up":
        return _follow_up(facts)
    if facts.contract_on is None:
        return Wait("no_contract_date", "A last notice is only written before a date that a contract names.")
    if facts.first in ("none", "on_way"):
        return Wait("first_comes_first", "The first notice has not gone out yet.")
    day = facts.contract_on - timedelta(days=LAST_BEFORE_DAYS)
    return Send(
        morning(day, facts.zone),
        "contract_date_near",
        f"The contract names {facts.contract_on}; this is {LAST_BEFORE_DAYS} days before.",
    )


def _first_notice(facts: ReminderFacts) -> Send | Wait:
    opens = morning(facts.earliest, facts.zone)
    day = _planned_on(facts, facts.now)
    if day is not None and not facts.pressing and day - timedelta(days=BEFORE_PLANNED_DAYS) > facts.earliest:
        return _before_planned(facts, day)
    if facts.now >= opens:
        if facts.plan_awaited and not facts.pressing and _today(facts) + timedelta(days=1) < facts.latest:
            return Wait("plan_awaited", "A day for the visit is being looked for; this waits for it a day at most.")
        return Send(facts.now, "window_open", f"The window has been open since {facts.earliest}.")
    return Send(opens, "window_opens", f"The window opens on {facts.earliest}.")


def _before_planned(facts: ReminderFacts, day: date) -> Send:
    """The first notice of a window in which a visit is planned late: not at its opening, but in time to answer."""
    at = morning(day - timedelta(days=BEFORE_PLANNED_DAYS), facts.zone)
    if facts.now >= at:
        return Send(facts.now, "planned_day", f"A visit is planned for {day}; that is no more than three weeks away.")
    return Send(at, "planned_day", f"A visit is planned for {day}; this is {BEFORE_PLANNED_DAYS} days before.")


def _follow_up(facts: ReminderFacts) -> Send | Wait | Skip:
    if facts.first in ("none", "on_way"):
        return Wait("first_comes_first", "The first notice has not gone out yet.")
    start = facts.earliest
    soonest = facts.earliest
    if facts.first == "accepted" and facts.first_at is not None:
        start = facts.first_at.astimezone(facts.zone).date()
        soonest = start + timedelta(days=FOLLOW_UP_AFTER_DAYS)
    day = _planned_on(facts, facts.now)
    if day is not None and day > soonest:
        half_way = max(start + (day - start) // 2, soonest)
        return Send(morning(half_way, facts.zone), "half_way", f"About half-way to the visit planned for {day}.")
    half_way = start + (facts.latest - start) // 2
    return Send(
        morning(max(half_way, soonest), facts.zone),
        "half_way",
        f"About half-way to the end of the window on {facts.latest}.",
    )


def _after_their_day(facts: ReminderFacts, planned: Send) -> Send:
    """What was put off comes when it was asked for, and is not lost because its own time lay before. A pause of all
    reminders puts off whatever fell into it."""
    for until, code, words in (
        (facts.deferred_until, "put_off", "The person put it off until {}."),
        (facts.paused_until, "after_pause", "The person wanted to hear nothing until {}."),
    ):
        if until is not None and planned.at < (asked_for := morning(until, facts.zone)):
            planned = Send(asked_for, code, words.format(until))
    return planned


def _allowed_from(facts: ReminderFacts) -> datetime | None:
    """The first moment at which the spacing between messages to one person lets another go; None: at any time."""
    past = sorted(one for one in facts.sent if one <= facts.now)
    if not past:
        return None
    if facts.purpose == "service":
        return past[-1] + timedelta(days=SERVICE_GAP_DAYS)
    allowed = past[-1] + timedelta(days=PROMOTION_GAP_DAYS)
    if len(past) >= PROMOTIONS_A_YEAR:
        allowed = max(allowed, past[-PROMOTIONS_A_YEAR] + timedelta(days=365))
    return allowed


def _spaced(facts: ReminderFacts, planned: Send) -> Decision:
    """Keep the distance to other messages, the quiet hours and the end of the window."""
    end = facts.latest
    if facts.step == "last" and facts.contract_on is not None:
        end = min(end, facts.contract_on)
    allowed = _allowed_from(facts)
    target, code, reason = planned.at, planned.reason_code, planned.reason
    if allowed is not None and allowed > max(target, facts.now):
        target = allowed
        code = "another_first"
        reason = f"Another notice to this person went out first; {_gap_words(facts)}."
    elif allowed is not None:
        target = max(target, allowed)
    day = target.astimezone(facts.zone).date()
    # A first notice is written however late they came: the care is still open. The later ones lean on an earlier one
    # that nobody wrote to this person.
    if facts.step != "first" and facts.enrolled_on is not None and day < facts.enrolled_on:
        return Skip(
            "enrolled_later",
            f"Its time, {day}, was before vehicle and person were both on record here ({facts.enrolled_on}).",
        )
    if facts.step != "first" and facts.now - target > timedelta(days=GRACE_DAYS):
        return Skip("time_passed", f"Its time, {day}, had passed before it could be written.")
    at = out_of_quiet_hours(max(target, facts.now), facts.zone, facts.quiet)
    if at.astimezone(facts.zone).date() > end:
        if code == "another_first":
            return Wait(code, f"{reason[:-1]}, and the window ends on {end}.")
        return Wait("window_too_short", f"No time is left for it before {end}.")
    return Send(at, code, reason)


def _gap_words(facts: ReminderFacts) -> str:
    if facts.purpose == "service":
        return f"at most one care reminder in {SERVICE_GAP_DAYS} days"
    return f"at most one offer in {PROMOTION_GAP_DAYS} days and {PROMOTIONS_A_YEAR} a year"
