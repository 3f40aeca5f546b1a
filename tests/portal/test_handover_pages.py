"""A vehicle changes hands by both sides' consent: offered by mail, agreed with own name and consents, or nothing."""

from __future__ import annotations

import json
import re
import time
from datetime import timedelta

import pytest
import time_machine
from django.core import mail
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lifecycle.care import handover
from lifecycle.care.erasure import erase_customer
from lifecycle.care.own_data import own_data
from lifecycle.care.register import transfer
from lifecycle.models import Consent, Customer, Handover, JournalEntry, Keeper, Message, Suppression
from lifecycle.reminders import outbox
from tests import people
from tests.factories import NOW, TODAY, CustomerFactory, HabitsFactory, LayerFactory, SurfaceFactory, VehicleFactory
from tests.portal.doors import as_member, as_user

pytestmark = pytest.mark.django_db
BUYER = "jory.tamm@example.org"
YES = {"do": "agree", "name": "Jory Tamm", "service": "yes", "promotion": "no"}


@pytest.fixture(autouse=True)
def _clock():
    cache.clear()
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def seller() -> Customer:
    return people.customer(name="Sunniva Reck")


@pytest.fixture
def vehicle(seller):
    vehicle = VehicleFactory(site__studio=seller.studio, keeper=seller, description="blue estate", plate="TRN 210")
    HabitsFactory(vehicle=vehicle)
    LayerFactory(surface=SurfaceFactory(vehicle=vehicle, code="roof"))
    return vehicle


def fresh(person: Customer) -> Client:
    """A browser in which somebody has signed in a moment ago."""
    client = as_user(person)
    session = client.session
    session["account_authentication_methods"] = [{"method": "code", "at": time.time()}]
    session["account_authentication_methods_user"] = str(person.user_id)
    session.save()
    return client


def offer(seller, vehicle, email: str = BUYER):
    url = reverse("customer:handover", args=[vehicle.pk])
    return fresh(seller).post(url, {"do": "offer", "email": email, "on": TODAY.isoformat()}, follow=True)


def link_in_the_mail() -> str:
    assert outbox.deliver(at=NOW)["accepted"] == 1
    sent = mail.outbox[-1]
    (path,) = set(re.findall(r"https?://[^/]+(/handover/[^/\s]+/)", sent.body))
    assert path in sent.alternatives[0].content
    return path


def keeper_of(vehicle) -> Customer:
    return Keeper.objects.get(vehicle=vehicle, end=None).customer


def test_offered_mailed_agreed_with_own_name_and_consents_afresh(seller, vehicle):
    page = offer(seller, vehicle).content.decode()
    assert "Until they agree, nothing changes." in page
    assert f"Waits for {BUYER} until 16 March 2026." in page
    assert keeper_of(vehicle) == seller
    assert not Customer.objects.filter(email=BUYER).exists()  # a customer only on agreeing
    path = link_in_the_mail()
    sent = mail.outbox[-1]
    assert sent.to == [BUYER]
    assert "List-Unsubscribe" not in sent.extra_headers
    for wrong in ("Sunniva", "Reck", seller.email, "TRN 210"):
        assert wrong not in sent.body + sent.alternatives[0].content + sent.subject
    new = Client()
    page = new.get(path).content.decode()
    assert "checked" not in page  # nothing is chosen beforehand
    for wrong in ("Sunniva", seller.email, "TRN 210", BUYER):
        assert wrong not in page
    assert keeper_of(vehicle) == seller  # looking alone changes nothing
    done = new.post(path, YES).content.decode()
    assert "You keep it now" in done
    buyer = keeper_of(vehicle)
    assert (buyer.name, buyer.email, buyer.studio) == ("Jory Tamm", BUYER, seller.studio)
    said = {row.purpose: (row.given, row.how) for row in Consent.objects.filter(customer=buyer)}
    assert said == {"service": (True, "link in a mail"), "promotion": (False, "link in a mail")}
    assert all(row.wording for row in Consent.objects.filter(customer=buyer))
    assert vehicle.surfaces.get().layers.count() == 1  # the care record stays
    row = Handover.objects.get()
    assert (row.state, row.to_email, row.to_customer) == ("accepted", "", buyer)
    assert new.get(path).status_code == 404  # answered once
    assert as_user(seller).get(reverse("customer:vehicle", args=[vehicle.pk])).status_code == 404


