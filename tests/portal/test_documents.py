"""The pages of the data sheets, how a sheet is handed out, and the cautions beside each step of work.

What each step must warn of: house plan section 8; common practice, no source.
"""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from lifecycle.care.documents import add_document
from lifecycle.care.rules import TASKS
from lifecycle.care.vehicle_view import cautions_for
from lifecycle.models import Document
from portal.studio import cautions
from tests import people
from tests.factories import ProductFactory, SurfaceFactory, VehicleFactory
from tests.pictures import pdf, picture
from tests.portal.doors import as_member, as_user
from tests.portal.studio_world import text, today

pytestmark = pytest.mark.django_db
URL = "/studio/documents/"


@pytest.fixture
def product(studio):
    return ProductFactory(studio=studio, code="C36")


@pytest.fixture
def sheet(product):
    return add_document(
        studio=product.studio, product_id=product.pk, kind="sds", revised_on=today(), revision="7", language="en",
        upload=pdf(), actor="member:1", at=timezone.now(),
    )  # fmt: skip


def form(product, data: bytes, **change):
    return {
        "product": product.pk, "kind": "sds", "revision": "3", "revised_on": "2019-05-02", "language": "en",
        "document": SimpleUploadedFile("c36.pdf", data), **change,
    }  # fmt: skip


def test_a_technician_adds_a_sheet_and_retires_it(studio, product, owner):
    technician = as_member(people.technician(studio))
    assert "No safety data sheet." in text(technician.get(URL))
    said = text(technician.post(URL, form(product, pdf()), follow=True))
    assert "The safety data sheet (SDS) is on record." in said
    assert "No safety data sheet." not in said
    assert "safety data sheet, revision 3, 2 May 2019, en" in said
    assert "Older than five years: ask for the current revision" in said
    page = text(owner.get(reverse("studio:product", args=[product.pk])))
    assert "revision 3, 2 May 2019" in page
    document = Document.objects.get()
    retired = text(technician.post(URL, {"record": "retire", "document": document.pk}, follow=True))
    assert "The sheet is retired" in retired
    assert "No safety data sheet." in retired
    assert "retired already" in text(technician.post(URL, {"record": "retire", "document": document.pk}, follow=True))


def test_a_wrong_file_is_named_and_what_was_typed_stays(studio, product, owner):
    for data, says in ((picture(), "“c36.pdf”: by its content this is no PDF"), (b"", "“c36.pdf”: the file is empty")):
        page = owner.post(URL, form(product, data, revision="KEEP-ME"))
        assert says in text(page)
        assert 'value="KEEP-ME"' in page.content.decode()
    assert "Select a valid choice" in text(owner.post(URL, form(ProductFactory(), pdf())))
    assert not Document.objects.exists()


def test_the_desk_reads_and_customers_do_not(studio, sheet):
    desk = as_member(people.desk(studio))
    assert "revision 7" in text(desk.get(URL))
    assert "Add a sheet" not in text(desk.get(URL))
    assert desk.post(URL, form(sheet.product, pdf("x"))).status_code == 403
    assert as_user(people.customer(studio)).get(f"{URL}{sheet.uid}/").status_code == 403
    foreign = as_member(people.owner())
    assert foreign.get(f"{URL}{sheet.uid}/").status_code == 404
    assert foreign.post(URL, {"record": "retire", "document": sheet.pk}).status_code == 404


def test_a_sheet_is_saved_never_opened_in_the_portal(owner, sheet):
    answer = owner.get(f"{URL}{sheet.uid}/")
    assert b"".join(answer.streaming_content) == pdf()
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == f'attachment; filename="C36-sds-{today()}-en.pdf"'
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Security-Policy"].startswith("sandbox")
    assert answer["Cache-Control"] == "private, max-age=3600"


