"""A care record on its pages: shared, read by a stranger, printed, checked, ended; and nobody's name anywhere."""

from __future__ import annotations

import hashlib
import io
import json
import re
from datetime import timedelta

import pytest
import time_machine
from django.apps import apps
from django.core.cache import cache
from django.db import models
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from lifecycle import condition
from lifecycle.models import CareRecord, Complaint, RecordLink, Vehicle
from portal.record_page import PER_MINUTE
from tests import people
from tests.factories import (
    NOW,
    TODAY,
    CustomerFactory,
    HabitsFactory,
    LayerFactory,
    MessageFactory,
    ProductFactory,
    SurfaceFactory,
    UserFactory,
)
from tests.lifecycle.care.report_world import make_world
from tests.portal.doors import as_user

pytestmark = pytest.mark.django_db
# Who and where: fields of any model whose values must not be on the page, in the PDF or in its data.
PERSONAL = {"name", "email", "phone", "plate", "to_email", "light", "note", "caption", "about", "wish"}
# Of models whose names are no person's.
NAMED_THINGS = {"Studio", "Product", "LayerPackage", "Gauge", "Heartbeat", "Document", "OpeningHours"}


@pytest.fixture
def world(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    cache.clear()
    with time_machine.travel(NOW, tick=False):
        world = make_world()
        keeper = world.keeper
        keeper.phone = "+47 911 22 333"
        keeper.save()
        world.technician.user.name = "Piet Oxenrood"
        world.technician.user.save()
        world.seal()
        Vehicle.objects.filter(pk=world.vehicle.pk).update(
            description="black large SUV of Tove Halvarsen, SKA 101, ring 91122333"
        )
        world.vehicle.refresh_from_db()
        HabitsFactory(vehicle=world.vehicle, lat=58.1234, lon=6.5678)
        LayerFactory(surface=world.bonnet, product=ProductFactory(studio=world.studio), applicator=world.technician)
        LayerFactory(surface=SurfaceFactory(vehicle=world.vehicle, code="roof"), kind="film_body")
        MessageFactory(customer=keeper)
        Complaint.objects.create(studio=world.studio, customer=keeper, about="a mark on her door", opened_at=NOW)
        CustomerFactory(studio=world.studio, name="Osric Pell", phone="0049 30 1234567")
        condition.assess(at=NOW)
        world.browser = as_user(keeper)
        yield world


def manage(world) -> str:
    return reverse("customer:care_record", args=[world.vehicle.pk])


def make_link(world, days: str = "60") -> str:
    """The path of a new link, as the keeper's page shows it once."""
    answer = world.browser.post(manage(world), {"do": "make", "days": days}, follow=True)
    return re.search(r'value="http[^"]*?(/record/[^/"]+/)"', answer.content.decode())[1]


def pdf_of(path: str, language: str = "en") -> tuple[PdfReader, str]:
    answer = Client().get(f"{path}pdf/?language={language}")
    assert answer["Content-Type"] == "application/pdf"
    reader = PdfReader(io.BytesIO(answer.content))
    return reader, "\n".join(page.extract_text() for page in reader.pages)


def test_the_keeper_makes_a_link_that_is_shown_once(world):
    page = world.browser.get(manage(world)).content.decode()
    assert "checked" not in page  # no time is chosen beforehand
    path = make_link(world)
    again = world.browser.get(manage(world)).content.decode()
    token = path.split("/")[2]
    assert token not in again
    assert "opened 0 times; works until 1 May 2026" in " ".join(again.split())
    assert token not in json.dumps(list(RecordLink.objects.values()), default=str)


def test_without_a_time_nothing_is_made_and_it_says_so(world):
    for days in ("", "7", "forever"):
        answer = world.browser.post(manage(world), {"do": "make", "days": days})
        assert answer.status_code == 422
    assert "Choose how long the link works." in world.browser.post(manage(world), {"do": "make"}).content.decode()
    assert CareRecord.objects.count() == 0


def test_a_stranger_reads_it_apart_from_robots_referrers_and_caches(world):
    path = make_link(world)
    answer = Client().get(path)
    assert answer.status_code == 200
    assert answer["X-Robots-Tag"] == "noindex, nofollow, noarchive"
    assert answer["Referrer-Policy"] == "no-referrer"
    assert "no-store" in answer["Cache-Control"]
    page = " ".join(answer.content.decode().split())
    assert '<meta name="robots" content="noindex, nofollow">' in page
    for said in (
        "Care record 1", "Two-coat ceramic", "Clear film", "mean 119 µm, lowest 119 µm, 5 readings", "Report 1 of",
        "Inspection before work, washed and decontaminated", "Unchanged since it was issued.",
        "read the safety data sheet", "Estimate, not seen since it was put on.", "do not pull at a lifting edge",
    ):  # fmt: skip
        assert said.lower() in page.lower(), said
    assert "style=" not in page
    assert re.findall(r"<script[^>]*>", page) == ['<script src="/static/js/sheenward.js" defer>']


def test_openings_are_counted_and_the_end_is_at_once(world):
    path = make_link(world)
    for _ in range(3):
        Client().get(path)
    Client().head(path)  # a program that looks beforehand
    Client().get(f"{path}pdf/")
    world.browser.get(path)  # the keeper's own look
    page = " ".join(world.browser.get(manage(world)).content.decode().split())
    assert "opened 3 times" in page
    link = RecordLink.objects.get()
    assert world.browser.post(manage(world), {"do": "end", "link": link.pk}).status_code == 302
    for address in (path, f"{path}pdf/", f"{path}json/"):
        answer = Client().get(address)
        assert answer.status_code == 410
        assert "This link has ended" in answer.content.decode()
        assert answer["X-Robots-Tag"].startswith("noindex")
    assert "ended by you on 2 March 2026" in world.browser.get(manage(world)).content.decode()


def test_it_ends_by_itself(world):
    path = make_link(world, "14")
    with time_machine.travel(NOW + timedelta(days=14), tick=False):
        assert Client().get(path).status_code == 410


def test_unknown_and_foreign_are_not_there(world):
    for path in (reverse("record", args=["A" * 32]), reverse("record", args=["x" * 300]),
                 reverse("record_check", args=["nothing"])):  # fmt: skip
        assert Client().get(path).status_code == 404
    stranger = as_user(people.customer(world.studio))
    make_link(world)
    link = RecordLink.objects.get()
    assert stranger.get(manage(world)).status_code == 404
    assert stranger.post(manage(world), {"do": "make", "days": "14"}).status_code == 404
    assert stranger.post(manage(world), {"do": "end", "link": link.pk}).status_code == 404
    for wrong in ("", "0", "-1", "x", "9" * 30):
        assert world.browser.post(manage(world), {"do": "end", "link": wrong}).status_code == 404
    link.refresh_from_db()
    assert link.ended_at is None


def test_the_sealed_text_has_the_digest_that_page_and_print_show(world):
    path = make_link(world)
    file = Client().get(f"{path}json/")
    digest = hashlib.sha256(file.content).hexdigest()
    assert digest in Client().get(path).content.decode()
    _reader, text = pdf_of(path)
    assert digest in re.sub(r"\s|\u200b", "", text)
    code = CareRecord.objects.get().code
    check = Client().get(reverse("record_check", args=[code])).content.decode()
    assert digest in check
    assert "This is what Sheenward issued on 2 March 2026" in check
    assert "No newer record of this vehicle was issued." in check
    make_link(world)
    check = Client().get(reverse("record_check", args=[code])).content.decode()
    assert "A newer record of this vehicle exists" in check
    assert "A newer record of this vehicle was issued on 2 March 2026." in Client().get(path).content.decode()


def test_the_pdf_is_tagged_in_its_language_and_leads_back(world):
    path = make_link(world)
    reader, text = pdf_of(path)
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]  # PDF/UA-1 (ISO 14289-1, 7.1): tagged, with its language and a title
    assert root["/Lang"] == "en"
    assert reader.metadata.title == "Care record 1, Ossenmere Gloss Works"
    links = [
        note["/A"]["/URI"] for page in reader.pages for note in (one.get_object() for one in page.get("/Annots", []))
        if "/A" in note and "/URI" in note["/A"]
    ]  # fmt: skip
    code = CareRecord.objects.get().code
    assert any(link.endswith(reverse("record_check", args=[code])) for link in links)
    assert "Paint, panel by panel" in text


