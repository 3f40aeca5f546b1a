"""Visits that customers ask for: request, answer, other days, changes by either side, races, the clock, the mail."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from email.utils import parseaddr

import pytest
from django.db import IntegrityError, transaction

from lifecycle.care import answering, asking
from lifecycle.care.register import transfer
from lifecycle.care.visit_changes import ELSEWHERE, change
from lifecycle.care.visit_times import clock, span
from lifecycle.care.visits import book, propose, settle
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import CareDue, JournalEntry, Message, Visit, VisitProposal
from lifecycle.reminders import asked_for, letters, visit_letters
from lifecycle.reminders.facts import gather
from lifecycle.reminders.rules import Wait, decide
from tests import people
from tests.factories import NOW, TODAY, CareDueFactory, SiteFactory, VehicleFactory

pytestmark = pytest.mark.django_db
SOON = TODAY + timedelta(days=5)
DESK = {"actor": "member:1", "at": NOW}


@pytest.fixture
def world():
    keeper = people.customer()
    vehicle = VehicleFactory(site=SiteFactory(studio=keeper.studio), keeper=keeper)
    return vehicle, keeper, CareDueFactory(vehicle=vehicle)


def by(keeper):
    return {"studio": keeper.studio, "customer_id": keeper.pk, "actor": f"customer:{keeper.pk}", "at": NOW}


def asked(vehicle, keeper, **more):
    given = {"on": SOON, "tasks": ["decontamination_wash"], **more}
    return asking.ask(vehicle_id=vehicle.pk, **given, **by(keeper))


def due_state(due):
    return CareDue.objects.get(pk=due.pk).state


def test_a_proposal_is_accepted_inside_its_window_and_confirmed_by_the_studio(world):
    vehicle, keeper, due = world
    propose(at=NOW)
    proposal = VisitProposal.objects.get()
    with pytest.raises(DomainError, match="choose a day from"):
        asked(vehicle, keeper, on=proposal.latest + timedelta(days=1), proposal_id=proposal.pk)
    visit = asked(vehicle, keeper, on=proposal.latest, proposal_id=proposal.pk, part="morning")
    # Common practice, no source: chemical decontamination wash of a medium vehicle, 2.5 h.
    assert (visit.state, visit.tasks, visit.hours) == ("asked", ["decontamination_wash"], 2.5)
    assert due_state(due) == "asked"
    assert propose(at=NOW)["proposed"] == 0, "what is asked for is not proposed again"
    with pytest.raises(DomainError, match="already asked for"):
        asked(vehicle, keeper)
    answering.confirm(studio=keeper.studio, visit_id=visit.pk, on=proposal.latest, starts=time(9), seen=0, **DESK)
    visit.refresh_from_db()
    assert (visit.state, visit.starts, visit.sequence, due_state(due)) == ("booked", time(9), 1, "booked")
    assert list(JournalEntry.objects.filter(subject="visit").values_list("verb", "actor")) == [
        ("visit asked for", f"customer:{keeper.pk}"), ("visit confirmed", "member:1"),
    ]  # fmt: skip


def test_a_declined_request_opens_its_window_and_the_next_run_proposes_again(world):
    vehicle, keeper, due = world
    propose(at=NOW)
    visit = asked(vehicle, keeper, proposal_id=VisitProposal.objects.get().pk)
    with pytest.raises(DomainError, match="reason"):
        answering.decline(studio=keeper.studio, visit_id=visit.pk, reason=" ", **DESK)
    answering.decline(studio=keeper.studio, visit_id=visit.pk, reason="The bay is being painted.", **DESK)
    assert due_state(due) == "open"
    assert propose(at=NOW)["proposed"] == 1
    with pytest.raises(DomainError, match="already settled: declined"):
        answering.confirm(studio=keeper.studio, visit_id=visit.pk, on=SOON, starts=None, **DESK)


def test_a_request_holds_its_reminders_back_as_asked(world):
    vehicle, keeper, due = world
    asked(vehicle, keeper)
    row = CareDue.objects.select_related("vehicle__studio", "vehicle__site").get(pk=due.pk)
    decision = decide(gather([row], at=NOW, people={keeper.pk}).of(row, "first", keeper))
    assert isinstance(decision, Wait)
    assert "is asked for" in decision.reason


def test_other_days_are_offered_chosen_once_and_only_from_the_list(world):
    vehicle, keeper, due = world
    visit = asked(vehicle, keeper)
    first, second = (datetime.fromisoformat(day) for day in ("2026-03-09T09:00", "2026-03-10T13:30"))
    with pytest.raises(DomainError, match="1 to 5"):
        answering.offer_days(studio=keeper.studio, visit_id=visit.pk, offers=[], **DESK)
    answering.offer_days(studio=keeper.studio, visit_id=visit.pk, offers=[second, first], **DESK)
    visit.refresh_from_db()
    assert visit.offered == ["2026-03-09T09:00", "2026-03-10T13:30"]
    with pytest.raises(DomainError, match="choose one"):
        asking.choose_day(visit_id=visit.pk, offer="2026-03-11T09:00", **by(keeper))
    asking.choose_day(visit_id=visit.pk, offer="2026-03-10T13:30", **by(keeper))
    visit.refresh_from_db()
    assert (visit.state, visit.on, visit.starts) == ("booked", date(2026, 3, 10), time(13, 30))
    assert due_state(due) == "booked"
    with pytest.raises(DomainError, match="already settled: booked"):
        asking.choose_day(visit_id=visit.pk, offer="2026-03-10T13:30", **by(keeper))


def test_a_booked_day_holds_until_the_studio_has_answered_the_wish_for_another(world):
    vehicle, keeper, _due = world
    visit = book(studio=keeper.studio, vehicle_id=vehicle.pk, on=SOON, tasks=["decontamination_wash"], **DESK)
    later = SOON + timedelta(days=3)
    asking.ask_for_day(visit_id=visit.pk, on=later, **by(keeper))
    visit.refresh_from_db()
    assert (visit.state, visit.on, visit.wanted_on) == ("booked", SOON, later)
    answering.decline(studio=keeper.studio, visit_id=visit.pk, reason="Full.", **DESK)
    visit.refresh_from_db()
    assert (visit.state, visit.on, visit.wanted_on) == ("booked", SOON, None)
    asking.ask_for_day(visit_id=visit.pk, on=later, **by(keeper))
    answering.confirm(studio=keeper.studio, visit_id=visit.pk, on=later, starts=time(10), **DESK)
    visit.refresh_from_db()
    assert (visit.on, visit.starts, visit.wanted_on, visit.sequence) == (later, time(10), None, 4)


def test_a_customer_cancels_until_the_notice_ends_and_then_is_asked_to_phone(world):
    vehicle, keeper, due = world
    visit = book(
        studio=keeper.studio, vehicle_id=vehicle.pk, on=SOON, tasks=["decontamination_wash"], starts=time(9), **DESK
    )
    # 9:00 in Oslo in March is 8:00 UTC (Europe/Oslo is UTC+1 until 29 March 2026, IANA tz database).
    limit = datetime(2026, 3, 6, 8, 0, tzinfo=UTC)
    assert asking.notice_ends(visit) == limit
    late = by(keeper) | {"at": limit + timedelta(minutes=1)}
    for deed in (asking.call_off, lambda **given: asking.ask_for_day(on=SOON + timedelta(days=9), **given)):
        with pytest.raises(DomainError, match=r"less than 24 hours .* phone the studio. \+47"):
            deed(visit_id=visit.pk, **late)
    answering.set_notice(studio=keeper.studio, hours=12, **DESK)
    asking.call_off(visit_id=visit.pk, **late)
    assert due_state(due) == "open"
    assert Visit.objects.get().state == "cancelled"
    with pytest.raises(DomainError, match="0 to 336"):
        answering.set_notice(studio=keeper.studio, hours=337, **DESK)


def test_the_second_of_two_who_act_at_once_is_told(world):
    """The customer cancels while the desk confirms: whoever comes second finds the visit changed, nothing is undone."""
    vehicle, keeper, due = world
    visit = asked(vehicle, keeper)
    read_by_desk = Visit.objects.get(pk=visit.pk)
    asking.ask_for_day(visit_id=visit.pk, on=SOON + timedelta(days=1), seen=0, **by(keeper))
    with pytest.raises(DomainError, match=ELSEWHERE):
        answering.confirm(studio=keeper.studio, visit_id=visit.pk, on=SOON, starts=time(9), seen=0, **DESK)
    with pytest.raises(DomainError, match=ELSEWHERE), transaction.atomic():
        change(read_by_desk, verb="visit confirmed", state="booked", **DESK)  # the lock aside: compare-and-set holds
    asking.call_off(visit_id=visit.pk, **by(keeper))
    with pytest.raises(DomainError, match="already settled: cancelled"):
        answering.confirm(studio=keeper.studio, visit_id=visit.pk, on=SOON, starts=time(9), **DESK)
    with pytest.raises(DomainError, match="already settled: cancelled"):
        asking.call_off(visit_id=visit.pk, **by(keeper))
    assert due_state(due) == "open"
    assert JournalEntry.objects.filter(subject_id=visit.pk, verb="visit confirmed").count() == 0


def test_nobody_asks_for_or_changes_what_is_anothers(world):
    vehicle, keeper, _due = world
    visit, other, beside = asked(vehicle, keeper), people.customer(), people.customer(keeper.studio)
    for stranger in (other, beside):
        with pytest.raises(NotFoundHere):
            asked(vehicle, stranger)
        for deed in (
            lambda who: asking.call_off(visit_id=visit.pk, **by(who)),
            lambda who: asking.ask_for_day(visit_id=visit.pk, on=SOON, **by(who)),
            lambda who: asking.choose_day(visit_id=visit.pk, offer="x", **by(who)),
        ):
            with pytest.raises(NotFoundHere):
                deed(stranger)
    with pytest.raises(NotFoundHere):
        answering.decline(studio=other.studio, visit_id=visit.pk, reason="no", **DESK)
    assert Visit.objects.get().state == "asked"


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"on": TODAY - timedelta(days=1)}, "on"),
        ({"on": TODAY + timedelta(days=401)}, "on"),
        ({"part": "night"}, "part"),
        ({"tasks": ["polish_the_moon"]}, "tasks"),
        ({"tasks": []}, "wish"),
        ({"wish": "x" * 501}, "wish"),
    ],
)
def test_a_wrong_request_is_refused_with_its_field(world, given, field):
    vehicle, keeper, _due = world
    with pytest.raises(DomainError) as refused:
        asked(vehicle, keeper, **given)
    assert refused.value.field == field
    assert Visit.objects.count() == 0


def test_a_request_nobody_answers_lapses_with_its_day_and_a_transfer_ends_what_was_asked(world):
    vehicle, keeper, due = world
    asked(vehicle, keeper, wish="before my holiday")
    propose(at=NOW + timedelta(days=5))
    assert Visit.objects.get().state == "asked", "its day is not over"
    propose(at=NOW + timedelta(days=6))
    visit = Visit.objects.get()
    assert (visit.state, visit.wish, due_state(due)) == ("cancelled", "", "open")
    asked(vehicle, keeper, wish="once more")
    booked = book(studio=keeper.studio, vehicle_id=vehicle.pk, on=SOON, tasks=["inspection"], **DESK)
    buyer = people.customer(keeper.studio)
    transfer(studio=keeper.studio, vehicle_id=vehicle.pk, to_customer_id=buyer.pk, on=TODAY, **DESK)
    assert not Visit.objects.filter(state="asked").exists()
    assert not Visit.objects.exclude(wish="").exists()
    booked.refresh_from_db()
    assert (booked.state, booked.customer_id) == ("booked", buyer.pk)


def test_the_database_refuses_states_that_cannot_be(world):
    vehicle, keeper, _due = world
    visit = asked(vehicle, keeper)
    for wrong in (
        {"wanted_on": SOON}, {"settled_at": NOW}, {"state": "offered"}, {"state": "dreamt_of"}, {"part": "night"},
    ):  # fmt: skip
        with pytest.raises(IntegrityError), transaction.atomic():
            Visit.objects.filter(pk=visit.pk).update(**wrong)


def test_a_missed_visit_is_on_record_and_opens_its_window(world):
    vehicle, keeper, due = world
    visit = asked(vehicle, keeper, on=TODAY)
    with pytest.raises(DomainError, match="already settled: asked for"):
        settle(studio=keeper.studio, visit_id=visit.pk, state="no_show", **DESK)
    answering.confirm(studio=keeper.studio, visit_id=visit.pk, on=TODAY, starts=time(15), **DESK)
    settle(studio=keeper.studio, visit_id=visit.pk, state="no_show", **DESK)
    assert (Visit.objects.get().state, Visit.objects.get().sequence, due_state(due)) == ("no_show", 2, "open")


# The dates of the changes of the clock: IANA time zone database. Oslo: EU rule, last Sundays of March and October, at
# 01:00 UTC. Sydney: first Sundays of October (forward) and April (back), at 2:00 and 3:00 local.
@pytest.mark.parametrize(
    ("zone", "gap", "twice"),
    [
        ("Europe/Oslo", date(2026, 3, 29), date(2026, 10, 25)),
        ("Australia/Sydney", date(2026, 10, 4), date(2026, 4, 5)),
    ],
)
def test_both_changes_of_the_clock(zone, gap, twice):
    with pytest.raises(DomainError, match="clocks go forward over 02:30"):
        clock("starts", gap, time(2, 30), zone)
    forward = span(gap, time(1, 30), 3, zone)
    back = span(twice, time(1, 30), 3, zone)
    assert (forward.start.time(), forward.end.time()) == (time(1, 30), time(5, 30))
    assert (back.start.time(), back.end.time()) == (time(1, 30), time(3, 30))
    for one in (forward, back):
        assert one.end.astimezone(UTC) - one.start.astimezone(UTC) == timedelta(hours=3)
    assert span(gap, None, 2, zone).whole_days
    assert span(gap, time(9), 25, zone).end - gap == timedelta(days=3)


def test_the_answer_is_mailed_once_in_the_persons_language_and_stopped_when_it_no_longer_holds(world):
    vehicle, keeper, _due = world
    visit = asked(vehicle, keeper)
    done = visit_letters.confirm(studio=keeper.studio, visit_id=visit.pk, on=SOON, starts=time(9), **DESK)
    mail = Message.objects.select_related("customer__studio").get()
    assert mail == done.message
    assert "7 March 2026, 09:00" in mail.subject
    assert parseaddr(mail.to_email)[1] == keeper.email
    assert "/my/visits/" in mail.text
    assert "/my/visits/" in mail.html
    assert "List-Unsubscribe" not in mail.headers, "it is no reminder"
    assert isinstance(letters.look([mail], at=NOW).verdict(mail), letters.Go)
    visit_letters.cancel(studio=keeper.studio, visit_id=visit.pk, **DESK)
    stop = letters.look([mail], at=NOW).verdict(mail)
    assert isinstance(stop, letters.Stop)
    assert "changed since" in stop.reason
    assert Message.objects.count() == 2
    keeper.email = ""
    keeper.save()
    again = asked(vehicle, keeper)
    told = visit_letters.decline(studio=keeper.studio, visit_id=again.pk, reason="Full until May.", **DESK)
    assert (told.message, told.no_mail) == (None, asked_for.NO_ADDRESS)


def test_an_answer_that_an_outage_held_past_the_day_of_the_visit_is_stopped_and_an_offer_of_other_days_is_not(world):
    vehicle, keeper, _due = world
    visit = asked(vehicle, keeper)
    late = datetime.combine(SOON + timedelta(days=1), time(9), UTC)
    days = [datetime.combine(SOON + timedelta(days=9), time(9))]
    offer = visit_letters.offer_days(studio=keeper.studio, visit_id=visit.pk, offers=days, **DESK).message
    assert isinstance(letters.look([offer], at=late).verdict(offer), letters.Go)
    mail = visit_letters.confirm(studio=keeper.studio, visit_id=visit.pk, on=SOON, starts=time(9), **DESK).message
    assert isinstance(letters.look([mail], at=late - timedelta(days=1)).verdict(mail), letters.Go)
    assert letters.look([mail], at=late).verdict(mail) == letters.Stop("The day of the visit is over.")
