"""`manage.py forecast`: JSON or a table out, one line and status 2 for a wrong file, and no database at all."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from lifecycle.care.answer import answer_file, decode, table_lines
from lifecycle.management.commands.forecast import Command
from lifecycle.wear.strict import ScenarioError
from lifecycle.wear.types import ClimateYear, Place
from tests.wear.scenario_text import FULL, bent
from tests.wear.vehicles import TEMPERATE, climate

DUE = {"task", "surfaces", "earliest", "ideal", "latest", "contract", "why"}


def temperate(place: Place) -> ClimateYear:
    return climate(TEMPERATE[0], place)


@pytest.fixture
def _no_map(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lifecycle.care.answer.climate_at", temperate)


def run(path: str, *, as_json: bool) -> tuple[str, str, int]:
    out, err, status = io.StringIO(), io.StringIO(), 0
    try:
        Command(stdout=out, stderr=err, no_color=True).handle(file=path, json=as_json)
    except SystemExit as end:
        status = int(end.code or 0)
    return out.getvalue(), err.getvalue(), status


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "scenario.json"
    path.write_text(json.dumps(FULL), encoding="utf-8")
    return path


@pytest.mark.usefixtures("_no_map")
def test_json_is_the_answer_of_the_format(file: Path) -> None:
    out, err, status = run(str(file), as_json=True)
    assert (err, status) == ("", 0)
    answer = json.loads(out)
    assert answer == answer_file(json.dumps(FULL), climates=temperate)
    assert answer["care_due"]
    for due in answer["care_due"]:
        assert set(due) == DUE
        assert due["earliest"] <= due["ideal"] <= due["latest"]
    for refused in answer["refused"]:
        assert set(refused) == {"task", "surfaces", "why"}


@pytest.mark.usefixtures("_no_map")
def test_without_json_people_get_a_table_with_ranges(file: Path) -> None:
    out, err, status = run(str(file), as_json=False)
    assert (err, status) == ("", 0)
    assert "bonnet" in out
    assert " to " in out
    assert "Care due" in out


@pytest.mark.usefixtures("_no_map")
def test_a_byte_order_mark_is_no_error(file: Path) -> None:
    file.write_bytes(b"\xef\xbb\xbf" + json.dumps(FULL).encode())
    assert run(str(file), as_json=True)[2] == 0


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (bent("habits[0].parkin", "street").encode(), "habits[0].parkin"),
        (bent("vehicle.colour", "red").encode(), "vehicle.colour"),
        (bent("place.climate_file", "nowhere.epw").encode(), "place.climate_file"),
        (b"\xff\xfe{\x00", "not UTF-8"),
        (b"", "no JSON"),
    ],
)
def test_a_wrong_file_gives_one_line_and_status_two(file: Path, raw: bytes, says: str) -> None:
    file.write_bytes(raw)
    out, err, status = run(str(file), as_json=True)
    assert (out, status) == ("", 2)
    assert says in err
    assert err.strip().count("\n") == 0


@pytest.mark.parametrize("name", ["missing.json", "."])
def test_a_missing_file_or_a_folder_gives_one_line_and_status_two(tmp_path: Path, name: str) -> None:
    out, err, status = run(str(tmp_path / name), as_json=True)
    assert (out, status) == ("", 2)
    assert err.strip().count("\n") == 0
    assert err.strip()


def test_a_climate_file_beside_the_scenario_is_used(tmp_path: Path) -> None:
    (tmp_path / "broken.csv").write_text("nothing of use", encoding="utf-8")
    with pytest.raises(ScenarioError, match=r"place\.climate_file"):
        answer_file(bent("place.climate_file", "broken.csv"), folder=tmp_path)


def test_an_enormous_file_is_refused() -> None:
    with pytest.raises(ScenarioError, match="at most"):
        decode(b" " * 5_000_000)


def test_nothing_due_and_nothing_known_is_said_too() -> None:
    answer = answer_file(json.dumps(FULL), climates=temperate)
    bare = {**answer, "care_due": [], "refused": [], "assumed": ["vehicle.size: M"]}
    bare["surfaces"] = [{**answer["surfaces"][0], "layers": [], "clear_coat": None}]
    lines = table_lines(bare)
    assert "Care due: nothing now" in lines
    assert "  no layer is known here" in lines
    assert "  vehicle.size: M" in lines
