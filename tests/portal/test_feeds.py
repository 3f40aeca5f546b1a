"""Calendar addresses: RFC 5545 by its own line rules and by a second library; renewed, ended, bounded, asked again."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
import vobject
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from lifecycle.care import answering, asking, feeds
from lifecycle.care.visits import book
from portal.calendars import PER_MINUTE
from tests import people
from tests.factories import NOW, SiteFactory, VehicleFactory
from tests.portal.doors import as_member, as_user

pytestmark = pytest.mark.django_db
DESK = {"actor": "member:1", "at": NOW}
OSLO = ZoneInfo("Europe/Oslo")
SPRING, AUTUMN = date(2026, 3, 29), date(2026, 10, 25)  # IANA time zone database: the changes in Europe/Oslo in 2026


@pytest.fixture(autouse=True)
def _clock():
    cache.clear()
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def world():
    keeper = people.customer()
    site = SiteFactory(studio=keeper.studio, name="Quay; north, 2\næøå " + "long " * 14)
    vehicle = VehicleFactory(site=site, keeper=keeper)
    return vehicle, keeper


def booked(vehicle, on, starts, tasks=("inspection",)):
    return book(studio=vehicle.studio, vehicle_id=vehicle.pk, on=on, tasks=list(tasks), hours=3, starts=starts, **DESK)


def address(keeper):
    as_user(keeper).post(reverse("customer:feed", args=[keeper.pk]), {"do": "make"})
    (row,) = feeds.feeds_of_customers([keeper.pk])
    return reverse("calendar", args=[row.token])


def events(answer):
    return {event.uid.value: event for event in vobject.readOne(answer.content.decode()).contents.get("vevent", [])}


def test_the_feed_keeps_rfc_5545_and_a_second_library_reads_it_over_both_changes_of_the_clock(world):
    vehicle, keeper = world
    spring = booked(vehicle, SPRING, time(1, 30))
    autumn = booked(vehicle, AUTUMN, time(1, 30), ["decontamination_wash"])
    asking.ask(studio=keeper.studio, vehicle_id=vehicle.pk, customer_id=keeper.pk, on=date(2026, 4, 2),
               wish="a look; please, soon", actor="customer:1", at=NOW)  # fmt: skip
    answer = Client().get(address(keeper))
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert "private" in answer["Cache-Control"]
    # RFC 5545, 3.1: lines end with CRLF and are at most 75 octets without it.
    lines = answer.content.split(b"\r\n")
    assert lines[-1] == b""
    assert all(len(line) <= 75 and b"\n" not in line and b"\r" not in line for line in lines)
    assert b"a look" not in answer.content, "what a person wrote stays on the page"
    read = events(answer)
    assert len(read) == 3
    for visit, on in ((spring, SPRING), (autumn, AUTUMN)):
        event = read[feeds.uid_of(visit.pk)]
        assert event.dtstart.value.astimezone(OSLO) == datetime.combine(on, time(1, 30), OSLO)
        assert event.dtend.value.astimezone(UTC) - event.dtstart.value.astimezone(UTC) == timedelta(hours=3)
        assert event.status.value == "CONFIRMED"
        assert event.valarm.trigger.value == timedelta(days=-1)
        assert event.location.value == vehicle.site.name
    assert answer.content.count(b"BEGIN:VTIMEZONE") == 1
    assert b"DTSTART;TZID=Europe/Oslo:20260329T013000" in answer.content
    # 01:30 in Oslo: 00:30 UTC before the change in spring, 23:30 UTC of the day before in autumn (still summer time).
    assert read[feeds.uid_of(spring.pk)].dtstart.value.astimezone(UTC).time() == time(0, 30)
    assert read[feeds.uid_of(autumn.pk)].dtstart.value.astimezone(UTC).time() == time(23, 30)
    tentative = next(event for event in read.values() if event.status.value == "TENTATIVE")
    assert tentative.dtstart.value == date(2026, 4, 2)
    assert "valarm" not in tentative.contents


def test_a_change_keeps_the_uid_raises_the_sequence_and_a_cancelled_visit_stays_for_a_while(world):
    vehicle, keeper = world
    visit, url = booked(vehicle, SPRING, time(9)), address(keeper)
    first = Client().get(url)
    assert Client().get(url, headers={"If-None-Match": first["ETag"]}).status_code == 304
    answering.confirm(studio=keeper.studio, visit_id=visit.pk, on=SPRING, starts=time(10), **DESK)
    second = Client().get(url, headers={"If-None-Match": first["ETag"]})
    assert second.status_code == 200
    uid = feeds.uid_of(visit.pk)
    assert (events(first)[uid].sequence.value, events(second)[uid].sequence.value) == ("0", "1")
    asking.call_off(studio=keeper.studio, visit_id=visit.pk, customer_id=keeper.pk, actor="customer:1", at=NOW)
    third = events(Client().get(url))[uid]
    assert (third.status.value, third.sequence.value) == ("CANCELLED", "2")
    with time_machine.travel(NOW + timedelta(days=61), tick=False):
        assert uid not in events(Client().get(url))


def test_an_address_is_renewed_ended_and_never_guessed(world):
    vehicle, keeper = world
    booked(vehicle, SPRING, time(9))
    old = address(keeper)
    new = address(keeper)
    assert old != new
    assert Client().get(old).status_code == 404
    assert Client().get(new).status_code == 200
    token = new.split("/")[-1].removesuffix(".ics")
    for wrong in ("x", "1.1", token[:-1], token.replace(".2~", ".1~")):
        assert Client().get(reverse("calendar", args=[wrong])).status_code == 404
    assert as_user(people.customer()).post(reverse("customer:feed", args=[keeper.pk])).status_code == 404
    as_user(keeper).post(reverse("customer:feed", args=[keeper.pk]), {"do": "end"})
    assert Client().get(new).status_code == 404


def test_a_sites_address_is_the_members_and_ends_with_their_work_at_the_desk(world):
    vehicle, keeper = world
    booked(vehicle, SPRING, time(9))
    member = people.desk(keeper.studio)
    as_member(member).post(reverse("studio:calendar_address", args=[vehicle.site_id]))
    (row,) = feeds.feeds_of_member(keeper.studio, member.pk)
    url = reverse("calendar", args=[row.token])
    told = Client().get(url).content.decode()
    assert vehicle.plate in told
    assert keeper.name not in told
    assert "VALARM" not in told
    other = people.desk()
    assert as_member(other).post(reverse("studio:calendar_address", args=[vehicle.site_id])).status_code == 404
    member.ended_at = NOW
    member.save()
    assert Client().get(url).status_code == 404


def test_asking_too_often_is_bounded(world):
    _vehicle, keeper = world
    url = address(keeper)
    assert {Client().get(url).status_code for _ in range(PER_MINUTE)} == {200}
    assert Client().get(url).status_code == 429
