"""Verbs that set a studio up: what they write, what they refuse, and that a studio is never left without an owner."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from lifecycle.care import founding, goods
from lifecycle.condition import assess
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import Bay, FigureOverride, Forecast, JournalEntry, Member, Price, Product, Site, Studio, User
from tests import people
from tests.factories import (
    NOW,
    CustomerFactory,
    HabitsFactory,
    LayerFactory,
    ProductFactory,
    SiteFactory,
    StudioFactory,
    SurfaceFactory,
    VehicleFactory,
)

pytestmark = pytest.mark.django_db
WHO = {"actor": "member:1", "at": NOW}
STUDIO = {"name": "Fallow Quay Finish", "slug": "fallow-quay", "zone": "Europe/Lisbon", "owner_name": "Wenna Drost",
          "owner_email": "Wenna.Drost@Example.org"}  # fmt: skip


def found(**fields) -> Member:
    return founding.found_studio(**STUDIO | fields, **WHO)


@pytest.fixture
def studio():
    return StudioFactory()


class TestStudio:
    def test_it_has_an_owner_who_has_no_password_yet(self):
        owner = found(reply_to=" desk@example.org ")
        studio = Studio.objects.get()
        assert (studio.zone, studio.currency, studio.reply_to) == ("Europe/Lisbon", "EUR", "desk@example.org")
        assert (owner.studio, owner.role, owner.user.email) == (studio, "owner", "wenna.drost@example.org")
        assert not owner.user.has_usable_password()
        assert list(JournalEntry.objects.values_list("verb", flat=True)) == ["studio founded", "member added"]
        told = " ".join(str(entry.data) for entry in JournalEntry.objects.all())
        assert "wenna" not in told.lower(), "the journal outlives an erasure"

    @pytest.mark.parametrize(
        ("field", "value"),
        [("slug", "Fallow Quay"), ("slug", "-x"), ("slug", "x" * 51), ("name", "  "), ("name", "x" * 121),
         ("zone", "Europe/Nowhere"), ("currency", "euro"), ("reply_to", "desk"), ("owner_email", "wenna"),
         ("owner_name", " ")],
    )  # fmt: skip
    def test_a_slip_is_named_and_nothing_is_written(self, field, value):
        with pytest.raises(DomainError) as said:
            found(**{field: value})
        assert said.value.field == field
        assert not Studio.objects.exists()
        assert not User.objects.exists()

    def test_a_slug_is_taken_once(self):
        found()
        with pytest.raises(DomainError, match="already on record"):
            found(owner_email="another@example.org")


class TestSites:
    def test_a_site_with_bays(self, studio):
        site = founding.add_site(studio=studio, name=" Reed End ", lat=51.0, lon=-4.0, height_m=9.0, bays=2, **WHO)
        assert (site.name, site.zone, site.road_salt) == ("Reed End", studio.zone, "none")
        assert list(Bay.objects.filter(site=site).order_by("name").values_list("name", flat=True)) == ["Bay 1", "Bay 2"]
        assert JournalEntry.objects.filter(verb="bay added", subject="bay").count() == 2

    @pytest.mark.parametrize(
        ("field", "value"),
        [("lat", 91.0), ("lon", float("nan")), ("height_m", 9e9), ("sea_distance_m", -1.0), ("road_salt", "plenty"),
         ("bays", 51), ("bays", -1), ("zone", "Nowhere"), ("name", "")],
    )  # fmt: skip
    def test_what_cannot_be(self, field, value, studio):
        with pytest.raises(DomainError) as said:
            founding.add_site(studio=studio, **{"name": "Reed End", "lat": 51.0, "lon": -4.0, field: value}, **WHO)
        assert said.value.field == field
        assert not Site.objects.exists()

    def test_names_are_taken_once_in_a_studio_and_a_foreign_site_takes_no_bay(self, studio):
        site = SiteFactory(studio=studio, name="Reed End")
        with pytest.raises(DomainError, match="already has a site"):
            founding.add_site(studio=studio, name="Reed End", lat=1.0, lon=1.0, **WHO)
        founding.add_site(studio=StudioFactory(), name="Reed End", lat=1.0, lon=1.0, **WHO)
        founding.add_bay(studio=studio, site_id=site.pk, name="Pit", **WHO)
        with pytest.raises(DomainError, match="already has a bay"):
            founding.add_bay(studio=studio, site_id=site.pk, name="Pit ", **WHO)
        with pytest.raises(NotFoundHere):
            founding.add_bay(studio=StudioFactory(), site_id=site.pk, name="Pit", **WHO)


class TestMembers:
    def add(self, studio, **fields) -> Member:
        return founding.add_member(
            studio=studio, **{"name": "Piet", "email": "piet@example.org", "role": "desk"} | fields, **WHO
        )

    def test_somebody_with_an_account_keeps_it(self, studio):
        customer = people.customer(studio)
        customer.user.set_password("horn-beam-outlast-41")
        customer.user.save()
        member = self.add(studio, email=customer.user.email.upper(), name="Another")
        assert member.user == customer.user
        member.user.refresh_from_db()
        assert (member.user.name, member.user.has_usable_password()) == ("Customer", True)

    def test_one_person_one_studio(self, studio):
        self.add(studio)
        with pytest.raises(DomainError, match="member of this studio"):
            self.add(studio, email="PIET@example.org")
        with pytest.raises(DomainError, match="another studio of this installation") as said:
            self.add(StudioFactory())
        assert said.value.field == "email"

    @pytest.mark.parametrize(("field", "value"), [("role", "boss"), ("email", "piet@"), ("name", "")])
    def test_slips(self, field, value, studio):
        with pytest.raises(DomainError) as said:
            self.add(studio, **{field: value})
        assert said.value.field == field
        assert not User.objects.exists()

    def test_who_left_may_come_back(self, studio):
        people.owner(studio)
        first = self.add(studio)
        founding.end_member(studio=studio, member_id=first.pk, actor="member:1", at=NOW)
        with pytest.raises(NotFoundHere):
            founding.end_member(studio=studio, member_id=first.pk, actor="member:1", at=NOW)
        again = self.add(studio)
        assert (again.user, again.pk != first.pk) == (first.user, True)

    def test_the_last_owner_neither_leaves_nor_steps_down(self, studio):
        one = people.owner(studio)
        people.owner()  # of another studio: does not count here
        for verb, more in ((founding.end_member, {}), (founding.change_role, {"role": "desk"})):
            with pytest.raises(DomainError, match="at least one owner"):
                verb(studio=studio, member_id=one.pk, **more, **WHO)
        two = people.technician(studio)
        founding.change_role(studio=studio, member_id=two.pk, role="owner", **WHO)
        founding.end_member(studio=studio, member_id=one.pk, **WHO)
        assert list(Member.objects.filter(studio=studio, ended_at=None)) == [two]
        with pytest.raises(DomainError, match="at least one owner"):
            founding.end_member(studio=studio, member_id=two.pk, **WHO)

    def test_the_same_role_again_writes_nothing_and_a_foreign_member_is_not_here(self, studio):
        member = people.desk(studio)
        founding.change_role(studio=studio, member_id=member.pk, role="desk", **WHO)
        assert not JournalEntry.objects.exists()
        for verb, more in ((founding.end_member, {}), (founding.change_role, {"role": "desk"})):
            with pytest.raises(NotFoundHere):
                verb(studio=StudioFactory(), member_id=member.pk, **more, **WHO)


class TestProducts:
    def save(self, studio, **fields) -> Product:
        return goods.save_product(
            studio=studio, **{"code": "C36", "name": "two-coat ceramic", "kind": "ceramic_mid"} | fields, **WHO
        )

    def test_a_life_of_its_own_is_felt_by_the_forecast(self, studio):
        product = self.save(studio)
        vehicle = VehicleFactory(site=SiteFactory(studio=studio))
        HabitsFactory(vehicle=vehicle)
        layer = LayerFactory(surface=SurfaceFactory(vehicle=vehicle, code="bonnet"), product=product)
        assess(at=NOW)
        before = Forecast.objects.get(layer=layer, assessment__latest=True).renewal_p50_months
        self.save(studio, product_id=product.pk, caution="Keep from flames.")
        vehicle.refresh_from_db()
        assert vehicle.assess_again is False, "a caution wears nothing"
        self.save(studio, product_id=product.pk, life_low_months=10.0, life_high_months=14.0)
        vehicle.refresh_from_db()
        assert vehicle.assess_again is True
        assess(at=NOW + timedelta(minutes=10))
        assert Forecast.objects.get(layer=layer, assessment__latest=True).renewal_p50_months < 0.6 * before
        assert JournalEntry.objects.filter(verb="product changed").last().data["vehicles"] == 1

    @pytest.mark.parametrize(
        ("field", "fields"),
        [
            ("code", {"code": " "}),
            ("code", {"code": "x" * 21}),
            ("name", {"name": ""}),
            ("kind", {"kind": "unknown"}),
            ("life_low_months", {"life_high_months": 12.0}),
            ("life_high_months", {"life_low_months": 12.0, "life_high_months": 12.0}),
            ("life_low_months", {"life_low_months": 0.0, "life_high_months": 12.0}),
            ("life_high_months", {"life_low_months": 1.0, "life_high_months": float("inf")}),
            ("thickness_um", {"thickness_um": -1.0}),
            ("caution", {"caution": "x" * 2001}),
        ],
    )
    def test_slips(self, field, fields, studio):
        with pytest.raises(DomainError) as said:
            self.save(studio, **fields)
        assert said.value.field == field
        assert not Product.objects.exists()

    def test_a_code_is_taken_once_and_a_foreign_product_is_not_here(self, studio):
        product = self.save(studio)
        with pytest.raises(DomainError, match="has the code C36") as said:
            self.save(studio, name="another")
        assert said.value.field == "code"
        with pytest.raises(NotFoundHere):
            self.save(StudioFactory(), product_id=product.pk)

    def test_the_kind_stays_once_something_rests_on_it(self, studio):
        product = self.save(studio)
        assert self.save(studio, product_id=product.pk, kind="wax").kind == "wax"
        LayerFactory(surface=SurfaceFactory(vehicle__site__studio=studio), product=product, kind="wax")
        with pytest.raises(DomainError, match="another product for another kind"):
            self.save(studio, product_id=product.pk, kind="sealant")
        other = ProductFactory(studio=studio)
        FigureOverride.objects.create(
            studio=studio, product=other, key="layer.ceramic_mid.months", value=20, low=18, high=26, mark="judgement",
            source="us", since=NOW,
        )  # fmt: skip
        with pytest.raises(DomainError, match="another product for another kind"):
            self.save(studio, product_id=other.pk, code=other.code, kind="sealant")


class TestPrices:
    def save(self, studio, low, high, **fields) -> Price | None:
        ends = {name: None if text is None else Decimal(text) for name, text in (("low", low), ("high", high))}
        return goods.save_price(studio=studio, **{"task": "recoat", "size": "M"} | ends | fields, **WHO)

    def test_set_changed_and_dropped(self, studio):
        assert self.save(studio, "500", "650.50").high == Decimal("650.50")
        self.save(studio, "500", "700")
        self.save(studio, "500.00", "700.00")  # the same again
        assert Price.objects.get().high == 700
        row = next(row for row in goods.price_table(studio) if row.task == "recoat")
        assert row.prices == {"S": None, "M": (Decimal(500), Decimal(700)), "L": None, "XL": None}
        assert self.save(studio, None, None) is None
        assert self.save(studio, None, None) is None
        verbs = list(JournalEntry.objects.values_list("verb", flat=True))
        assert verbs == ["price set", "price set", "price dropped"]
        assert JournalEntry.objects.last().data["before"] == ["500.00", "700.00"]

    @pytest.mark.parametrize(
        ("field", "low", "high", "more"),
        [
            ("high", "5", "4.99", {}),
            ("high", "5", None, {}),
            ("low", None, "5", {}),
            ("low", "-1", "5", {}),
            ("high", "5", "NaN", {}),
            ("high", "5", "10000000", {}),
            ("low", "5.001", "6", {}),
            ("task", "5", "6", {"task": "polish the sun"}),
            ("size", "5", "6", {"size": "XXL"}),
        ],
    )
    def test_slips(self, field, low, high, more, studio):
        with pytest.raises(DomainError) as said:
            self.save(studio, low, high, **more)
        assert said.value.field == field
        assert not Price.objects.exists()

    def test_a_price_is_the_studios_own(self, studio):
        self.save(studio, "5", "6")
        self.save(StudioFactory(), "7", "8")
        assert Price.objects.get(studio=studio).low == 5


def test_a_customer_stays_who_they_are_when_an_owner_enters_somebody_new(studio):
    customer = CustomerFactory(studio=studio, email="both@example.org")
    founding.add_member(studio=studio, name="Both", email="both@example.org", role="desk", **WHO)
    customer.refresh_from_db()
    assert customer.user is None
