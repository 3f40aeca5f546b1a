"""Reports on the pages: who sees them, the draft, signing, addenda, the public check, the PDF, the keeper's copy."""

from __future__ import annotations

import io
import json
import re
from datetime import date

import pytest
import time_machine
from django.conf import settings as installed
from django.core import mail
from django.core.cache import cache
from django.core.files.storage import default_storage
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pypdf import PdfReader

from lifecycle.care import sealing
from lifecycle.care.reports import reads
from lifecycle.care.reports.signature import Signature
from lifecycle.errors import DomainError
from lifecycle.models import Finding, JournalEntry, Keeper, Message, Photo, Report, ReportParty, Suppression
from lifecycle.reminders import asked_for, outbox, report_copy
from lifecycle.reminders.unsubscribe import make_token, unsubscribe
from portal.report_check import PER_MINUTE
from portal.reports.pdf import make_pdf
from tests import people
from tests.factories import NOW, CustomerFactory, SurfaceFactory
from tests.lifecycle.care.report_world import make_world
from tests.portal.doors import as_member, as_user

pytestmark = pytest.mark.django_db
STROKES = json.dumps([[[10, 20], [40, 90], [80, 30], [120, 80], [160, 20], [200, 60]]])


@pytest.fixture
def world(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    cache.clear()
    return make_world()


@pytest.fixture
def browser(world):
    return as_member(world.technician)


def draft_of(browser: Client, world) -> tuple[str, str]:
    """Address of the draft page, and what it stands for."""
    url = reverse("studio:report_draft", args=[world.inspection.pk])
    page = browser.get(url).content.decode()
    return url, re.search(r'name="draft" value="([0-9a-f]{64})"', page)[1]


def text_of(pdf: bytes) -> tuple[PdfReader, str]:
    reader = PdfReader(io.BytesIO(pdf))
    return reader, "\n".join(page.extract_text() for page in reader.pages)


def test_the_draft_shows_the_whole_report_and_seals_nothing(world, browser):
    page = browser.get(reverse("studio:report_draft", args=[world.inspection.pk])).content.decode()
    for said in (
        "isolated deep scratch", "42.5 mm", "3 of 5", "Through the colour at its end", "stone chip", "left doors",
        "noticed during or after the work", "118, 121.5, 117.25, 120, 119.5 µm", "119.2", "inspection lamp, 4000 K",
        "washed and decontaminated", "Left edge, under the lamp", "Stone chips down to metal rust",
        "there before the studio began any work", 'value="Tove Halvarsen"', "I have seen this report.", "SUV, size",
    ):  # fmt: skip
        assert said in page, said
    assert Report.objects.count() == 0


def test_signed_by_hand_it_is_sealed_and_the_keeper_gets_a_copy(world, browser):
    url, seen = draft_of(browser, world)
    answer = browser.post(url, {"name": "Tove Halvarsen", "strokes": STROKES, "draft": seen}, follow=True)
    report = Report.objects.get()
    assert answer.redirect_chain[-1][0] == reverse("studio:report", args=[report.pk])
    page = answer.content.decode()
    assert "Report 1 is sealed. The keeper&#x27;s copy goes out by mail." in page
    assert "Signed on the screen by Tove Halvarsen on" in page
    assert '<polyline points="10,20 40,90' in page
    assert report.digest in page
    assert "style=" not in page  # the content security policy forbids inline style
    # Asking for the draft once more leads to the sealed report.
    assert browser.get(url)["Location"] == reverse("studio:report", args=[report.pk])
    # The copy: no consent was ever asked, and unsubscribing from reminders does not stop it.
    message = Message.objects.get()
    unsubscribe(token=make_token(customer_id=world.keeper.pk, purpose="service"), at=NOW)
    outbox.deliver(at=message.written_at)
    (sent,) = mail.outbox
    assert sent.to == [world.keeper.email]
    assert sent.subject == "Report 1 on your black large SUV"
    for address in (
        reverse("customer:report", args=[report.pk]), reverse("report_check", args=[report.token]),
    ):  # fmt: skip
        assert f"{installed.SITE_ADDRESS}{address}" in sent.body
        assert f"{installed.SITE_ADDRESS}{address}" in sent.alternatives[0].content
    assert report.digest in sent.body
    assert "List-Unsubscribe" not in sent.extra_headers
    message.refresh_from_db()
    assert message.state == "accepted"
    assert JournalEntry.objects.get(verb="message written").data["report"] == 1


def test_what_the_signature_lacks_is_said_and_nothing_typed_is_lost(world, browser):
    url, seen = draft_of(browser, world)
    page = browser.post(url, {"name": "Ada Somebody", "strokes": "", "draft": seen}).content.decode()
    assert "Sign in the field with a finger, a pen or the mouse; or tick the box instead." in page
    assert 'value="Ada Somebody"' in page
    page = browser.post(url, {"name": "", "strokes": STROKES, "draft": seen}).content.decode()
    assert "[[[10, 20], [40, 90]" in page
    page = browser.post(url, {"name": "Ada", "strokes": "[[[1,2,3]]]", "draft": seen}).content.decode()
    assert "could not be read" in page
    Finding.objects.filter(kind="chip").update(severity=5)
    page = browser.post(url, {"name": "Ada", "seen": "on", "draft": seen}).content.decode()
    assert "has changed since this page was shown" in page
    assert Report.objects.count() == 0
    fresh = re.search(r'name="draft" value="([0-9a-f]{64})"', page)[1]
    assert fresh != seen
    done = browser.post(url, {"name": "Ada", "seen": "on", "draft": fresh}, follow=True).content.decode()
    assert "Ada on " in done
    assert "typed the name and ticked “I have seen this report.”" in done


def test_no_copy_goes_where_none_can_and_the_page_says_why(world):
    def sealed(**changes):
        for name, value in changes.items():
            setattr(world.keeper, name, value)
        world.keeper.save()
        inspection = world.another()
        seen = sealing.draft(studio=world.studio, inspection_id=inspection.pk, at=NOW).seen
        return report_copy.seal_and_send(
            studio=world.studio, inspection_id=inspection.pk, member_id=world.technician.pk, seen=seen,
            signature=Signature("typed", "Ada", []), actor="member:1", at=NOW,
        )  # fmt: skip

    assert sealed(email="").no_mail == asked_for.NO_ADDRESS
    waiting = sealed(email="ada@example.org").message
    Suppression.objects.create(studio=world.studio, email="ADA@example.org", why="bounced", at=NOW)
    assert sealed().no_mail == asked_for.SUPPRESSED
    assert outbox.deliver(at=NOW)["stopped"] == 1
    waiting.refresh_from_db()
    assert waiting.error == "The address bounced or complained."
    moved = sealed(email="new@example.org").message
    sealed(email="newer@example.org")
    outbox.deliver(at=NOW)
    moved.refresh_from_db()
    assert moved.error == "The customer's address has changed since it was written."
    Keeper.objects.filter(vehicle=world.vehicle).delete()
    with pytest.raises(DomainError, match="No keeper is on record"):
        sealed()


def test_keepers_of_that_time_and_nobody_else(world):
    report = world.seal()
    urls = [reverse(name, args=[report.pk]) for name in ("customer:report", "customer:report_pdf")]
    keeper = as_user(world.keeper)
    assert [keeper.get(url).status_code for url in urls] == [200, 200]
    vehicle = reverse("customer:vehicle", args=[world.vehicle.pk])
    assert urls[0] in keeper.get(vehicle).content.decode()
    assert reverse("customer:photo", args=[Photo.objects.get().uid, "small"]) in keeper.get(urls[0]).content.decode()
    # Sold: the old keeper keeps the report without later addenda, the new one does not get it.
    buyer = people.customer(world.studio)
    Keeper.objects.filter(vehicle=world.vehicle).update(end=date(2026, 4, 1))
    Keeper.objects.create(studio=world.studio, vehicle=world.vehicle, customer=buyer, start=date(2026, 4, 1))
    for day, text in ((15, "polished under the old keeper"), (45, "dented under the new keeper")):
        done = report_copy.add_and_send(
            studio=world.studio, report_id=report.pk, text=text, member_id=world.technician.pk, actor="member:1",
            at=NOW.replace(month=3 if day < 30 else 4, day=15),
        )  # fmt: skip
        assert done.no_mail == asked_for.NO_KEEPER
    page = keeper.get(urls[0]).content.decode()
    assert "polished under the old keeper" in page
    assert "dented under the new keeper" not in page
    assert "The photos are in the PDF." in page
    stranger = as_user(people.customer())
    for browser in (as_user(buyer), stranger):
        assert [browser.get(url).status_code for url in urls] == [404, 404]
    assert urls[0] not in as_user(buyer).get(vehicle).content.decode()


def test_an_addendum_is_sealed_shown_and_told(world, browser):
    report = world.seal()
    url = reverse("studio:report_addendum", args=[report.pk])
    assert "This field is required" in browser.post(url, {"text": " "}).content.decode()
    page = browser.post(url, {"text": "The scratch was\n\npolished out.", "findings": ["1"]}, follow=True)
    added = Report.objects.get(kind="addendum")
    assert (added.number, added.of) == (2, report)
    for said in ("Addendum 2 is sealed", "<p>polished out.</p>", "About finding 1.", added.digest):
        assert said in page.content.decode()
    assert Message.objects.get().subject == "Addendum 2 to report 1 on your black large SUV"
    # The key of an addendum leads to its report.
    assert report.digest in browser.get(reverse("studio:report", args=[added.pk])).content.decode()


def test_anybody_with_the_link_may_check_and_learns_no_more(world):
    report = world.seal()
    anybody = Client()
    url = reverse("report_check", args=[report.token])
    page = anybody.get(url)
    assert "no-store" in page["Cache-Control"]
    page = page.content.decode()
    assert "Unchanged since it was sealed." in page
    for said in ("Ossenmere Gloss Works", report.digest, "2 March 2026, 10:00 CET"):  # the studio's own time
        assert said in page
    Finding.objects.filter(kind="scratch").update(note="never there")
    default_storage.delete(Photo.objects.get().file.name)
    changed = anybody.get(url).content.decode()
    assert "Not as it was sealed." in changed
    assert "Finding 1: note has changed since" in changed
    assert "Photo 1: its file is missing" in changed
    for secret in ("Tove", "SKA 101", "never there", "Through the colour", "scratch", world.keeper.email):
        assert secret not in page
        assert secret not in changed
    assert anybody.get(reverse("report_check", args=["x" * 32])).status_code == 404
    answers = {anybody.get(reverse("report_check", args=["x" * 32])).status_code for _ in range(PER_MINUTE)}
    assert answers == {404, 429}


def test_the_pdf_says_what_was_sealed_and_evaluates_nothing(world, browser):
    bad = '#set page(width: 1cm) *bold* $x$ #read("/etc/passwd") \\ [link](http://x) `raw`'
    Finding.objects.filter(kind="scratch").update(note=bad)
    report = world.seal()
    ReportParty.objects.filter(report=report).update(name="Tove Halvarsen")
    answer = browser.get(reverse("studio:report_pdf", args=[report.pk]))
    assert answer["Content-Disposition"] == 'attachment; filename="report-1.pdf"'
    reader, text = text_of(answer.content)
    flat = re.sub(r"[\s\u200b]+", "", text)
    assert re.sub(r"\s+", "", bad) in flat
    for said in (
        "Report 1", "Black large SUV, SKA 101", "isolated deep scratch", "42.5 mm", "118, 121.5, 117.25",
        "Signed on the screen by Tove Halvarsen", report.digest, Photo.objects.get().sha256,
        reverse("report_check", args=[report.token]), "Stone chips down to metal rust",
    ):  # fmt: skip
        assert re.sub(r"\s+", "", said) in flat, said
    assert [round(float(side)) for side in reader.pages[0].mediabox[2:]] == [595, 842]  # A4, ISO 216: 210 x 297 mm
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]  # tagged (ISO 32000-1, 14.8)
    assert reader.trailer["/Root"]["/Lang"] == "en"
    assert len(reader.pages[0].images) + len(reader.pages[1].images) == 1


