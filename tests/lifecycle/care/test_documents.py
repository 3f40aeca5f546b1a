"""Data sheets: the newest revision holds, earlier ones are kept, a missing or old one is flagged, a wrong file refused.

Five years until a sheet is called old: common practice, no source.
"""

from __future__ import annotations

from datetime import date
from io import BytesIO

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from pypdf import PdfReader

from lifecycle.care import documents
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import Document, JournalEntry
from tests.factories import NOW, TODAY, ProductFactory, StudioFactory
from tests.pictures import pdf, picture

pytestmark = pytest.mark.django_db
WHO = {"actor": "member:1", "at": NOW}


@pytest.fixture
def product():
    return ProductFactory(code="C36")


def add(product, **change):
    given = {
        "studio": product.studio, "product_id": product.pk, "kind": "sds", "revised_on": date(2024, 5, 2),
        "language": "en", "upload": pdf(), "revision": "3.1", **WHO,
    }  # fmt: skip
    return documents.add_document(**given | change)


def one_of(product, today=TODAY):
    (held,) = documents.sheets(product.studio, today=today)
    return held


def test_the_newest_revision_holds_and_the_earlier_ones_stay(product):
    assert len(PdfReader(BytesIO(pdf())).pages) == 1, "the test's own PDF is one to an independent reader"
    assert one_of(product).missing_sds
    new = add(product, upload=pdf("new"))
    old = add(product, upload=pdf("old"), revised_on=date(2019, 1, 5), revision="2")
    german = add(product, upload=pdf("german"), language="de", revised_on=date(2020, 1, 5))
    pds = add(product, upload=pdf("pds"), kind="pds")
    held = one_of(product)
    assert [row.id for row in held.current] == [german.pk, new.pk, pds.pk]
    assert [row.id for row in held.earlier] == [old.pk]
    assert [row.id for row in held.sds] == [german.pk, new.pk]
    assert not held.missing_sds
    assert held.current[1].label == "safety data sheet, revision 3.1, 2 May 2024, en"
    documents.retire_document(studio=product.studio, document_id=new.pk, **WHO)
    assert {row.id for row in one_of(product).current} == {old.pk, german.pk, pds.pk}
    with pytest.raises(DomainError, match="retired already"):
        documents.retire_document(studio=product.studio, document_id=new.pk, **WHO)
    verbs = list(JournalEntry.objects.order_by("id").values_list("verb", flat=True))
    assert verbs == ["document added"] * 4 + ["document retired"]


@pytest.mark.parametrize(("today", "old"), [(date(2029, 5, 2), False), (date(2029, 5, 3), True)])
def test_a_sheet_is_old_after_five_years(product, today, old):
    add(product)
    assert one_of(product, today).current[0].old is old


def test_the_same_file_again_is_the_sheet_that_is_there(product):
    first = add(product)
    assert add(product, revision="typed anew") == first
    assert default_storage.exists(first.file.name)
    documents.retire_document(studio=product.studio, document_id=first.pk, **WHO)
    assert add(product) != first
    assert Document.objects.count() == 2


WHOLE = pdf()
WRONG_FILES = {
    "empty": (b"", "the file is empty"), "a picture": (picture(), "no PDF"), "html": (b"<html>%PDF-1.7", "no PDF"),
    "header only": (b"%PDF-1.7\n", "cut off"), "other version": (b"%PDF-9" + WHOLE[6:], "no PDF"),
    "half": (WHOLE[: len(WHOLE) // 2], "cut off"), "space before": (b"\n" + WHOLE, "no PDF"),
    "zip behind": (WHOLE + b"PK\x03\x04" + bytes(30), "a ZIP archive"),
    "page behind": (WHOLE + b"<script>1</script>", "a web page"), "program behind": (WHOLE + b"MZ\x90", "a program"),
    "long tail": (WHOLE + bytes(5000), "cut off"), "too large": (WHOLE + bytes(20_000_000), "20 MB"),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG_FILES)
def test_what_is_no_whole_pdf_is_refused_in_words(product, name):
    data, says = WRONG_FILES[name]
    upload = SimpleUploadedFile("../sheet.pdf", data, content_type="application/pdf")
    with pytest.raises(DomainError, match=says) as refused:
        add(product, upload=upload)
    assert refused.value.field == "document"
    assert refused.value.message.startswith("document: “sheet.pdf”: ")
    assert not Document.objects.exists()


@pytest.mark.parametrize(
    ("change", "field"),
    [({"kind": "msds"}, "kind"), ({"revised_on": date(2026, 3, 3)}, "revised_on"), ({"language": "e"}, "language"),
     ({"revised_on": date(1049, 3, 3)}, "revised_on"), ({"language": "<b>"}, "language"),
     ({"revision": "x" * 41}, "revision")],
)  # fmt: skip
def test_words_and_days_that_do_not_fit(product, change, field):
    with pytest.raises(DomainError) as refused:
        add(product, **change)
    assert refused.value.field == field


def test_nothing_crosses_studios_and_a_lost_file_is_not_there(product):
    other = StudioFactory()
    sheet = add(product)
    for ask in (
        lambda: add(product, studio=other),
        lambda: documents.retire_document(studio=other, document_id=sheet.pk, **WHO),
        lambda: documents.document_file(other, sheet.uid),
    ):
        with pytest.raises(NotFoundHere):
            ask()
    assert documents.sheets(other, today=TODAY) == ()
    assert documents.document_file(product.studio, sheet.uid).name == "C36-sds-2024-05-02-en.pdf"
    default_storage.delete(sheet.file.name)
    with pytest.raises(NotFoundHere):
        documents.document_file(product.studio, sheet.uid)


def test_a_row_that_cannot_be_written_leaves_no_file(product, monkeypatch):
    def fail(**_given):
        raise OSError("disk full")

    names: list[str] = []
    save = default_storage.save
    monkeypatch.setattr(default_storage, "save", lambda *a, **k: names.append(save(*a, **k)) or names[-1])
    monkeypatch.setattr(documents.journal, "record", fail)
    with pytest.raises(OSError, match="disk full"):
        add(product)
    assert not Document.objects.exists()
    assert not any(default_storage.exists(name) for name in names)


def test_the_same_number_of_queries_for_one_product_and_for_thirty(product, django_assert_num_queries):
    for count in (1, 29):
        for number in range(count):
            other = ProductFactory(studio=product.studio)
            add(other, upload=pdf(f"sheet {number}"))
        with django_assert_num_queries(2):
            documents.sheets(product.studio, today=TODAY)
