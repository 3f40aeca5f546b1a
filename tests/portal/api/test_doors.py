"""Who gets in through the API: token, scope, role, studio. A browser's session opens nothing."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from lifecycle.care.founding import change_role, end_member
from lifecycle.connect.scopes import open_to
from lifecycle.connect.tokens import PER_MINUTE, end_token
from lifecycle.models import ApiToken, JournalEntry, Offer, OfferStep
from tests import people
from tests.factories import NOW, SiteFactory, StudioFactory, SurfaceFactory, VehicleFactory
from tests.portal.api.world import made_token, program
from tests.portal.doors import as_member
from tests.portal.studio_world import due

pytestmark = pytest.mark.django_db
ALL = {"owner", "technician", "desk"}
# Written out by hand: a changed rule must be changed here too, on purpose.
GETS = {
    "/api/v1/vehicles": ("read:vehicles", ALL),
    "/api/v1/vehicles/{vehicle}": ("read:vehicles", ALL),
    "/api/v1/vehicles/{vehicle}/layers": ("read:layers", ALL),
    "/api/v1/vehicles/{vehicle}/events": ("read:events", ALL),
    "/api/v1/due": ("read:due", ALL),
    "/api/v1/offers": ("read:offers", {"owner", "desk"}),
    "/api/v1/offers/{offer}": ("read:offers", {"owner", "desk"}),
    "/api/v1/outlook": ("read:outlook", {"owner"}),
}


@pytest.fixture
def world():
    studio = StudioFactory(zone="UTC")
    vehicle = VehicleFactory(site=SiteFactory(studio=studio))
    surface = SurfaceFactory(vehicle=vehicle, code="bonnet")
    window = due(vehicle.site, vehicle=vehicle)
    offer = Offer.objects.create(
        studio=studio, vehicle=vehicle, due=window, task=window.task, price_low=80, price_high=120, made_at=NOW
    )
    OfferStep.objects.create(studio=studio, offer=offer, kind="offered", at=NOW)
    return studio, {"vehicle": vehicle.pk, "surface": surface.pk, "offer": offer.pk}


def test_the_list_above_holds_every_read():
    document = Client().get("/api/v1/openapi.json").json()
    reads = {path.replace("_id}", "}") for path, methods in document["paths"].items() if "get" in methods}
    assert reads == set(GETS)
    for path, methods in document["paths"].items():
        if "get" in methods:
            assert methods["get"]["x-scope"] == GETS[path.replace("_id}", "}")][0]


@pytest.mark.parametrize("role", sorted(ALL))
def test_role_by_scope_by_address(world, role):
    studio, ids = world
    member = getattr(people, role)(studio)
    may = {scope.code for scope in open_to(role)}
    for scope in sorted(may):
        ask = program(member, scope)
        for path, (needed, roles) in GETS.items():
            status = ask.get(path.format(**ids)).status_code
            assert status == (200 if scope == needed and role in roles else 403), (scope, path)
        ApiToken.objects.all().delete()
    everything = program(member)
    for path, (_needed, roles) in GETS.items():
        assert everything.get(path.format(**ids)).status_code == (200 if role in roles else 403), path


def test_another_studios_things_are_not_there(world):
    _studio, ids = world
    ask = program(people.owner())
    for path in GETS:
        if "{" in path:
            assert ask.get(path.format(**ids)).status_code == 404, path
        else:
            assert ask.get(path).json().get("rows", []) == [], path
    assert ask.get("/api/v1/due", {"vehicle": ids["vehicle"]}).json()["total"] == 0
    assert ask.get("/api/v1/outlook").json()["months"] == []


class TestTokens:
    def test_only_a_live_token_in_the_header_gets_in(self, world):
        studio, _ids = world
        member = people.owner(studio)
        secret = made_token(member).secret
        good = {"Authorization": f"Bearer {secret}"}
        assert Client().get("/api/v1/vehicles", headers=good).status_code == 200
        wrong = [
            {}, {"Authorization": secret}, {"Authorization": "Bearer "}, {"Authorization": f"Bearer {secret}x"},
            {"Authorization": f"Basic {secret}"}, {"Authorization": f"Bearer {secret[:-1]}"}, {"X-Token": secret},
            {"Authorization": "Bearer " + "x" * 5000}, {"Authorization": "Bearer shw_\u00e9"},
        ]  # fmt: skip
        for headers in wrong:
            answer = Client().get("/api/v1/vehicles", headers=headers)
            assert answer.status_code == 401, headers
            assert answer["WWW-Authenticate"].startswith("Bearer"), "RFC 6750, section 3"
            assert answer["Content-Type"] == "application/problem+json"
        assert Client().get(f"/api/v1/vehicles?access_token={secret}").status_code == 401, "never in the address"

    def test_a_browsers_session_opens_nothing_and_a_token_no_page(self, world):
        studio, _ids = world
        member = people.owner(studio)
        browser = as_member(member)
        assert browser.get("/studio/").status_code == 200
        assert browser.get("/api/v1/vehicles").status_code == 401
        assert program(member).get("/studio/").status_code == 302

    def test_the_secret_is_not_kept(self, world):
        studio, _ids = world
        made = made_token(people.owner(studio))
        token = ApiToken.objects.get()
        assert len(made.secret) >= 4 + 43, "256 random bits in base64"
        for field in token._meta.fields:
            assert made.secret not in str(getattr(token, field.attname))
        assert made.secret not in str(list(JournalEntry.objects.values()))

    def test_it_ends_by_hand_by_its_day_and_with_the_member(self, world):
        studio, _ids = world
        boss, member = people.owner(studio), people.technician(studio)
        by = {"studio": studio, "actor": f"member:{boss.pk}", "at": timezone.now()}
        made = made_token(member)
        ask = Client(headers={"Authorization": f"Bearer {made.secret}"})
        assert ask.get("/api/v1/vehicles").status_code == 200
        end_token(token_id=made.id, member_id=boss.pk, everybodys=True, **by)
        assert ask.get("/api/v1/vehicles").status_code == 401
        old = program(member, at=timezone.now() - timedelta(days=31))
        assert old.get("/api/v1/vehicles").status_code == 401
        ask = program(member)
        assert ask.get("/api/v1/vehicles").status_code == 200
        end_member(member_id=member.pk, **by)
        assert ask.get("/api/v1/vehicles").status_code == 401

    def test_another_role_narrows_it_at_once(self, world):
        studio, _ids = world
        boss, member = people.owner(studio), people.desk(studio)
        ask = program(member, "read:offers", "read:vehicles")
        assert ask.get("/api/v1/offers").status_code == 200
        change_role(studio=studio, member_id=member.pk, role="technician", actor=f"member:{boss.pk}", at=timezone.now())
        refused = ask.get("/api/v1/offers")
        assert (refused.status_code, refused.json()["type"].rsplit("#", 1)[-1]) == (403, "problem-role")
        assert ask.get("/api/v1/vehicles").status_code == 200

    def test_the_day_of_its_use_is_noted(self, world):
        studio, _ids = world
        ask = program(people.owner(studio))
        assert ApiToken.objects.get().last_used_on is None
        ask.get("/api/v1/vehicles")
        assert ApiToken.objects.get().last_used_on == studio.day(timezone.now())

    def test_a_missing_scope_is_named(self, world):
        studio, _ids = world
        refused = program(people.owner(studio), "read:due").get("/api/v1/vehicles")
        assert (refused.status_code, refused.json()["where"]) == (403, "read:vehicles")
        assert 'scope="read:vehicles"' in refused["WWW-Authenticate"], "RFC 6750, section 3"


class TestRateLimit:
    def test_beyond_the_limit_it_waits_for_the_next_minute(self, world, time_machine):
        studio, _ids = world
        time_machine.move_to(NOW + timedelta(seconds=20), tick=False)
        member = people.owner(studio)
        ask, other = program(member), program(member)
        for number in range(PER_MINUTE):
            answer = ask.get("/api/v1/vehicles")
            assert answer.status_code == 200, number
            assert answer["RateLimit"] == f'"minute";r={PER_MINUTE - 1 - number};t=40'
        refused = ask.get("/api/v1/vehicles")
        assert (refused.status_code, refused["Retry-After"]) == (429, "40")
        assert refused["RateLimit"] == '"minute";r=0;t=40'
        assert refused["RateLimit-Policy"] == f'"minute";q={PER_MINUTE};w=60'
        assert other.get("/api/v1/vehicles").status_code == 200, "another token has its own"
        time_machine.move_to(NOW + timedelta(seconds=60), tick=False)
        assert ask.get("/api/v1/vehicles").status_code == 200

    def test_what_is_refused_for_its_scope_counts_too(self, world, time_machine):
        studio, _ids = world
        time_machine.move_to(NOW, tick=False)
        ask = program(people.owner(studio), "read:due")
        ask.get("/api/v1/vehicles")
        assert ApiToken.objects.get().used == 1
