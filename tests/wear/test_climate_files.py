"""Twelve-row files and clear errors. Hourly files need pvlib and are tested with the other oracles."""

from __future__ import annotations

from pathlib import Path

import pytest

from lifecycle.climate import files
from lifecycle.climate.class_table import KoppenCell
from lifecycle.climate.files import MONTHLY_COLUMNS, climate_from_file
from lifecycle.climate.source import ClimateError
from lifecycle.wear.types import Place

PLACE = Place(49.52, 8.55, 96.0)
ROW = "{month},3.2,12.4,9.5,71,55,9,2.6,0.4"


@pytest.fixture(autouse=True)
def _no_map(monkeypatch: pytest.MonkeyPatch) -> None:
    """The map brings pandas, which is slow to import; which class stands beside a file is tested elsewhere."""
    monkeypatch.setattr(files, "koppen_at", lambda lat, lon: KoppenCell("Cfb", 0.0))


def months(tmp_path: Path, rows: list[str], head: str = ",".join(MONTHLY_COLUMNS), name: str = "own.csv") -> Path:
    path = tmp_path / name
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def test_twelve_rows_are_taken_as_they_stand(tmp_path: Path) -> None:
    climate = climate_from_file(months(tmp_path, [ROW.format(month=month) for month in range(1, 13)]), PLACE)
    assert climate.ghi_kwh_m2_day == (3.2,) * 12
    assert climate.sunshine_fraction == (0.4,) * 12
    assert climate.wind_ms == (2.6,) * 12
    assert (climate.source, climate.error_word, climate.koppen_class) == ("file own.csv", "fair", "Cfb")
    assert climate.place == PLACE


def test_comments_and_byte_order_mark_are_passed_over(tmp_path: Path) -> None:
    rows = [ROW.format(month=month) for month in range(1, 13)]
    path = tmp_path / "own.csv"
    path.write_text("\ufeff# our own\n" + "\n".join([",".join(MONTHLY_COLUMNS), *rows]), encoding="utf-8")
    assert climate_from_file(path, PLACE).air_c == (12.4,) * 12


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("7,3.2,12.4,9.5,710,55,9,2.6,0.4", r"month 7: rh_pct is '710'; it has to lie in 0 to 100"),
        ("7,3.2,warm,9.5,71,55,9,2.6,0.4", r"month 7: air_c is 'warm'; write a number"),
        ("7,3.2,,9.5,71,55,9,2.6,0.4", r"month 7: air_c is ''"),
        ("7,3.2,nan,9.5,71,55,9,2.6,0.4", r"month 7: air_c is 'nan'"),
        ("7,3.2,12.4,9.5,71,55,9,2.6", r"month 7: sunshine_fraction is None"),
        ("8,3.2,12.4,9.5,71,55,9,2.6,0.4", r"month 1 to 12 in order"),
    ],
)
def test_bad_cell_is_named(tmp_path: Path, row: str, says: str) -> None:
    rows = [row if month == 7 else ROW.format(month=month) for month in range(1, 13)]
    with pytest.raises(ClimateError, match=says):
        climate_from_file(months(tmp_path, rows), PLACE)


def test_wrong_columns_show_the_right_ones(tmp_path: Path) -> None:
    with pytest.raises(ClimateError, match="ghi_kwh_m2_day"):
        climate_from_file(months(tmp_path, ["1,2"], head="month,temperature"), PLACE)


def test_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(ClimateError, match=r"gone\.epw cannot be read.*Check the path"):
        climate_from_file(tmp_path / "gone.epw", PLACE)
