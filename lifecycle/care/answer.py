"""A scenario file in, its whole answer out: climate, wear and care rules joined, without Django and without a
database."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from lifecycle.care.due import Due, Refused
from lifecycle.care.rules import assess_due
from lifecycle.climate.class_table import climate_at
from lifecycle.climate.files import climate_from_file
from lifecycle.wear.assessment import assess
from lifecycle.wear.scenario import Scenario, parse_scenario
from lifecycle.wear.scenario_answer import answer_dict
from lifecycle.wear.strict import ScenarioError
from lifecycle.wear.types import ClimateYear, Place

LONGEST_FILE = 4_000_000


def decode(raw: bytes) -> str:
    """UTF-8 text of a scenario file, a byte order mark allowed.

    Raises:
        ScenarioError: not UTF-8, or far too long for a scenario.
    """
    if len(raw) > LONGEST_FILE:
        raise ScenarioError("", f"The file has {len(raw)} bytes; a scenario has at most {LONGEST_FILE}.")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ScenarioError("", f"The file is not UTF-8 (byte {error.start}); save it as UTF-8.") from None


def climates_of(scenario: Scenario, *, folder: Path) -> Callable[[Place], ClimateYear]:
    """Where the climate of each place comes from: the file for the scenario's own place, the embedded table elsewhere.

    Raises:
        ScenarioError: the climate file cannot be read; `place.climate_file` stands in the path.
    """
    if scenario.climate_file is None:
        return climate_at
    path, home = folder / scenario.climate_file, scenario.vehicle.place
    try:
        year = climate_from_file(path, home)
    except (OSError, ValueError) as error:
        said = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise ScenarioError("place.climate_file", f"{scenario.climate_file} cannot be used: {said}") from None
    return lambda place: year if place == home else climate_at(place)


def _due(due: Due) -> dict[str, Any]:
    return {
        "task": due.task,
        "surfaces": list(due.surfaces),
        "earliest": due.earliest.isoformat(),
        "ideal": due.ideal.isoformat(),
        "latest": due.latest.isoformat(),
        "contract": due.contract.isoformat() if due.contract else None,
        "why": due.why,
    }


def _refused(refused: Refused) -> dict[str, Any]:
    return {"task": refused.task, "surfaces": list(refused.surfaces), "why": refused.why}


def answer_file(
    text: str, *, folder: Path = Path(), climates: Callable[[Place], ClimateYear] | None = None
) -> dict[str, Any]:
    """The answer to a scenario file, in the field names of its format.

    Args:
        text: the file's JSON.  folder: where a relative `place.climate_file` is looked for.
        climates: a climate source to use instead of what the file names.

    Raises:
        ScenarioError: the file is wrong; the error carries the path of the field.
    """
    scenario = parse_scenario(text)
    forecast = assess(scenario.vehicle, climates or climates_of(scenario, folder=folder))
    report = assess_due(forecast=forecast, vehicle=scenario.vehicle)
    return answer_dict(
        forecast, care_due=[_due(due) for due in report.dues], refused=[_refused(one) for one in report.refused]
    )


def _span(band: Mapping[str, Any] | None, *, unit: str = "") -> str:
    return f"{band['p10']} to {band['p90']}{unit}, middle {band['p50']}{unit}" if band else "not known"


def table_lines(answer: Mapping[str, Any]) -> list[str]:
    """An answer as lines for people: surfaces with their layers, then care due, refusals and what was assumed."""
    climate = answer["climate"]
    lines = [f"As of {answer['as_of']}. Climate: {climate['source']} {climate['class'] or ''} ({climate['error']})."]
    for surface in answer["surfaces"]:
        lines += ["", surface["code"], f"  clogging        {_span(surface['clogging'])}"]
        clear = surface["clear_coat"]
        if clear is not None and clear["decision"] != "not_applicable":
            lines.append(f"  clear coat      {clear['decision'].replace('_', ' ')}: {clear['why']}")
        for layer in surface["layers"]:
            lines.append(f"  {layer['kind']} of {layer['applied']}: {layer['stage']}")
            if layer["function_left"] is None:
                continue
            lines.append(f"    function left {_span(layer['function_left'])}")
            lines.append(f"    renewal after {_span(layer['renewal_months'], unit=' months')}")
            lines.append(f"    tired on      {_span(layer['tired_on'])}")
            lines.append(f"    end on        {_span(layer['end_on'])}")
            lines += [f"    {reason['share']:.2f}  {reason['says']}" for reason in layer["reasons"][:3]]
        if not surface["layers"]:
            lines.append("  no layer is known here")
    lines += ["", "Care due" if answer["care_due"] else "Care due: nothing now"]
    for due in answer["care_due"]:
        lines.append(
            f"  {due['earliest']} / {due['ideal']} / {due['latest']}  {due['task'].replace('_', ' ')}: {due['why']}"
        )
    for refused in answer["refused"]:
        lines.append(f"  not offered: {refused['task'].replace('_', ' ')}: {refused['why']}")
    if answer["assumed"]:
        lines += ["", "Assumed, since nobody said:"] + [f"  {entry}" for entry in answer["assumed"]]
    return lines
