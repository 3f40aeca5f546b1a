"""Address by role: who gets in where. What is not ours answers 404, whether or not it exists elsewhere."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.http import HttpResponse
from django.test import Client, RequestFactory
from django.urls import reverse

from lifecycle.care.corrections import keep_plan
from lifecycle.care.documents import add_document
from lifecycle.care.importing import receive_file
from lifecycle.care.opening import close_site
from lifecycle.care.packages import ItemEntry, save_package
from lifecycle.care.photos import add_photo
from lifecycle.models import (
    Complaint,
    Finding,
    Hook,
    HookDelivery,
    Inspection,
    Offer,
    OfferStep,
    Suppression,
    Visit,
)
from lifecycle.outlook.prepared import prepare_studio
from lifecycle.outlook.spreading import spread_invitations
from portal.access.middleware import AccessMiddleware
from tests import people
from tests.factories import (
    NOW,
    CareDueFactory,
    GaugeFactory,
    MessageFactory,
    ProductFactory,
    ReminderFactory,
    SiteFactory,
    StudioFactory,
    SurfaceFactory,
    VehicleFactory,
)
from tests.lifecycle.care.paint_world import film
from tests.lifecycle.care.report_world import inspection_of, seal
from tests.meta.test_urls import ALL
from tests.pictures import pdf, picture
from tests.portal.access_table import POST_ONLY, ROLES, WHO, WITH_FORM, WITH_OBJECT
from tests.portal.api.world import made_token
from tests.portal.doors import as_member, as_user
from tests.portal.life_world import life_ids

pytestmark = pytest.mark.django_db


NAMED = {"key": "clog.rate", "group": "clog", "mail": "service", "language": "de", "table": "customer"}


def hook_ids(studio) -> dict[str, int]:
    hook = Hook.objects.create(studio=studio, url="https://example.org/told", kinds=["layer.recorded"], made_at=NOW)
    told = HookDelivery.objects.create(studio=studio, hook=hook, entry_id=1, payload="{}", made_at=NOW, state_at=NOW)
    return {"hook_id": hook.pk, "delivery_id": told.pk}


@pytest.fixture
def world():
    """A studio with one of everything that an address can name."""
    studio = StudioFactory()
    keeper = people.customer(studio)
    vehicle = VehicleFactory(site=SiteFactory(studio=studio), keeper=keeper)
    surface = SurfaceFactory(vehicle=vehicle, code="bonnet")
    film(surface)
    plan = keep_plan(
        studio=studio, vehicle_id=vehicle.pk, chosen={surface.pk: ("finishing", 1)}, actor="member:1", at=NOW
    )
    due = CareDueFactory(vehicle=vehicle)
    offer = Offer.objects.create(
        studio=studio, vehicle=vehicle, due=due, task=due.task, price_low=80, price_high=120, made_at=NOW
    )
    OfferStep.objects.create(studio=studio, offer=offer, kind="recommended", at=NOW)
    message = MessageFactory(customer=keeper)
    reminder = ReminderFactory(due=due)
    shut = Suppression.objects.create(studio=studio, email="gone@example.org", why="bounced", at=NOW)
    visit = Visit.objects.create(
        studio=studio, site=vehicle.site, vehicle=vehicle, on=NOW.date(), tasks=[due.task], booked_at=NOW
    )
    complaint = Complaint.objects.create(studio=studio, customer=keeper, about="a water mark", opened_at=NOW)
    seen = Inspection.objects.create(studio=studio, vehicle=vehicle, on=NOW.date(), clean_state="washed", key=uuid4())
    finding = Finding.objects.create(studio=studio, inspection=seen, kind="chip", surface=surface)
    photo = add_photo(studio=studio, vehicle_id=vehicle.pk, upload=picture(), actor="member:1", at=NOW)
    report = seal(inspection_of(vehicle))
    ids = {"inspection_id": inspection_of(vehicle).pk, "report_id": report.pk, "finding_id": finding.pk}
    product = ProductFactory(studio=studio)
    line = [ItemEntry(product.pk)]
    package = save_package(studio=studio, name="Full", items=line, actor="member:1", at=NOW)
    sheet = add_document(
        studio=studio, product_id=product.pk, kind="sds", revised_on=NOW.date(), language="en", upload=pdf(),
        actor="member:1", at=NOW,
    )  # fmt: skip
    ids |= {"vehicle_id": vehicle.pk, "customer_id": keeper.pk, "message_id": message.pk, "offer_id": offer.pk,
           "reminder_id": reminder.pk, "suppression_id": shut.pk, "surface_id": surface.pk, "site_id": vehicle.site_id,
           "plan_id": plan.pk,
           "visit_id": visit.pk, "complaint_id": complaint.pk, "member_id": people.technician(studio).pk,
           "product_id": product.pk, "package_id": package.pk,
           "gauge_id": GaugeFactory(studio=studio).pk}  # fmt: skip
    ids |= life_ids(vehicle, keeper)
    ids["closure_id"] = close_site(
        studio=studio, site_id=vehicle.site_id, first=NOW.date() + timedelta(days=900),
        last=NOW.date() + timedelta(days=900), reason="stocktaking", actor="member:1", at=NOW,
    ).pk  # fmt: skip
    ids |= hook_ids(studio)
    listed = receive_file(studio=studio, kind="customers", upload=b"name;email\nA;a@example.org\n", actor="x", at=NOW)
    ids["import_id"] = listed.pk
    ids["token_id"] = made_token(people.owner(studio)).id
    prepare_studio(studio=studio, actor="cycle", at=NOW)
    vehicle.proposals.create(
        studio=studio, site=vehicle.site, key="a", earliest=due.earliest, ideal=due.ideal, latest=due.latest,
        labour_h=1, tasks=[due.task], made_at=NOW,
    )  # fmt: skip
    ids["spreading_id"] = spread_invitations(studio=studio, site_id=vehicle.site_id, actor="member:1", at=NOW).pk
    ids |= {"uid": photo.uid, "size": "full", "sheet": sheet.uid}
    return studio, keeper, ids | NAMED


def address(name: str, ids: dict[str, int]) -> str:
    pattern = dict(ALL)[name]
    return reverse(name, kwargs={key: ids[key] for key in pattern.pattern.converters})


def test_the_list_above_holds_every_page_of_the_studio():
    assert set(WHO) == {name for name, _ in ALL if name.startswith("studio:")}


def test_anonymous_goes_to_sign_in_and_comes_back(world, client):
    _studio, _keeper, ids = world
    for name in WHO:
        answer = client.get(address(name, ids))
        assert answer.status_code == 302, name
        assert answer["Location"].startswith(reverse("account_login")), name
        assert f"next={address(name, ids)}" in answer["Location"], name


@pytest.mark.parametrize("role", ["owner", "technician", "desk"])
def test_members_by_role(world, role):
    studio, _keeper, ids = world
    browser = as_member(getattr(people, role)(studio))
    for name, rule in WHO.items():
        status = browser.get(address(name, ids)).status_code
        if role not in ROLES[rule]:
            assert status == 403, name
        else:
            assert status == (405 if name in POST_ONLY else 200), name


@pytest.mark.parametrize("who", ["customer", "stranger"])
def test_nobody_else_gets_into_the_studio(world, who):
    _studio, keeper, ids = world
    browser = as_user(keeper if who == "customer" else people.stranger())
    for name in WHO:
        assert browser.get(address(name, ids)).status_code == 403, name
        assert browser.post(address(name, ids)).status_code == 403, name


def test_what_belongs_to_another_studio_is_not_there(world):
    _studio, _keeper, ids = world
    browser = as_member(people.owner())
    for name in WITH_OBJECT:
        assert browser.get(address(name, ids)).status_code == 404, name
        assert browser.post(address(name, ids)).status_code == (404 if name in WITH_FORM else 405), name
    assert browser.post(address("studio:settle", ids), {"state": "cancelled"}).status_code == 404
    assert Visit.objects.get(pk=ids["visit_id"]).state == "booked"


def test_a_foreign_complaint_is_not_there_not_even_beside_a_customer_of_ones_own(world):
    _studio, _keeper, ids = world
    member = people.owner()
    browser, own = as_member(member), people.customer(member.studio)
    for customer_id in (ids["customer_id"], own.pk):
        url = address("studio:close_complaint", ids | {"customer_id": customer_id})
        assert browser.post(url).status_code == 404
    assert Complaint.objects.get(pk=ids["complaint_id"]).closed_at is None


def test_the_studios_own_visit_and_complaint_are_there(world):
    """What the two tests above refuse is refused for the studio alone: its own desk may do it."""
    studio, _keeper, ids = world
    browser = as_member(people.desk(studio))
    assert browser.post(address("studio:settle", ids), {"state": "cancelled"}).status_code == 302
    assert browser.post(address("studio:close_complaint", ids)).status_code == 302
    assert Visit.objects.get(pk=ids["visit_id"]).state == "cancelled"
    assert Complaint.objects.get(pk=ids["complaint_id"]).closed_at is not None


def test_a_customer_of_one_studio_is_no_customer_of_another_ones_vehicle(world):
    _studio, _keeper, ids = world
    other = as_user(people.customer())
    assert other.get(reverse("customer:vehicle", args=[ids["vehicle_id"]])).status_code == 404


def test_a_member_who_keeps_no_vehicle_is_no_customer(world):
    studio, _keeper, _ids = world
    assert as_member(people.owner(studio)).get(reverse("customer:home")).status_code == 403


def test_an_ended_membership_opens_nothing(world):
    studio, _keeper, _ids = world
    member = people.owner(studio)
    browser = as_member(member)
    assert browser.get(reverse("studio:work")).status_code == 200
    member.ended_at = NOW
    member.save()
    assert browser.get(reverse("studio:work")).status_code == 403


def test_a_view_without_a_rule_is_refused():
    from django.core.exceptions import PermissionDenied

    def bare(request): ...

    request = RequestFactory().get("/")
    with pytest.raises(PermissionDenied, match="no access rule"):
        AccessMiddleware(lambda request: HttpResponse()).process_view(request, bare, (), {})


@pytest.mark.parametrize("name", ["account_signup", "account_email", "account_email_verification_sent"])
def test_pages_of_the_library_that_we_do_not_use_are_not_there(name, client):
    assert client.get(reverse(name)).status_code == 404


def test_a_fragment_is_sent_to_sign_in_as_a_whole_page(client):
    answer = client.get(reverse("studio:work"), headers={"HX-Request": "true", "HX-Current-URL": "/studio/"})
    assert answer.status_code == 401
    assert answer["HX-Redirect"].startswith(reverse("account_login"))


def test_home_sends_everybody_to_their_work(world):
    studio, keeper, _ids = world
    assert as_member(people.desk(studio)).get("/")["Location"] == reverse("studio:work")
    assert as_user(keeper).get("/")["Location"] == reverse("customer:home")
    assert Client().get("/")["Location"].startswith(reverse("account_login"))
    page = as_user(people.stranger()).get("/")
    assert page.status_code == 200
    assert "no vehicle and no studio is joined to this address" in page.content.decode()
