"""Files of strangers: how they are read, what is asked, and that a hostile one is refused in words."""

from __future__ import annotations

import csv
import io
import random
import tracemalloc
import zipfile
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.care.imports import cells
from lifecycle.care.imports.columns import consent_columns, guess
from lifecycle.care.imports.detect import look
from lifecycle.care.imports.refusal import MOST_COLUMNS, FileRefused
from lifecycle.care.imports.rows import read_rows
from tests.lifecycle.care.import_world import csv_of, workbook

HEAD = ("name", "email", "phone", "customer since")
ROW = ("Tove Halvarsen", "tove@example.org", "+47 00 00 00 01", "2024-03-13")


def seen(data: bytes, **how: str):
    return look(data, kind="customers", how=how)


def read(data: bytes, **how: str) -> list:
    first = seen(data, **how)
    columns = guess("customers", first.headings)
    settled = look(data, kind="customers", how={**first.how, **how}, columns=columns)
    return list(read_rows(data, kind="customers", how={**settled.how, **how}, columns=columns))


def refusal_or(doing):
    """What it answers, or the words of its refusal; any other error is one of the test."""
    try:
        return doing()
    except FileRefused as refusal:
        return str(refusal)


class TestEncodings:
    """The code charts are Python's own codecs; expected letters are those of the Unicode mapping tables of each."""

    @pytest.mark.parametrize("codec", ["utf-8", "utf-8-sig", "utf-16"])
    def test_marked_and_utf_8_are_certain(self, codec):
        data = "name;email\nSøren Žižka;s@example.org\n".encode(codec)
        assert seen(data).questions == ()
        assert read(data)[0].values["name"] == "Søren Žižka"

    @pytest.mark.parametrize("codec", ["cp1252", "cp1250", "mac_roman", "cp850", "cp1251"])
    def test_older_ones_are_asked_with_the_cells_read_each_way(self, codec):
        name = {"cp1251": "Иван Грозный"}.get(codec, "Jörg Müller")
        data = f"name;email\n{name};j@example.org\n".encode(codec)
        (question,) = seen(data).questions
        assert question.name == "encoding"
        read_right = [option for option in question.options if name in option.samples]
        assert read_right
        assert len({option.samples for option in question.options}) == len(question.options)
        assert "encoding" not in seen(data).how, "nothing is taken as settled before somebody has said"
        assert read(data, encoding=read_right[0].value)[0].values["name"] == name

    def test_two_in_one_file_are_refused_with_both_lines(self):
        data = b"name;email\n" + "Søren;a@example.org\n".encode() + "Jürgen;b@example.org\n".encode("cp1252")
        with pytest.raises(FileRefused, match="line 2 is UTF-8, line 3 is not"):
            seen(data)


class TestDelimiters:
    @pytest.mark.parametrize("sep", [";", ",", "\t", "|"])
    def test_found(self, sep):
        assert read(csv_of(HEAD, ROW, sep=sep))[0].values["phone"] == "+47 00 00 00 01"

    def test_a_decimal_comma_in_a_cell_parts_nothing(self):
        assert seen(csv_of(("name", "email", "paid"), *[("A", "a@example.org", "1,5")] * 30)).questions == ()

    def test_both_ways_even_is_asked(self):
        data = b"name;email,phone\nTove;t@example.org,1\nOsric;o@example.org,2\n"
        (question,) = [one for one in seen(data).questions if one.name == "delimiter"]
        assert {option.value for option in question.options} == {"semicolon", "comma"}

    def test_lines_above_the_headings_are_passed_over(self):
        data = b"Our customers\nas of 1 May\n\n" + csv_of(HEAD, ROW)
        assert seen(data).how["header"] == "4"
        assert [row.line for row in read(data)] == [5]

    def test_without_known_headings_it_is_asked(self):
        (question,) = seen(csv_of(ROW)).questions
        assert question.name == "header"
        assert seen(csv_of(ROW), header="0").headings[0] == "Column 1"

    def test_quoted_cells_over_lines_keep_the_numbers_of_the_lines(self):
        data = b'name;email\n"Tove\nHalvarsen";t@example.org\nOsric;no address\n'
        first, second = read(data)
        assert (first.line, first.values["name"], second.line) == (2, "Tove Halvarsen", 4)
        assert second.troubles[0].column == "email"


