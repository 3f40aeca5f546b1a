"""Lists as other programs read them: pandas and openpyxl get back what the database holds, and no formula.

Which texts a sheet takes for a formula: OWASP, "CSV Injection" (from memory). Form of CSV: RFC 4180.
"""

from __future__ import annotations

import csv
import io
import json
import re
import tracemalloc
from datetime import UTC, datetime
from decimal import Decimal

import openpyxl
import pandas as pd
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from lifecycle.errors import DomainError
from lifecycle.models import Bay, Complaint, Customer, JournalEntry, Price
from lifecycle.taking_out.lists import _csv_line, take_list
from lifecycle.taking_out.packing import take_studio
from lifecycle.taking_out.pipe import ZipPipe
from lifecycle.taking_out.registry import tables
from lifecycle.taking_out.values import CUTS, STARTS, cell, safe, unsafe
from lifecycle.taking_out.workbook import MOST_TEXT, workbook
from tests.factories import NOW, CustomerFactory, SiteFactory, StudioFactory, VehicleFactory
from tests.lifecycle.taking_out.world import AWKWARD, members, studio_with_everything, taken

DB = pytest.mark.django_db
HARM = st.text(st.sampled_from([*STARTS, *CUTS, "'", "1", " "]), max_size=12)
TEXTS = st.one_of(st.text(), st.builds(lambda start, rest: start + rest, HARM, st.text()))
# What a workbook may hold: no half letters.
WHOLE = st.text(st.characters(exclude_categories=("Cs",)), max_size=60)

NUMBERS = st.one_of(
    st.integers(-(2**53), 2**53),
    st.floats(allow_nan=False, allow_infinity=False),
    st.decimals(allow_nan=False, places=2, min_value=-(10**9), max_value=10**9),
)


def out(studio, name, form) -> bytes:
    return b"".join(take_list(studio=studio, name=name, form=form, actor="member:1", at=NOW).pieces)


def frame(data: bytes) -> pd.DataFrame:
    return pd.read_csv(io.BytesIO(data), dtype_backend="numpy_nullable", keep_default_na=False, na_values=[""])


def sheet(data: bytes):
    return openpyxl.load_workbook(io.BytesIO(data)).worksheets[0]


def unescaped(text: str | None) -> str:
    """ECMA-376 part 1, 22.9.2.19: _x0001_ is the letter with that number."""
    return re.sub("_x([0-9A-F]{4})_", lambda found: chr(int(found[1], 16)), text or "")


@given(TEXTS)
def test_no_text_starts_like_a_formula_and_every_one_comes_back(text):
    assert not safe(text).startswith(STARTS)
    assert unsafe(safe(text)) == text


@given(st.lists(TEXTS.filter(lambda text: "\0" not in text), min_size=1, max_size=5))
def test_a_line_of_csv_is_read_back_as_it_was(texts):
    (row,) = csv.reader(io.StringIO(_csv_line([cell(text) for text in texts]), newline=""), strict=True)
    assert [unsafe(text) for text in row] == texts


@given(TEXTS.filter(lambda text: "\0" not in text), st.sampled_from(";|\t"))
def test_a_sheet_that_cuts_at_another_separator_finds_no_formula_either(text, separator):
    """Where ; is the separator, as in much of Europe, `x;=1+1` in one quoted cell becomes two cells."""
    line = _csv_line([1, cell(text), 2])
    ways = list(csv.reader(io.StringIO(line, newline=""), delimiter=separator))
    ways.append(re.split(f"[{separator}\r\n]", line))
    assert not [one for row in ways for one in row if one.lstrip('"').startswith(STARTS)]


@given(st.lists(NUMBERS, min_size=1, max_size=5))
def test_numbers_stay_numbers(numbers):
    (row,) = csv.reader(io.StringIO(_csv_line([cell(number) for number in numbers])), quoting=csv.QUOTE_NONNUMERIC)
    assert row == [float(number) for number in numbers]


