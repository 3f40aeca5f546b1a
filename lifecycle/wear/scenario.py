"""The scenario file of `manage.py forecast`: strict JSON in, `VehicleInput` out.

Unknown fields are refused by path. Every optional field that is missing gets the default of the reference car, is named
in `assumed` and widens the band (see `lifecycle.wear.spread`); of lists that are missing the same is said.

Additions to the format, all optional: `habits[].place` (where the vehicle lives elsewhere), `readings[].by` (studio or
customer), and `surfaces[].mounted`, a list of `from` and `to` (null: still so) for a wheel set or another part that
comes and goes; without it the part is always on the vehicle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from lifecycle.wear import choices
from lifecycle.wear.stack import PAINTED
from lifecycle.wear.strict import Fields, ScenarioError, load_json
from lifecycle.wear.timeline import REFERENCE_HABIT
from lifecycle.wear.types import (
    ContractInspection,
    EventInput,
    HabitPeriod,
    LayerInput,
    Place,
    ReadingInput,
    Removal,
    StoragePeriod,
    SurfaceInput,
    Thickness,
    VehicleInput,
)

GAUGES = ("magnetic", "eddy", "ultrasonic")
OBSERVED = ("contact_angle_deg", "beading_score", "gloss_gu", "works")
DWELL_KINDS = ("bird_dropping", "sap", "fallout")
OBSERVERS = ("studio", "customer")
BEFORE_ALL = date(1950, 1, 1)
TYPICAL_COATS = {"ceramic_mid": 2, "ceramic_top": 3}


@dataclass(frozen=True, slots=True)
class Scenario:
    """A parsed file. `climate_file` is a path as written, None for the embedded table."""

    vehicle: VehicleInput
    climate_file: str | None


def _place(fields: Fields) -> Place:
    return Place(
        lat=fields.number("lat", low=-90, high=90, unit="degrees"),
        lon=fields.number("lon", low=-180, high=180, unit="degrees"),
        height_m=fields.number("height_m", low=-450, high=9000, default=None, unit="m"),
        sea_distance_m=fields.number("sea_distance_m", low=0, high=4_000_000, default=None, unit="m"),
    )


def _climate_file(fields: Fields) -> str | None:
    """null means the embedded table; a missing field means the same and is named."""
    if "climate_file" in fields.value:
        name = fields.text("climate_file", default=None, quiet=True)
        return None if name is None else str(name)
    fields.given("climate_file")
    fields.assume("climate_file", "embedded table")
    return None


def _own_place(fields: Fields) -> Place | None:
    """Where the vehicle lives elsewhere in this period: an addition to the format, missing means the place above."""
    if not fields.given("place"):
        return None
    inner = fields.inner("place")
    place = _place(inner)
    inner.done()
    return place


def _habit(fields: Fields) -> HabitPeriod:
    before = len(fields.assumed)
    usual = REFERENCE_HABIT
    start, end = fields.day("from"), fields.day("to", default=None)
    _ordered(fields, start, end)
    habit = HabitPeriod(
        start=start,
        end=end,
        parking=fields.choice("parking", choices.PARKING, default=usual.parking),
        km_per_year=fields.number("km_per_year", low=0, high=500_000, default=usual.km_per_year, unit="km"),
        wash_method=fields.choice("wash_method", choices.WASH_METHODS, default=usual.wash_method),
        washes_per_year=fields.number("washes_per_year", low=0, high=1000, default=usual.washes_per_year),
        wash_ph=fields.choice("wash_ph", choices.WASH_PH, default=usual.wash_ph),
        road_salt=fields.choice("road_salt", choices.ROAD_SALT, default=usual.road_salt),
        trees_birds=fields.whole("trees_birds", low=0, high=3, default=usual.trees_birds),
        source=fields.choice("source", choices.HABIT_SOURCES, default="defaulted"),
        place=_own_place(fields),
    )
    fields.done()
    named = [entry.split(":", 1)[0].rsplit(".", 1)[-1] for entry in fields.assumed[before:]]
    return replace(habit, defaulted=tuple(name for name in named if name in HabitPeriod.__slots__ and name != "source"))


def _ordered(fields: Fields, start: date, end: date | None) -> None:
    if end is not None and end <= start:
        raise ScenarioError(fields.at("to"), f"is {end}, not after {start}; write a later day or null.")


def _habits(root: Fields) -> tuple[HabitPeriod, ...]:
    entries = root.objects("habits", default="the reference use: mixed parking, 15000 km, 26 two-bucket washes")
    habits = [_habit(entry) for entry in entries]
    for index, (one, path) in enumerate(zip(habits, entries, strict=True)):
        for other in habits[:index]:
            if one.start < (other.end or date.max) and other.start < (one.end or date.max):
                raise ScenarioError(path.at("from"), "the period overlaps an earlier one; end that one first.")
    return tuple(habits)


def _storage(root: Fields) -> tuple[StoragePeriod, ...]:
    periods = []
    for fields in root.objects("storage", default="none"):
        start, end = fields.day("from"), fields.day("to", default=None)
        _ordered(fields, start, end)
        fields.done()
        periods.append(StoragePeriod(start, end))
    return tuple(periods)


def _past(fields: Fields, name: str, day: date, as_of: date) -> date:
    if day > as_of:
        raise ScenarioError(fields.at(name), f"is {day}, after as_of {as_of}; only what has happened can be told.")
    return day


def _thickness(surface: Fields, as_of: date) -> Thickness | None:
    if not surface.given("thickness_um"):
        return None
    fields = surface.inner("thickness_um")
    on = fields.day("on", default=None)
    thickness = Thickness(
        values=fields.numbers("values", low=-100, high=5000),
        method=fields.choice("method", GAUGES),
        gauge_sd_um=fields.number("gauge_sd_um", low=0, high=100, default=1.0, unit="µm"),
        on=None if on is None else _past(fields, "on", on, as_of),
    )
    fields.done()
    return thickness


def _removals(surface: Fields, as_of: date, *, painted: bool) -> tuple[Removal, ...]:
    if not surface.given("removals"):
        if not painted:
            return ()
        # Nobody said that the paint was never polished: an allowance is kept for it.
        surface.assume("removals", "unknown past")
        return (Removal(on=BEFORE_ALL, stage="unknown_past"),)
    removals = []
    for fields in surface.objects("removals"):
        stage = fields.choice("stage", choices.REMOVAL_STAGES)
        on = fields.day("on", default=BEFORE_ALL) if stage == "unknown_past" else fields.day("on")
        removals.append(Removal(on=_past(fields, "on", on, as_of), stage=stage))
        fields.done()
    return tuple(removals)


def _layer(fields: Fields, code: str, number: int, as_of: date) -> LayerInput:
    kind = fields.choice("kind", choices.LAYER_KINDS)
    applied = _past(fields, "applied", fields.day("applied"), as_of)
    usual = TYPICAL_COATS.get(kind, 1)
    coats = fields.whole("coats", low=1, high=20, default=usual, quiet=kind == "unknown")
    fields.done()
    return LayerInput(key=f"{code}:{number}:{kind}:{applied.isoformat()}", kind=kind, applied=applied, coats=coats)


def _mounted(surface: Fields) -> tuple[StoragePeriod, ...]:
    """When a wheel set or another part that comes and goes was on the vehicle: an addition to the format, missing
    means always. Days to come may be told too."""
    if not surface.given("mounted"):
        return ()
    periods: list[StoragePeriod] = []
    entries = surface.objects("mounted")
    if not entries:
        raise ScenarioError(surface.at("mounted"), "is empty; write when it was on the vehicle, or leave mounted out.")
    for fields in entries:
        start, end = fields.day("from"), fields.day("to", default=None)
        _ordered(fields, start, end)
        fields.done()
        if any(start < (other.end or date.max) and other.start < (end or date.max) for other in periods):
            raise ScenarioError(fields.at("from"), "the period overlaps an earlier one; end that one first.")
        periods.append(StoragePeriod(start, end))
    return tuple(periods)


def _surface(fields: Fields, as_of: date) -> SurfaceInput:
    code = fields.text("code")
    orientation = fields.choice("orientation", choices.ORIENTATIONS, default="flat")
    substrate = fields.choice("substrate", choices.SUBSTRATES, default="steel")
    painted = substrate in PAINTED
    # What is not painted has no finish to speak of: nothing is assumed about it.
    finish = "factory"
    if painted or "finish" in fields.value:
        finish = fields.choice("finish", choices.FINISHES, default="factory")
    refinished_on = fields.day("refinished_on", default=None)
    if refinished_on is not None:
        _past(fields, "refinished_on", refinished_on, as_of)
        if finish == "factory" and "finish" in fields.value:
            raise ScenarioError(fields.at("refinished_on"), "finish is factory; write refinish or leave the day out.")
        if finish == "factory":
            finish = "refinish"
    thickness = _thickness(fields, as_of)
    if thickness is None and painted:
        fields.assume("thickness_um", "not measured")
    entries = fields.objects("layers", default="none known")
    layers = [_layer(one, code, index, as_of) for index, one in enumerate(entries)]
    surface = SurfaceInput(
        code=code,
        orientation=orientation,
        substrate=substrate,
        finish=finish,
        refinished_on=refinished_on,
        thickness=thickness,
        removals=_removals(fields, as_of, painted=painted),
        layers=tuple(layers),
        mounted=_mounted(fields),
    )
    fields.done()
    return surface


def _surfaces(root: Fields, as_of: date) -> tuple[SurfaceInput, ...]:
    entries = root.objects("surfaces")
    if not entries:
        raise ScenarioError("surfaces", "is empty; write at least one surface.")
    surfaces: list[SurfaceInput] = []
    for fields in entries:
        surface = _surface(fields, as_of)
        if any(surface.code == other.code for other in surfaces):
            raise ScenarioError(fields.at("code"), f"is {surface.code!r} again; give each surface its own code.")
        surfaces.append(surface)
    return tuple(surfaces)


def _known_surface(fields: Fields, codes: Sequence[str], *, needed: bool) -> str | None:
    code = fields.text("surface") if needed else fields.text("surface", default=None, quiet=True)
    if code is None or code in codes:
        return None if code is None else str(code)
    raise ScenarioError(fields.at("surface"), f"is {code!r}; use one of {', '.join(codes)}.")


def _reading(fields: Fields, codes: Sequence[str], as_of: date) -> ReadingInput:
    angle = fields.number("contact_angle_deg", low=0, high=180, default=None, quiet=True, unit="degrees")
    reading = ReadingInput(
        on=_past(fields, "on", fields.day("on"), as_of),
        surface=_known_surface(fields, codes, needed=True) or "",
        clean_state=fields.choice("clean_state", choices.CLEAN_STATES),
        contact_angle_deg=angle,
        drops=fields.whole("drops", low=1, high=1000, default=1, quiet=angle is None),
        beading_score=fields.whole("beading_score", low=0, high=5, default=None, quiet=True),
        gloss_gu=fields.number("gloss_gu", low=0, high=200, default=None, quiet=True, unit="GU"),
        works=fields.flag("works"),
        by=fields.choice("by", OBSERVERS) if fields.given("by") else "studio",
    )
    fields.done()
    if all(getattr(reading, name) is None for name in OBSERVED):
        raise ScenarioError(fields.path, f"says nothing; write at least one of {', '.join(OBSERVED)}.")
    return reading


def _event(fields: Fields, codes: Sequence[str], as_of: date) -> EventInput:
    kind = fields.choice("kind", choices.EVENT_KINDS)
    sits = kind in DWELL_KINDS
    event = EventInput(
        on=_past(fields, "on", fields.day("on"), as_of),
        kind=kind,
        surface=_known_surface(fields, codes, needed=kind == "part_swap"),
        dwell_h=fields.number("dwell_h", low=0, high=100_000, default=None, quiet=not sits, unit="h"),
        air_c=fields.number("air_c", low=-70, high=65, default=None, quiet=not sits, unit="degrees Celsius"),
    )
    fields.done()
    return event


def _contracts(vehicle: Fields) -> tuple[ContractInspection, ...]:
    contracts = []
    for fields in vehicle.objects("contract_inspections", default="none"):
        contracts.append(
            ContractInspection(
                due=fields.day("due"),
                tolerance_days=fields.whole("tolerance_days", low=0, high=366, default=0),
                title=fields.text("title", default="", quiet=True),
            )
        )
        fields.done()
    return tuple(contracts)


def parse_scenario(text: str) -> Scenario:
    """Read a scenario file.

    Raises:
        ScenarioError: not JSON, an unknown or missing field, a wrong type, word, date or number; with the path.
    """
    assumed: list[str] = []
    root = Fields(load_json(text), "", assumed)
    as_of = root.day("as_of")
    where = root.inner("place")
    place, climate_file = _place(where), _climate_file(where)
    where.done()
    what = root.inner("vehicle")
    body = what.text("body", default="saloon")
    size = what.choice("size", choices.SIZES, default="M")
    colour = what.choice("colour", choices.COLOURS, default="mid")
    paint = what.choice("paint", choices.PAINTS, default="clear_coat")
    powertrain = what.choice("powertrain", choices.POWERTRAINS, default="combustion")
    contracts = _contracts(what)
    what.done()
    habits, storage = _habits(root), _storage(root)
    surfaces = _surfaces(root, as_of)
    codes = [surface.code for surface in surfaces]
    vehicle = VehicleInput(
        as_of=as_of,
        place=place,
        body=body,
        size=size,
        colour=colour,
        paint=paint,
        powertrain=powertrain,
        habits=habits,
        surfaces=surfaces,
        storage=storage,
        readings=tuple(_reading(one, codes, as_of) for one in root.objects("readings", default="none")),
        events=tuple(_event(one, codes, as_of) for one in root.objects("events", default="none")),
        contracts=contracts,
        assumed=(),
    )
    root.done()
    return Scenario(vehicle=replace(vehicle, assumed=tuple(assumed)), climate_file=climate_file)
