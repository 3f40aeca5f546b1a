"""The parameter table refuses what cannot be a figure with a range, a mark and a source."""

from __future__ import annotations

import pytest

from lifecycle.wear.marks import COLUMNS, TableError, ladder, load_figures, parameter, parse_figures
from lifecycle.wear.types import Mark

HEAD = ",".join(COLUMNS)


def test_every_shipped_figure_has_range_mark_and_source() -> None:
    figures = load_figures()
    assert len(figures) > 100
    for key, figure in figures.items():
        assert figure.low <= figure.value <= figure.high, key
        assert figure.source, key
        assert isinstance(figure.mark, Mark), key
        assert "placeholder" not in figure.source, key


def test_published_power_is_that_of_fischer_and_ketola() -> None:
    """Fischer & Ketola 2004: p = 0.64 +- 0.20 for gloss, colour and cracking of paints."""
    figure = parameter("dose.uv_power")
    assert (figure.value, figure.low, figure.high) == (0.64, 0.44, 0.84)
    assert figure.mark is Mark.PUBLISHED


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("a,2,3,4,1,judgement,us", r"low 3 <= value 2"),
        ("a,5,3,4,1,judgement,us", r"value 5 <= high 4"),
        ("a,x,3,4,1,judgement,us", r"line 2.*write a number"),
        ("a,nan,3,4,1,judgement,us", r"finite"),
        ("a,3,3,4,1,hearsay,us", r"mark is 'hearsay'.*judgement"),
        ("a,3,3,4,1,judgement, ", r"source is empty"),
        ("a,3,3,4,,judgement,us", r"unit is empty"),
        (",3,3,4,1,judgement,us", r"key is empty"),
        ("a,3,3,4,1,judgement", r"not 7 cells"),
        ("a,3,3,4,1,judgement,us, and more", r"double quotes"),
        ("a,3,3,4,1,judgement,us\na,3,3,4,1,judgement,us", r"line 3: a stands here twice"),
    ],
)
def test_bad_row_is_refused_with_its_place(row: str, says: str) -> None:
    with pytest.raises(TableError, match=says):
        parse_figures([HEAD, *row.splitlines()], name="t.csv")


def test_wrong_columns_are_refused() -> None:
    with pytest.raises(TableError, match=r"t\.csv, line 1"):
        parse_figures(["key,value", "a,1"], name="t.csv")


def test_good_row_is_read() -> None:
    figure = parse_figures([HEAD, 'a,3,2,4,K,from memory,"one, two"'], name="t.csv")["a"]
    assert (figure.value, figure.unit, figure.mark, figure.source) == (3.0, "K", Mark.FROM_MEMORY, "one, two")


def test_missing_key_names_the_table() -> None:
    with pytest.raises(KeyError, match=r"parameters\.csv"):
        parameter("no.such")
    with pytest.raises(KeyError, match="nothing"):
        ladder("nothing")


def test_ladder_is_sorted_by_number_not_by_text() -> None:
    assert [x for x, _ in ladder("km")] == [5000.0, 10000.0, 15000.0, 25000.0, 40000.0]
