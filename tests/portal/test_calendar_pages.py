"""The site's calendar on its pages: opening hours, a week, a closure and the visits that it moves."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
import time_machine
from django.urls import reverse

from lifecycle.care.opening import close_site, set_hands, set_opening
from lifecycle.errors import DomainError
from lifecycle.models import Bay, Closure, Hands, JournalEntry, Message, OpeningHours, Visit
from lifecycle.outlook import sheet_reads
from lifecycle.outlook.prepared import prepare_studio
from tests import people
from tests.factories import NOW, SiteFactory, VehicleFactory
from tests.portal.doors import as_member

pytestmark = pytest.mark.django_db
STORM = date(2026, 3, 9)  # a Monday


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def site():
    site = SiteFactory()
    Bay.objects.create(studio=site.studio, site=site, name="Bay 1")
    return site


def hours(**changes):
    told = {"country": "no", "subdivision": "", "load_target": "85"}
    for day in range(5):
        told |= {f"opens_{day}": "09:00", f"closes_{day}": "15:00"}
    return told | changes


def hours_of_work(site):
    """Hours of hands by month, as the outlook has them."""
    prepare_studio(studio=site.studio, actor="cycle", at=NOW)
    return {row.first: row.has.labour for row in sheet_reads.page(site.studio).sheet.months}


def test_the_owner_says_when_the_site_is_open_and_the_outlook_counts_it(site):
    member = people.owner(site.studio)
    # May 2026 has 21 weekdays; without opening hours eight hours a day are taken, filled to the site's load target.
    assert hours_of_work(site)[date(2026, 5, 1)] == pytest.approx(21 * 8 * site.load_target / 100)
    browser, url = as_member(member), reverse("studio:opening", args=[site.pk])
    bay = Bay.objects.get()
    for wrong, says in (
        (hours(closes_2="08:00"), "not after it opens"),
        (hours(closes_2=""), "Fill in both times"),
        (hours(country="QQ"), "is not a country"),
        (hours(load_target="90"), "less than or equal to 85"),
    ):
        page = browser.post(url, wrong)
        assert page.status_code == 200
        assert says in page.content.decode()
        assert 'value="09:00"' in page.content.decode(), "what was typed stays"
        assert not OpeningHours.objects.exists()
    assert browser.post(url, hours(warm_bays=str(bay.pk))).status_code == 302
    site.refresh_from_db()
    bay.refresh_from_db()
    assert (site.country, site.load_target, bay.warm_still, OpeningHours.objects.count()) == ("NO", 85, True, 5)
    assert JournalEntry.objects.filter(verb="opening hours set").count() == 1
    # May 2026 in Norway: 21 weekdays, less 1 May, Ascension (14) and Whit Monday (25): 18 days of 6 h, filled to 85 %.
    assert hours_of_work(site)[date(2026, 5, 1)] == pytest.approx(18 * 6 * 0.85)
    page = browser.get(reverse("studio:site_calendar", args=[site.pk]) + "?week=2026-05-14").content.decode()
    assert "public holiday: Ascension Day" in page
    assert "closed: not open on a Saturday" in page


def test_what_a_member_works_is_entered_and_taken_away(site):
    member, piet = people.owner(site.studio), people.technician(site.studio)
    browser, url = as_member(member), reverse("studio:hands", args=[site.pk, piet.pk])
    told = {"weekdays": ["0", "1"], "hours_a_day": "6", "skills": ["polish"]}
    assert "more than 0" in browser.post(url, told | {"hours_a_day": "0"}).content.decode()
    assert browser.post(url, told).status_code == 302
    page = browser.get(reverse("studio:opening", args=[site.pk])).content.decode()
    assert "6 h on Mon, Tue; machine polishing" in page
    week = browser.get(reverse("studio:site_calendar", args=[site.pk])).content.decode()
    assert "0 of 12 h are taken" in week
    browser.post(url, {"weekdays": [], "hours_a_day": "", "skills": []})
    assert not Hands.objects.exists()
    with pytest.raises(DomainError, match="not known"):
        set_hands(studio=site.studio, site_id=site.pk, member_id=piet.pk, weekdays=[1], hours_a_day=5,
                  skills=["juggling"], actor="member:1", at=NOW)  # fmt: skip


def booked(site, plate, on, hours=5.0):
    vehicle = VehicleFactory(site=site, plate=plate)
    return Visit.objects.create(
        studio=site.studio, site=site, vehicle=vehicle, customer=vehicle.keepers.get().customer, on=on, hours=hours,
        tasks=["inspection"], booked_at=NOW,
    )  # fmt: skip


def test_a_storm_moves_its_visits_in_one_go_with_reasons(site):
    first, second = booked(site, "AAA 1", STORM), booked(site, "BBB 2", STORM + timedelta(days=1))
    stays = booked(site, "CCC 3", STORM + timedelta(days=2))
    silent = second.vehicle.keepers.get().customer
    silent.email = ""
    silent.save()
    browser = as_member(people.desk(site.studio))
    answer = browser.post(
        reverse("studio:closures", args=[site.pk]),
        {"first": "2026-03-09", "last": "2026-03-10", "reason": "storm"},
    )
    closure = Closure.objects.get()
    url = reverse("studio:closure", args=[closure.pk])
    assert answer["Location"] == url
    page = browser.get(url).content.decode()
    assert "Closed on Monday 9 March 2026: storm." in page
    assert "the first day after the closure" in page
    told = {
        f"{name}_{visit.pk}": value
        for visit, day in ((first, "2026-03-12"), (second, "2026-03-13"))
        for name, value in (("move", "on"), ("seen", visit.sequence), ("to", day))
    }
    # One that cannot be moved keeps all where they are.
    wrong = browser.post(url, told | {f"to_{second.pk}": "2026-03-10"})
    assert "lies in the closure" in wrong.content.decode()
    stale = browser.post(url, told | {f"seen_{second.pk}": "7"})
    assert "has changed meanwhile" in stale.content.decode()
    first.refresh_from_db()
    assert first.on == STORM
    done = browser.post(url, told, follow=True).content.decode()
    assert "AAA 1 is now booked for 12 March 2026; a mail is on its way." in done
    assert "BBB 2 is now booked for 13 March 2026; phone the customer" in done
    for visit, day in ((first, 12), (second, 13), (stays, 11)):
        visit.refresh_from_db()
        assert visit.on == date(2026, 3, day)
    assert Message.objects.count() == 1
    assert "No visit is booked on these days." in browser.get(url).content.decode()
    assert browser.post(url, {"lift": "1"}).status_code == 302
    closure.refresh_from_db()
    assert closure.lifted_at == NOW


def test_the_days_proposed_fit_beside_what_is_booked(site):
    """One bay of eight hours: the next two days after the storm hold 5 h already, so 5 h more go to the third."""
    for day in (1, 2):
        booked(site, f"CCC {day}", STORM + timedelta(days=day))
    booked(site, "AAA 1", STORM)
    closure = close_site(studio=site.studio, site_id=site.pk, first=STORM, last=STORM, reason="storm",
                         actor="member:1", at=NOW)  # fmt: skip
    page = as_member(people.desk(site.studio)).get(reverse("studio:closure", args=[closure.pk])).content.decode()
    assert 'value="2026-03-12"' in page


def test_wrong_closures_are_refused(site):
    browser, url = as_member(people.desk(site.studio)), reverse("studio:closures", args=[site.pk])
    for wrong, says in (
        ({"first": "2026-03-10", "last": "2026-03-09", "reason": "storm"}, "lies before the first day"),
        ({"first": "2026-02-01", "last": "2026-02-02", "reason": "storm"}, "is over already"),
        ({"first": "2026-03-10", "last": "2027-09-09", "reason": "storm"}, "no closure"),
    ):
        assert says in browser.post(url, wrong).content.decode()
    assert not Closure.objects.exists()
    with pytest.raises(DomainError, match="75 and 85"):
        set_opening(studio=site.studio, site_id=site.pk, hours={}, load_target=99, actor="member:1", at=NOW)
