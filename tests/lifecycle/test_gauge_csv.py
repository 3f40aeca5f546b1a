"""The text of a gauge: every way it may be written gives the same values; what cannot be read is named; foreign text
does no harm. The forms themselves are common practice of gauges (no source); 1 mil = 25.4 µm is the international inch
of 1959."""

from __future__ import annotations

import string

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from lifecycle.care.gauge_csv import DELIMITERS, GaugeCsvError, match_panels, read_csv
from lifecycle.care.typed import number, numbers, to_um

BONNET = [("Bonnet", 1, 112.5), ("Bonnet", 2, 115.0), ("Roof", 1, 98.4)]


def said(read):
    return [(value.panel, value.spot, value.value) for value in read.values]


@pytest.mark.parametrize(
    ("text", "delimiter"),
    [
        ("Panel,Spot,Thickness (µm)\nBonnet,1,112.5\nBonnet,2,115.0\nRoof,1,98.4\n", "comma"),
        ("Panel;Spot;Thickness µm\r\nBonnet;1;112,5\r\nBonnet;2;115,0\r\nRoof;1;98,4\r\n", "semicolon"),
        ("\ufeffPart\tNo.\tDFT\nBonnet\t1\t112,5\nBonnet\t2\t115\nRoof\t1\t98.4", "tab"),
        ("Name;Point;Value\n;;µm\nBonnet;1;112,5\n;2;115,0\nRoof;1;98,4", "semicolon"),  # unit row, panel named once
        ("Location,Spot,Value,Unit\nBonnet,1,112.5,um\nBonnet,2,115.0,um\nRoof,1,98.4,um", "comma"),
        ("Bonnet;1;112.5 µm\nBonnet;2;115 µm\nRoof;1;98.4 µm", "semicolon"),  # no heading, unit beside the value
        ("Serial no;4711\nDate;2 March\n\nSurface;Spot;Film\nBonnet;1;112,5\nBonnet;2;115\nRoof;1;98,4", "semicolon"),
        ('Panel,Spot,Value\n"Bonnet","1","112,5"\n"Bonnet","2","115,0"\n"Roof","1","98,4"', "comma"),
        ("Date;Time;Panel;Spot;Value\n1.3.26;9:10;Bonnet;1;112,5\n1.3.26;9:11;Bonnet;2;115\n1.3.26;9:12;Roof;1;98,4",
         "semicolon"),
    ],
)  # fmt: skip
def test_many_ways_to_write_the_same_values(text, delimiter):
    read = read_csv(text)
    assert read.delimiter == delimiter
    assert said(read) == BONNET
    assert read.troubles == ()
    assert {value.unit for value in read.values} == {"um"}


def test_one_column_a_spot_and_several_values_in_a_cell():
    read = read_csv("Panel;Spot 1;Spot 2;Spot 3\nBonnet;112 113;115,5;\nRoof;98;97;99")
    assert {spot: [v.value for v in values] for spot, values in read.spots_of("Bonnet").items()} == {
        1: [112.0, 113.0], 2: [115.5],
    }  # fmt: skip
    assert list(read.spots_of("Roof")) == [1, 2, 3]
    read = read_csv("Panel,Spot,R1,R2,R3\nBonnet,1,112,113,112\nBonnet,2,115,,116")
    assert {spot: [v.value for v in values] for spot, values in read.spots_of("Bonnet").items()} == {
        1: [112, 113, 112], 2: [115, 116],
    }  # fmt: skip


def test_bare_numbers_are_a_spot_each_and_a_lone_comma_is_a_decimal_comma():
    for text in ("112,5\n115,0\n98,4", "112.5\n115.0\n98.4", "Value\n112,5\n115,0\n98,4"):
        read = read_csv(text)
        assert [value.value for value in read.values] == [112.5, 115.0, 98.4]
        assert list(read.spots_of("")) == [1, 2, 3]


def test_mil_by_column_by_heading_by_row_and_by_choice():
    """4.5 mil are 114.3 µm: 25.4 µm a mil exactly."""
    for text, unit in (
        ("Panel;Value;Unit\nBonnet;4,5;mils", "um"),
        ("Panel;Thickness [mil]\nBonnet;4.5", "um"),
        ("Panel;Value\n;mil\nBonnet;4.5", "um"),
        ("Panel;Value\nBonnet;4.5", "mil"),
    ):
        read = read_csv(text, unit=unit)
        assert [(value.unit, value.typed.replace(",", ".")) for value in read.values] == [("mil", "4.5")]
        assert read.values[0].um == pytest.approx(114.3, abs=1e-9)
    assert read_csv("Panel;Value;Unit\nBonnet;4,5;mil\nRoof;112;µm").values[1].um == 112