class TestDaysAndNumbers:
    @pytest.mark.parametrize(
        ("days", "order"),
        [(["03/04/2025", "13/04/2025"], "dmy"), (["03/04/2025", "04/13/2025"], "mdy"), (["03.04.2025"], ""),
         (["13/04/2025", "04/13/2025"], "")],
    )  # fmt: skip
    def test_the_order_is_told_by_a_day_over_twelve_or_asked(self, days, order):
        rows = [(f"P{n}", f"p{n}@example.org", "", day) for n, day in enumerate(days)]
        data = csv_of(HEAD, *rows)
        found = look(data, kind="customers", how={}, columns=guess("customers", HEAD))
        assert found.how.get("dates", "") == order
        assert [question.name for question in found.questions] == ([] if order else ["dates"])

    @pytest.mark.parametrize(
        ("text", "order", "day"),
        [
            ("2025-03-31", "", date(2025, 3, 31)),  # ISO 8601
            ("29.02.2024", "dmy", date(2024, 2, 29)),
            ("2/29/2024", "mdy", date(2024, 2, 29)),
            ("2025-03-31 14:05:00", "", date(2025, 3, 31)),
        ],
    )
    def test_days(self, text, order, day):
        assert cells.day(text, order=order) == day

    @pytest.mark.parametrize(
        ("text", "says"),
        [
            ("31.02.2025", "there is no 31 February 2025"), ("29/02/2023", "there is no 29 February 2023"),
            ("29/02/1900", "there is no 29 February 1900"),  # no leap year: the Gregorian rule of 1582
            ("01/13/2025", "13 is no month"), ("01/02/25", "two digits"), ("soon", "is no day"),
            ("0000-01-01", "there is no"), ("9999-01-01", "not between"), ("١٢/٠٣/٢٠٢٥", "is no day"),
        ],
    )  # fmt: skip
    def test_days_that_are_none(self, text, says):
        with pytest.raises(cells.CellError, match=says):
            cells.day(text, order="dmy")

    @pytest.mark.parametrize(
        ("text", "decimal", "figure"),
        [
            ("1.234,50", "comma", "1234.50"), ("1,234.50", "point", "1234.50"), ("€ 12,5", "comma", "12.5"),
            ("1 234 567,8", "comma", "1234567.8"), ("1’234.5", "point", "1234.5"), ("12", "", "12"), ("-3", "", "-3"),
        ],
    )  # fmt: skip
    def test_numbers(self, text, decimal, figure):
        """Ways of writing a number as in CLDR's root, en, de, fr and de-CH (from memory)."""
        assert cells.number(text, decimal=decimal) == Decimal(figure)

    @pytest.mark.parametrize("text", ["1,23,4", "12.34.56", "1e999", "NaN", "inf", "0x10", "１２"])
    def test_numbers_that_are_none(self, text):
        with pytest.raises(cells.CellError):
            cells.number(text, decimal="comma")

    @given(st.decimals(min_value=-(10**9), max_value=10**9, places=2), st.sampled_from(["comma", "point"]))
    def test_every_number_comes_back_from_its_own_writing(self, figure, decimal):
        text = f"{figure:,.2f}" if decimal == "point" else f"{figure:,.2f}".translate(str.maketrans(",.", ".,"))
        assert cells.number(text, decimal=decimal) == figure