@pytest.mark.parametrize(
    "lacks", [{"name": " "}, {"service": ""}, {"promotion": ""}, {"service": "perhaps"}, {"name": "x" * 200}]
)
def test_what_is_left_open_is_asked_for_and_nothing_typed_is_lost(seller, vehicle, lacks):
    offer(seller, vehicle)
    path = link_in_the_mail()
    answer = Client().post(path, YES | lacks)
    assert answer.status_code == 422
    assert keeper_of(vehicle) == seller
    if "name" not in lacks:
        assert 'value="Jory Tamm"' in answer.content.decode()


def test_either_side_takes_it_back_and_nothing_of_the_new_keeper_stays(seller, vehicle):
    offer(seller, vehicle)
    path = link_in_the_mail()
    url = reverse("customer:handover", args=[vehicle.pk])
    assert "the link in the mail opens nothing any more" in fresh(seller).post(
        url, {"do": "withdraw"}, follow=True
    ).content.decode()  # fmt: skip
    assert Client().get(path).status_code == 404
    assert Client().post(path, YES).status_code == 404
    offer(seller, vehicle)
    path = link_in_the_mail()
    assert "your address is forgotten here" in Client().post(path, {"do": "decline"}).content.decode()
    assert Client().post(path, YES).status_code == 404
    assert keeper_of(vehicle) == seller
    everything = json.dumps(
        [list(model.objects.values()) for model in (Handover, Message, Customer, JournalEntry, Consent)], default=str
    )
    assert BUYER not in everything
    assert path.split("/")[2] not in everything
    assert set(Handover.objects.values_list("state", flat=True)) == {"withdrawn", "declined"}


def test_it_ends_by_itself_after_14_days_and_when_the_studio_was_quicker(seller, vehicle):
    offer(seller, vehicle)
    path = link_in_the_mail()
    assert handover.expire(at=NOW + timedelta(days=14) - timedelta(seconds=1)) == {"ended": 0}
    with time_machine.travel(NOW + timedelta(days=14), tick=False):
        assert Client().post(path, YES).status_code == 404  # before the sweeper came
    assert handover.expire(at=NOW + timedelta(days=14)) == {"ended": 1}
    assert Handover.objects.get().state == "expired"
    assert not Message.objects.exclude(to_email="").exists()
    with time_machine.travel(NOW + timedelta(days=2), tick=False):
        offer(seller, vehicle)
    other = CustomerFactory(studio=seller.studio)
    transfer(studio=seller.studio, vehicle_id=vehicle.pk, to_customer_id=other.pk, on=TODAY, actor="member:1", at=NOW)
    assert handover.expire(at=NOW + timedelta(days=2)) == {"ended": 1}
    assert keeper_of(vehicle) == other


def test_a_mail_that_has_not_left_is_stopped_with_the_offer(seller, vehicle):
    offer(seller, vehicle)
    handover.withdraw(customer_ids=[seller.pk], vehicle_id=vehicle.pk, actor="customer:1", at=NOW)
    assert outbox.deliver(at=NOW)["accepted"] == 0
    assert Message.objects.get().state == "stopped"
    offer(seller, vehicle)
    Suppression.objects.create(studio=seller.studio, email=BUYER.upper(), why="bounced", at=NOW)
    assert outbox.deliver(at=NOW)["stopped"] == 1
    assert mail.outbox == []


