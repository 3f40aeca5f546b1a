"""The pages of lists brought in, by plain forms and without script."""

from __future__ import annotations

import csv
import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lifecycle.models import Customer, ImportFile
from tests.lifecycle.care.import_world import csv_of, receive, stored, work
from tests.portal.studio_world import text

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stored")]
__all__ = ["stored"]

LIST = reverse("studio:imports")
OLD = "Nr;Name;E-Mail;Kunde seit;Newsletter\n7;Søren Tamm;soeren@example.org;03.04.2024;ja\n".encode("cp1252")


def send(owner, data: bytes, kind: str = "customers", name: str = "list.csv"):
    return owner.post(LIST, {"kind": kind, "file": SimpleUploadedFile(name, data)}, follow=True)


def url() -> str:
    return reverse("studio:import_file", args=[ImportFile.objects.latest("pk").pk])


def test_the_whole_way_by_forms(owner):
    page = text(send(owner, OLD))
    assert "Which line shows the letters as they should be?" in page
    assert "Søren Tamm" in page
    refused = owner.post(url(), {"do": "answer"})
    assert refused.status_code == 422
    assert "Choose an answer" in text(refused)
    page = text(owner.post(url(), {"do": "answer", "q-encoding": "cp1252"}, follow=True))
    assert "“Newsletter”" in page
    assert "it is never imported" in page
    assert "In which order are the days written?" in page
    assert "3 April 2024" in page
    assert "4 March 2024" in page
    columns = {"do": "columns", "col-1": "number", "col-2": "name", "col-3": "email", "col-4": "since"}
    page = text(owner.post(url(), columns))
    assert "One thing more is to be said" in page
    page = text(owner.post(url(), columns | {"q-dates": "dmy"}, follow=True))
    assert "being looked through" in page
    work()
    page = text(owner.get(url()))
    assert "1 new, 0 changed, 0 same as before" in page
    assert "customer since: 2024-04-03" in page
    assert not Customer.objects.exists()
    assert "being recorded" in text(owner.post(url(), {"do": "apply"}, follow=True))
    work()
    assert "1 new and 0 changed are on record" in text(owner.get(url()))
    assert Customer.objects.get().name == "Søren Tamm"
    assert "being taken back" in text(owner.post(url(), {"do": "undo"}, follow=True))
    work()
    assert "The list was taken back" in text(owner.get(url()))
    assert not Customer.objects.exists()


def test_what_was_chosen_is_kept_when_it_is_refused(owner):
    send(owner, b"name;email;phone\nTove;tove@example.org;1234\n")
    answer = owner.post(url(), {"do": "columns", "col-1": "phone", "col-2": "email", "col-3": "phone"})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Two columns are taken for phone" in page
    assert page.count('<option value="phone" selected>') == 2


def test_a_working_page_polls_and_tells_when_it_is_over(owner, studio):
    send(owner, b"name;email\nTove;tove@example.org\n")
    owner.post(url(), {"do": "columns", "col-1": "name", "col-2": "email"})
    page = owner.get(url(), headers={"HX-Request": "true"})
    assert "HX-Refresh" not in page
    body = page.content.decode()
    assert '<progress id="bar"' in body
    assert '<noscript><meta http-equiv="refresh"' in body
    work()
    assert owner.get(url(), headers={"HX-Request": "true"})["HX-Refresh"] == "true"


def test_errors_as_csv_hold_no_formula(owner, studio):
    rows = [("name", "email"), ("=HYPERLINK(1)", "a@example.org"), ("@b", "no address"), ("Tove", "+1")]
    receive(studio, "customers", csv_of(*rows))
    answer = owner.get(reverse("studio:import_errors", args=[ImportFile.objects.get().pk]))
    body = b"".join(answer.streaming_content).decode("utf-8-sig")
    found = list(csv.reader(io.StringIO(body)))
    assert found[0] == ["row", "column", "value", "what is wrong"]
    assert len(found) == 5
    assert all(not cell.startswith(("=", "+", "-", "@")) for row in found for cell in row)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "file is empty"),
        (b"name;email\n", "headings and no row below"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"x" * 600, "old XLS file"),
        (b"name;email\nA\x00;b\n", "zero byte"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(owner, data, said):
    assert said in text(send(owner, data))
    assert not ImportFile.objects.exists()


def test_queries_do_not_grow_with_the_rows(owner, studio):
    def count(rows: int) -> int:
        people = [(f"P {n}", f"p{n}@example.org") for n in range(rows)]
        file = receive(studio, "customers", csv_of(("name", "email"), *people))
        with CaptureQueriesContext(
            connection,
        ) as caught:
            assert owner.get(reverse("studio:import_file", args=[file.pk])).status_code == 200
            assert owner.get(LIST).status_code == 200
        return len(caught)

    assert count(1) == count(30)