class TestHostileCells:
    @pytest.mark.parametrize("cell", ["=1+1", "@SUM(A1)", "+cmd|' /C calc'!A0", "-2+3", '=HYPERLINK("x")'])
    def test_formulas(self, cell):
        (row,) = read(csv_of(HEAD, (f'"{cell.replace(chr(34), chr(34) * 2)}"', *ROW[1:])))
        assert "begins like a formula" in row.troubles[0].says

    def test_a_cell_of_a_megabyte(self):
        with pytest.raises(FileRefused, match="Line 2 holds a cell of more than"):
            read(csv_of(HEAD, ("x" * 1_000_000, *ROW[1:])))
        (row,) = read(csv_of(HEAD, ("x" * 100_000, *ROW[1:])))
        assert "write 160 at most" in row.troubles[0].says
        assert len(row.troubles[0].value) < 100

    @pytest.mark.parametrize(
        ("data", "says"),
        [
            (b"", "file is empty"),
            (b"   \n\n", "file is empty"),
            (b";;;\n;;;\n", "Nothing is written"),
            (csv_of(HEAD), "no row below"),
            (b"name;email\nA\x00;b@example.org\n", "Line 2 holds a zero byte"),
            (b'name;email\n"A;b@example.org\nC;d@example.org\n', "a quotation mark opens a cell"),
            (b";".join([b"name", b"email"] * 50_000) + b"\nx\n", f"{MOST_COLUMNS} at most"),
            (b"\xff\xfea", "is not UTF-16"),
            (b"PK\x03\x04 no archive", "damaged or cut off"),
            (b"%PDF-1.7\n\x00\x01", "zero byte"),
        ],
    )  # fmt: skip
    def test_whole_files(self, data, says):
        with pytest.raises(FileRefused, match=says):
            read(data)

    def test_too_many_cells_in_one_row_are_named(self):
        (row,) = read(csv_of(HEAD, (*ROW, "more")), delimiter="semicolon")
        assert "beyond the last heading" in row.troubles[0].says

    def test_letters_lost_in_an_earlier_save(self):
        (row,) = read("name;email\nS�ren;s@example.org\n".encode())
        assert "lost a letter" in row.troubles[0].says


def packed(parts: dict[str, bytes]) -> bytes:
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return kept.getvalue()


