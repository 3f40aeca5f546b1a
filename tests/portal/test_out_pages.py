"""The page from which the owner takes lists and the whole studio out."""

from __future__ import annotations

import csv
import io
import zipfile

import openpyxl
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lifecycle.models import JournalEntry
from lifecycle.taking_out.restoring import restore_studio
from tests import people
from tests.factories import NOW, CustomerFactory
from tests.lifecycle.taking_out.world import gone, undone
from tests.portal.doors import as_member
from tests.portal.studio_world import text

pytestmark = pytest.mark.django_db
OUT = reverse("studio:out")
CUSTOMERS = reverse("studio:out_list", args=["customer"])
WHOLE = reverse("studio:out_studio")


def body(answer) -> bytes:
    return b"".join(answer.streaming_content)


def test_the_house_leads_there_and_every_list_is_there(owner):
    assert f'href="{OUT}"' in owner.get(reverse("studio:house")).content.decode()
    page = owner.get(OUT)
    assert "Nothing has been taken out yet." in text(page)
    for name in ("customer", "journal_entry", "report", "hook_delivery"):
        assert f'formaction="{reverse("studio:out_list", args=[name])}"' in page.content.decode()
    columns = text(owner.get(CUSTOMERS))
    assert "quiet_from From when on nothing is sent, by the customer’s clock" in columns.replace("&#x27;", "’")


def test_a_list_comes_as_a_file_and_stands_in_the_history(owner, studio):
    CustomerFactory(studio=studio, name="=Tove")
    CustomerFactory(name="Elsewhere")
    answer = owner.post(CUSTOMERS, {"form": "csv"})
    assert answer["Content-Disposition"].startswith(f'attachment; filename="{studio.slug}-customer-')
    assert (answer["Content-Type"], answer["Cache-Control"]) == ("text/csv; charset=utf-8", "no-store")
    head, row = csv.reader(io.StringIO(body(answer).decode("utf-8-sig"), newline=""))
    assert dict(zip(head, row, strict=True))["name"] == "'=Tove"
    sheet = openpyxl.load_workbook(io.BytesIO(body(owner.post(CUSTOMERS, {"form": "xlsx"})))).active
    assert [one.value for one in sheet[1]] == head
    history = text(owner.get(OUT))
    assert "Customers as XLSX" in history
    assert "Customers as CSV" in history
    who = JournalEntry.objects.filter(verb="list taken out").values_list("actor", flat=True)
    assert set(who) == {f"member:{people.Member.objects.get(studio=studio, role='owner').pk}"}


def test_the_whole_studio_comes_as_a_zip_that_can_be_brought_back(tmp_path):
    with undone():
        owner = people.owner()
        CustomerFactory(studio=owner.studio, name="Tove")
        answer = as_member(owner).post(WHOLE)
        assert answer["Content-Type"] == "application/zip"
        data = gone(body(answer))
        name = owner.studio.name
    assert zipfile.ZipFile(io.BytesIO(data)).testzip() is None
    (tmp_path / "studio.zip").write_bytes(data)
    done = restore_studio(path=tmp_path / "studio.zip", actor="command", at=NOW)
    assert done.studio.name == name
    page = text(as_member(people.Member.objects.get(studio=done.studio)).get(OUT))
    assert "The studio was brought back from a zip" in page
    assert "a command on the machine" in page
    assert "The whole studio" in page


def test_nothing_is_handed_out_by_an_address_alone(owner):
    assert owner.get(WHOLE).status_code == 405
    for name, form in (("nobody", "csv"), ("api_token", "csv"), ("customer", "exe"), ("customer", "")):
        assert owner.post(reverse("studio:out_list", args=[name]), {"form": form}).status_code == 404
    assert not JournalEntry.objects.filter(verb__endswith="taken out").exists()


def test_the_form_needs_its_token(studio):
    from django.test import Client

    strict = Client(enforce_csrf_checks=True)
    strict.cookies = as_member(people.owner(studio)).cookies
    assert strict.post(CUSTOMERS, {"form": "csv"}).status_code == 403
    assert strict.post(WHOLE).status_code == 403


def test_as_many_queries_for_many_rows_as_for_few(owner):
    def counted() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert owner.get(OUT).status_code == 200
        return len(queries)

    body(owner.post(CUSTOMERS, {"form": "csv"}))
    few = counted()
    for _ in range(30):
        body(owner.post(CUSTOMERS, {"form": "csv"}))
    assert counted() == few