def test_a_long_report_and_names_in_other_scripts_are_printed(world):
    roof = SurfaceFactory(vehicle=world.vehicle, code="roof")
    trim = SurfaceFactory(vehicle=world.vehicle, code="trim")
    Photo.objects.all().delete()
    for i in range(40):
        Finding.objects.create(
            studio=world.studio, inspection=world.inspection, surface=(roof, trim)[i % 2], kind="swirls",
            note="word " * 59 if i % 9 == 0 else "W" * 300 if i % 9 == 1 else "",
        )  # fmt: skip
    name = "Ольга Ивановна Ελένη Παπαδοπούλου 李小龍"
    report = world.seal(by=Signature("typed", name, []))
    view = reads.for_studio(world.studio, report.pk)
    reader, text = text_of(make_pdf(view))
    assert 4 <= len(reader.pages) <= 9
    assert "Ольга Ивановна Ελένη Παπαδοπούλου" in re.sub(r"\s+", " ", text.replace("\u200b", ""))
    assert all(f"page {n} / {len(reader.pages)}" in page.extract_text() for n, page in enumerate(reader.pages, 1))
    sealing.erase_signatures(studio=world.studio, customer_id=world.keeper.pk, actor="member:1", at=NOW)
    _reader, erased = text_of(make_pdf(reads.for_studio(world.studio, report.pk)))
    assert "erased at the person’s request" in erased or "erased at the person's request" in erased
    assert "Ольга" not in erased
    assert "SKA 101" not in erased


