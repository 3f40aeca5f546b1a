"""What programs record: by the verbs of the pages, once for each key, within scope, role and studio."""

from __future__ import annotations

import json
from datetime import timedelta
from itertools import count

import pytest
from django.utils import timezone

from lifecycle.connect import repeats
from lifecycle.connect.scopes import SCOPES, open_to
from lifecycle.connect.tidy import tidy
from lifecycle.models import ApiAnswer, ApiToken, CareEvent, JournalEntry, Layer, Offer, OfferStep, Vehicle
from tests import people
from tests.factories import NOW, CustomerFactory, SiteFactory, StudioFactory, SurfaceFactory, VehicleFactory
from tests.portal.api.world import program
from tests.portal.studio_world import due, today

pytestmark = pytest.mark.django_db
KEYS = count(1)
# Written out by hand: a changed rule must be changed here too, on purpose.
DEEDS = {
    "vehicles": ("write:vehicles", {"owner", "desk"}),
    "vehicles/{vehicle}/layers": ("write:layers", {"owner", "technician"}),
    "vehicles/{vehicle}/events": ("write:events", {"owner", "technician"}),
    "offers/{offer}/answer": ("write:offers", {"owner", "desk"}),
}


@pytest.fixture
def world():
    """A studio, the ids that deeds name, and a good body for each deed."""
    studio = StudioFactory(zone="UTC")
    vehicle = VehicleFactory(site=SiteFactory(studio=studio))
    surface = SurfaceFactory(vehicle=vehicle, code="bonnet")
    window = due(vehicle.site, vehicle=vehicle)
    offer = Offer.objects.create(
        studio=studio, vehicle=vehicle, due=window, task=window.task, price_low=80, price_high=120, made_at=NOW
    )
    OfferStep.objects.create(studio=studio, offer=offer, kind="offered", at=timezone.now() - timedelta(days=1))
    bodies = {
        "vehicles": {
            "site_id": vehicle.site_id, "keeper_id": CustomerFactory(studio=studio).pk, "plate": "new 1",
            "description": "green hatch", "body": "hatch", "size": "S", "colour": "mid",
            "first_seen": today().isoformat(),
        },
        "vehicles/{vehicle}/layers": {"surface_id": surface.pk, "kind": "wax", "applied": today().isoformat()},
        "vehicles/{vehicle}/events": {"kind": "wash", "on": today().isoformat()},
        "offers/{offer}/answer": {"kind": "declined", "why": "price"},
    }  # fmt: skip
    return studio, {"vehicle": vehicle.pk, "offer": offer.pk, "surface": surface.pk}, bodies


def send(ask, path: str, body, key: str | None = None):
    headers = {"Idempotency-Key": key if key is not None else f"key-{next(KEYS)}"}
    return ask.post(f"/api/v1/{path}", body, content_type="application/json", headers=headers)


def test_the_list_above_holds_every_deed(client):
    document = client.get("/api/v1/openapi.json").json()
    posts = {path.replace("_id}", "}"): told["post"] for path, told in document["paths"].items() if "post" in told}
    assert {path.removeprefix("/api/v1/"): told["x-scope"] for path, told in posts.items()} == {
        path: scope for path, (scope, _roles) in DEEDS.items()
    }
    assert {told["x-scope"] for methods in document["paths"].values() for told in methods.values()} == set(SCOPES)


@pytest.mark.parametrize("role", ["owner", "technician", "desk"])
def test_role_by_scope_by_deed(world, role):
    studio, ids, bodies = world
    member = getattr(people, role)(studio)
    for scope in sorted(one.code for one in open_to(role)):
        ask = program(member, scope)
        for path, (needed, _roles) in DEEDS.items():
            status = send(ask, path.format(**ids), bodies[path]).status_code
            assert status == (201 if scope == needed else 403), (scope, path)
        ApiToken.objects.all().delete()
    done = {
        "vehicles": Vehicle.objects.filter(plate="NEW 1"), "vehicles/{vehicle}/layers": Layer.objects.all(),
        "vehicles/{vehicle}/events": CareEvent.objects.all(),
        "offers/{offer}/answer": OfferStep.objects.filter(kind="declined"),
    }  # fmt: skip
    for path, (_scope, roles) in DEEDS.items():
        assert done[path].count() == (1 if role in roles else 0), path


