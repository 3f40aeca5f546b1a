"""The pages around a visit: the customer asks, the desk answers, either side changes; nothing typed is lost."""

from __future__ import annotations

from datetime import timedelta

import pytest
import time_machine
from django.urls import reverse

from lifecycle.care.visits import propose
from lifecycle.models import Message, Price, Visit, VisitProposal
from tests import people
from tests.factories import NOW, TODAY, CareDueFactory, SiteFactory, VehicleFactory
from tests.portal.doors import as_member, as_user

pytestmark = pytest.mark.django_db
SOON = TODAY + timedelta(days=5)


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def world():
    keeper = people.customer()
    vehicle = VehicleFactory(site=SiteFactory(studio=keeper.studio), keeper=keeper)
    due = CareDueFactory(vehicle=vehicle)
    Price.objects.create(studio=keeper.studio, task=due.task, size=vehicle.size, low=90, high=130)
    propose(at=NOW)
    return vehicle, keeper, as_user(keeper), as_member(people.desk(keeper.studio))


def text(answer):
    assert answer.status_code == 200
    return answer.content.decode()


def test_from_the_proposal_to_the_booked_visit(world):
    vehicle, _keeper, mine, desk = world
    proposal = VisitProposal.objects.get()
    url = reverse("customer:accept", args=[vehicle.pk, proposal.pk])
    assert url in text(mine.get(reverse("customer:vehicle", args=[vehicle.pk])))
    assert "€ 90 to 130" in text(mine.get(url))
    late = (proposal.latest + timedelta(days=1)).isoformat()
    refused = text(mine.post(url, {"on": late, "part": "morning", "wish": "by the back door"}))
    assert "hoose a day from" in refused
    assert "by the back door" in refused, "nothing typed is lost"
    assert mine.post(url, {"on": SOON, "part": "morning", "wish": "by the back door"}).status_code == 302
    visit = Visit.objects.get()
    assert "nothing is booked" in text(mine.get(reverse("customer:visits")))
    assert "by the back door" in text(desk.get(reverse("studio:requests")))
    answer = reverse("studio:request", args=[visit.pk])
    assert "by the back door" in text(desk.get(answer))
    given = {"record": "confirm", "seen": 0, "on": SOON, "starts": "09:00", "tasks": visit.tasks}
    gap = {**given, "on": "2026-03-29", "starts": "02:30"}
    assert "clocks go forward" in text(desk.post(answer, gap))
    assert desk.post(answer, given).status_code == 302
    assert Message.objects.get().visit_id == visit.pk
    page = text(mine.get(reverse("customer:visits")))
    assert "Booked." in page
    assert "09:00" in page
    file = mine.get(reverse("customer:visit_ics", args=[visit.pk]))
    assert b"DTSTART;TZID=Europe/Oslo:20260307T090000" in file.content


def test_requests_stand_first_on_the_work_list_and_only_before_the_desk(world):
    vehicle, keeper, mine, desk = world
    work, said = reverse("studio:work"), "Customers wait for an answer"
    assert said not in text(desk.get(work))
    for number in range(6):
        other = VehicleFactory(site=vehicle.site, keeper=keeper)
        given = {"on": SOON, "part": "morning", "wish": f"wish {number}"}
        assert mine.post(reverse("customer:ask", args=[other.pk]), given).status_code == 302
    page = text(desk.get(work))
    assert page.index(said) < page.index('class="filters"')
    shown = [f"/studio/requests/{visit.pk}/" in page for visit in Visit.objects.order_by("pk")]
    assert shown == [True] * 5 + [False]
    assert "1 more request<" in page
    assert said not in text(as_member(people.technician(keeper.studio)).get(work))


def test_the_earliest_day_is_the_studios_today(world):
    """At 23:30 UTC it is the next day already at a studio on UTC+12 or +13, and yesterday's day is refused."""
    vehicle, keeper, mine, _desk = world
    keeper.studio.zone = "Pacific/Auckland"
    keeper.studio.save(update_fields=["zone"])
    url, tomorrow = reverse("customer:ask", args=[vehicle.pk]), TODAY + timedelta(days=1)
    with time_machine.travel(NOW.replace(hour=23, minute=30), tick=False):
        assert f'min="{tomorrow}"' in text(mine.get(url))
        assert "lies in the past" in text(mine.post(url, {"on": TODAY, "part": "any", "wish": "a look"}))
        assert mine.post(url, {"on": tomorrow, "part": "any", "wish": "a look"}).status_code == 302
        assert f'min="{tomorrow}"' in text(mine.get(reverse("customer:move_visit", args=[Visit.objects.get().pk])))


def test_offer_choose_move_decline_and_cancel(world):
    vehicle, _keeper, mine, desk = world
    wish = {"on": SOON, "part": "any", "tasks": ["decontamination_wash"]}
    mine.post(reverse("customer:ask", args=[vehicle.pk]), wish)
    visit = Visit.objects.get()
    answer, list_ = reverse("studio:request", args=[visit.pk]), reverse("customer:visits")
    assert "2026-05-04T09:00" in text(desk.post(answer, {"record": "offer", "seen": 0, "first": "soon"}))
    desk.post(answer, {"record": "offer", "seen": 0, "first": "2026-03-09T09:00", "second": "2026-03-10T13:30"})
    assert "2026-03-10T13:30" in text(mine.get(list_))
    choose = reverse("customer:choose_day", args=[visit.pk])
    told = text(mine.post(choose, {"seen": 0, "offer": "2026-03-10T13:30"}, follow=True))
    assert "has changed meanwhile" in told
    assert "That day is booked" in text(mine.post(choose, {"seen": 1, "offer": "2026-03-10T13:30"}, follow=True))
    mine.post(reverse("customer:move_visit", args=[visit.pk]), {"seen": 2, "on": "2026-03-12", "part": "any"})
    assert "instead of 10 March, booked" in text(desk.get(reverse("studio:requests")))
    desk.post(answer, {"record": "decline", "seen": 3, "reason": "Full that day."})
    assert "Full that day." in text(mine.get(list_))
    cancel = reverse("customer:cancel_visit", args=[visit.pk])
    assert "Cancel the visit?" in text(mine.get(cancel))
    mine.post(cancel, {"seen": 4})
    visit.refresh_from_db()
    assert (visit.state, visit.sequence) == ("cancelled", 5)
    assert desk.get(answer).status_code == 404


def test_a_strangers_visit_is_not_there(world):
    vehicle, keeper, mine, _desk = world
    mine.post(reverse("customer:ask", args=[vehicle.pk]), {"on": SOON, "part": "any", "wish": "a scratch on the boot"})
    pk = Visit.objects.get().pk
    for who in (people.customer(), people.customer(keeper.studio)):
        browser = as_user(who)
        assert "scratch" not in text(browser.get(reverse("customer:visits")))
        for name in ("move_visit", "cancel_visit", "visit_ics"):
            assert browser.get(reverse(f"customer:{name}", args=[pk])).status_code == 404
        assert browser.post(reverse("customer:choose_day", args=[pk]), {"seen": 0}).status_code == 404
        assert browser.get(reverse("customer:ask", args=[vehicle.pk])).status_code == 404


def test_the_notice_is_the_studios_own(world):
    _vehicle, keeper, _mine, desk = world
    desk.post(reverse("studio:requests"), {"hours": "48"})
    keeper.studio.refresh_from_db()
    assert keeper.studio.visit_notice_h == 48
    assert "less than or equal to 336" in text(desk.post(reverse("studio:requests"), {"hours": "900"}))
