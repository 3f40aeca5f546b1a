"""An empty, migrated database: the command, the owner's first sign-in, a customer, a vehicle, and the cycle runs."""

from __future__ import annotations

import re
from datetime import timedelta
from io import StringIO

import pytest
from django.core import mail
from django.core.cache import cache
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from lifecycle import tasks
from lifecycle.models import Assessment, Bay, CareDue, Customer, Layer, Member, Site, Studio, User, Vehicle
from tests.portal.studio_world import text, today
from tests.portal.test_signin import PASSWORD, set_up

GIVEN = {"name": "Fallow Quay Finish", "slug": "fallow-quay", "zone": "Europe/Lisbon",
         "site": "Reed End, North,49.49,8.47,97", "bays": 2, "owner_name": "Wenna Drost",
         "owner_email": "wenna@example.org"}  # fmt: skip


def run(**changes: object) -> str:
    out = StringIO()
    call_command("found_studio", stdout=out, **GIVEN | changes)
    return out.getvalue()


def link_in(words: str) -> str:
    """The path of the one link in it."""
    (link,) = re.findall(r"https?://\S+", words)
    return re.sub(r"^https?://[^/]+", "", link)


def set_password(link: str, email: str) -> Client:
    """Whoever follows the link sets a password and signs in with it."""
    browser = Client()
    there = browser.get(link)
    assert there.status_code == 302
    form = {"password1": PASSWORD, "password2": PASSWORD}
    done = browser.post(there["Location"], form)
    assert done["Location"] == reverse("account_reset_password_from_key_done")
    signed_in = browser.post(reverse("account_login"), {"login": email, "password": PASSWORD})
    assert signed_in.status_code == 302
    return browser


@pytest.mark.django_db(transaction=True)  # the library tells of a new factor when it is committed
def test_from_an_empty_database_to_a_cycle_that_runs(settings):
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    cache.clear()
    assert not Studio.objects.exists()
    said = run()
    assert settings.SITE_ADDRESS in said
    assert mail.outbox == []
    link = link_in(said)

    owner = set_password(link, GIVEN["owner_email"])
    assert Client().get(link).status_code == 200, "used once: the page says so instead of going on"
    assert "invalid" in text(Client().get(link))
    assert owner.get(reverse("studio:work"))["Location"] == reverse("mfa_index")
    set_up(owner)
    assert "Nothing is due here." in text(owner.get(reverse("studio:work")))

    (site,) = Site.objects.all()
    product = {"code": "W2", "name": "soft wax", "kind": "wax", "life_low_months": "1.4", "life_high_months": "2.3"}
    assert owner.post(reverse("studio:new_product"), product).status_code == 302
    when = today() - timedelta(days=90)
    person = {"name": "Tess Alder", "email": "tess@example.org", "language": "en", "zone": "Europe/Lisbon",
              "since": when.isoformat(), "service": "on", "service_wording": "Please write to me.",
              "how": "paper form"}  # fmt: skip
    assert owner.post(reverse("studio:register_customer"), person).status_code == 302
    customer = Customer.objects.get()
    vehicle_form = {"site": site.pk, "plate": "FQ 1", "description": "grey estate", "size": "M", "colour": "mid",
                    "paint": "clear_coat", "powertrain": "combustion", "first_seen": when.isoformat(),
                    "surfaces": ["bonnet", "roof"]}  # fmt: skip
    url = f"{reverse('studio:register_vehicle', args=[customer.pk])}?body=estate"
    answer = owner.post(url, vehicle_form)
    assert answer.status_code == 302, text(answer)
    vehicle = Vehicle.objects.get()
    layer = {"surfaces": [row.pk for row in vehicle.surfaces.all()], "product": product_id(), "coats": "1",
             "applied": when.isoformat()}  # fmt: skip
    assert owner.post(reverse("studio:record_layer", args=[vehicle.pk]), layer).status_code == 302
    assert Layer.objects.count() == 2

    at = timezone.now() + timedelta(minutes=1)
    tasks.run_all(at=at)
    assert tasks.stale(at) == []
    assert Assessment.objects.filter(vehicle=vehicle, latest=True).count() == 1
    assert CareDue.objects.filter(vehicle=vehicle, task="wax_renewal").exists(), "wax of three months ago"
    assert "Wax renewal" in text(owner.get(reverse("studio:work"), {"when": "all"}))
    assert owner.get("/healthz").status_code == 200


def product_id() -> int:
    from lifecycle.models import Product

    return Product.objects.get().pk


@pytest.mark.django_db
class TestCommand:
    def test_it_writes_the_house_and_asks_nothing(self, monkeypatch):
        monkeypatch.setattr("builtins.input", lambda *args: pytest.fail("the command asked"))
        said = run()
        studio, site = Studio.objects.get(), Site.objects.get()
        assert (studio.slug, studio.zone) == ("fallow-quay", "Europe/Lisbon")
        assert (site.name, site.lat, site.lon, site.height_m) == ("Reed End, North", 49.49, 8.47, 97.0)
        assert Bay.objects.filter(site=site).count() == 2
        owner = Member.objects.get()
        assert (owner.role, owner.user.has_usable_password()) == ("owner", False)
        assert "within 3 days, once" in said

    def test_the_height_may_be_left_out(self):
        run(site="Reed End,-49.49,8.47")
        assert (Site.objects.get().lat, Site.objects.get().height_m) == (-49.49, None)

    @pytest.mark.parametrize(
        ("change", "says"),
        [
            ({"site": "Reed End"}, "is not NAME,LAT,LON"),
            ({"site": "Reed End,49.49"}, "is not NAME,LAT,LON"),
            ({"site": "49.49,8.47,97"}, "is not NAME,LAT,LON"),
            ({"site": "Reed End,north,8.47"}, "is not NAME,LAT,LON"),
            ({"site": "Reed End,149,8.47"}, "does not lie between -90 and 90"),
            ({"site": "Reed End,nan,8.47"}, "nan"),
            ({"zone": "Mars/Base"}, "no time zone"),
            ({"slug": "Fallow Quay"}, "small letters"),
            ({"owner_email": "wenna"}, "no e-mail address"),
            ({"bays": 99}, "not between 0 and 50"),
        ],
    )
    def test_a_slip_writes_nothing(self, change, says):
        with pytest.raises(CommandError, match=re.escape(says)):
            run(**change)
        assert not Studio.objects.exists()
        assert not User.objects.exists()

    def test_a_second_studio_stands_beside_the_first(self):
        run()
        with pytest.raises(CommandError, match="already on record"):
            run(owner_email="other@example.org")
        with pytest.raises(CommandError, match="another studio of this installation"):
            run(slug="second")
        run(slug="second", owner_email="other@example.org")
        assert Studio.objects.count() == 2