def unpacked(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


class TestWorkbooks:
    def test_types_come_as_they_are_and_need_no_question(self):
        data = workbook(("name", "email", "phone", "since"), ("Tove", "t@example.org", 4700000001, date(2024, 4, 3)))
        assert seen(data).questions == ()
        (row,) = read(data)
        assert (row.values["phone"], row.values["since"]) == ("4700000001", date(2024, 4, 3))

    def test_several_sheets_are_asked(self):
        (question,) = seen(workbook(HEAD, ROW, sheets=2)).questions
        assert question.name == "sheet"
        assert seen(workbook(HEAD, ROW, sheets=2), sheet="Sheet1").questions == ()

    def test_a_bomb_is_refused_before_it_fills_memory(self):
        parts = unpacked(workbook(HEAD, ROW))
        parts["xl/worksheets/sheet1.xml"] = b" " * 150_000_000
        data = packed(parts)
        assert len(data) < 1_000_000
        tracemalloc.start()
        with pytest.raises(FileRefused, match="times its size"):
            seen(data)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert peak < 30_000_000

    def test_entities_that_unfold_are_refused(self):
        parts = unpacked(workbook(HEAD, ROW))
        shared = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><sst>&b;</sst>'
        parts["xl/sharedStrings.xml"] = shared
        with pytest.raises(FileRefused, match="document type"):
            seen(packed(parts))

    def test_an_archive_of_something_else(self):
        with pytest.raises(FileRefused, match="no XLSX workbook"):
            seen(packed({"readme.txt": b"x"}))
        with pytest.raises(FileRefused, match="too many parts"):
            seen(packed({f"{n}.xml": b"" for n in range(2_100)}))

    def test_columns_without_end(self):
        with pytest.raises(FileRefused, match="columns"):
            seen(workbook(("name", "email", *range(MOST_COLUMNS)), ROW))

    def test_macros_and_links_are_never_looked_at(self):
        parts = unpacked(workbook(HEAD, ROW))
        parts["xl/vbaProject.bin"] = b"\xd0\xcf\x11\xe0 macro"
        parts["xl/externalLinks/externalLink1.xml"] = b"<externalLink/>"
        assert read(packed(parts))[0].values["name"] == "Tove Halvarsen"

    def test_a_formula_counts_by_its_saved_value_and_an_error_of_the_sheet_is_one(self):
        rows = read(workbook(HEAD, ("=1+1", "a@example.org"), ("#REF!", "b@example.org")))
        assert "name" not in rows[0].values, "no value was ever saved for it"
        assert "error of the sheet" in rows[1].troubles[0].says

    @pytest.mark.parametrize("cut", [0.2, 0.5, 0.9, 0.99])
    def test_cut_off(self, cut):
        data = workbook(HEAD, ROW)
        with pytest.raises(FileRefused, match="damaged"):
            seen(data[: int(len(data) * cut)])

    @pytest.mark.parametrize("seed", range(40))
    def test_bytes_turned_at_random_are_refused_or_read(self, seed):
        """Nothing but a refusal comes out, whatever was hit."""
        data, dice = bytearray(workbook(HEAD, *[ROW] * 5)), random.Random(seed)
        for _ in range(dice.randint(1, 30)):
            data[dice.randrange(len(data))] = dice.randrange(256)
        said = refusal_or(lambda: seen(bytes(data)).headings)
        assert said

    @pytest.mark.parametrize(
        "xml",
        [b"<worksheet><sheetData><row r='1'><c r='A1' t='s'><v>99</v></c></row></sheetData></worksheet>",
         b"<worksheet><sheetData><row r='x'><c r='??'/></row></sheetData></worksheet>", b"<worksheet>", b"",
         b"<worksheet><sheetData><row><c t='d'><v>2025-99-99</v></c></row></sheetData></worksheet>"],
    )  # fmt: skip
    def test_sheets_that_make_no_sense(self, xml):
        parts = unpacked(workbook(HEAD, ROW))
        parts["xl/worksheets/sheet1.xml"] = xml
        with pytest.raises(FileRefused):
            read(packed(parts))


@settings(max_examples=150)
@given(st.binary(max_size=400), st.sampled_from(["customers", "vehicles", "layers", "visits", "readings", "prices"]))
def test_any_bytes_are_refused_in_words_or_looked_at(data, kind):
    said = refusal_or(lambda: look(data, kind=kind, how={}).headings)
    assert isinstance(said, tuple) or (said[0].isupper() and said.endswith("."))
    assert said


@settings(max_examples=120)
@given(st.lists(st.lists(st.text(max_size=30), min_size=2, max_size=5), min_size=1, max_size=8))
def test_what_a_csv_writer_writes_is_read_cell_by_cell_or_said_to_be_wrong(rows):
    """Python's csv module is the writer, RFC 4180 with semicolons."""
    kept = io.StringIO()
    writer = csv.writer(kept, delimiter=";")
    writer.writerow(["name", "email", "phone", "since", "number"])
    writer.writerows(rows)
    data = kept.getvalue().encode("utf-8", "surrogatepass")
    how = {"encoding": "utf-8", "delimiter": "semicolon", "header": "1"}
    found = refusal_or(lambda: list(read_rows(data, kind="customers", how=how, columns={1: "name", 5: "number"})))
    if isinstance(found, str):
        assert "Line" in found
        return
    for row in found:
        for trouble in row.troubles:
            assert trouble.says
        for value in row.values.values():
            assert value == " ".join(value.split())
            assert not value.startswith(("=", "+", "-", "@"))
            assert all(ord(char) >= 32 for char in value)


@pytest.mark.parametrize(
    "heading",
    ["Newsletter", "Marketing consent", "opt-in", "opt_in", "GDPR", "May we mail you?", "Einwilligung", "Werbung",
     "subscribed"],
)  # fmt: skip
def test_headings_that_speak_of_consent(heading):
    assert consent_columns(["name", heading]) == (heading,)


@pytest.mark.parametrize("heading", ["name", "customer since", "phone", "notes", "language", "fleet", "content"])
def test_headings_that_do_not(heading):
    assert consent_columns([heading]) == ()
