"""The scenario file: strict in, exact field names out, one clear error for everything else."""

from __future__ import annotations

import json
import random
from datetime import date
from functools import cache

import pytest

from lifecycle.wear.assessment import assess
from lifecycle.wear.scenario import parse_scenario
from lifecycle.wear.scenario_answer import answer_dict
from lifecycle.wear.strict import ScenarioError
from lifecycle.wear.types import StoragePeriod, VehicleForecast
from tests.wear.scenario_text import FULL, GONE, bent
from tests.wear.vehicles import source

# The names of the answer's format.
BAND = {"p10", "p50", "p90"}
TOP = {"as_of", "climate", "surfaces", "care_due", "refused", "assumed"}
SURFACE = {"code", "clear_coat", "clogging", "layers"}
LAYER = {
    "kind",
    "applied",
    "function_left",
    "renewal_months",
    "tired_on",
    "end_on",
    "stage",
    "reasons",
    "marks",
}


def forecast(text: str) -> VehicleForecast:
    return assess(parse_scenario(text).vehicle, source("Cfb"))


def refusal(text: str) -> ScenarioError:
    with pytest.raises(ScenarioError) as refused:
        parse_scenario(text)
    assert "\n" not in str(refused.value)
    return refused.value


def test_a_complete_file_assumes_nothing() -> None:
    scenario = parse_scenario(json.dumps(FULL))
    assert scenario.vehicle.assumed == ()
    assert scenario.vehicle.habits[0].defaulted == ()
    assert scenario.climate_file is None
    assert [layer.kind for layer in scenario.vehicle.surfaces[0].layers] == ["ceramic_mid", "booster"]


def test_the_answer_has_exactly_the_names_of_its_format() -> None:
    answer = answer_dict(forecast(json.dumps(FULL)), care_due=[], refused=[])
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    assert set(answer) == TOP
    assert set(answer["climate"]) == {"source", "class", "error"}
    (panel,) = answer["surfaces"]
    assert set(panel) == SURFACE
    assert set(panel["clear_coat"]) == {"budget_um", "decision", "why"}
    assert set(panel["clogging"]) == set(panel["clear_coat"]["budget_um"]) == BAND
    for layer in panel["layers"]:
        assert set(layer) == LAYER
        for band in ("function_left", "renewal_months", "tired_on", "end_on"):
            assert set(layer[band]) == BAND
            assert layer[band]["p10"] <= layer[band]["p50"] <= layer[band]["p90"]
        assert set(layer["reasons"][0]) == {"mechanism", "share", "says"}


OPTIONAL = [
    "place.height_m",
    "place.sea_distance_m",
    "place.climate_file",
    "vehicle.body",
    "vehicle.size",
    "vehicle.colour",
    "vehicle.paint",
    "vehicle.powertrain",
    "vehicle.contract_inspections",
    "habits",
    "habits[0].parking",
    "habits[0].km_per_year",
    "habits[0].wash_method",
    "habits[0].washes_per_year",
    "habits[0].wash_ph",
    "habits[0].road_salt",
    "habits[0].trees_birds",
    "habits[0].source",
    "storage",
    "surfaces[0].orientation",
    "surfaces[0].substrate",
    "surfaces[0].finish",
    "surfaces[0].thickness_um",
    "surfaces[0].thickness_um.gauge_sd_um",
    "surfaces[0].removals",
    "surfaces[0].layers[0].coats",
    "readings",
    "readings[0].drops",
    "events",
    "events[0].dwell_h",
    "events[0].air_c",
]


@cache
def prior_sd(text: str) -> float:
    """Spread before readings: readings themselves narrow it."""
    vehicle = json.loads(text)
    if "readings" in vehicle:
        vehicle["readings"] = vehicle["readings"] and []
    return forecast(json.dumps(vehicle)).surfaces[0].layers[0].ln_life_sd


@pytest.mark.parametrize("path", OPTIONAL)
def test_a_missing_optional_field_is_named_and_widens_the_band(path: str) -> None:
    text = bent(path, GONE)
    named = parse_scenario(text).vehicle.assumed
    assert any(entry.startswith(f"{path}: ") for entry in named), named
    if not path.startswith("readings["):
        assert prior_sd(text) > prior_sd(json.dumps(FULL))


