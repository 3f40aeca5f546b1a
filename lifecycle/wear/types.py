"""What goes into the wear model and what comes out of it.

These frozen dataclasses are the only language that `lifecycle.wear`, the scenario file and the database bridge
(`lifecycle.condition`) share. No Django in here. Dates are calendar days at the place; lengths in m or µm, temperatures
in degrees Celsius unless a name says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


class Mark(StrEnum):
    """Where a figure comes from; shown beside every number that a person sees."""

    PUBLISHED = "published"
    COMPUTED = "computed"
    COMMON_PRACTICE = "common practice"
    JUDGEMENT = "judgement"
    FROM_MEMORY = "from memory"
    LEARNED_HERE = "learned here"


class Mechanism(StrEnum):
    """The seven ways in which a layer wears."""

    SUNLIGHT = "sunlight"  # U
    HYDROLYSIS = "hydrolysis"  # H
    HEAT = "heat"  # T
    WASH_CONTACT = "wash_contact"  # A
    WASH_CHEMISTRY = "wash_chemistry"  # C
    ROAD = "road"  # R
    CONTAMINATION = "contamination"  # K


class Stage(StrEnum):
    """Stage of a layer by the median of its function left; `UNKNOWN` where no forecast is given."""

    FRESH = "fresh"
    SETTLED = "settled"
    TIRED = "tired"
    END = "end"
    GONE = "gone"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Place:
    """A point on the map. `height_m` and `sea_distance_m` are None where nobody has said."""

    lat: float
    lon: float
    height_m: float | None = None
    sea_distance_m: float | None = None


@dataclass(frozen=True, slots=True)
class ClimateYear:
    """Twelve calendar months of climate at a place (index 0 is January), as every climate source returns it.

    Attributes:
        ghi_kwh_m2_day: global horizontal irradiation, kWh per m² and day.
        air_c: mean air temperature, °C.  diurnal_range_k: mean daily range, K.
        rh_pct: mean relative humidity, %.  rain_mm: per month.  rain_days: days of 1 mm or more a month.
        wind_ms: mean wind at 10 m, m/s.  sunshine_fraction: n/N, 0 to 1.
        source, error_word, detail: where it comes from, "close" / "fair" / "rough", and a sentence about it.
        koppen_class: class code where known, else "".
        uv_mj_m2, wet_hours, frost_days: per month, summed over a source's own hours; empty where it has none.
            `lifecycle.climate.derived` then works them out from the twelve months.
        period, distance_km: the years that the source speaks of, and how far from `place` it was measured; "" and None
            where nobody says.
        parts: (quantity, source, error word) of what comes from elsewhere than `source`.
    """

    place: Place
    ghi_kwh_m2_day: tuple[float, ...]
    air_c: tuple[float, ...]
    diurnal_range_k: tuple[float, ...]
    rh_pct: tuple[float, ...]
    rain_mm: tuple[float, ...]
    rain_days: tuple[float, ...]
    wind_ms: tuple[float, ...]
    sunshine_fraction: tuple[float, ...]
    source: str
    error_word: str
    detail: str
    koppen_class: str = ""
    uv_mj_m2: tuple[float, ...] = ()
    wet_hours: tuple[float, ...] = ()
    frost_days: tuple[float, ...] = ()
    period: str = ""
    distance_km: float | None = None
    parts: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class HabitPeriod:
    """How the vehicle is used from `start` (included) to `end` (excluded; None: still so). Values as in the scenario
    file.

    `place` is set where the vehicle lives elsewhere than `VehicleInput.place` during this period. `defaulted` names the
    fields that nobody gave.
    """

    start: date
    end: date | None
    parking: str
    km_per_year: float
    wash_method: str
    washes_per_year: float
    wash_ph: str = "neutral"
    road_salt: str = "none"
    trees_birds: int = 1
    source: str = "defaulted"
    place: Place | None = None
    defaulted: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StoragePeriod:
    start: date
    end: date | None


@dataclass(frozen=True, slots=True)
class LayerInput:
    """One layer of a stack. `ended` is the day on which it was taken off or replaced. `life_months` overrides the life
    table for this product (10 % and 90 % points at reference duty), with `life_mark`. `product` names the product
    whose own figures hold for this layer (see `marks.overridden`), "" for none. `cure_days` is how long the product's
    data sheet keeps chemicals off (of film: a wash) at 20 °C, None where it is silent; only care asks for it."""

    key: str
    kind: str
    applied: date
    coats: int = 1
    ended: date | None = None
    thickness_um: float | None = None
    life_months: tuple[float, float] | None = None
    life_mark: Mark = Mark.COMMON_PRACTICE
    product: str = ""
    cure_days: float | None = None


@dataclass(frozen=True, slots=True)
class Thickness:
    """Total film readings of one surface, µm."""

    values: tuple[float, ...]
    method: str  # magnetic, eddy, ultrasonic
    gauge_sd_um: float = 1.0
    on: date | None = None


@dataclass(frozen=True, slots=True)
class Removal:
    """Clear coat taken off one surface. `taken_um` is the range (10-90 %) if it was measured, all passes together; else
    None, and the stage's own figure for one pass counts."""

    on: date
    stage: str  # finishing, one_step, cut_and_refine, spot_sanding, unknown_past
    taken_um: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class SurfaceInput:
    """A panel, a pane, a wheel set, a trim group, the engine bay. `layers` from the bottom up, by date of
    application; `earlier_thickness` holds dated readings before `thickness`, oldest first.

    `mounted`: when a part that comes and goes (a wheel set, a hard top) was on the vehicle; empty: always. Off the
    vehicle it lies under a roof and ages like a stored vehicle.
    """

    code: str
    orientation: str
    substrate: str
    finish: str = "factory"
    refinished_on: date | None = None
    thickness: Thickness | None = None
    removals: tuple[Removal, ...] = ()
    layers: tuple[LayerInput, ...] = ()
    earlier_thickness: tuple[Thickness, ...] = ()
    mounted: tuple[StoragePeriod, ...] = ()


