"""Who is slipping: the pure rules case by case, and the list on rows."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from lifecycle.care.keeping import retire_vehicle
from lifecycle.models import Complaint, Consent, Customer, Storage, Visit
from lifecycle.outlook import prepared, slipping_rules
from lifecycle.outlook import slipping as slips
from lifecycle.outlook.return_reads import returns
from lifecycle.outlook.slipping_rules import SlipFacts
from tests.factories import NOW, TODAY, CareDueFactory, ConsentFactory, MessageFactory, SiteFactory, VehicleFactory
from tests.lifecycle.outlook.test_acceptance_reads import advice
from tests.lifecycle.outlook.test_return_reads import came, keeper_of

DAY = timedelta(days=1)


def facts(**fields):
    return SlipFacts(**{"today": TODAY, "last": TODAY - 400 * DAY, "usual_days": 200, "own": True, **fields})


def test_beyond_one_and_a_half_times_their_own_interval():
    assert slipping_rules.why_slipping(facts(last=TODAY - 300 * DAY)) == ""
    why = slipping_rules.why_slipping(facts(last=TODAY - 301 * DAY))
    assert why == "Away for 301 days, more than one and a half times their own usual 200 days."
    assert "the usual of all customers" in slipping_rules.why_slipping(facts(own=False))


def test_past_the_latest_date_without_a_booking():
    here = facts(last=TODAY - 10 * DAY, overdue_since=TODAY - DAY)
    assert "past its latest date, 1 March 2026" in slipping_rules.why_slipping(here)
    assert slipping_rules.why_slipping(facts(last=TODAY - 10 * DAY, overdue_since=TODAY)) == ""


def test_two_intervals_of_their_own_make_a_habit():
    first = date(2025, 1, 1)
    gaps = slipping_rules.intervals(first, (first + 100 * DAY, first + 320 * DAY))
    assert gaps == (100, 220)
    assert slipping_rules.usual(gaps, 300) == (160, True)
    assert slipping_rules.usual(gaps[:1], slipping_rules.usual_of([300, 200, 250])) == (250, False)
    assert slipping_rules.usual((14, 20, 15), 300) == (60, True)  # checks after a job are no habit
    assert slipping_rules.usual_of(()) == slipping_rules.USUAL_DAYS


@pytest.mark.parametrize(
    ("fields", "begins"),
    [
        ({"complaint_open": True, "stored": True}, "Settle the open complaint"),
        ({"stored": True}, "Nothing now: the vehicle is in storage"),
        ({"left_alone_until": TODAY + DAY}, "Nothing now: they asked to be left alone"),
        ({"sells": True}, "Ask whether the vehicle is sold"),
        ({"alive": 0.2}, "Ask by telephone whether"),
        ({"alive": 0.2, "phone": False}, "Ask once by letter whether"),
        ({"mailed_on": TODAY - 5 * DAY}, "Wait: a mail went out"),
        ({"mailed_on": TODAY - 60 * DAY}, "Telephone: the last mail brought nobody"),
        ({"mail": False}, "Telephone: no mail may be sent"),
        ({"mail": False, "phone": False}, "Nothing now: no way"),
        ({}, "Nothing to do: the reminder goes out by itself"),
    ],
)
def test_the_suggestion_is_not_always_a_mail(fields, begins):
    assert slipping_rules.next_step(facts(**fields)).startswith(begins)


def named(vehicle, name, **fields):
    Customer.objects.filter(pk=keeper_of(vehicle).pk).update(name=name, **fields)
    return vehicle


def slipping(studio, *, today):
    """The list, prepared just now."""
    prepared.prepare_studio(studio=studio, actor="cycle", at=NOW)
    return slips.slipping(studio, today=today)


@pytest.mark.django_db
class TestOnRows:
    def test_ranked_by_yearly_value_times_the_chance_to_return(self):
        site = SiteFactory()
        small = named(VehicleFactory(site=site), "Osric Pell")
        large = named(VehicleFactory(site=site), "Tove Halvarsen")
        fine = named(VehicleFactory(site=site), "Kelda Marsh")
        for vehicle, paid in ((small, 60), (large, 600)):
            came(vehicle, 440, 380, 320, paid=Decimal(paid))
        came(fine, 150, 90, 30, paid=Decimal(900))
        found = slipping(site.studio, today=TODAY)
        assert [row.name for row in found.page.rows] == ["Tove Halvarsen", "Osric Pell"]
        row = found.page.rows[0]
        assert (row.usual_days, row.own, row.last) == (60, True, TODAY - 320 * DAY)
        assert "Away for 320 days, more than one and a half times their own usual 60 days" in row.why
        one = returns(site.studio, today=TODAY)[row.customer_id]
        assert row.yearly == pytest.approx(one.visits_12m / one.alive * one.value_per_visit)
        assert row.worth == pytest.approx(row.yearly * row.comes)
        assert 0 < row.comes < 1
        assert row.vehicles == ((large.pk, str(large)),)

    def test_who_has_something_booked_or_left_is_not_on_it(self):
        site = SiteFactory()
        booked, sold, late = (VehicleFactory(site=site) for _ in range(3))
        for vehicle in (booked, sold, late):
            came(vehicle, 440, 380, 320)
        Visit.objects.create(
            studio=site.studio, vehicle=booked, site=site, on=TODAY + DAY, tasks=["booster"], booked_at=NOW
        )
        retire_vehicle(studio=site.studio, vehicle_id=sold.pk, on=TODAY - DAY, why="sold", actor="member:1", at=NOW)
        found = slipping(site.studio, today=TODAY)
        assert [row.customer_id for row in found.page.rows] == [keeper_of(late).pk]
        assert found.gone == 1

    def test_past_its_latest_date_by_the_window_or_by_its_words(self):
        site = SiteFactory()
        closed, moved, open_still = (VehicleFactory(site=site) for _ in range(3))
        for vehicle in (closed, moved, open_still):
            came(vehicle, 5)
        CareDueFactory(vehicle=closed, earliest=TODAY - 90 * DAY, ideal=TODAY - 60 * DAY, latest=TODAY - 3 * DAY)
        CareDueFactory(vehicle=moved, words={"overdue_since": "2026-02-01"})
        CareDueFactory(vehicle=open_still)
        why = {row.customer_id: row.why for row in slipping(site.studio, today=TODAY).page.rows}
        assert set(why) == {keeper_of(closed).pk, keeper_of(moved).pk}
        assert "27 February 2026" in why[keeper_of(closed).pk]
        assert "1 February 2026" in why[keeper_of(moved).pk]

    def test_what_is_on_record_decides_the_suggestion(self):
        site = SiteFactory()
        names = ("mail", "no consent", "withdrawn", "complaint", "stored", "sells", "paused", "mailed")
        rows = {name: named(VehicleFactory(site=site), name, phone="+47 00 00 00 00") for name in names}
        for name, vehicle in rows.items():
            came(vehicle, 330, 210, 185)  # recent enough to be a customer still, 1.5 times their 120 days ago
            if name != "no consent":
                ConsentFactory(customer=keeper_of(vehicle))
        Consent.objects.create(
            studio=site.studio, customer=keeper_of(rows["withdrawn"]), purpose="service", given=False, at=NOW,
            how="by telephone", wording="No mails, please.",
        )  # fmt: skip
        Complaint.objects.create(
            studio=site.studio, customer=keeper_of(rows["complaint"]), about="a mark", opened_at=NOW
        )
        Storage.objects.create(studio=site.studio, vehicle=rows["stored"], start=TODAY - 40 * DAY)
        said = advice(rows["sells"], "offered", days=30)
        said.steps.create(studio=site.studio, kind="declined", at=NOW - DAY, why="sells the vehicle")
        Customer.objects.filter(name="paused").update(paused_until=TODAY + 30 * DAY)
        MessageFactory(customer=keeper_of(rows["mailed"]), state="accepted", state_at=NOW - 5 * DAY)
        found = {row.name: row.step for row in slipping(site.studio, today=TODAY).page.rows}
        starts = {
            "mail": "Nothing to do", "no consent": "Telephone: no mail", "withdrawn": "Telephone: no mail",
            "complaint": "Settle", "stored": "Nothing now: the vehicle", "sells": "Ask whether",
            "paused": "Nothing now: they asked", "mailed": "Wait",
        }  # fmt: skip
        assert {name: step[: len(starts[name])] for name, step in found.items()} == starts

    def test_as_many_questions_for_one_as_for_thirty_and_only_this_studio(self):
        site = SiteFactory()
        came(VehicleFactory(site=site), 440, 380, 320)
        came(VehicleFactory(), 440, 380, 320)
        assert slipping(site.studio, today=TODAY).page.total == 1
        with CaptureQueriesContext(connection) as one:
            assert len(slips.slipping(site.studio, today=TODAY).page.rows) == 1
        for _ in range(29):
            came(VehicleFactory(site=site), 440, 380, 320, paid=Decimal(50))
        assert slipping(site.studio, today=TODAY).page.total == 30
        with CaptureQueriesContext(connection) as thirty:
            assert len(slips.slipping(site.studio, today=TODAY).page.rows) == 30
        assert len(thirty) == len(one)

    def test_who_booked_or_came_since_the_preparation_is_not_shown(self):
        site = SiteFactory()
        books, comes, stays = (VehicleFactory(site=site) for _ in range(3))
        for vehicle in (books, comes, stays):
            came(vehicle, 440, 380, 320)
        assert slipping(site.studio, today=TODAY).page.total == 3
        Visit.objects.create(
            studio=site.studio, vehicle=books, site=site, on=TODAY + 9 * DAY, tasks=["booster"], booked_at=NOW
        )
        came(comes, -1)
        found = slips.slipping(site.studio, today=TODAY + DAY)
        assert ([row.customer_id for row in found.page.rows], found.page.total) == ([keeper_of(stays).pk], 1)
        assert found.as_of == TODAY
        # Done later on the day of the preparation, and noted as done a day late.
        today, late = (VehicleFactory(site=site) for _ in range(2))
        for vehicle in (today, late):
            came(vehicle, 440, 380, 320)
        assert slipping(site.studio, today=TODAY).page.total == 3
        came(today, 0)
        came(late, 1)
        Visit.objects.filter(vehicle=late, on=TODAY - DAY).update(settled_at=NOW + DAY)
        assert [row.customer_id for row in slips.slipping(site.studio, today=TODAY).page.rows] == [keeper_of(stays).pk]
        Complaint.objects.create(studio=site.studio, customer=keeper_of(stays), about="a mark", opened_at=NOW)
        (row,) = slips.slipping(site.studio, today=TODAY + DAY).page.rows
        assert row.step.startswith("Settle")
        assert "Away for 321 days" in row.why