def test_was_it_there_before_in_one_search_by_panel(world, browser):
    report = world.seal()
    later = world.another(on=date(2026, 2, 1))
    Finding.objects.create(
        studio=world.studio, inspection=later, surface=world.bonnet, kind="swirls", pre_existing=False
    )
    url = reverse("studio:findings", args=[world.vehicle.pk])
    page = browser.get(url, {"panel": "bonnet"}).content.decode()
    assert page.index("2 March 2026") < page.index("1 February 2026")
    assert f'<a href="{reverse("studio:report", args=[report.pk])}">report 1</a>' in page
    assert reverse("studio:photo", args=[Photo.objects.get().uid, "small"]) in page
    assert "Isolated deep scratch" in page
    assert "not sealed" in page
    assert "Stone chip" not in page
    assert "Stone chip" in browser.get(url).content.decode()
    assert "No finding is on record" in browser.get(url, {"panel": "roof"}).content.decode()


@time_machine.travel(NOW, tick=False)  # looks are counted by the minute: none may end in between
def test_lists_ask_no_more_queries_for_thirty_rows_than_for_one(world, browser):
    world.seal()
    urls = [reverse(f"studio:{name}", args=[world.vehicle.pk]) for name in ("reports", "findings")]
    checked = reverse("report_check", args=[Report.objects.get().token])

    def counts() -> list[int]:
        found = []
        for url in (*urls, checked):
            with CaptureQueriesContext(connection) as queries:
                assert browser.get(url).status_code == 200
            found.append(len(queries))
        return found

    counts()  # the first look of a minute makes the line that counts looks
    before = counts()
    for i in range(30):
        inspection = world.another(on=date(2026, 1, 1 + i))
        Finding.objects.create(studio=world.studio, inspection=inspection, surface=world.bonnet, kind="chip")
        if i < 10:
            world.photo(Finding.objects.latest("pk"), inspection=inspection)
            world.seal(inspection)
    assert counts() == before


def test_a_foreign_keeper_is_told_nothing(world):
    """An addendum is told to who signed, not to whoever keeps another of the studio's vehicles."""
    report = world.seal()
    ReportParty.objects.filter(report=report).update(customer=CustomerFactory(studio=world.studio))
    done = report_copy.add_and_send(
        studio=world.studio, report_id=report.pk, text="so", member_id=world.technician.pk, actor="m", at=NOW
    )
    assert done.no_mail == asked_for.NO_KEEPER
    assert not Message.objects.exists()