# Step -> words that must stand beside it.
BESIDE = {
    "walk_around": ("hot engine", "UV lamps"),
    "inspection": ("hot brakes", "UV lamps", "check the gauge"),
    "wheels": ("free of hydrofluoric acid", "approved drain", "brakes, tyre tread"),
    "engine_bay": ("engine cool", "Steam and pressure", "approved drain"),
    "wash": ("approved drain", "Steam and pressure", "acids never"),
    "decontamination": ("acids never", "approved drain"),
    "event": ("soften, never rub", "no solvent near a flame", "approved drain"),
    "correction": ("a mask where dust flies", "ears covered", "least paint"),
    "lamps": ("dust", "isocyanates", "Curing lamps, UV or infrared"),
    "film": ("gentle heat", "cameras and sensors", "no flame"),
    "coating": ("isocyanates", "Curing lamps, UV or infrared", "cameras and sensors", "smear test", "airbag seams"),
    "trim": ("pedals", "no flame", "cameras and sensors"),
    "glass": ("smear test", "cameras and sensors", "no flame"),
    "textile": ("breathing protection", "isocyanates", "no flame"),
    "interior": ("airbag seams", "steering wheel", "Steam and pressure"),
}


def test_every_step_of_work_has_its_cautions():
    assert set(BESIDE) == set(cautions.STEPS)
    for step, words in BESIDE.items():
        said = " ".join(cautions.for_steps(step))
        for word in (*words, "safety data sheet", "maker", "local codes", "licensed trades", "never mix chemicals"):
            assert word in said, (step, word)
        assert "Orange cables" not in said
        assert " safe " not in f" {said} "
    for step in ("engine_bay", "wash", "event", "walk_around", "inspection"):
        for powertrain in ("electric", "hybrid"):
            said = " ".join(cautions.for_steps(step, powertrain=powertrain))
            for word in ("Orange cables", "never while charging", "flooded electric vehicle"):
                assert word in said, (step, word)
            # High voltage kills: it stands in the line that is open, not in the fold below it.
            assert "Orange cables" in cautions.for_steps(step, powertrain=powertrain)[0]
    with pytest.raises(ValueError, match="no such step of work: dancing"):
        cautions.for_steps("dancing")


def test_each_form_shows_the_cautions_of_its_steps_and_the_sheets_of_its_products(site, owner, sheet):
    bare = ProductFactory(studio=site.studio, code="W2")
    steps = {
        "record_inspection": ("walk_around", "inspection"), "record_event": cautions.EVENT_STEPS,
        "record_correction": ("correction",), "record_layer": cautions.LAYER_STEPS,
    }  # fmt: skip
    for powertrain in ("combustion", "electric"):
        vehicle = VehicleFactory(site=site, powertrain=powertrain)
        SurfaceFactory(vehicle=vehicle, code="bonnet")
        for name, done in steps.items():
            page = owner.get(reverse(f"studio:{name}", args=[vehicle.pk]))
            said = text(page).replace("&#x27;", "'")
            for step in done:
                for word in BESIDE[step]:
                    assert word in said, (name, step, word)
            assert ("Orange cables" in said) is (powertrain == "electric" and name != "record_correction"), name
            assert "licensed trades overrule" in said
            assert f'href="{URL}"' in page.content.decode()
        layer = owner.get(reverse("studio:record_layer", args=[vehicle.pk])).content.decode()
        assert f'href="{URL}{sheet.uid}/"' in layer
        assert f"{bare}: no safety data sheet on record" in layer


def test_care_that_is_due_carries_its_caution():
    """Every care task with hazardous work names the sheet; an engine bay with a drive battery names the cables."""
    words = {
        "engine_bay": "trained people", "wheel_retreat": "hydrofluoric", "maintenance_wash": "approved drain",
        "decontamination_wash": "approved drain", "correction": "dust", "cut_and_refine": "dust",
        "headlamps": "Dust mask", "film_renewal": "sensors", "recoat": "isocyanates",
        "windscreen_retreat": "Smear test",
        "side_glass_retreat": "sensors", "textile_proof": "breathing", "leather_guard": "airbag seams",
        "trim_coat": "pedals", "metal_sealing": "brakes", "event_response": "flooded electric vehicle",
    }  # fmt: skip
    for task, word in words.items():
        said = " ".join(cautions_for(TASKS[task], powertrain="combustion"))
        assert word in said, task
        assert "safety data sheet" in said or task == "maintenance_wash", task
    for powertrain in ("electric", "hybrid"):
        said = " ".join(cautions_for(TASKS["engine_bay"], powertrain=powertrain))
        assert "Orange cables" in said
        assert "never while charging" in said