@given(st.lists(st.one_of(WHOLE, st.booleans(), st.integers(-(2**53), 2**53), st.none()), min_size=1, max_size=6))
def test_a_workbook_is_read_back_as_it_was_and_holds_no_formula(values):
    row = [1, *(cell(value) for value in values)]  # a number first, as in every list
    found = sheet(b"".join(workbook("list", ["head"] * len(row), [row])))
    (_, *cells) = next(iter(found.iter_rows(min_row=2, max_col=len(row))))
    assert all(one.data_type != "f" for one in cells)
    for one, value in zip(cells, values, strict=True):
        if isinstance(value, str):
            assert unsafe(unescaped(one.value)) == value
        else:
            assert one.value == value
            assert type(one.value) is type(value)


def test_a_text_inside_of_a_list_is_no_formula_either():
    """Where a semicolon separates, a sheet cuts the JSON of a column into cells, too."""
    text = _csv_line([cell([["name", "", "x;=1+1"], {"why": "=2"}])])
    cut = next(csv.reader(io.StringIO(text), delimiter=";"))
    assert not [one for one in cut if one.lstrip('"').startswith("=")]
    (whole,) = next(csv.reader(io.StringIO(text)))
    assert json.loads(unsafe(whole)) == [["name", "", "x;=1+1"], {"why": "=2"}]


def test_a_text_longer_than_a_cell_is_cut_and_says_so():
    found = sheet(b"".join(workbook("list", ["text"], [["x" * (MOST_TEXT + 1)]])))["A2"].value
    assert len(found) == MOST_TEXT
    assert found.endswith("(cut here: 32768 characters in all, the CSV and the zip hold the whole)")


def test_more_rows_than_a_sheet_takes_go_on_in_the_next(monkeypatch):
    monkeypatch.setattr("lifecycle.taking_out.workbook.MOST_ROWS", 4)
    book = openpyxl.load_workbook(io.BytesIO(b"".join(workbook("list", ["n"], ([n] for n in range(7))))))
    assert book.sheetnames == ["list", "list (2)", "list (3)"]
    assert [[row[0].value for row in one.iter_rows()] for one in book] == [["n", 0, 1, 2], ["n", 3, 4, 5], ["n", 6]]


@DB
def test_pandas_and_openpyxl_read_what_the_database_holds():
    studio = studio_with_everything()
    price, customer = Price.objects.get(), Customer.objects.get(name=AWKWARD)
    prices = frame(out(studio, "price", "csv"))
    assert (prices["low"][0], prices["high"][0]) == (90.10, 200.0)
    assert prices["task"][0] == price.task
    people = frame(out(studio, "customer", "csv"))
    row = people[people["id"] == customer.pk].iloc[0]
    assert unsafe(row["name"]) == AWKWARD
    assert bool(row["fleet"]) is False
    assert row["quiet_from"] == "22:00:00"
    assert pd.isna(row["erased_at"])
    for name in ("studio", "price", "customer", "bay", "journal_entry", "visit_proposal_dues"):
        by_sheet = pd.read_excel(io.BytesIO(out(studio, name, "xlsx")), keep_default_na=False, na_values=[""])
        assert list(by_sheet.columns) == list(frame(out(studio, name, "csv")).columns)
    paused = frame(out(studio, "studio", "csv"))["paused_at"][0]
    assert paused == "2026-03-01T08:15:30.123456Z"
    assert datetime.fromisoformat(paused) == datetime(2026, 3, 1, 8, 15, 30, 123456, UTC)
    assert b'"\'=a water mark"' in out(studio, "complaint", "csv")
    assert unsafe(frame(out(studio, "complaint", "csv"))["about"][0]) == Complaint.objects.get().about


@DB
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_every_list_of_a_full_studio_can_be_taken_out_and_read(form):
    studio = studio_with_everything()
    for one in tables():
        data = out(studio, one.name, form)
        rows = list(sheet(data).iter_rows(values_only=True)) if form == "xlsx" else list(
            csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True))  # fmt: skip
        assert list(rows[0]) == [column.name for column in one.columns], one.name
        # One more where taking out the journal is itself in the journal.
        assert len(rows) - 1 == one.rows(studio).count() >= 1, one.name
        assert not [text for row in rows for text in row if isinstance(text, str) and text.startswith(("=", "@", "+"))]


