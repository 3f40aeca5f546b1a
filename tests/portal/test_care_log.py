"""The care log: what a keeper reports moves the forecast as hearsay, says what to do, and can be taken back today."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from lifecycle import models
from lifecycle.care.reading_rows import ReadingEntry
from lifecycle.care.record import record_inspection
from lifecycle.care.told import standing
from lifecycle.condition.run import assess_one
from tests import factories as f
from tests import people
from tests.pictures import picture
from tests.portal.doors import as_user

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock() -> Any:
    with time_machine.travel(f.NOW, tick=False):
        yield


@pytest.fixture
def world() -> tuple[models.Vehicle, models.Surface, Client]:
    keeper = people.customer()
    vehicle = f.VehicleFactory(site=f.SiteFactory(studio=keeper.studio), keeper=keeper)
    f.HabitsFactory(vehicle=vehicle)
    roof = f.SurfaceFactory(vehicle=vehicle, code="roof")
    f.LayerFactory(surface=roof)
    f.SurfaceFactory(vehicle=vehicle, code="seats", substrate="leather", orientation="inside")
    return vehicle, roof, as_user(keeper)


def send(client: Client, vehicle: models.Vehicle, report: str, **data: Any) -> str:
    data = {"report": report, "on": f.TODAY.isoformat()} | data
    answer = client.post(reverse("customer:log", args=[vehicle.pk]), data, follow=True)
    assert answer.status_code == 200
    return str(answer.content.decode())


def middle(vehicle: models.Vehicle) -> float:
    assess_one(studio=vehicle.studio, vehicle_id=vehicle.pk, at=f.NOW)
    (one,) = standing(vehicle.studio, vehicle.pk).values()
    assert one.left is not None
    return one.left.p50


def test_a_water_test_moves_the_forecast_less_than_a_studios_and_is_shown_before_and_after(world: Any) -> None:
    """Weight: a lay person's look a quarter of a trained one's at most (judgement)."""
    vehicle, roof, client = world
    before = middle(vehicle)
    page = send(client, vehicle, "water", surface=roof.pk, clean_state="washed", score="1")
    row = models.Inspection.objects.get(vehicle=vehicle)
    assert (row.by, row.clean_state, row.readings.get().value) == ("customer", "washed", 1)
    assert "renewal was likely sensible" in page
    assert "counts at most a quarter" in page
    hearsay = middle(vehicle)
    assert hearsay < before
    send(client, vehicle, "water", surface=roof.pk, clean_state="washed", score="1")
    assert models.Inspection.objects.filter(vehicle=vehicle).count() == 1, "the same test told twice is one"
    # The same look by the studio instead.
    page = send(client, vehicle, "take_back", kind="test", id=row.pk)
    assert "It is taken back." in page
    assert middle(vehicle) == pytest.approx(before, abs=1e-9)
    assert models.JournalEntry.objects.filter(verb="inspection withdrawn", subject_id=row.pk).count() == 1
    entry = ReadingEntry(surface_id=roof.pk, kind="beading_score", value=1)
    record_inspection(studio=vehicle.studio, vehicle_id=vehicle.pk, on=f.TODAY, clean_state="washed", readings=[entry],
                      actor="member:1", at=f.NOW)  # fmt: skip
    assert before - middle(vehicle) > 2 * (before - hearsay)


def test_a_dropping_says_what_to_do_in_the_next_hours_with_cautions(world: Any) -> None:
    vehicle, roof, client = world
    key = "0d9f7f0e-5f8f-4d7e-9f54-3a6b1f2c4d5e"
    for _ in range(2):
        page = send(client, vehicle, "mishap", kind="bird_dropping", surface=roof.pk, dwell_h="5", key=key)
    event = models.CareEvent.objects.get(vehicle=vehicle)
    assert (event.kind, event.by, event.dwell_h, event.surface) == ("bird_dropping", "customer", 5, roof)
    start = page.index("What to do in the next hours")
    for words in ("soaked in clean lukewarm water", "Never rub it", "safety data sheet", "none near a flame",
                  "common practice, no source"):  # fmt: skip
        assert words in page[start:], words
    assert "Bird dropping (roof, 2 March 2026)" in page
    send(client, vehicle, "take_back", kind="event", id=event.pk)
    assert not models.CareEvent.objects.exists()
    assert models.CareEvent.every.get().withdrawn_why == "taken back by the keeper on the same day"


def test_washes_are_counted_and_lead_to_the_question_of_how_many_there_are(world: Any) -> None:
    vehicle, _roof, client = world
    for days in (0, 20, 40):
        page = send(client, vehicle, "wash", on=(f.TODAY - timedelta(days=days)).isoformat())
    assert "You have reported 3 washes in the last 12 months." in page
    assert "The forecast counts 26 a year." in page
    asking = client.get(reverse("customer:what_if", args=[vehicle.pk]), {"washes_per_year": "3"}).content.decode()
    assert "Used like that from today on" in asking


def test_a_photo_is_kept_and_taken_back(world: Any) -> None:
    vehicle, roof, client = world
    upload = SimpleUploadedFile("roof.jpg", picture(), content_type="image/jpeg")
    page = send(client, vehicle, "photo", photo=upload, surface=roof.pk, caption="a mark")
    photo = models.Photo.objects.get(vehicle=vehicle)
    assert (photo.by, photo.surface, photo.caption) == ("customer", roof, "a mark")
    assert "Photo (roof)" in page
    send(client, vehicle, "take_back", kind="photo", id=photo.pk)
    assert not models.Photo.objects.exists()


@pytest.mark.parametrize(
    ("report", "data", "says"),
    [
        ("wash", {"on": "2026-03-09"}, "lies in the future"),
        ("wash", {"on": "1999-01-01"}, "You keep this vehicle since"),
        ("wash", {"on": "soon"}, "That is no day"),
        ("mishap", {"kind": "sap", "dwell_h": "long"}, "is no number"),
        ("mishap", {"kind": "flames"}, "not one of the available choices"),
        ("water", {"clean_state": "washed", "surface": "ROOF"}, "Choose the picture"),
        ("water", {"clean_state": "washed", "surface": "SEATS", "score": "2"}, "not one of the available choices"),
        ("photo", {}, "Choose a photo first."),
        ("something", {}, "nothing was changed"),
    ],
)
def test_what_is_wrong_is_said_beside_what_was_typed(world: Any, report: str, data: dict[str, str], says: str) -> None:
    vehicle, roof, client = world
    ids = {"ROOF": str(roof.pk), "SEATS": str(vehicle.surfaces.get(code="seats").pk)}
    page = send(client, vehicle, report, **{name: ids.get(value, value) for name, value in data.items()})
    assert says in page
    assert not models.CareEvent.every.exists()
    assert not models.Inspection.objects.exists()
    if data.get("dwell_h"):
        assert 'value="long"' in page


def test_nobody_takes_back_what_another_entered_or_what_the_studio_did(world: Any) -> None:
    vehicle, roof, client = world
    event = models.CareEvent.objects.create(studio=vehicle.studio, vehicle=vehicle, kind="sap", on=f.TODAY)
    page = send(client, vehicle, "take_back", kind="event", id=event.pk)
    assert "not one of yours of today" in page
    send(client, vehicle, "water", surface=roof.pk, clean_state="washed", score="4")
    test = models.Inspection.objects.get(by="customer")
    models.Keeper.objects.filter(vehicle=vehicle).update(end=f.TODAY)
    buyer = people.customer(vehicle.studio)
    models.Keeper.objects.create(studio=vehicle.studio, vehicle=vehicle, customer=buyer, start=f.TODAY)
    assert "not one of yours of today" in send(as_user(buyer), vehicle, "take_back", kind="test", id=test.pk)
    assert models.CareEvent.objects.count() == models.Inspection.objects.count() == 1
