"""Visits: proposals that follow the windows, bookings that quieten them, and what a finished visit tells."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from lifecycle.care.visits import book, due_of, propose, settle
from lifecycle.care.wheels import mount
from lifecycle.care.worklist import windows_of
from lifecycle.condition import rows_for, vehicle_input
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import CareDue, CareEvent, ContractTerm, Inspection, Mounted, Visit, VisitProposal
from tests.factories import NOW, TODAY, CareDueFactory, StudioFactory, SurfaceFactory, VehicleFactory

pytestmark = pytest.mark.django_db
BY = {"actor": "member:1", "at": NOW}


@pytest.fixture
def vehicle():
    return VehicleFactory()


def booked(vehicle, tasks=("decontamination_wash",), on=TODAY):
    return book(studio=vehicle.studio, vehicle_id=vehicle.pk, on=on, tasks=list(tasks), **BY)


def test_windows_that_overlap_become_one_proposal_and_a_second_run_changes_nothing(vehicle):
    CareDueFactory(vehicle=vehicle)
    CareDueFactory(vehicle=vehicle, task="inspection")
    assert propose(at=NOW)["proposed"] == 1
    proposal = VisitProposal.objects.get()
    assert set(proposal.tasks) == {"decontamination_wash", "inspection"}
    assert proposal.tasks.index("decontamination_wash") < proposal.tasks.index("inspection"), "clean before looking"
    assert proposal.dues.count() == 2
    again = propose(at=NOW)
    assert (again["proposed"], again["withdrawn"], VisitProposal.objects.count()) == (0, 0, 1)


def test_windows_far_apart_are_two_visits(vehicle):
    CareDueFactory(vehicle=vehicle, latest=TODAY + timedelta(days=25))
    late = TODAY + timedelta(days=70)
    CareDueFactory(vehicle=vehicle, task="inspection", earliest=late, ideal=late, latest=late + timedelta(days=20))
    assert propose(at=NOW)["proposed"] == 2


def test_a_proposal_whose_window_is_gone_is_withdrawn(vehicle):
    due = CareDueFactory(vehicle=vehicle)
    propose(at=NOW)
    due.state, due.closed_at = "withdrawn", NOW
    due.save()
    assert propose(at=NOW)["withdrawn"] == 1
    assert VisitProposal.objects.get().state == "withdrawn"


def test_a_moved_window_moves_its_proposal(vehicle):
    due = CareDueFactory(vehicle=vehicle)
    propose(at=NOW)
    due.latest += timedelta(days=9)
    due.save()
    propose(at=NOW)
    assert VisitProposal.objects.get().latest == due.latest


def test_a_booking_covers_its_windows_and_takes_hours_from_the_table(vehicle):
    due = CareDueFactory(vehicle=vehicle)
    propose(at=NOW)
    visit = book(
        studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY + timedelta(days=3), tasks=["decontamination_wash"],
        proposal_id=VisitProposal.objects.get().pk, **BY,
    )  # fmt: skip
    due.refresh_from_db()
    assert (due.state, VisitProposal.objects.get().state) == ("booked", "accepted")
    # Common practice, no source: chemical decontamination wash of a medium vehicle, 2.5 h.
    assert visit.hours == 2.5


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"tasks": []}, "tasks: none"),
        ({"tasks": ["polish_the_moon"]}, "polish_the_moon"),
        ({"on": TODAY - timedelta(days=1)}, "lies in the past"),
        ({"hours": 0}, "more than 0"),
    ],
)
def test_a_wrong_booking_is_refused(vehicle, change, says):
    given = {"studio": vehicle.studio, "vehicle_id": vehicle.pk, "on": TODAY, "tasks": ["inspection"], **BY, **change}
    with pytest.raises(DomainError, match=says):
        book(**given)
    assert Visit.objects.count() == 0


def test_a_second_click_books_nothing(vehicle):
    booked(vehicle)
    with pytest.raises(DomainError, match="decontamination wash is already booked for"):
        booked(vehicle)
    booked(vehicle, ["inspection"])
    assert Visit.objects.count() == 2


def test_a_foreign_vehicle_cannot_be_booked(vehicle):
    with pytest.raises(NotFoundHere):
        book(studio=StudioFactory(), vehicle_id=vehicle.pk, on=TODAY, tasks=["inspection"], **BY)


def test_done_closes_the_window_and_tells_the_forecast(vehicle):
    due = CareDueFactory(vehicle=vehicle)
    vehicle.assess_again = False
    vehicle.save()
    settle(studio=vehicle.studio, visit_id=booked(vehicle).pk, state="done", paid=Decimal("120"), **BY)
    due.refresh_from_db()
    vehicle.refresh_from_db()
    assert (due.state, due.closed_at) == ("done", NOW)
    assert CareEvent.objects.get().kind == "decontamination"
    assert vehicle.assess_again is True


def test_a_finished_inspection_meets_the_contract_date(vehicle):
    near = ContractTerm.objects.create(
        studio=vehicle.studio, vehicle=vehicle, title="yearly", due=TODAY + timedelta(days=10), tolerance_days=30
    )
    far = ContractTerm.objects.create(
        studio=vehicle.studio, vehicle=vehicle, title="yearly", due=TODAY + timedelta(days=375), tolerance_days=30
    )
    settle(studio=vehicle.studio, visit_id=booked(vehicle, ["inspection"]).pk, state="done", **BY)
    near.refresh_from_db()
    far.refresh_from_db()
    assert (near.done_on, far.done_on) == (TODAY, None)


def test_a_finished_look_is_on_record_once_and_a_retest_needs_its_reading(vehicle):
    settle(studio=vehicle.studio, visit_id=booked(vehicle, ["inspection"]).pk, state="done", **BY)
    settle(studio=vehicle.studio, visit_id=booked(vehicle, ["first_check"]).pk, state="done", **BY)
    settle(studio=vehicle.studio, visit_id=booked(vehicle, ["retest"]).pk, state="done", **BY)
    kept = Inspection.objects.get()
    assert (kept.on, kept.clean_state, kept.note) == (TODAY, "washed", "Looked at: inspection.")
    given = vehicle_input(rows_for([vehicle.pk])[0], as_of=TODAY)
    assert [event.kind for event in given.events] == ["inspected"]


@pytest.mark.parametrize("state", ["cancelled", "no_show"])
def test_a_visit_that_did_not_happen_opens_its_window_again(vehicle, state):
    CareDueFactory(vehicle=vehicle)
    settle(studio=vehicle.studio, visit_id=booked(vehicle).pk, state=state, **BY)
    assert CareDue.objects.get().state == "open"
    assert CareEvent.objects.count() == 0


def test_a_visit_is_settled_once_and_not_before_its_day(vehicle):
    visit = booked(vehicle, on=TODAY + timedelta(days=2))
    with pytest.raises(DomainError, match="cannot be done before"):
        settle(studio=vehicle.studio, visit_id=visit.pk, state="done", **BY)
    settle(studio=vehicle.studio, visit_id=visit.pk, state="cancelled", **BY)
    with pytest.raises(DomainError, match="already settled"):
        settle(studio=vehicle.studio, visit_id=visit.pk, state="done", **BY)


def test_the_day_of_a_proposal_is_that_of_the_site(vehicle):
    """IANA time zone database: Auckland is 13 h ahead of UTC in March, Honolulu 10 h behind."""
    at = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
    due = CareDueFactory(
        vehicle=vehicle, earliest=date(2026, 2, 1), ideal=date(2026, 2, 10), latest=date(2026, 4, 1), opened_at=at
    )
    for zone, day in (("Pacific/Auckland", date(2026, 3, 3)), ("Pacific/Honolulu", date(2026, 3, 2))):
        vehicle.site.zone = zone
        vehicle.site.save()
        propose(at=at)
        assert VisitProposal.objects.get().earliest == day, zone
    vehicle.site.zone = "Pacific/Honolulu"
    vehicle.site.save()
    propose(at=at.replace(hour=9))
    assert VisitProposal.objects.get().earliest == date(2026, 3, 1)
    due.words = {"overdue_since": "2026-02-20", "cause": "c", "hours": 0.5, "answer_h": 12.0}
    told = due_of(due)
    assert (told.overdue_since, told.cause, told.hours, told.answer_h) == (date(2026, 2, 20), "c", 0.5, 12.0)


def test_an_event_is_planned_with_its_own_hours_and_called_about_on_the_clock_of_the_site(vehicle):
    """Common practice, no source: 0.3 to 3 h by what has happened; in hot weather the same day."""
    vehicle.site.zone = "Europe/Berlin"
    vehicle.site.save()
    CareDueFactory(
        vehicle=vehicle,
        task="event_response",
        reason_code="event",
        opened_at=datetime(2026, 7, 1, 6, 0, tzinfo=UTC),
        words={"cause": "Bonnet: a bird dropping.", "hours": 0.5, "answer_h": 12.0},
    )
    (row,) = windows_of(vehicle.studio, vehicle.pk, today=TODAY)
    assert row.why == "Bonnet: a bird dropping. Call by 1 July 20:00 at the site."
    assert row.hours == 0.5
    propose(at=NOW)
    assert VisitProposal.objects.get().labour_h == 0.5
    assert booked(vehicle, ["event_response"]).hours == 0.5


def test_a_finished_swap_puts_the_other_set_on_and_iron_is_off_where_the_window_said(vehicle):
    codes = ("winter_wheels", "summer_wheels")
    sets = [SurfaceFactory(vehicle=vehicle, code=code, orientation="wheel") for code in codes]
    mount(studio=vehicle.studio, surface_id=sets[0].pk, on=TODAY - timedelta(days=100), **BY)
    CareDueFactory(vehicle=vehicle, task="iron_removal", surfaces=["winter_wheels"])
    visit = booked(vehicle, ["wheel_swap", "iron_removal"])
    settle(studio=vehicle.studio, visit_id=visit.pk, state="done", **BY)
    assert [(one.surface.code, one.start) for one in Mounted.objects.filter(end=None)] == [("summer_wheels", TODAY)]
    event = CareEvent.objects.get()
    assert (event.kind, event.surface.code) == ("iron_removal", "winter_wheels")
    given = vehicle_input(rows_for([vehicle.pk])[0], as_of=TODAY)
    assert [one.kind for one in given.events] == ["iron_removal"]