def test_another_studios_things_are_not_there_and_are_not_touched(world):
    _studio, ids, bodies = world
    mine = people.owner()
    ask = program(mine)
    for path in DEEDS:
        answer = send(ask, path.format(**ids), bodies[path])
        assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json"), path
    own = VehicleFactory(site=SiteFactory(studio=mine.studio))
    for path in ("vehicles/{vehicle}/layers", "vehicles/{vehicle}/events"):
        foreign = bodies[path] | {"surface_id": ids["surface"]}
        assert send(ask, path.format(vehicle=own.pk), foreign).status_code == 404, path
    assert (CareEvent.objects.count(), Layer.objects.count(), Vehicle.objects.count()) == (0, 0, 2)
    assert OfferStep.objects.count() == 1


class TestRecording:
    def test_the_verbs_of_the_pages_write_the_journal_in_the_members_name(self, world):
        studio, ids, bodies = world
        member = people.owner(studio)
        ask = program(member)
        for path in DEEDS:
            answer = send(ask, path.format(**ids), bodies[path])
            assert answer.status_code == 201, (path, answer.content)
            assert answer["Location"] == answer.json()["href"]
            assert ask.get(answer["Location"]).status_code == 200
        entries = JournalEntry.objects.filter(actor=f"member:{member.pk}").values_list("verb", flat=True)
        assert set(entries) >= {"vehicle registered", "layer recorded", "event recorded", "offer declined"}
        assert Vehicle.objects.get(plate="NEW 1").keepers.get().customer_id == bodies["vehicles"]["keeper_id"]

    def test_a_rule_of_stacks_blocks_until_a_reason_is_given(self, world):
        studio, ids, bodies = world
        ask = program(people.technician(studio))
        path = f"vehicles/{ids['vehicle']}/layers"
        cold = bodies["vehicles/{vehicle}/layers"] | {"kind": "ceramic_mid", "air_c": 2, "surface_c": 1, "rh_pct": 95}
        refused = send(ask, path, cold)
        assert (refused.status_code, refused.json()["where"]) == (422, "body.override_reason")
        assert Layer.objects.count() == 0
        good = send(ask, path, cold | {"override_reason": "the hall is heated, the gauge hung outside"})
        assert good.status_code == 201
        (told,) = ask.get(f"/api/v1/{path}").json()["rows"]
        assert told["against"]
        assert isinstance(good.json()["warnings"], list)

    @pytest.mark.parametrize(
        ("path", "change", "where"),
        [
            ("vehicles", {"size": "XXL"}, "body.size"), ("vehicles", {"plate": "  "}, "body.plate"),
            ("vehicles", {"plate": "A\x00B"}, "body.plate"), ("vehicles", {"colour": None}, "body.colour"),
            ("vehicles", {"first_seen": "2199-01-01"}, "body.first_seen"), ("vehicles", {"wheels": 4}, "body.wheels"),
            ("vehicles", {"first_seen": 1_700_000_000}, "body.first_seen"),
            ("vehicles/{vehicle}/events", {"kind": "party"}, "body.kind"),
            ("vehicles/{vehicle}/events", {"on": "2026-02-31"}, "body.on"),
            ("vehicles/{vehicle}/events", {"on": "2199-01-01"}, "body.on"),
            ("vehicles/{vehicle}/events", {"kind": "repaint"}, "body.surface"),
            ("vehicles/{vehicle}/layers", {"coats": "2"}, "body.coats"),
            ("vehicles/{vehicle}/layers", {"applied": "2199-01-01"}, "body.applied"),
            ("vehicles/{vehicle}/layers", {"surface_id": True}, "body.surface_id"),
            ("offers/{offer}/answer", {"kind": "deferred"}, "body.until"),
            ("offers/{offer}/answer", {"kind": "perhaps"}, "body.kind"),
        ],
    )  # fmt: skip
    def test_a_slip_says_what_where_and_how_and_writes_nothing(self, world, path, change, where):
        studio, ids, bodies = world
        answer = send(program(people.owner(studio)), path.format(**ids), bodies[path] | change)
        told = answer.json()
        assert (answer.status_code, told["where"]) == (422, where)
        assert told["detail"]
        assert told["how"]
        assert not CareEvent.objects.exists()
        assert not Layer.objects.exists()
        assert not Vehicle.objects.filter(description="green hatch").exists()

    @pytest.mark.parametrize(
        "body", [b"", b"{", b"[]", b'"x"', b"\xff", b'{"kind": "wash", "on": "\\ud800"}', b"1e999"]
    )
    def test_what_is_no_good_json_is_refused(self, world, body):
        studio, ids, _bodies = world
        answer = send(program(people.owner(studio)), f"vehicles/{ids['vehicle']}/events", body)
        assert answer.status_code in (400, 422)
        assert answer["Content-Type"] == "application/problem+json"

    def test_a_plate_that_is_taken_and_a_vehicle_that_has_left(self, world):
        studio, ids, bodies = world
        ask = program(people.owner(studio))
        assert send(ask, "vehicles", bodies["vehicles"]).status_code == 201
        taken = send(ask, "vehicles", bodies["vehicles"])
        assert (taken.status_code, taken.json()["where"]) == (422, "body.plate")
        Vehicle.objects.filter(pk=ids["vehicle"]).update(retired_on=today())
        for path in ("vehicles/{vehicle}/events", "vehicles/{vehicle}/layers"):
            gone = send(ask, path.format(**ids), bodies[path])
            assert gone.status_code == 422
            assert "This vehicle left on" in gone.json()["detail"]