@pytest.mark.parametrize(
    "path",
    [
        "as_of",
        "place",
        "place.lat",
        "place.lon",
        "vehicle",
        "habits[0].from",
        "storage[0].from",
        "surfaces",
        "surfaces[0].code",
        "surfaces[0].layers[0].kind",
        "surfaces[0].layers[0].applied",
        "surfaces[0].thickness_um.values",
        "surfaces[0].thickness_um.method",
        "surfaces[0].removals[0].on",
        "surfaces[0].removals[0].stage",
        "readings[0].on",
        "readings[0].surface",
        "readings[0].clean_state",
        "events[0].on",
        "events[0].kind",
        "vehicle.contract_inspections[0].due",
    ],
)
def test_a_missing_needed_field_is_refused_by_path(path: str) -> None:
    refused = refusal(bent(path, GONE))
    assert refused.path == path
    assert "is missing" in refused.message


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        ("habits[0].parkin", "street", "is no field of this file"),
        ("colour", "black", "is no field of this file"),
        ("place.latitude", 3, "is no field"),
        ("vehicle.colour", "red", "use one of white, light, mid, dark, black"),
        ("vehicle.size", 3, "use one of S, M, L, XL"),
        ("habits[0].parking", ["street"], "use one of garage"),
        ("habits[0].km_per_year", "15000", "write a number from 0 to 500000 km"),
        ("habits[0].km_per_year", True, "write a number"),
        ("habits[0].km_per_year", -1, "write a number from 0"),
        ("habits[0].km_per_year", 10**400, "beyond every bound"),
        ("habits[0].trees_birds", 1.5, "write a whole number from 0 to 3"),
        ("habits[0].from", "2024-02-30", "a date that exists"),
        ("habits[0].from", "20240901", "a date that exists"),
        ("habits[0].from", 20240901, "a date that exists"),
        ("habits[0].from", "0999-01-01", "write a day from"),
        ("habits[0].to", "2024-09-01", "not after 2024-09-01"),
        ("storage[0].to", "2025-11-01", "not after"),
        ("habits", {}, "write a list"),
        ("habits[0]", "street", "write an object"),
        ("place.lat", 91, "from -90 to 90 degrees"),
        ("place.climate_file", 7, "write a text"),
        ("surfaces", [], "at least one surface"),
        ("surfaces[0].code", "", "write a text"),
        ("surfaces[0].code", "a" * 300, "at most 200"),
        ("surfaces[0].thickness_um.values", [], "list of numbers"),
        ("surfaces[0].thickness_um.values[1]", None, "write a number"),
        ("surfaces[0].thickness_um.method", "guess", "use one of magnetic, eddy, ultrasonic"),
        ("surfaces[0].removals[0].on", "2027-01-01", "after as_of"),
        ("surfaces[0].refinished_on", "2025-01-01", "finish is factory"),
        ("surfaces[0].layers[0].kind", "paste", "use one of wax"),
        ("surfaces[0].layers[0].applied", "2026-03-02", "after as_of"),
        ("surfaces[0].layers[0].coats", 0, "from 1 to 20"),
        ("readings[0].surface", "roof", "use one of bonnet"),
        ("readings[1].beading_score", 6, "from 0 to 5"),
        ("readings[0].works", "yes", "write true or false"),
        ("readings[0].by", "neighbour", "use one of studio, customer"),
        ("readings[0].on", "2026-04-01", "after as_of"),
        ("events[0].kind", "hail", "use one of bird_dropping"),
        ("events[0].air_c", 1000, "degrees Celsius"),
        ("vehicle.contract_inspections[0].tolerance_days", -1, "from 0 to 366"),
    ],
)
def test_a_wrong_value_is_refused_by_path_with_what_to_write(path: str, value: object, says: str) -> None:
    if path.endswith("values[1]"):
        text = bent("surfaces[0].thickness_um.values", [110, value, 111, 112, 113])
    else:
        text = bent(path, value)
    refused = refusal(text)
    assert refused.path == path
    assert says in refused.message


def test_a_second_surface_of_the_same_code_and_overlapping_habits_are_refused() -> None:
    twice = json.loads(json.dumps(FULL))
    twice["surfaces"].append(twice["surfaces"][0])
    assert refusal(json.dumps(twice)).path == "surfaces[1].code"
    twice = json.loads(json.dumps(FULL))
    twice["habits"].append({**twice["habits"][0], "from": "2025-01-01"})
    assert refusal(json.dumps(twice)).path == "habits[1].from"


def test_a_reading_that_says_nothing_and_a_swapped_part_without_a_name_are_refused() -> None:
    assert refusal(bent("readings[1].beading_score", GONE)).path == "readings[1]"
    assert refusal(bent("events[0]", {"on": "2025-07-03", "kind": "part_swap"})).path == "events[0].surface"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "null",
        "{",
        '{"as_of": "2026-03-01", "as_of": "2026-03-01"}',
        '{"as_of": NaN}',
        '{"place": {"lat": Infinity}}',
        "[" * 100_000,
        '{"a":' * 5000 + "1" + "}" * 5000,
        '{"place": ' + "9" * 5000 + "}",
        "\x00",
        '{"as_of": "2026-03-01"} trailing',
    ],
)
def test_what_is_no_scenario_gets_one_line(text: str) -> None:
    assert str(refusal(text))


