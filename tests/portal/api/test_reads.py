"""What programs read: bounded lists of one studio, in types that do not change."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from lifecycle.condition import assess_one
from lifecycle.models import CareEvent, Offer, OfferStep
from lifecycle.outlook.prepared import prepare_studio
from tests import people
from tests.factories import (
    CareDueFactory,
    HabitsFactory,
    LayerFactory,
    ProductFactory,
    SiteFactory,
    StudioFactory,
    SurfaceFactory,
    VehicleFactory,
)
from tests.portal.api.world import program
from tests.portal.studio_world import due, today

pytestmark = pytest.mark.django_db
PROBLEM = {"type", "title", "status", "detail", "where", "how"}


@pytest.fixture
def member():
    return people.owner(StudioFactory(zone="UTC"))


@pytest.fixture
def site(member):
    return SiteFactory(studio=member.studio)


@pytest.fixture
def ask(member):
    return program(member)


def row(site, **fields):
    """A vehicle with something of everything that programs can read."""
    vehicle = VehicleFactory(site=site, **fields)
    surface = SurfaceFactory(vehicle=vehicle, code="bonnet")
    LayerFactory(surface=surface, product=ProductFactory(studio=site.studio), batch="B7")
    HabitsFactory(vehicle=vehicle)
    CareEvent.objects.create(studio=site.studio, vehicle=vehicle, kind="wash", on=today(), note="by hand")
    window = due(site, vehicle=vehicle)
    offer = Offer.objects.create(
        studio=site.studio, vehicle=vehicle, due=window, task=window.task, price_low=80, price_high="120.5",
        made_at=timezone.now(),
    )  # fmt: skip
    OfferStep.objects.create(studio=site.studio, offer=offer, kind="offered", at=timezone.now())
    return vehicle, surface, window, offer


def lists(vehicle_id: int) -> tuple[str, ...]:
    return (
        "/api/v1/vehicles", f"/api/v1/vehicles/{vehicle_id}/layers", f"/api/v1/vehicles/{vehicle_id}/events",
        "/api/v1/due", "/api/v1/offers",
    )  # fmt: skip


class TestVehicles:
    def test_a_list_and_one_with_its_surfaces(self, ask, site):
        vehicle, surface, _window, _offer = row(site, plate="SKA 104")
        VehicleFactory(site=site, retired_on=today())
        answer = ask.get("/api/v1/vehicles").json()
        assert (answer["total"], answer["page"], answer["pages"]) == (1, 1, 1)
        (told,) = answer["rows"]
        assert (told["id"], told["plate"], told["live_dues"]) == (vehicle.pk, "SKA 104", 1)
        assert told["keeper_id"] == vehicle.keepers.get().customer_id
        assert told["first_seen"] == vehicle.first_seen.isoformat()
        one = ask.get(f"/api/v1/vehicles/{vehicle.pk}").json()
        assert [each["id"] for each in one["surfaces"]] == [surface.pk]

    def test_filters(self, ask, site, member):
        first = VehicleFactory(site=site, plate="AAA 111")
        second = VehicleFactory(site=SiteFactory(studio=member.studio), plate="BBB 222")
        found = ask.get("/api/v1/vehicles", {"plate": "bbb"}).json()["rows"]
        assert [each["id"] for each in found] == [second.pk]
        found = ask.get("/api/v1/vehicles", {"site": site.pk}).json()["rows"]
        assert [each["id"] for each in found] == [first.pk]

    def test_one_that_has_left_says_so(self, ask, site):
        gone = VehicleFactory(site=site, retired_on=today())
        assert ask.get(f"/api/v1/vehicles/{gone.pk}").json()["left_on"] == today().isoformat()

    def test_nobodys_name_goes_out(self, ask, site):
        vehicle, _surface, _window, offer = row(site)
        person = vehicle.keepers.get().customer
        person.name, person.email = "Hollin Zyx", "hollin@example.org"
        person.save()
        for url in (*lists(vehicle.pk), f"/api/v1/vehicles/{vehicle.pk}", f"/api/v1/offers/{offer.pk}"):
            said = ask.get(url).content.decode()
            assert "Hollin" not in said, url
            assert "hollin@" not in said, url


def test_a_layer_with_its_forecast(ask, site, member):
    vehicle, surface, _window, _offer = row(site)
    ended = LayerFactory(surface=surface, kind="wax", ended=today(), ended_why="renewed")
    url = f"/api/v1/vehicles/{vehicle.pk}/layers"
    (bare,) = ask.get(url).json()["rows"]
    assert (bare["batch"], bare["stage"], bare["function_left"]) == ("B7", "", None)
    assess_one(studio=member.studio, vehicle_id=vehicle.pk, at=timezone.now())
    (told,) = ask.get(url).json()["rows"]
    assert told["stage"]
    band = told["function_left"]
    assert 0 <= band["p10"] <= band["p50"] <= band["p90"] <= 1
    assert told["end_on"]["p10"] <= told["end_on"]["p90"]
    both = ask.get(url, {"ended": "true"}).json()["rows"]
    assert {each["id"]: each["ended_why"] for each in both}[ended.pk] == "renewed"


def test_events_since_a_day(ask, site):
    vehicle, *_ = row(site)
    CareEvent.objects.create(studio=site.studio, vehicle=vehicle, kind="sap", on=today() - timedelta(90))
    url = f"/api/v1/vehicles/{vehicle.pk}/events"
    assert [each["kind"] for each in ask.get(url).json()["rows"]] == ["sap", "wash"]
    assert [each["kind"] for each in ask.get(url, {"since": today().isoformat()}).json()["rows"]] == ["wash"]


def test_due_by_vehicle_site_and_time(ask, site, member):
    vehicle, _surface, window, _offer = row(site)
    later = due(SiteFactory(studio=member.studio), opens=60, ideal=80, closes=90)

    def ids(**query):
        return [each["id"] for each in ask.get("/api/v1/due", query).json()["rows"]]

    assert ids() == [window.pk, later.pk]
    assert ids(when="now") == ids(when="soon") == ids(vehicle=vehicle.pk) == ids(site=site.pk) == [window.pk]
    assert ids(vehicle=later.vehicle_id, when="now") == []
    (told,) = ask.get("/api/v1/due", {"when": "now"}).json()["rows"]
    assert (told["task"], told["state"], told["reason"]) == (window.task, "open", window.reason_code)


def test_offers_carry_money_as_text(ask, site):
    vehicle, _surface, _window, offer = row(site)
    (told,) = ask.get("/api/v1/offers").json()["rows"]
    assert (told["id"], told["price_low"], told["price_high"], told["currency"]) == (offer.pk, "80.00", "120.50", "EUR")
    assert told["answers"] == ["accepted", "declined", "deferred"]
    assert ask.get(f"/api/v1/offers/{offer.pk}").json() == told
    assert told["vehicle_id"] == vehicle.pk


def test_the_outlook_has_twelve_months_of_money_as_text(ask, site):
    row(site)
    told = ask.get("/api/v1/outlook").json()
    assert (told["prepared_at"], told["months"]) == (None, [])
    assert "no outlook is prepared yet" in told["left_out"][0]
    prepare_studio(studio=site.studio, actor="cycle", at=timezone.now())
    told = ask.get("/api/v1/outlook").json()
    assert len(told["months"]) == 12
    assert told["today"] == today().isoformat()
    first = told["months"][0]
    assert first["first"] == today().replace(day=1).isoformat()
    for split in ("booked", "likely", "possible", "total"):
        assert set(first[split]) == {"p10", "p50", "p90"}
        assert all(each == f"{float(each):.2f}" for each in first[split].values())


class TestPages:
    def test_rows_are_bounded_and_beyond_the_end_there_are_none(self, ask, site):
        vehicle, *_ = row(site)
        for url in lists(vehicle.pk):
            past = ask.get(url, {"page": 7, "per_page": 1})
            assert (past.status_code, past.json()["rows"], past.json()["page"]) == (200, [], 7), url
            for query in ({"per_page": 101}, {"per_page": 0}, {"page": 0}, {"page": 10**30}, {"page": "two"}):
                refused = ask.get(url, query)
                assert refused.status_code == 422, (url, query)
                assert next(iter(query)) in refused.json()["where"], (url, query)

    def test_every_row_comes_once(self, ask, site):
        made = {VehicleFactory(site=site).pk for _ in range(7)}
        seen = [
            each["id"]
            for page in (1, 2, 3)
            for each in ask.get("/api/v1/vehicles", {"page": page, "per_page": 3}).json()["rows"]
        ]
        assert len(seen) == 7
        assert set(seen) == made

    def test_as_many_queries_for_thirty_rows_as_for_one(self, ask, site):
        vehicle, *_ = row(site)
        urls = (*lists(vehicle.pk), f"/api/v1/vehicles/{vehicle.pk}", "/api/v1/outlook")

        def queries() -> dict[str, int]:
            counts = {}
            for url in urls:
                with CaptureQueriesContext(connection) as caught:
                    assert ask.get(url).status_code == 200
                counts[url] = len(caught)
            return counts

        ask.get(urls[0])  # the first request of a minute begins the count anew
        few = queries()
        for number in range(29):
            row(site)
            LayerFactory(surface=SurfaceFactory(vehicle=vehicle), kind="wax")
            CareEvent.objects.create(studio=site.studio, vehicle=vehicle, kind="wash", on=today())
            CareDueFactory(vehicle=vehicle, task=f"task_{number}")
        assert len(ask.get("/api/v1/vehicles").json()["rows"]) == 30
        assert len(ask.get(f"/api/v1/vehicles/{vehicle.pk}/layers").json()["rows"]) == 30
        assert queries() == few


class TestProblems:
    def test_what_is_not_here_is_a_problem_that_says_how_to_mend_it(self, ask):
        other = VehicleFactory()
        for url in (f"/api/v1/vehicles/{other.pk}", "/api/v1/vehicles/999999", "/api/v1/nothing", "/api/v2/"):
            answer = ask.get(url)
            assert answer.status_code == 404, url
            assert answer["Content-Type"] == "application/problem+json"
            told = answer.json()
            assert set(told) == PROBLEM
            assert told["status"] == 404
            assert told["type"].endswith("/studio/api/#problem-not-found")
            assert told["how"]

    def test_a_method_that_is_not_taken(self, ask):
        answer = ask.delete("/api/v1/vehicles")
        assert (answer.status_code, answer["Content-Type"]) == (405, "application/problem+json")
        assert "GET" in answer["Allow"]

    def test_a_body_that_is_too_large_is_not_read(self, ask):
        answer = ask.post("/api/v1/vehicles", b"x" * 64_001, content_type="application/json")
        assert (answer.status_code, answer.json()["where"]) == (413, "body")

    def test_what_breaks_is_a_problem_too_and_says_nothing_of_the_inside(self, member, monkeypatch):
        ask = program(member)
        ask.raise_request_exception = False

        def broken(*args, **kwargs):
            raise RuntimeError("secret inside")

        monkeypatch.setattr("lifecycle.connect.reads.vehicles", broken)
        answer = ask.get("/api/v1/vehicles")
        assert (answer.status_code, answer["Content-Type"]) == (500, "application/problem+json")
        assert "secret" not in answer.content.decode()
        assert set(answer.json()) == PROBLEM


def test_the_document_is_public_and_says_nothing_of_a_studio(db):
    answer = Client().get("/api/v1/openapi.json")
    assert answer.status_code == 200
    document = answer.json()
    assert document["openapi"].startswith("3.1")
    assert "/api/v1/vehicles/{vehicle_id}/layers" in document["paths"]
    for path, methods in document["paths"].items():
        for method, told in methods.items():
            assert told["security"] == [{"Token": []}], (path, method)
            assert set(told["responses"]) >= {"401", "403", "422", "429"}, (path, method)
    assert document["components"]["securitySchemes"] == {"Token": {"type": "http", "scheme": "bearer"}}
    assert "Paging" not in json.dumps(document)