@DB
def test_the_journal_says_who_took_out_what():
    studio = StudioFactory()
    out(studio, "customer", "xlsx")
    taken(studio)
    first, second = JournalEntry.objects.of(studio)
    assert (first.verb, first.actor, first.data) == (
        "list taken out",
        "member:1",
        {"table": "customer", "form": "xlsx"},
    )
    assert (second.verb, second.at) == ("studio taken out", NOW)
    for name, form in (("customer", "exe"), ("nobody", "csv"), ("api_token", "csv")):
        with pytest.raises(DomainError):
            out(studio, name, form)
    assert JournalEntry.objects.count() == 2


@DB
def test_no_row_of_another_studio_gets_out():
    ours, theirs = studio_with_everything("ours"), studio_with_everything("theirs")
    for one in tables():
        here, there = ({row.pk for row in one.rows(studio)} for studio in (ours, theirs))
        assert here, one.name
        assert not here & there, one.name
        assert here | there == {row.pk for row in one.model._base_manager.all()}, one.name
    zipped = members(taken(ours))
    secret = Customer.objects.get(studio=theirs, name=AWKWARD).email.encode()
    assert secret not in b"".join(zipped.values())
    assert {name for name in zipped if name.startswith("files/")} & set(members(taken(theirs))) == set()


@pytest.mark.django_db(transaction=True)
def test_what_is_broken_off_leaves_the_connection_as_it_was():
    """Outside a transaction, as in the web server: the reading one ends with whoever reads, and writing goes on."""
    studio = StudioFactory()
    Customer.objects.bulk_create(CustomerFactory.build(studio=studio, email="") for _ in range(1_200))
    ways = [take_list(studio=studio, name="customer", form=form, actor="a", at=NOW).pieces for form in ("csv", "xlsx")]
    for pieces in (*ways, take_studio(studio=studio, actor="a", at=NOW).pieces):
        next(pieces)
        next(pieces, None)  # a short workbook is one piece
        pieces.close()
        assert not connection.in_atomic_block
        CustomerFactory(studio=studio)
    assert out(studio, "customer", "csv").count(b"\r\n") == 1_200 + 3 + 1
    assert Customer.objects.count() == 1_203


@DB
def test_as_many_queries_for_1_row_as_for_30():
    studio = StudioFactory()
    site = SiteFactory(studio=studio)
    VehicleFactory(site=site)
    Bay.objects.create(studio=studio, site=site, name="Bay 0")

    def counted() -> list[int]:
        counts = []
        for form in ("csv", "xlsx"):
            with CaptureQueriesContext(connection) as queries:
                out(studio, "customer", form)
            counts.append(len(queries))
        with CaptureQueriesContext(connection) as queries:
            taken(studio)
        return [*counts, len(queries)]

    one = counted()
    for number in range(30):
        VehicleFactory(site=site)
        Bay.objects.create(studio=studio, site=site, name=f"Bay {number + 1}")
    assert counted() == one


@DB
def test_memory_does_not_grow_with_the_rows():
    """Ten times the rows take at most half as much again; `common practice, no source`."""
    studio = StudioFactory()

    def peak(work) -> int:
        tracemalloc.start()
        for _ in work():
            pass
        _, top = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return top

    def fill(count: int) -> None:
        Customer.objects.bulk_create(
            CustomerFactory.build(studio=studio, name="x" * 150, email="") for _ in range(count)
        )

    ways = [
        lambda: take_list(studio=studio, name="customer", form="csv", actor="a", at=NOW).pieces,
        lambda: take_list(studio=studio, name="customer", form="xlsx", actor="a", at=NOW).pieces,
        lambda: take_studio(studio=studio, actor="a", at=NOW).pieces,
    ]
    fill(2_000)
    few = [peak(way) for way in ways]
    fill(18_000)
    many = [peak(way) for way in ways]
    assert [top for top, small in zip(many, few, strict=True) if top > 1.5 * small] == []


def test_a_large_file_goes_through_the_zip_in_pieces():
    pipe, largest = ZipPipe(at=NOW), 0
    with pipe.member("files/large") as member:
        for _ in range(64):
            member.write(bytes(1 << 20))
            largest = max(largest, len(pipe.taken()))
    assert largest < 2 << 20
    assert len(pipe.closed()) < 1 << 10


def test_exact_decimals_are_written_as_they_are():
    assert _csv_line([Decimal("90.10"), -5, 1e-07, True, None, ""]) == '90.10,-5,1e-07,true,,""\r\n'
