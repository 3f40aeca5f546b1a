"""The pages that put things on record: what they keep, what they refuse, and how they say it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from lifecycle.care import signin
from lifecycle.models import (
    Consent,
    ContractTerm,
    Customer,
    Keeper,
    Surface,
    Vehicle,
)
from tests import people
from tests.factories import (
    CareDueFactory,
    ConsentFactory,
    CustomerFactory,
    LayerFactory,
    SiteFactory,
    SurfaceFactory,
    VehicleFactory,
)
from tests.portal.doors import as_member, as_user
from tests.portal.studio_world import text, today

pytestmark = pytest.mark.django_db
REGISTER = "studio:register_customer"


def day(days: int = 0) -> str:
    return (today() + timedelta(days)).isoformat()


def person(**fields) -> dict:
    data = {"name": "Tove Halvarsen", "email": "Tove@example.org", "phone": "+00 555", "language": "en",
            "zone": "Europe/Oslo", "since": day(), "how": "", "service_wording": "Write to me about care.",
            "promotion_wording": "Write to me about offers."}  # fmt: skip
    return data | fields


class TestCustomer:
    def test_registered_with_the_one_consent_that_was_ticked(self, studio, owner):
        answer = owner.post(reverse(REGISTER), person(service="on", how="paper form"), follow=True)
        customer = Customer.objects.get()
        assert answer.redirect_chain[-1][0] == reverse("studio:customer", args=[customer.pk])
        assert "Tove Halvarsen is on record and agrees to care reminders." in text(answer)
        assert (customer.studio, customer.email, customer.zone) == (studio, "tove@example.org", "Europe/Oslo")
        consent = Consent.objects.get()
        assert (consent.purpose, consent.given, consent.how) == ("service", True, "paper form")
        assert consent.wording == "Write to me about care."

    def test_unticked_means_nothing_is_recorded(self, owner):
        answer = owner.post(reverse(REGISTER), person(how="by phone"), follow=True)
        assert "agrees to nothing yet" in text(answer)
        assert Customer.objects.count() == 1
        assert not Consent.objects.exists()

    @pytest.mark.parametrize(
        ("change", "says"),
        [
            ({"service": "on"}, "Say how they agreed"),
            ({"promotion": "on", "how": "form", "promotion_wording": " "}, "Keep the words"),
            ({"email": "nobody"}, "Enter a valid email address"),
            ({"zone": "Middle/Earth"}, "no time zone; write it like Europe/Oslo"),
            ({"since": "2199-01-01"}, "lies in the future"),
            ({"email": "taken@example.org", "service": "on", "how": "form"}, "already uses"),
        ],
    )
    def test_errors_keep_what_was_typed_and_nothing_else(self, change, says, studio, owner):
        CustomerFactory(studio=studio, email="taken@example.org")
        answer = owner.post(reverse(REGISTER), person(phone="KEEP-ME", **change))
        page = answer.content.decode()
        assert answer.status_code == 200
        assert says in text(answer)
        assert 'value="KEEP-ME"' in page
        assert 'aria-invalid="true"' in page
        assert (Customer.objects.count(), Consent.objects.count()) == (1, 0)

    def test_a_changed_address_closes_the_old_ones_door(self, studio, owner):
        customer = people.customer(studio)
        VehicleFactory(site=SiteFactory(studio=studio), keeper=customer)
        theirs = as_user(customer)
        assert theirs.get(reverse("customer:home")).status_code == 302
        url = reverse("studio:change_customer", args=[customer.pk])
        assert f'value="{customer.email}"' in owner.get(url).content.decode()
        answer = owner.post(url, person(name=customer.name, email="moved@example.org", fleet="on"), follow=True)
        assert "Whoever reads the old mailbox can no longer sign in" in text(answer)
        assert theirs.get(reverse("customer:home")).status_code == 403
        customer.refresh_from_db()
        assert (customer.email, customer.user, customer.fleet) == ("moved@example.org", None, True)
        assert signin.user_for_address("moved@example.org", at=timezone.now()) is not None

    def test_a_new_phone_number_closes_nothing(self, studio, owner):
        customer = people.customer(studio)
        answer = owner.post(
            reverse("studio:change_customer", args=[customer.pk]), person(email=customer.email, phone="1"), follow=True
        )
        assert "mailbox" not in text(answer)
        customer.refresh_from_db()
        assert customer.user is not None
        assert customer.phone == "1"


def vehicle_data(site, **fields) -> dict:
    data = {"plate": "tst 9", "description": "green hatch", "site": site.pk, "size": "M", "colour": "mid",
            "paint": "clear_coat", "powertrain": "combustion", "first_seen": day(),
            "surfaces": ["bonnet", "tailgate", "wheels"]}  # fmt: skip
    return data | fields


class TestVehicle:
    def test_the_body_comes_first_and_decides_the_surfaces(self, studio, owner):
        customer = CustomerFactory(studio=studio)
        url = reverse("studio:register_vehicle", args=[customer.pk])
        assert 'href="?body=roadster"' in owner.get(url).content.decode()
        assert "soft top" in text(owner.get(url + "?body=roadster"))
        van = text(owner.get(url + "?body=van"))
        assert "left side panel" in van
        assert "soft top" not in van

    def test_a_vehicle_with_its_surfaces(self, studio, site, owner):
        customer = CustomerFactory(studio=studio)
        url = reverse("studio:register_vehicle", args=[customer.pk]) + "?body=hatch"
        answer = owner.post(url, vehicle_data(site), follow=True)
        vehicle = Vehicle.objects.get()
        assert answer.redirect_chain[-1][0] == reverse("studio:vehicle", args=[vehicle.pk])
        assert "TST 9 is on record" in text(answer)
        assert "Assessed for" in text(answer)
        assert (vehicle.body, vehicle.site, vehicle.keepers.get().customer) == ("hatch", site, customer)
        assert list(vehicle.surfaces.values_list("code", "orientation", "substrate")) == [
            ("bonnet", "flat", "steel"),
            ("tailgate", "rear", "steel"),
            ("wheels", "wheel", "aluminium"),
        ]

    def test_a_plate_that_is_taken_keeps_everything_typed_and_no_surface(self, site, owner):
        VehicleFactory(site=site, plate="TST 9")
        customer = CustomerFactory(studio=site.studio)
        url = reverse("studio:register_vehicle", args=[customer.pk]) + "?body=hatch"
        answer = owner.post(url, vehicle_data(site))
        assert "A vehicle with plate tst 9 is already on record." in text(answer)
        assert 'value="green hatch"' in answer.content.decode()
        assert answer.content.decode().count("checked") == 3
        assert (Vehicle.objects.count(), Surface.objects.count()) == (1, 0)

    def test_a_site_of_another_studio_is_no_choice(self, site, owner):
        customer = CustomerFactory(studio=site.studio)
        url = reverse("studio:register_vehicle", args=[customer.pk]) + "?body=hatch"
        page = text(owner.post(url, vehicle_data(SiteFactory())))
        assert "Select a valid choice" in page
        assert not Vehicle.objects.exists()

    def test_the_list_leads_over_its_keeper(self, studio, owner):
        CustomerFactory(studio=studio, name="Bram Ostler")
        tove = CustomerFactory(studio=studio, name="Tove Halvarsen")
        CustomerFactory(name="Tove of another studio")
        assert reverse("studio:new_vehicle") in owner.get(reverse("studio:vehicles")).content.decode()
        page = owner.get(reverse("studio:new_vehicle"), {"q": "tove"}).content.decode()
        assert reverse("studio:register_vehicle", args=[tove.pk]) in page
        assert "Bram" not in page
        assert "another studio" not in page

    def test_particulars_change_and_the_forecast_follows(self, car, owner):
        vehicle, _bonnet, _roof = car
        url = reverse("studio:change_vehicle", args=[vehicle.pk])
        data = vehicle_data(vehicle.site, plate="TST 778", colour="black", body="suv")
        assert "TST 778" in text(owner.post(url, data, follow=True))
        vehicle.refresh_from_db()
        assert (vehicle.plate, vehicle.colour, vehicle.body, vehicle.assess_again) == ("TST 778", "black", "suv", False)


class TestSurfaces:
    def test_from_the_usual_list_without_those_on_record(self, car, owner):
        vehicle, _bonnet, _roof = car
        url = reverse("studio:surfaces", args=[vehicle.pk])
        page = owner.get(url).content.decode()
        assert 'value="tailgate"' in page
        assert 'value="bonnet"' not in page
        answer = owner.post(url, {"record": "usual", "surfaces": ["tailgate", "leather"]}, follow=True)
        assert "2 surfaces added." in text(answer)
        assert vehicle.surfaces.count() == 4

    def test_one_of_the_studios_own(self, car, owner):
        vehicle, _bonnet, _roof = car
        url = reverse("studio:surfaces", args=[vehicle.pk])
        data = {"record": "own", "code": "Left Mirror!", "orientation": "side", "substrate": "plastic",
                "finish": "refinish", "refinished_on": day(-30)}  # fmt: skip
        assert "1 surface added." in text(owner.post(url, data, follow=True))
        surface = vehicle.surfaces.get(code="left_mirror")
        assert (surface.finish, surface.refinished_on) == ("refinish", today() - timedelta(30))
        again = owner.post(url, data)
        assert "already has a surface" in text(again)
        assert 'value="Left Mirror!"' in again.content.decode()

    @pytest.mark.parametrize(
        ("change", "says"),
        [
            ({"code": "!!!"}, "Give it a name"),
            ({"refinished_on": "2199-01-01"}, "lies in the future"),
            ({"refinished_on": "2020-01-01"}, "A factory finish has no such day"),
        ],
    )
    def test_what_is_refused(self, change, says, car, owner):
        vehicle, _bonnet, _roof = car
        data = {"record": "own", "code": "mirror", "orientation": "side", "substrate": "plastic", "finish": "factory"}
        assert says in text(owner.post(reverse("studio:surfaces", args=[vehicle.pk]), data | change))
        assert vehicle.surfaces.count() == 2

    def test_change_and_take_off(self, car, owner):
        vehicle, bonnet, roof = car
        change = reverse("studio:change_surface", args=[vehicle.pk, roof.pk])
        data = {"orientation": "flat", "substrate": "composite", "finish": "touch_up", "refinished_on": ""}
        assert "The roof is changed." in text(owner.post(change, data, follow=True))
        roof.refresh_from_db()
        assert (roof.substrate, roof.finish) == ("composite", "touch_up")
        used = reverse("studio:change_surface", args=[vehicle.pk, bonnet.pk])
        assert "Take it off" not in text(owner.get(used))
        assert "stays" in text(owner.post(used, {"record": "remove"}))
        assert "is off the record" in text(owner.post(change, {"record": "remove"}, follow=True))
        assert [row.code for row in vehicle.surfaces.all()] == ["bonnet"]

    def test_a_surface_of_another_vehicle_is_not_here(self, car, site, owner):
        vehicle, _bonnet, _roof = car
        other = SurfaceFactory(vehicle=VehicleFactory(site=site))
        assert owner.get(reverse("studio:change_surface", args=[vehicle.pk, other.pk])).status_code == 404

    def test_a_vehicle_without_surfaces_says_where_to_add_them(self, site, owner):
        vehicle = VehicleFactory(site=site)
        page = owner.get(reverse("studio:vehicle", args=[vehicle.pk])).content.decode()
        assert f'href="{reverse("studio:surfaces", args=[vehicle.pk])}">add them' in page


class TestKeepers:
    def test_a_contracts_date(self, car, owner):
        vehicle, _bonnet, _roof = car
        url = reverse("studio:record_contract", args=[vehicle.pk])
        data = {"title": "yearly inspection", "due": day(200), "tolerance_days": "14"}
        assert "less than or equal to 366" in text(owner.post(url, data | {"tolerance_days": "9999"}))
        assert "yearly inspection: due" in text(owner.post(url, data, follow=True))
        term = ContractTerm.objects.get()
        assert (term.vehicle, term.due, term.tolerance_days) == (vehicle, today() + timedelta(200), 14)

    def test_transfer_to_somebody_on_record_asks_consent_afresh(self, car, owner, studio):
        vehicle, _bonnet, _roof = car
        buyer = CustomerFactory(studio=studio, name="Jory Tamm")
        ConsentFactory(customer=vehicle.keepers.get().customer)
        url = reverse("studio:transfer", args=[vehicle.pk])
        assert f'href="?to={buyer.pk}"' in owner.get(url, {"q": "jory"}).content.decode()
        page = owner.get(f"{url}?to={buyer.pk}")
        assert "care reminders never asked, offers never asked" in text(page)
        assert "checked" not in page.content.decode()
        data = {"on": day(), "promotion": "on", "promotion_wording": "Offers, please.", "how": "by phone"}
        answer = owner.post(f"{url}?to={buyer.pk}", data, follow=True)
        assert "Jory Tamm keeps it since" in text(answer)
        assert Keeper.objects.get(vehicle=vehicle, end=None).customer == buyer
        consent = Consent.objects.get(customer=buyer)
        assert (consent.purpose, consent.wording) == ("promotion", "Offers, please.")

    def test_transfer_to_somebody_new_is_all_or_nothing(self, car, owner):
        vehicle, _bonnet, _roof = car
        url = reverse("studio:transfer", args=[vehicle.pk]) + "?to=new"
        early = (vehicle.first_seen - timedelta(5)).isoformat()
        refused = owner.post(url, person(on=early, service="on", how="form"))
        assert "lies before the present keeper" in text(refused)
        assert 'value="Tove Halvarsen"' in refused.content.decode()
        assert (Customer.objects.count(), Consent.objects.count()) == (1, 0)
        owner.post(url, person(on=day()))
        keeper = Keeper.objects.get(vehicle=vehicle, end=None)
        assert (keeper.customer.name, keeper.start, keeper.customer.since) == ("Tove Halvarsen", today(), today())
        assert not Consent.objects.exists()

    @pytest.mark.parametrize("to", ["999999", "x", "-1", "9" * 30])
    def test_transfer_to_nobody_is_not_there(self, to, car, owner):
        vehicle, _bonnet, _roof = car
        assert owner.get(reverse("studio:transfer", args=[vehicle.pk]), {"to": to}).status_code == 404

    def test_a_customer_of_another_studio_cannot_become_keeper(self, car, owner):
        vehicle, _bonnet, _roof = car
        url = f"{reverse('studio:transfer', args=[vehicle.pk])}?to={CustomerFactory().pk}"
        assert owner.post(url, {"on": day()}).status_code == 404
        assert Keeper.objects.count() == 1

    def test_a_vehicle_that_leaves(self, car, owner):
        vehicle, bonnet, _roof = car
        due = CareDueFactory(vehicle=vehicle)
        url = reverse("studio:retire", args=[vehicle.pk])
        assert "This field is required" in text(owner.post(url, {"on": day()}))
        answer = owner.post(url, {"on": day(), "why": "sold"}, follow=True)
        page = text(answer)
        assert "No longer looked after here since" in page
        assert "Record an inspection" not in page
        assert "More to record" not in page
        due.refresh_from_db()
        assert due.state == "withdrawn"
        assert owner.get(url).status_code == 404
        assert owner.get(reverse("studio:change_surface", args=[vehicle.pk, bonnet.pk])).status_code == 404
        assert vehicle.plate not in text(owner.get(reverse("studio:vehicles")))


class TestWhoSeesWhichLinks:
    def test_the_desk_sees_all_and_the_technician_what_is_theirs(self, car, studio):
        vehicle, _bonnet, _roof = car
        LayerFactory(surface=SurfaceFactory(vehicle=vehicle, code="boot"))
        url = reverse("studio:vehicle", args=[vehicle.pk])
        everybody = ("record_habits", "record_storage", "record_correction", "surfaces")
        desk_only = ("record_contract", "change_vehicle", "transfer", "retire")
        for who, sees in ((people.desk, everybody + desk_only), (people.technician, everybody)):
            page = as_member(who(studio)).get(url).content.decode()
            for name in everybody + desk_only:
                assert (reverse(f"studio:{name}", args=[vehicle.pk]) in page) is (name in sees), name
        lists = as_member(people.technician(studio)).get(reverse("studio:vehicles")).content.decode()
        assert reverse("studio:new_vehicle") not in lists

    def test_customers_pages_lead_to_their_forms(self, studio, owner):
        customer = CustomerFactory(studio=studio)
        assert reverse(REGISTER) in owner.get(reverse("studio:customers")).content.decode()
        page = owner.get(reverse("studio:customer", args=[customer.pk])).content.decode()
        for name in ("change_customer", "register_vehicle"):
            assert reverse(f"studio:{name}", args=[customer.pk]) in page
