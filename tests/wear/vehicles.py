"""Vehicles for the wear tests: an ordinary one that each test bends. Climates come from the class table, no map is
read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from functools import lru_cache

from lifecycle.climate.class_table import climate_of_class
from lifecycle.wear.types import (
    ClimateYear,
    EventInput,
    HabitPeriod,
    LayerInput,
    Place,
    ReadingInput,
    SurfaceInput,
    VehicleInput,
)

TEMPERATE = ("Cfb", Place(49.5, 8.5, 97.0, 400_000.0))
HOT_DRY = ("BWh", Place(33.4, -112.0, 340.0, 300_000.0))
COOL = ("Cfb", Place(57.0, -4.0, 50.0, 20_000.0))
COLD = ("Dfb", Place(59.3, 18.0, 20.0, 20_000.0))
MEDITERRANEAN = ("Csa", Place(40.4, -3.7, 650.0, 300_000.0))
HOT_HUMID = ("Am", Place(13.7, 100.5, 5.0, 30_000.0))


@lru_cache(maxsize=64)
def climate(koppen_class: str, place: Place) -> ClimateYear:
    return climate_of_class(koppen_class, place)


def source(koppen_class: str) -> Callable[[Place], ClimateYear]:
    return lambda place: climate(koppen_class, place)


def habit(**changes: object) -> HabitPeriod:
    usual = HabitPeriod(
        start=date(2015, 1, 1),
        end=None,
        parking="mixed",
        km_per_year=15000.0,
        wash_method="two_bucket",
        washes_per_year=26.0,
        source="asked",
    )
    return replace(usual, **changes)  # type: ignore[arg-type]


def layer(kind: str, applied: date, **changes: object) -> LayerInput:
    return replace(LayerInput(key=f"{kind}:{applied}", kind=kind, applied=applied), **changes)  # type: ignore[arg-type]


def surface(*layers: LayerInput, code: str = "bonnet", **changes: object) -> SurfaceInput:
    usual = SurfaceInput(code=code, orientation="flat", substrate="steel", layers=layers)
    return replace(usual, **changes)  # type: ignore[arg-type]


def vehicle(*surfaces: SurfaceInput, habits: tuple[HabitPeriod, ...] = (), **changes: object) -> VehicleInput:
    usual = VehicleInput(
        as_of=date(2026, 3, 1),
        place=TEMPERATE[1],
        body="saloon",
        size="M",
        colour="mid",
        paint="clear_coat",
        powertrain="combustion",
        habits=habits or (habit(),),
        surfaces=surfaces,
    )
    return replace(usual, **changes)  # type: ignore[arg-type]


def ten_layers() -> VehicleInput:
    """Ten layers on eight surfaces, with four readings, two events and two periods of use: for measuring time."""
    coated = date(2025, 3, 1)
    return vehicle(
        surface(layer("ceramic_mid", coated), layer("booster", date(2025, 10, 1))),
        surface(layer("ceramic_mid", coated), code="roof"),
        surface(layer("ceramic_mid", coated), code="doors", orientation="side"),
        surface(
            layer("film_body", coated), layer("film_top_coat", coated),
            code="front", orientation="front", substrate="plastic",
        ),
        surface(layer("windscreen_coat", date(2025, 9, 1)), code="screen", orientation="screen", substrate="glass"),
        surface(layer("wheel_coat", date(2025, 9, 1)), code="wheels", orientation="wheel", substrate="aluminium"),
        surface(layer("trim_coat", coated), code="trim", orientation="side", substrate="plastic"),
        surface(layer("leather_guard", date(2025, 12, 1)), code="seats", orientation="inside", substrate="leather"),
        habits=(habit(end=date(2025, 8, 1)), habit(start=date(2025, 8, 1), parking="street")),
        readings=(
            ReadingInput(date(2025, 9, 1), "bonnet", "decontaminated", contact_angle_deg=101.0, drops=5),
            ReadingInput(date(2025, 9, 1), "doors", "decontaminated", beading_score=4),
            ReadingInput(date(2025, 12, 1), "roof", "washed", beading_score=3),
            ReadingInput(date(2026, 1, 1), "screen", "washed", works=True),
        ),
        events=(
            EventInput(date(2025, 9, 1), "decontamination"),
            EventInput(date(2026, 2, 1), "bird_dropping", surface="bonnet", dwell_h=20.0, air_c=20.0),
        ),
    )  # fmt: skip