def test_the_page_and_the_answers_do_not_tell_whether_an_address_is_known(seller, vehicle):
    """The same words, the same status and the same page behind the link, whoever has the address."""
    known = CustomerFactory(studio=seller.studio, email=BUYER, name="Known Already")
    pages = []
    for email in (BUYER, "nobody.knows@example.org"):
        said = offer(seller, vehicle, email).content.decode().replace(email, "ADDRESS")
        path = link_in_the_mail()
        shown = Client().get(path).content.decode()
        pages.append(
            [re.sub(r'value="(/handover/)?[\w-]{20,}/?"', "", text) for text in (said.split("Offers so far")[0], shown)]
        )
        handover.withdraw(customer_ids=[seller.pk], vehicle_id=vehicle.pk, actor="customer:1", at=NOW)
    assert pages[0] == pages[1]
    offer(seller, vehicle)
    assert "Known Already" not in Client().post(link_in_the_mail(), YES).content.decode()
    assert keeper_of(vehicle) == known  # one person is one customer
    assert Consent.objects.filter(customer=known).count() == 2


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"email": "nonsense"}, "valid email"), ({"email": ""}, "required"), ({"on": "2026-03-03"}, "lies ahead"),
        ({"on": "2020-01-01"}, "you keep it since"), ({"on": "soon"}, "valid date"), ({"email": None}, "own address"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_said_beside_what_was_typed(seller, vehicle, given, words):
    given = {key: value if value is not None else seller.email for key, value in given.items()}
    url = reverse("customer:handover", args=[vehicle.pk])
    answer = fresh(seller).post(url, {"do": "offer", "email": BUYER, "on": TODAY.isoformat()} | given)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Handover.objects.exists()
    assert not Message.objects.exists()


def test_few_offers_a_day_so_that_nobody_sends_strangers_mail(seller, vehicle):
    for _ in range(handover.MOST_A_DAY):
        offer(seller, vehicle)
        handover.withdraw(customer_ids=[seller.pk], vehicle_id=vehicle.pk, actor="customer:1", at=NOW)
    assert "At most 3 offers a day" in offer(seller, vehicle).content.decode()


def test_only_who_keeps_it_and_has_just_signed_in(seller, vehicle):
    url = reverse("customer:handover", args=[vehicle.pk])
    assert reverse("account_request_login_code") in as_user(seller).get(url)["Location"]
    assert as_user(seller).post(url, {"do": "offer", "email": BUYER, "on": TODAY.isoformat()}).status_code == 302
    assert not Handover.objects.exists()
    stranger = fresh(people.customer(seller.studio))
    assert stranger.get(url).status_code == 404
    offer(seller, vehicle)
    assert stranger.post(url, {"do": "withdraw"}).status_code == 404
    assert Client().get("/handover/nothing-such/").status_code == 404


def test_the_studio_sees_it_in_as_many_queries_for_many(seller, vehicle):
    desk = as_member(people.desk(seller.studio))
    offer(seller, vehicle)
    page = desk.get(reverse("studio:work")).content.decode()
    assert "Vehicles that change hands" in page
    assert "who has not answered yet" in page
    assert BUYER not in page
    with CaptureQueriesContext(connection) as few:
        handover.of_studio(seller.studio, at=NOW)
    for n in range(5):
        mine = people.customer(seller.studio)
        offer(mine, VehicleFactory(site=vehicle.site, keeper=mine), f"new{n}@example.org")
    with CaptureQueriesContext(connection) as many:
        assert len(handover.of_studio(seller.studio, at=NOW)) == 6
    assert len(few) == len(many)
    assert handover.of_studio(people.owner().studio, at=NOW) == ()


def test_the_links_mail_is_the_new_keepers_and_never_in_the_sellers_data(seller, vehicle):
    offer(seller, vehicle)
    token = link_in_the_mail().split("/")[2]
    assert token not in json.dumps(own_data([seller.pk], at=NOW), default=str)
    Client().post(f"/handover/{token}/", YES)
    buyer = keeper_of(vehicle)
    assert token in json.dumps(own_data([buyer.pk], at=NOW)["parts"]["Mails to you"], default=str)
    erase_customer(studio=seller.studio, customer_id=buyer.pk, typed="Jory Tamm", actor="member:1", at=NOW)
    assert BUYER not in json.dumps(list(Message.objects.values()) + list(Handover.objects.values()), default=str)


def test_an_erased_seller_offers_nothing_any_more(seller, vehicle):
    offer(seller, vehicle)
    path = link_in_the_mail()
    erase_customer(studio=seller.studio, customer_id=seller.pk, typed=seller.name, actor="member:1", at=NOW)
    assert Client().get(path).status_code == 404
    assert Handover.objects.get().to_email == ""
