"""Hand-built forecasts for the care tests: a car is put together panel by panel, no wear model is run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from lifecycle.care.rules import Due, DueReport, assess_due
from lifecycle.wear.degradation import consumed_at_function, function_band, months_after, stage_of
from lifecycle.wear.types import (
    Band,
    ClearCoat,
    ClimateYear,
    DateBand,
    EndedLayer,
    HabitPeriod,
    LayerForecast,
    LayerInput,
    Mark,
    Mechanism,
    Place,
    Reason,
    Stage,
    SurfaceForecast,
    SurfaceInput,
    VehicleForecast,
    VehicleInput,
)

AS_OF = date(2026, 3, 1)
NORTH, SOUTH = Place(50.0, 8.0, 100.0, 200_000.0), Place(-34.0, 151.0, 20.0, 200_000.0)
TIRED, SETTLED = consumed_at_function(0.50), consumed_at_function(0.75)


def climate(place: Place = NORTH) -> ClimateYear:
    """A temperate year; month 7 is the warmest in the north, month 1 in the south; April has the fewest rain days."""
    warm_first = [1.0, 2.0, 6.0, 10.0, 15.0, 18.0, 20.0, 19.0, 15.0, 10.0, 5.0, 2.0]
    air = warm_first if place.lat >= 0 else warm_first[6:] + warm_first[:6]
    same = (70.0,) * 12
    return ClimateYear(
        place=place, ghi_kwh_m2_day=(3.0,) * 12, air_c=tuple(air), diurnal_range_k=(10.0,) * 12, rh_pct=same,
        rain_mm=same, rain_days=(10.0, 10.0, 10.0, 4.0, 9.0, 9.0, 9.0, 9.0, 9.0, 10.0, 10.0, 10.0), wind_ms=(3.0,) * 12,
        sunshine_fraction=(0.4,) * 12, source="made up for a test", error_word="rough", detail="", koppen_class="Cfb",
    )  # fmt: skip


def habit(**change) -> HabitPeriod:
    """The reference use: contamination ratio 1."""
    usual = HabitPeriod(date(2015, 1, 1), None, "mixed", 15000, "two_bucket", 26, "neutral", "none", 1, "asked")
    return replace(usual, **change)


def coat(
    kind: str, applied: date, months: tuple[float, float, float], *, as_of: date = AS_OF, **change
) -> LayerForecast:
    """A layer whose useful life ends after `months` (10-50-90 %), worn evenly; stage by its median."""
    age = max((as_of - applied).days, 0) / 30.4375
    consumed = Band(*sorted(age / life for life in months))
    left = function_band(consumed)

    def by(share: float) -> DateBand:
        return DateBand(*(months_after(applied, life * share) for life in months))

    usual = LayerForecast(
        key=f"{kind}:{applied}", kind=kind, applied=applied, stage=stage_of(left.p50), function_left=left,
        life_consumed=consumed, renewal_months=Band(*months), tired_on=by(TIRED), end_on=by(1.0), renewal_on=by(1.0),
        ln_life_sd=0.35, rate_median=1.0, marks=(Mark.COMMON_PRACTICE,), course=(),
        reasons=(Reason(Mechanism.CONTAMINATION, 0.4, "made up"), Reason(Mechanism.WASH_CONTACT, 0.3, "made up")),
    )  # fmt: skip
    return replace(usual, **change)


def unknown_layer(applied: date) -> LayerForecast:
    """A layer that nobody can name: no forecast."""
    return replace(
        coat("wax", applied, (1, 2, 3)), kind="unknown", stage=Stage.UNKNOWN, function_left=None, life_consumed=None,
        renewal_months=None, tired_on=None, end_on=None, renewal_on=None, reasons=(),
    )  # fmt: skip


@dataclass(frozen=True)
class Panel:
    """One surface of a made-up car."""

    code: str = "bonnet"
    layers: tuple[LayerForecast, ...] = ()
    orientation: str = "flat"
    substrate: str = "steel"
    decision: str | None = "cut_and_refine_with_consent"
    why: str = "made up for a test"
    clogged: bool = False
    clean_on: date | None = None
    etch_risk: Band | None = None
    ended: tuple[EndedLayer, ...] = ()
    finish: str = "factory"
    refinished_on: date | None = None

    def forecast(self) -> SurfaceForecast:
        budget = None if self.decision is None else ClearCoat(Band(1, 3, 5), None, None, self.decision, self.why)
        return SurfaceForecast(
            code=self.code, layers=self.layers, clear_coat=budget, clogging=Band(0.2, 0.4, 0.6), clogged=self.clogged,
            decontaminated_on=self.clean_on, etch_risk=self.etch_risk, ended=self.ended,
        )  # fmt: skip

    def given(self) -> SurfaceInput:
        layers = tuple(LayerInput(one.key, one.kind, one.applied) for one in self.layers)
        return SurfaceInput(
            self.code, self.orientation, self.substrate, self.finish, self.refinished_on, layers=layers
        )  # fmt: skip


def car(*panels: Panel, as_of: date = AS_OF, place: Place = NORTH, **change) -> tuple[VehicleForecast, VehicleInput]:
    """A car of these panels, used as the reference."""
    usual = VehicleInput(
        as_of=as_of, place=place, body="saloon", size="M", colour="mid", paint="clear_coat", powertrain="combustion",
        habits=(habit(),), surfaces=tuple(panel.given() for panel in panels),
    )  # fmt: skip
    forecast = VehicleForecast(as_of, climate(place), tuple(panel.forecast() for panel in panels), (), "test")
    return forecast, replace(usual, **change)


def report(*panels: Panel, **change) -> DueReport:
    """What the rules say of a car of these panels."""
    forecast, vehicle = car(*panels, **change)
    return assess_due(forecast=forecast, vehicle=vehicle)


def dues(*panels: Panel, **change) -> Mapping[str, Due]:
    """The dues of such a car by task."""
    return {due.task: due for due in report(*panels, **change).dues}


def refusals(*panels: Panel, **change) -> Mapping[str, str]:
    """Why by (task), the sentences of one task joined."""
    found: dict[str, str] = {}
    for one in report(*panels, **change).refused:
        found[one.task] = f"{found.get(one.task, '')} {one.why}".strip()
    return found


def days(count: int) -> timedelta:
    return timedelta(days=count)