@dataclass(frozen=True, slots=True)
class ReadingInput:
    """What somebody saw. Exactly one of the observations is usually set; `by` is "studio" or "customer"."""

    on: date
    surface: str
    clean_state: str  # dirty, washed, decontaminated
    contact_angle_deg: float | None = None
    drops: int = 1
    beading_score: int | None = None
    gloss_gu: float | None = None
    works: bool | None = None
    by: str = "studio"


@dataclass(frozen=True, slots=True)
class EventInput:
    on: date
    kind: str
    surface: str | None = None
    dwell_h: float | None = None
    air_c: float | None = None


@dataclass(frozen=True, slots=True)
class ContractInspection:
    due: date
    tolerance_days: int
    title: str = ""


@dataclass(frozen=True, slots=True)
class VehicleInput:
    """Everything that the forecast of one vehicle depends on."""

    as_of: date
    place: Place
    body: str
    size: str
    colour: str
    paint: str
    powertrain: str
    habits: tuple[HabitPeriod, ...]
    surfaces: tuple[SurfaceInput, ...]
    storage: tuple[StoragePeriod, ...] = ()
    readings: tuple[ReadingInput, ...] = ()
    events: tuple[EventInput, ...] = ()
    contracts: tuple[ContractInspection, ...] = ()
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Band:
    """A 10-50-90 % range. `p10 <= p50 <= p90`."""

    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, slots=True)
class DateBand:
    """A 10-50-90 % range of days, earliest first."""

    p10: date
    p50: date
    p90: date


@dataclass(frozen=True, slots=True)
class Reason:
    """One mechanism's share of the wear since application (shares of one layer sum to 1), and a sentence about it."""

    mechanism: Mechanism
    share: float
    says: str


@dataclass(frozen=True, slots=True)
class CoursePoint:
    """Function left on a day, for the drawing of the course."""

    on: date
    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, slots=True)
class LayerForecast:
    """The state and the future of one live layer.

    For a layer of kind "unknown" no forecast is given: bands and dates are None and the stage is `UNKNOWN`. A layer on
    which "no beading" was seen without decontamination keeps its bands (the clock alone), but its stage is `UNKNOWN`
    too: clogged, wear unknown until it has been decontaminated and looked at again.

    Attributes:
        function_left, life_consumed: today's bands.
        renewal_months: months from application until renewal is sensible (D = 1), at this vehicle's duty.
        tired_on, end_on: when function left falls to 50 % and to 30 %.
        renewal_on: day on which D reaches 1.
        ln_life_sd: spread (sd of ln) of the life after evidence; `rate_median` the posterior median of kappa.
        reasons: sorted by share, largest first.
        seen_on: last day on which a studio reading spoke of this layer; None: an estimate only.
        evidence_says: one sentence on what readings changed, "" without readings.
        chance_dates: pairs (chance, day), chance rising: the day by which D has reached 1 with that chance (0.05 to
            0.9). `lifecycle.wear.degradation.chance_past_end` reads it between the points.
        implied: True where the layer was not given but follows from a top-up event.
    """

    key: str
    kind: str
    applied: date
    stage: Stage
    function_left: Band | None
    life_consumed: Band | None
    renewal_months: Band | None
    tired_on: DateBand | None
    end_on: DateBand | None
    renewal_on: DateBand | None
    ln_life_sd: float
    rate_median: float
    reasons: tuple[Reason, ...]
    marks: tuple[Mark, ...]
    course: tuple[CoursePoint, ...]
    seen_on: date | None = None
    evidence_says: str = ""
    notes: tuple[str, ...] = ()
    chance_dates: tuple[tuple[float, date], ...] = ()
    implied: bool = False


@dataclass(frozen=True, slots=True)
class EndedLayer:
    """A layer that is no longer there, the day on which it went, and why."""

    key: str
    kind: str
    ended: date
    why: str


@dataclass(frozen=True, slots=True)
class ClearCoat:
    """The clear-coat budget of one surface. `decision` is one of: unknown, none, finishing_only, one_step_with_consent,
    cut_and_refine_with_consent, not_applicable."""

    budget_um: Band | None
    clear_um: Band | None
    removed_um: Band | None
    decision: str
    why: str
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True, slots=True)
class SurfaceForecast:
    """`clogging` is 0 (clean) to 1 (fully clogged); `clogged` says that "no beading" would say little about wear.

    `returns_chance`: chance (band) that a decontamination brings useful behaviour back, for a clogged surface; else
    None. `ended`: layers that a correction, repaint, part swap or a newer coat of the same kind has ended.
    """

    code: str
    layers: tuple[LayerForecast, ...]
    clear_coat: ClearCoat | None
    clogging: Band
    clogged: bool
    decontaminated_on: date | None
    etch_risk: Band | None = None
    returns_chance: Band | None = None
    ended: tuple[EndedLayer, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class VehicleForecast:
    as_of: date
    climate: ClimateYear
    surfaces: tuple[SurfaceForecast, ...]
    assumed: tuple[str, ...]
    model_version: str
    yearly_stress: Mapping[str, float] = field(default_factory=dict)