def test_what_cannot_be_read_is_named_with_line_column_and_mending_and_the_rest_is_read():
    text = (
        "Panel;Spot;Thickness\nBonnet;1;112\nBonnet;x;113\nBonnet;3;-4\nBonnet;4;1,234\n"
        "Bonnet;5;1.2.3\nBonnet;6;\nRoof;1;OL\nRoof;2;97"
    )
    read = read_csv(text)
    assert [(value.panel, value.value) for value in read.values] == [("Bonnet", 112), ("Roof", 97)]
    told = {(one.line, one.column, one.text): one.says for one in read.troubles}
    assert list(told) == [
        (3, "Spot", "x"), (4, "Thickness", "-4"), (5, "Thickness", "1,234"), (6, "Thickness", "1.2.3"),
        (7, "Thickness", ""), (8, "Thickness", "OL"),
    ]  # fmt: skip
    for says, wanted in zip(told.values(), ("spot number", "zero the gauge", "two values or one", "not a number",
                                            "add it", "write it like"), strict=True):  # fmt: skip
        assert wanted in says
    unknown = read_csv("Panel;Value;Unit\nBonnet;4;furlong\nRoof;100;um")
    assert "write µm or mil" in unknown.troubles[0].says
    assert len(unknown.values) == 1


def test_the_guess_of_a_column_can_be_overruled():
    text = "A;B;C\n1;112;7\n2;113;8"
    assert [column.role for column in read_csv(text).columns] == ["value", "value", "value"]
    read = read_csv(text, roles={1: "spot", 2: "value", 3: "skip"})
    assert [(value.spot, value.value) for value in read.values] == [(1, 112.0), (2, 113.0)]
    with pytest.raises(GaugeCsvError, match="Say which one"):
        read_csv(text, roles={1: "skip", 2: "skip", 3: "skip"})


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no value in it"),
        (" \n;;\n", "no value in it"),
        ("PK\x03\x04\x00\x00", "no text but some other"),
        ("words\nand more words", "No line holds a number"),
        ("1\n" * 2001, "too many"),
        ("1" * 5000, "longer than"),
        ("1;" * 200 + "1", "columns"),
        ("x" * 400_001, "characters"),
    ],
)
def test_what_is_no_table_is_refused_with_the_reason(text, says):
    with pytest.raises(GaugeCsvError, match=says):
        read_csv(text)


@pytest.mark.parametrize(
    "hostile",
    ["=HYPERLINK(1)", "<script>alert(1)</script>", "'; DROP TABLE x;--", "\u202egnp.exe", "../../etc", '"open quote',
     "\x1b[31m", "{{ 7*7 }}", "١١٢", "1e308", "NaN", "Infinity", "0x70", "１１２", "1_000"],
)  # fmt: skip
def test_hostile_text_is_a_trouble_or_a_name_never_a_value(hostile):
    read = read_csv(f"Panel\tSpot\tValue\nBonnet\t1\t{hostile}\nBonnet\t2\t112")
    assert [value.value for value in read.values] == [112.0]
    assert len(read.troubles) == 1
    assert len(read.troubles[0].text) <= 60
    named = read_csv(f"Panel\tSpot\tValue\n{hostile}\t1\t111\nBonnet\t2\t112")
    assert 112.0 in [value.value for value in named.values]


@given(st.text(max_size=400))
def test_any_text_is_read_or_refused_and_nothing_else(text):
    try:
        read = read_csv(text)
    except GaugeCsvError:
        return
    for value in read.values:
        assert 0 <= value.value < 1e7
        assert value.unit in ("um", "mil")
        assert value.typed in text
    for trouble in read.troubles:
        assert 1 <= trouble.line <= text.count("\n") + text.count("\r") + 1


NAMES = st.text(string.ascii_letters, min_size=1, max_size=10)
TENTHS = st.integers(200, 9999).map(lambda n: n / 10)


@given(
    rows=st.lists(st.tuples(NAMES, st.integers(1, 25), TENTHS), min_size=1, max_size=20),
    delimiter=st.sampled_from(["semicolon", "tab", "comma"]),
    comma=st.booleans(),
    unit=st.sampled_from(["µm", "mil", "um"]),
)
def test_what_a_gauge_wrote_is_read_back_exactly(rows, delimiter, comma, unit):
    assume(not (comma and delimiter == "comma"))
    sign = DELIMITERS[delimiter]
    lines = [sign.join(("Panel", "Spot", f"Value {unit}"))]
    lines += [
        sign.join((name, str(spot), f"{value:.1f}".replace(".", "," if comma else "."))) for name, spot, value in rows
    ]
    read = read_csv("\n".join(lines))
    assert said(read) == rows
    assert read.troubles == ()
    assert {value.unit for value in read.values} == {"mil" if unit == "mil" else "um"}


def test_panel_names_find_their_surface_where_exactly_one_fits():
    codes = ["bonnet", "doors_left", "doors_right", "front_wings"]
    found = match_panels(["BONNET", "Doors left", "door", "Left doors panel", "front wings 2", "doors", ""], codes)
    assert found == {
        "BONNET": "bonnet", "Doors left": "doors_left", "door": "", "Left doors panel": "doors_left",
        "front wings 2": "front_wings", "doors": "", "": "",
    }  # fmt: skip


def test_numbers_of_a_field():
    assert numbers("112 115,5; 109, 98") == [("112", 112.0), ("115,5", 115.5), ("109", 109.0), ("98", 98.0)]
    assert to_um(4.5, "mil") == pytest.approx(114.3, abs=1e-9)
    assert to_um(1, "mil") == 25.4
    for wrong, says in (
        ("-1", "zero the gauge"),
        ("1,234", "may be two values"),
        ("²", "not a number"),
        ("1e5", "not a"),
    ):
        with pytest.raises(ValueError, match=says):
            number(wrong)
    with pytest.raises(ValueError, match="20 at most"):
        numbers("1 " * 21)
