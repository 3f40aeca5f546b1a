"""Pages of advice: take-up with its decisions, the history of a vehicle, and the buttons beside it."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from lifecycle.care.keeping import retire_vehicle
from lifecycle.models import Inspection, Keeper, Offer, OfferStep, Price, Refusal, Visit
from lifecycle.outlook import offers
from lifecycle.outlook.prepared import prepare_studio
from tests import people
from tests.factories import NOW, CareDueFactory, SiteFactory, SurfaceFactory, VehicleFactory
from tests.lifecycle.outlook.test_acceptance_reads import advice
from tests.lifecycle.outlook.test_return_reads import came
from tests.portal.doors import as_member

pytestmark = pytest.mark.django_db


def test_take_up_opens_to_its_decisions():
    site = SiteFactory(name="Tarn Bellow")
    vehicle = VehicleFactory(site=site)
    advice(vehicle, "offered", "accepted")
    advice(vehicle, "offered", "declined", task="recoat")
    browser = as_member(people.owner(site.studio))
    page = browser.get(reverse("studio:acceptance")).content.decode()
    assert "2 decisions so far" in page
    assert f"?task=booster&amp;site={site.pk}" in page
    assert "?task=booster&amp;reason=wear" in page
    rows = browser.get(reverse("studio:decisions"), {"task": "booster", "site": site.pk}).content.decode()
    assert "1 decision, the latest first" in rows
    assert vehicle.plate in rows
    assert "Re-coat" not in rows


def test_no_decision_is_an_answer_too():
    browser = as_member(people.owner())
    assert "0 decisions so far" in browser.get(reverse("studio:acceptance")).content.decode()
    empty = browser.get(reverse("studio:decisions"), {"task": "x" * 500, "site": "abc", "page": "-1"})
    assert empty.status_code == 200
    assert "No decision on record here" in empty.content.decode()


@pytest.fixture
def offer():
    row = CareDueFactory(task="booster", surfaces=["bonnet", "roof"], reason_code="interval")
    Price.objects.create(studio=row.studio, task="booster", size="M", low=80, high=120)
    for code in ("bonnet", "roof"):
        SurfaceFactory(vehicle=row.vehicle, code=code)
    offers.recommend(at=timezone.now())
    return Offer.objects.get(due=row)


def history(browser, offer):
    return browser.get(reverse("studio:advice", args=[offer.vehicle_id])).content.decode()


def test_the_history_of_a_vehicle_from_recommendation_to_a_yes_in_part(offer):
    browser = as_member(people.desk(offer.studio))
    keeper = Keeper.objects.get(vehicle=offer.vehicle).customer
    page = history(browser, offer)
    assert "by the rule: regular interval" in page
    assert "Booster top-up: bonnet, roof" in page
    assert browser.post(reverse("studio:told", args=[offer.pk])).status_code == 302
    page = history(browser, offer)
    assert "telephone, " in page
    assert keeper.name in page
    assert "Named beside it: nothing now." in page
    url = reverse("studio:answer", args=[offer.pk])
    assert "Costs nothing now" in browser.get(url).content.decode().replace("costs", "Costs")
    wrong = browser.post(url, {"kind": "accepted", "left": ["bonnet", "roof"], "why": "the bonnet only"})
    assert "Nothing would be done" in wrong.content.decode()
    assert 'value="the bonnet only"' in wrong.content.decode()  # nothing typed is lost
    assert browser.post(url, {"kind": "accepted", "left": ["roof"]}).status_code == 302
    page = history(browser, offer)
    assert "Accepted in part" in page
    assert "To be done: bonnet; left: roof." in page


def test_why_it_is_not_offered_stands_in_place_of_the_button(offer):
    Offer.objects.filter(pk=offer.pk).update(task="recoat")  # a re-coat that nobody has retested
    browser = as_member(people.owner(offer.studio))
    page = history(browser, offer)
    assert "Decontaminate and retest before a re-coat is offered" in page
    assert "Told by telephone, no answer yet" not in page
    browser.post(reverse("studio:told", args=[offer.pk]))
    assert OfferStep.objects.filter(offer=offer).count() == 1
    assert "Not offered. Decontaminate" in history(browser, offer)


def test_taken_back_with_the_new_evidence(offer):
    browser = as_member(people.desk(offer.studio))
    look = Inspection.objects.create(
        studio=offer.studio, vehicle=offer.vehicle, on=offer.studio.day(timezone.now()), clean_state="decontaminated"
    )
    url = reverse("studio:withdraw_offer", args=[offer.pk])
    assert "check, decontaminated" in browser.get(url).content.decode().lower()
    empty = browser.post(url, {"evidence": f"inspection:{look.pk}", "why": ""})
    assert empty.status_code == 422
    assert f'value="inspection:{look.pk}" selected' in empty.content.decode()
    assert browser.post(url, {"evidence": f"inspection:{look.pk}", "why": "beads again"}).status_code == 302
    page = history(browser, offer)
    assert "beads again" in page
    assert "(inspection of " in page
    assert "Take it back" not in page
    assert browser.post(url, {"evidence": "", "why": "again"}).status_code == 422


def test_a_technician_recommends_and_does_not_sell(offer):
    technician = people.technician(offer.studio)
    browser = as_member(technician)
    url = reverse("studio:advice", args=[offer.vehicle_id])
    page = browser.get(url).content.decode()
    assert "Told by telephone" not in page
    twice = browser.post(url, {"task": "booster", "why": "dull"})
    assert twice.status_code == 422
    assert "still open" in twice.content.decode()
    Price.objects.create(studio=offer.studio, task="trim_coat", size="M", low=40, high=60)
    assert browser.post(url, {"task": "trim_coat", "why": "grey trim", "surfaces": ["roof"]}).status_code == 302
    page = browser.get(url).content.decode()
    assert f"by {technician}" in page
    assert "grey trim" in page
    made = Offer.objects.get(task="trim_coat")
    assert (made.surfaces, made.due, made.recommended_by) == (["roof"], None, f"member:{technician.pk}")
    refusal = Refusal.objects.create(
        studio=offer.studio, vehicle=offer.vehicle, task="correction", why="No correction: over budget.", at=NOW
    )
    Price.objects.create(studio=offer.studio, task="correction", size="M", low=400, high=600)
    never = browser.post(url, {"task": "correction", "why": "swirls"})
    assert refusal.why in never.content.decode()
    assert not Offer.objects.filter(task="correction").exists()


def test_a_hand_made_recommendation_is_done_when_the_record_shows_it(offer):
    at = timezone.now()
    Offer.objects.filter(pk=offer.pk).update(due=None)
    made = Offer.objects.get(pk=offer.pk)
    offers.answer(studio=made.studio, offer_id=made.pk, kind="accepted", actor="member:1", at=at)
    Visit.objects.create(
        studio=made.studio, vehicle=made.vehicle, site=made.vehicle.site, on=made.studio.day(at), tasks=["booster"],
        state="done", booked_at=at,
    )  # fmt: skip
    assert offers.recommend(at=at)["done"] == 1
    assert OfferStep.objects.get(kind="done").about == "visit"


def test_the_history_asks_as_many_questions_for_one_as_for_thirty(offer):
    browser = as_member(people.owner(offer.studio))
    history(browser, offer)
    with CaptureQueriesContext(connection) as one:
        history(browser, offer)
    for number in range(29):
        advice(offer.vehicle, "offered", "accepted", "done", days=100 + number)
    with CaptureQueriesContext(connection) as thirty:
        assert history(browser, offer).count("<section") == 30
    assert len(thirty) == len(one)


def test_slipping_links_to_customer_and_vehicle():
    vehicle = VehicleFactory()
    came(vehicle, 900, 840, 780)
    browser = as_member(people.owner(vehicle.studio))
    assert "Nothing is prepared yet" in browser.get(reverse("studio:slipping")).content.decode()
    prepare_studio(studio=vehicle.studio, actor="cycle", at=timezone.now())
    page = browser.get(reverse("studio:slipping")).content.decode()
    keeper = Keeper.objects.get(vehicle=vehicle).customer
    assert reverse("studio:customer", args=[keeper.pk]) in page
    assert reverse("studio:vehicle", args=[vehicle.pk]) in page
    assert "more than one and a half times their own usual 60 days" in page
    assert "leans on what the house assumes" in page


def test_who_comes_back_with_what_it_rests_on_and_who_is_not_lost():
    site = SiteFactory()
    comes, sold = VehicleFactory(site=site), VehicleFactory(site=site)
    came(comes, 320, 140, 10, paid=90)
    came(sold, 300, 120, paid=90)
    gone = Keeper.objects.get(vehicle=sold).customer
    retire_vehicle(studio=site.studio, vehicle_id=sold.pk, on=NOW.date(), why="sold", actor="member:1", at=NOW)
    browser, url = as_member(people.owner(site.studio)), reverse("studio:comes_back")
    assert "Nothing is prepared yet" in browser.get(url).content.decode()
    prepare_studio(studio=site.studio, actor="cycle", at=timezone.now())
    with CaptureQueriesContext(connection) as two:
        page = browser.get(url).content.decode()
    keeper = Keeper.objects.get(vehicle=comes).customer
    assert page.index(keeper.name) < page.index(gone.name)
    assert "Of 1 customer about" in page
    assert "The vehicle was sold outside" in page
    assert "Not lost" in page
    assert "Worth of a visit: their own median" in page
    for _ in range(28):
        came(VehicleFactory(site=site), 320, 140, paid=50)
    prepare_studio(studio=site.studio, actor="cycle", at=timezone.now())
    with CaptureQueriesContext(connection) as thirty:
        assert browser.get(url).content.decode().count("How it was reckoned") == 29
    assert len(thirty) == len(two)
    stranger = as_member(people.owner())
    assert keeper.name not in stranger.get(url).content.decode()
