"""The owner's house: team, products, prices, sites and bays. What was typed is kept, others stay out."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from django.core import mail
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lifecycle.models import Bay, JournalEntry, Layer, LearnedLife, Member, Price, Product, Site
from tests import people
from tests.factories import NOW, LayerFactory, ProductFactory, SiteFactory, SurfaceFactory, VehicleFactory
from tests.portal.doors import as_member
from tests.portal.studio_world import read_and_send, text

pytestmark = pytest.mark.django_db
NEW = {"name": "Piet Oxenrood", "email": "piet@example.org", "role": "technician"}


class TestNavigation:
    def test_the_owner_has_one_entry_more_and_finds_everything_from_there(self, owner, studio):
        page = owner.get(reverse("studio:house")).content.decode()
        for name in ("team", "products", "prices", "sites", "figures"):
            assert f'href="{reverse(f"studio:{name}")}"' in page
            inner = owner.get(reverse(f"studio:{name}")).content.decode()
            current = re.search(r'<a href="([^"]+)" aria-current="page"', inner)[1]
            assert current == reverse("studio:sites" if name == "sites" else "studio:house"), name
        for role in ("technician", "desk"):
            other = as_member(getattr(people, role)(studio)).get(reverse("studio:work")).content.decode()
            assert reverse("studio:house") not in other


class TestTeam:
    def test_a_new_member_gets_a_link_by_mail(self, owner, studio, settings):
        said = text(owner.post(reverse("studio:team"), NEW, follow=True))
        assert "Piet Oxenrood is on record as technician." in said
        assert "went to piet@example.org; it holds for 3 days" in said
        assert "no password set yet" in said
        (letter,) = mail.outbox
        assert letter.to == ["piet@example.org"]
        assert letter.subject == f"Your account at {studio.name}"
        link = re.search(r"https?://\S+", letter.body)[0]
        assert link.startswith(f"{settings.SITE_ADDRESS}/account/password/reset/key/")
        assert "second factor" in letter.body
        assert max(len(line) for line in letter.body.splitlines() if "://" not in line) <= 76

    def test_a_mail_that_fails_is_told_and_the_link_can_be_sent_again(self, owner, studio, monkeypatch):
        with monkeypatch.context() as broken:
            broken.setattr(
                "django.core.mail.backends.locmem.EmailBackend.send_messages",
                lambda self, messages: (_ for _ in ()).throw(ConnectionRefusedError("no server at 127.0.0.1")),
            )
            said = text(owner.post(reverse("studio:team"), NEW, follow=True))
        assert "did not go out: ConnectionRefusedError: no server" in said
        member = Member.objects.get(user__email="piet@example.org")
        said = text(owner.post(reverse("studio:member", args=[member.pk]), {"record": "link"}, follow=True))
        assert "A link to set the password went to piet@example.org" in said
        assert len(mail.outbox) == 1

    @pytest.mark.parametrize(
        ("change", "says"),
        [({"email": "piet"}, "Enter a valid email"), ({"role": "boss"}, "Select a valid choice"),
         ({"name": ""}, "This field is required")],
    )  # fmt: skip
    def test_a_slip_keeps_what_was_typed_and_mails_nobody(self, change, says, owner):
        page = owner.post(reverse("studio:team"), NEW | change).content.decode()
        assert says in page
        assert 'value="Piet Oxenrood"' in page or "name" in change
        assert 'value="piet@example.org"' in page or "email" in change
        assert mail.outbox == []
        assert Member.objects.count() == 1

    def test_an_address_that_is_taken_is_said_at_its_field(self, owner, studio):
        member = people.desk(studio)
        page = owner.post(reverse("studio:team"), NEW | {"email": member.user.email})
        assert "already belongs to a member of this studio" in text(page)
        assert 'id="id_email_error"' in page.content.decode()
        assert mail.outbox == []

    def test_another_role_and_the_end_hold_from_the_next_page_on(self, owner, studio):
        member = people.technician(studio)
        browser, url = as_member(member), reverse("studio:member", args=[member.pk])
        assert browser.get(reverse("studio:bookings")).status_code == 403
        assert "is desk now" in text(owner.post(url, {"record": "role", "role": "desk"}, follow=True))
        assert browser.get(reverse("studio:bookings")).status_code == 200
        assert "no longer works here" in text(owner.post(url, {"record": "end"}, follow=True))
        assert browser.get(reverse("studio:work")).status_code == 403
        assert "was desk until" in text(owner.get(reverse("studio:team")))
        assert owner.get(url).status_code == 404

    def test_the_last_owner_is_told_why_not(self, owner, studio):
        me = Member.objects.get(studio=studio, role="owner")
        url = reverse("studio:member", args=[me.pk])
        for asked in ({"record": "end"}, {"record": "role", "role": "desk"}):
            assert "keeps at least one owner" in text(owner.post(url, asked))
        me.refresh_from_db()
        assert (me.role, me.ended_at) == ("owner", None)

    def test_an_owner_who_steps_down_is_not_left_before_a_closed_door(self, owner, studio):
        me = Member.objects.get(studio=studio, role="owner")
        people.owner(studio)
        answer = owner.post(
            reverse("studio:member", args=[me.pk]), {"record": "role", "role": "technician"}, follow=True
        )
        assert answer.status_code == 200
        assert answer.redirect_chain[-1][0] == reverse("studio:work")

    def test_as_many_queries_for_ten_members_as_for_one(self, owner, studio, django_assert_num_queries):
        url = reverse("studio:team")
        owner.get(url)
        with CaptureQueriesContext(connection) as few:
            owner.get(url)
        for _ in range(9):
            people.desk(studio)
        with django_assert_num_queries(len(few)):
            owner.get(url)


PRODUCT = {"code": "C36", "name": "two-coat ceramic", "kind": "ceramic_mid", "life_low_months": "28",
           "life_high_months": "40.5", "thickness_um": "", "caution": "Keep from flames."}  # fmt: skip


class TestProducts:
    def test_from_none_to_one_that_is_changed(self, owner, studio):
        assert "No product is on record yet" in text(owner.get(reverse("studio:products")))
        said = text(owner.post(reverse("studio:new_product"), PRODUCT, follow=True))
        assert "C36 is on record." in said
        assert "C36 two-coat ceramic ceramic mid 28–40.5 0" in said
        product = Product.objects.get()
        assert (product.life_high_months, product.thickness_um, product.studio) == (40.5, None, studio)
        url = reverse("studio:product", args=[product.pk])
        page = owner.get(url).content.decode()
        assert 'value="40.5"' in page
        assert "Keep from flames." in page
        owner.post(url, PRODUCT | {"life_low_months": "", "life_high_months": ""})
        assert "as the table" in text(owner.get(reverse("studio:products")))

    def test_label_and_what_was_learned_stand_side_by_side(self, owner, studio, site, django_assert_num_queries):
        product = ProductFactory(studio=studio, code="C36", kind="ceramic_mid")
        url = reverse("studio:product", args=[product.pk])
        with CaptureQueriesContext(connection) as few:
            assert "Nothing has been learned of this product yet" in text(owner.get(url))
        queries = len(few)
        assert "How long it lasts here" not in text(owner.get(reverse("studio:new_product")))
        said = "Only 4 vehicles here, 1 of them at the end of this layer, so take it as mostly the prior, 33 months"
        row = {
            "studio": studio, "product": product, "at": NOW, "label": 33.5, "median_low": 25.2, "median_mid": 29.8,
            "median_high": 36.1, "life_low": 19.0, "life_mid": 30.0, "life_high": 47.6, "mark": "from memory",
            "excluded": 2, "vehicles": 4, "ended": 1, "says": said, "calibration_says": "Foretold from the others.",
        }  # fmt: skip
        LearnedLife.objects.create(site=site, **row)
        LearnedLife.objects.create(site=SiteFactory(studio=studio, name="Tarn Bellow"), **row)
        with django_assert_num_queries(queries):
            page = owner.get(url)
        found = text(page)
        assert f"{site.name} 34 30 (25–36) 19–48 4 1 2 from memory" in found
        assert f"{site.name}. {said} Foretold from the others." in found
        assert "Tarn Bellow. Only 4 vehicles" in found
        assert reverse("studio:figure", args=["layer.ceramic_mid.months"]) in page.content.decode()
        assert as_member(people.technician(studio)).get(url).status_code == 403

    def test_ends_that_do_not_fit_are_said_at_their_field(self, owner):
        page = owner.post(reverse("studio:new_product"), PRODUCT | {"life_high_months": "12"})
        assert "12 months is not more than the low end, 28" in text(page)
        assert 'id="id_life_high_months_error"' in page.content.decode()
        assert 'value="two-coat ceramic"' in page.content.decode()
        assert not Product.objects.exists()

    def test_the_kind_of_a_product_in_use_cannot_be_forged(self, owner, studio, site):
        product = ProductFactory(studio=studio, kind="wax", code="W2")
        LayerFactory(surface=SurfaceFactory(vehicle=VehicleFactory(site=site)), product=product, kind="wax")
        url = reverse("studio:product", args=[product.pk])
        assert re.search(r'<select name="kind"[^>]* disabled', owner.get(url).content.decode())
        owner.post(url, PRODUCT | {"code": "W2", "kind": "sealant"})
        product.refresh_from_db()
        assert (product.kind, product.name) == ("wax", "two-coat ceramic")

    def test_it_stands_in_the_technicians_form_at_once(self, owner, studio, car):
        vehicle, bonnet, _roof = car
        owner.post(reverse("studio:new_product"), PRODUCT)
        url = reverse("studio:record_layer", args=[vehicle.pk])
        technician = as_member(people.technician(studio))
        assert "C36 two-coat ceramic" in text(technician.get(url))
        data = {"surfaces": [bonnet.pk], "product": Product.objects.get().pk, "coats": "2", "applied": "2026-01-05"}
        read_and_send(technician, url, data)
        assert Layer.objects.filter(product__code="C36", kind="ceramic_mid").count() == 1

    def test_queries_do_not_grow(self, owner, studio, django_assert_num_queries):
        url = reverse("studio:products")
        ProductFactory(studio=studio)
        owner.get(url)
        with CaptureQueriesContext(connection) as few:
            owner.get(url)
        for _ in range(9):
            ProductFactory(studio=studio)
        with django_assert_num_queries(len(few)):
            owner.get(url)


def price_data(page: str, **changes: str) -> dict[str, str]:
    """What a browser would send: every field of the form as it stands, but for the changes."""
    table = page[page.index('class="plain stack prices"') :]
    fields = re.findall(r'<input type="number" name="([^"]+)"(?: value="([^"]*)")?', table)
    assert len(fields) == 30 * 4 * 2, "30 tasks, four sizes, two ends"
    return dict(fields) | {name.replace("__", "-"): value for name, value in changes.items()}


class TestPrices:
    def test_one_form_keeps_all_and_writes_only_what_changed(self, owner, studio):
        url = reverse("studio:prices")
        data = price_data(owner.get(url).content.decode(), recoat__M__low="500", recoat__M__high="650.50")
        data |= {"booster-S-low": "60", "booster-S-high": "60"}
        assert "2 prices changed." in text(owner.post(url, data, follow=True))
        page = owner.get(url).content.decode()
        assert re.search(r'name="recoat-M-high" value="650\.50"', page)
        assert re.search(r'name="booster-S-low" value="60"', page)
        data = price_data(page, booster__S__low="", booster__S__high="")
        assert "1 price changed." in text(owner.post(url, data, follow=True))
        assert (Price.objects.get().high, JournalEntry.objects.count()) == (Decimal("650.50"), 3)
        assert "Nothing was changed." in text(owner.post(url, price_data(page.replace('value="60"', "")), follow=True))

    @pytest.mark.parametrize(
        ("low", "high", "end", "says"),
        [("5", "4", "high", "The high end is less than 5"), ("5", "", "high", "Give both ends"),
         ("", "5", "low", "Give both ends"), ("-1", "5", "low", "greater than or equal to 0"),
         ("1.234", "5", "low", "no more than 2 decimal"), ("²", "5", "low", "Enter a number")],
    )  # fmt: skip
    def test_a_slip_is_marked_at_its_place_and_nothing_is_kept(self, low, high, end, says, owner):
        url = reverse("studio:prices")
        data = price_data(
            owner.get(url).content.decode(), recoat__M__low=low, recoat__M__high=high, booster__S__low="60",
            booster__S__high="70",
        )  # fmt: skip
        page = owner.post(url, data).content.decode()
        assert says in page
        assert f'id="id_recoat-M-{end}_error"' in page
        assert re.search(r'name="booster-S-low" value="60"', page)
        assert not Price.objects.exists()

    def test_the_page_is_light_and_costs_few_queries(self, owner, studio, django_assert_max_num_queries):
        with django_assert_max_num_queries(8):
            answer = owner.get(reverse("studio:prices"))
        assert len(answer.content) < 80_000
        assert " style=" not in answer.content.decode()


SITE = {"name": "Reed End", "where": "51.1, -4.2", "height_m": "", "sea_distance_m": "900", "road_salt": "some",
        "zone": "Europe/London", "bays": "2"}  # fmt: skip


class TestSites:
    def test_a_new_site_with_bays_takes_vehicles(self, owner, studio):
        assert reverse("studio:new_site") in owner.get(reverse("studio:sites")).content.decode()
        said = text(owner.post(reverse("studio:new_site"), SITE, follow=True))
        assert "Reed End is on record" in said
        site = Site.objects.get(name="Reed End")
        assert (site.lat, site.lon, site.height_m, site.zone) == (51.1, -4.2, None, "Europe/London")
        url = reverse("studio:bays", args=[site.pk])
        assert url in owner.get(reverse("studio:site", args=[site.pk])).content.decode()
        assert "Bay 1 Bay 2" in text(owner.get(url))
        assert "Pit is on record" in text(owner.post(url, {"name": "Pit"}, follow=True))
        assert "already has a bay" in text(owner.post(url, {"name": "Pit"}))
        assert Bay.objects.filter(site=site, studio=studio).count() == 3

    @pytest.mark.parametrize(
        ("field", "typed", "says"),
        [("where", "Atlantis", "not among the"), ("zone", "Mars/Base", "no time zone"),
         ("bays", "900", "less than or equal to 50"), ("height_m", "30000", "between -450 and 6000 m"),
         ("name", "Skarholt Sound", "already has a site")],
    )  # fmt: skip
    def test_a_slip_keeps_what_was_typed(self, field, typed, says, owner, site):
        page = owner.post(reverse("studio:new_site"), SITE | {field: typed})
        assert says in text(page)
        assert f'value="{typed}"' in page.content.decode()
        assert f'id="id_{field}_error"' in page.content.decode()
        assert Site.objects.count() == 1

    @pytest.mark.parametrize("role", ["technician", "desk"])
    def test_members_find_no_button(self, role, studio, site):
        browser = as_member(getattr(people, role)(studio))
        assert reverse("studio:new_site") not in browser.get(reverse("studio:sites")).content.decode()
        assert browser.post(reverse("studio:new_site"), SITE).status_code == 403
        assert browser.post(reverse("studio:bays", args=[site.pk]), {"name": "Pit"}).status_code == 403
        assert Site.objects.count() == 1