def personal_values() -> set[str]:
    """Every name, plate, address, phone number and note in the database, of whomever."""
    found = set()
    for model in apps.get_app_config("lifecycle").get_models():
        for field in model._meta.concrete_fields:
            wanted = field.name in PERSONAL and not (field.name in ("name",) and model.__name__ in NAMED_THINGS)
            if wanted and isinstance(field, models.CharField | models.TextField):
                found |= {str(value) for value in model._base_manager.values_list(field.name, flat=True) if value}
    return found


def test_nobodys_name_mail_plate_phone_or_place_is_in_page_print_or_data(world):
    UserFactory(name="Irune Sallow", email="irune.sallow@example.org")
    path = make_link(world)
    wanted = personal_values()
    # The world holds what the test is about, or it would prove nothing.
    assert {
        "Tove Halvarsen",
        "Osric Pell",
        "Piet Oxenrood",
        "SKA 101",
        "+47 911 22 333",
        "a mark on her door",
    } <= wanted
    wanted |= {"Tove", "Halvarsen", "Oxenrood", "Pell", "SKA101", "SKA-101", "91122333", "58.12", "6.56", "two_bucket"}
    reader, text = pdf_of(path)
    texts = {
        "page": Client().get(path).content.decode(), "json": Client().get(f"{path}json/").content.decode(),
        "print": text, "data of the print": f"{dict(reader.metadata)} {reader.xmp_metadata.stream.get_data()}",
        "check": Client().get(reverse("record_check", args=[CareRecord.objects.get().code])).content.decode(),
        "raw print": Client().get(f"{path}pdf/").content.decode("latin-1"),
    }  # fmt: skip
    for where, said in texts.items():
        flat = re.sub(r"\s+", " ", said).lower()
        for value in wanted:
            assert value.lower() not in flat, f"{value} in {where}"


def test_a_machine_that_asks_again_and_again_is_put_off(world):
    path = make_link(world)
    browser = Client()
    for _ in range(PER_MINUTE):
        assert browser.get(path).status_code == 200
    assert browser.get(path).status_code == 429
    assert browser.get(path)["X-Robots-Tag"].startswith("noindex")


def test_a_vehicle_without_anything_says_so(world):
    Vehicle.objects.filter(pk=world.vehicle.pk).update(body="van", powertrain="electric")
    world.vehicle.surfaces.update(removed_on=TODAY)
    page = Client().get(make_link(world)).content.decode()
    assert "No layer is on record." in page
    assert "The paint was never measured here" in page
    assert "Orange cables" in page