def test_a_stray_mutation_never_gives_a_traceback() -> None:
    """Fuzz with a fixed seed: every field of the file replaced by something hostile either parses or is refused."""
    hostile: list[object] = [
        None,
        True,
        -1,
        0,
        1e308,
        10**30,
        "",
        "x" * 500,
        "\u202e",
        [],
        {},
        [[]],
        [None],
        "2026-13-01",
    ]
    dice = random.Random(7)
    paths = [
        *OPTIONAL,
        "as_of",
        "place.lat",
        "surfaces[0].code",
        "surfaces[0].layers",
        "readings[0].on",
        "events[0].kind",
    ]
    outcomes, lines = {"answered": 0, "refused": 0}, list[str]()
    for _ in range(60):
        text = bent(dice.choice(paths), dice.choice(hostile))
        try:
            scenario = parse_scenario(text)
        except ScenarioError as refused:
            outcomes["refused"] += 1
            lines.append(str(refused))
        else:
            assess(scenario.vehicle, source("Cfb"))
            outcomes["answered"] += 1
    assert not [line for line in lines if "\n" in line]
    assert min(outcomes.values()) >= 5


def test_a_period_elsewhere_is_an_addition_to_the_format() -> None:
    moved = parse_scenario(
        bent("habits[0].place", {"lat": 38.0, "lon": -2.0, "height_m": 700, "sea_distance_m": 90000})
    )
    assert moved.vehicle.habits[0].place.lat == 38.0
    assert refusal(bent("habits[0].place", {"lat": 38.0})).path == "habits[0].place.lon"


def test_an_unclean_surface_without_beads_reads_clogged() -> None:
    text = bent("readings", [{"on": "2026-02-20", "surface": "bonnet", "clean_state": "dirty", "beading_score": 0}])
    stages = [layer["stage"] for layer in answer_dict(forecast(text), care_due=[], refused=[])["surfaces"][0]["layers"]]
    assert "clogged?" in stages


def test_an_unknown_layer_is_listed_without_figures() -> None:
    text = bent("surfaces[0].layers", [{"kind": "unknown", "applied": "2024-01-01"}])
    (layer,) = answer_dict(forecast(text), care_due=[], refused=[])["surfaces"][0]["layers"]
    assert (layer["stage"], layer["function_left"], layer["renewal_months"]) == ("unknown", None, None)


WHEELS = {"orientation": "wheel", "substrate": "aluminium", "finish": "factory", "layers": [
    {"kind": "wheel_coat", "applied": "2024-09-01", "coats": 1}]}  # fmt: skip
WINTERS = [{"from": "2024-11-01", "to": "2025-04-01"}, {"from": "2025-11-01", "to": "2026-04-01"}]
SUMMERS = [{"from": "2024-09-01", "to": "2024-11-01"}, {"from": "2025-04-01", "to": "2025-11-01"},
           {"from": "2026-04-01", "to": None}]  # fmt: skip


def test_two_wheel_sets_have_clocks_of_their_own() -> None:
    """An addition to the format: `mounted` says when a set was on the vehicle; a set in its store wears less."""
    sets = {"wheels": {}, "winter": {"mounted": WINTERS}, "summer": {"mounted": SUMMERS}}
    given = [{"code": code, **WHEELS, **when} for code, when in sets.items()]
    text = json.dumps({**FULL, "surfaces": [*FULL["surfaces"], *given]})
    vehicle = parse_scenario(text).vehicle
    assert not [said for said in vehicle.assumed if "mounted" in said]
    assert [len(surface.mounted) for surface in vehicle.surfaces] == [0, 0, 2, 3]
    assert vehicle.surfaces[3].mounted[2] == StoragePeriod(date(2026, 4, 1), None)
    left = {one.code: one.layers[0].function_left for one in forecast(text).surfaces}
    assert left["wheels"].p50 < min(left["winter"].p50, left["summer"].p50)


@pytest.mark.parametrize(
    ("mounted", "path", "says"),
    [
        ([], "surfaces[0].mounted", "is empty; write when it was on the vehicle"),
        ({"from": "2025-11-01"}, "surfaces[0].mounted", "write a list in square brackets"),
        ([{"to": "2025-11-01"}], "surfaces[0].mounted[0].from", "is missing"),
        ([{"from": "2025-11-01", "to": "2025-10-01"}], "surfaces[0].mounted[0].to", "not after 2025-11-01"),
        ([{"from": "2025-11-01", "on": True, "to": None}], "surfaces[0].mounted[0].on", ""),
        ([{"from": "2024-11-01", "to": None}, *WINTERS[1:]], "surfaces[0].mounted[1].from", "overlaps an earlier one"),
    ],
)
def test_what_is_amiss_with_mounted_periods_is_said(mounted: object, path: str, says: str) -> None:
    refused = refusal(bent("surfaces[0].mounted", mounted))
    assert refused.path == path
    assert says in str(refused)
