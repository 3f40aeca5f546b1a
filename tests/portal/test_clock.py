"""Times are shown by the clock of whoever reads them, with the name of the zone; machines are told in UTC."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse

from tests import people
from tests.factories import CareDueFactory, ReminderFactory, SiteFactory, StudioFactory, VehicleFactory
from tests.portal.doors import as_member, as_user

pytestmark = pytest.mark.django_db


def reminder_at(send_at: datetime, *, zone: str):
    studio = StudioFactory(zone=zone)
    vehicle = VehicleFactory(site=SiteFactory(studio=studio, zone=zone), keeper=people.customer(studio))
    ReminderFactory(due=CareDueFactory(vehicle=vehicle), state="planned", send_at=send_at)
    return studio


@pytest.mark.parametrize(
    ("send_at", "words"),
    [
        # Norway in 2027: summer time from 28 March to 31 October, 01:00 UTC (Directive 2000/84/EC).
        (datetime(2027, 3, 28, 0, 59, tzinfo=UTC), "28 Mar 2027, 01:59 CET"),
        (datetime(2027, 3, 28, 1, 0, tzinfo=UTC), "28 Mar 2027, 03:00 CEST"),
        # An hour that comes twice is told apart by its zone.
        (datetime(2027, 10, 31, 0, 30, tzinfo=UTC), "31 Oct 2027, 02:30 CEST"),
        (datetime(2027, 10, 31, 1, 30, tzinfo=UTC), "31 Oct 2027, 02:30 CET"),
        (datetime(2027, 6, 30, 22, 30, tzinfo=UTC), "1 Jul 2027, 00:30 CEST"),  # another day by the studio's clock
    ],
)
def test_members_read_the_clock_of_their_studio(send_at, words):
    studio = reminder_at(send_at, zone="Europe/Oslo")
    page = as_member(people.desk(studio)).get(reverse("studio:reminders")).content.decode()
    assert f"planned for {words}" in page
    assert "UTC" not in page


def test_one_person_s_clock_does_not_stay_for_the_next():
    at = datetime(2027, 6, 30, 22, 30, tzinfo=UTC)
    oslo, lisbon = reminder_at(at, zone="Europe/Oslo"), reminder_at(at, zone="Europe/Lisbon")
    for studio, words in ((oslo, "1 Jul 2027, 00:30 CEST"), (lisbon, "30 Jun 2027, 23:30 WEST")):
        assert words in as_member(people.desk(studio)).get(reverse("studio:reminders")).content.decode()


def test_customers_read_their_own_clock(time_machine):
    time_machine.move_to(datetime(2027, 1, 15, 23, 30, tzinfo=UTC), tick=False)
    customer = people.customer(StudioFactory(zone="UTC"), zone="Pacific/Auckland", language="en")
    page = as_user(customer).get(reverse("customer:data")).content.decode()
    assert "16 January 2027, 12:30 NZDT" in page


def test_an_address_that_takes_a_button_alone_says_so(studio):
    member = as_member(people.owner(studio))
    answer = member.get(reverse("studio:pause"))
    assert answer.status_code == 405
    assert "nothing was changed" in answer.content.decode()
    assert answer["Allow"] == "POST"
    assert not member.head(reverse("studio:pause")).content
    assert not member.get(reverse("studio:pause"), headers={"accept": "application/json"}).content


def test_the_work_list_too(time_machine):
    time_machine.move_to(datetime(2027, 6, 1, 8, 0, tzinfo=UTC), tick=False)
    studio = reminder_at(datetime(2027, 6, 1, 8, 0, tzinfo=UTC) + timedelta(days=1), zone="Europe/Oslo")
    page = as_member(people.desk(studio)).get(reverse("studio:work")).content.decode()
    assert "2 June 10:00 CEST" in page


def test_a_zone_without_a_name_is_told_by_its_distance():
    studio = reminder_at(datetime(2027, 6, 30, 22, 30, tzinfo=UTC), zone="America/Sao_Paulo")
    assert (
        "30 Jun 2027, 19:30 UTC-03" in as_member(people.desk(studio)).get(reverse("studio:reminders")).content.decode()
    )