class TestIdempotency:
    """draft-ietf-httpapi-idempotency-key-header, section 2.7: 400 without a key, 422 where it stands for another
    request, 409 while the first is under way."""

    def test_the_same_request_is_done_once_and_answered_alike(self, world):
        studio, ids, _bodies = world
        ask, path = program(people.owner(studio)), f"vehicles/{ids['vehicle']}/events"
        first = send(ask, path, {"kind": "wash", "on": today().isoformat()}, "k1")
        again = send(ask, path, json.dumps({"on": today().isoformat(), "kind": "wash"}, indent=2), '"k1"')
        assert (first.status_code, first.content, first["Location"]) == (
            again.status_code, again.content, again["Location"],
        )  # fmt: skip
        assert "Idempotency-Replayed" not in first
        assert again["Idempotency-Replayed"] == "true"
        assert CareEvent.objects.count() == 1
        assert send(ask, path, {"kind": "wash", "on": today().isoformat()}, "k2").json() != first.json()
        assert CareEvent.objects.count() == 2

    def test_another_request_under_the_same_key_is_refused(self, world):
        studio, ids, bodies = world
        member = people.owner(studio)
        ask, path = program(member), f"vehicles/{ids['vehicle']}/events"
        wash = bodies["vehicles/{vehicle}/events"]
        send(ask, path, wash, "k1")
        other = VehicleFactory(site=SiteFactory(studio=studio))
        for where, body in ((path, wash | {"note": "x"}), (f"vehicles/{other.pk}/events", wash)):
            refused = send(ask, where, body, "k1")
            assert (refused.status_code, refused.json()["where"]) == (422, "header.Idempotency-Key")
            assert refused.json()["type"].endswith("#problem-key-reused")
        assert CareEvent.objects.count() == 1
        assert send(program(member), path, wash, "k1").status_code == 201, "another token has keys of its own"

    def test_without_a_key_or_with_a_wrong_one(self, world):
        studio, ids, bodies = world
        ask, path = program(people.owner(studio)), f"/api/v1/vehicles/{ids['vehicle']}/events"
        body = bodies["vehicles/{vehicle}/events"]
        bare = ask.post(path, body, content_type="application/json")
        assert (bare.status_code, bare.json()["where"]) == (400, "header.Idempotency-Key")
        for key in ("", "x" * 201, "a b"):
            answer = ask.post(path, body, content_type="application/json", headers={"Idempotency-Key": key})
            assert answer.status_code in (400, 422), key
        assert CareEvent.objects.count() == 0

    def test_a_refusal_is_answered_alike_too(self, world):
        studio, ids, _bodies = world
        ask, path = program(people.owner(studio)), f"vehicles/{ids['vehicle']}/events"
        wrong = {"kind": "repaint", "on": today().isoformat()}
        first, again = send(ask, path, wrong, "k1"), send(ask, path, wrong, "k1")
        assert first.status_code == again.status_code == 422
        assert first.content == again.content
        assert again["Content-Type"] == "application/problem+json"
        assert again["Idempotency-Replayed"] == "true"

    def test_while_it_is_under_way_others_wait_and_a_dead_one_is_taken_over(self, world, time_machine):
        studio, ids, bodies = world
        ask, path = program(people.owner(studio)), f"vehicles/{ids['vehicle']}/events"
        wash = bodies["vehicles/{vehicle}/events"]
        now = timezone.now()
        time_machine.move_to(now, tick=False)
        send(ask, path, wash, "k1")
        CareEvent.every.all().delete()
        # As if the process had died between the claim and the work.
        ApiAnswer.objects.update(
            status=None, body="", location="", claim="11111111-1111-4111-8111-111111111111",
            lease_until=now + repeats.LEASE,
        )  # fmt: skip
        waiting = send(ask, path, wash, "k1")
        assert (waiting.status_code, waiting["Retry-After"]) == (409, "60")
        assert CareEvent.objects.count() == 0
        time_machine.move_to(now + repeats.LEASE, tick=False)
        assert send(ask, path, wash, "k1").status_code == 201
        assert CareEvent.objects.count() == 1

    def test_work_whose_claim_was_taken_over_is_rolled_back(self, world, monkeypatch):
        studio, ids, bodies = world
        ask, path = program(people.owner(studio)), f"vehicles/{ids['vehicle']}/events"
        monkeypatch.setattr(repeats, "finish", lambda *args, **kwargs: False)
        answer = send(ask, path, bodies["vehicles/{vehicle}/events"], "k1")
        assert answer.status_code == 409
        assert CareEvent.objects.count() == 0

    def test_what_broke_can_be_tried_again_under_the_same_key(self, world, monkeypatch):
        studio, ids, bodies = world
        ask, path = program(people.owner(studio)), f"vehicles/{ids['vehicle']}/events"
        wash = bodies["vehicles/{vehicle}/events"]
        ask.raise_request_exception = False

        def broken(*args, **kwargs):
            raise RuntimeError("disk full")

        with monkeypatch.context() as patch:
            patch.setattr("lifecycle.journal.record", broken)
            assert send(ask, path, wash, "k1").status_code == 500
        assert (CareEvent.objects.count(), ApiAnswer.objects.count()) == (0, 0)
        assert send(ask, path, wash, "k1").status_code == 201

    def test_neither_key_nor_request_is_kept_and_a_day_later_nothing(self, world, time_machine):
        studio, ids, bodies = world
        member, now = people.owner(studio), timezone.now()
        path, told = f"vehicles/{ids['vehicle']}/events", bodies["vehicles/{vehicle}/events"] | {"note": "Tess Alder"}
        send(program(member), path, told, "order-of-Tess-Alder")
        row = ApiAnswer.objects.values().get()
        assert "Alder" not in str(row)
        assert tidy(at=now + timedelta(hours=23))["answers"] == 0
        assert tidy(at=now + timedelta(hours=25))["answers"] == 1

    def test_after_a_day_the_key_is_free_even_before_the_sweep(self, world, time_machine):
        studio, ids, bodies = world
        ask, path = program(people.owner(studio)), f"vehicles/{ids['vehicle']}/events"
        now = timezone.now()
        time_machine.move_to(now, tick=False)
        send(ask, path, bodies["vehicles/{vehicle}/events"], "k1")
        time_machine.move_to(now + repeats.KEPT, tick=False)
        assert send(ask, path, bodies["vehicles/{vehicle}/events"], "k1").status_code == 201
        assert CareEvent.objects.count() == 2
