"""What a page shows of one vehicle: frozen values, no rows, no queries.

Bands are 10-50-90 % ranges; dates are calendar days at the place of the vehicle; thicknesses are µm; money is in the
studio's currency.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from lifecycle.care.tasks_table import CareTask
from lifecycle.care.tongue.names import surface_name
from lifecycle.care.tongue.speak import say
from lifecycle.care.typed import UM_PER_MIL
from lifecycle.wear.types import Band, CoursePoint, DateBand, Reason

# From best to worst. "unknown" says nothing about wear and is never the worst.
STAGES = ("fresh", "settled", "tired", "end", "gone")
# Coats that lie on top of another and are meant to go first: while the other lives, they do not speak for the surface.
TOPPERS = frozenset(
    {"wax", "sealant", "booster", "film_top_coat", "trim_dressing", "windscreen_wipe_on", "leather_guard",
     "engine_bay_dressing"}
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class LayerView:
    """One live layer. `thickness_mark` says where the thickness comes from. `function_left` None: no forecast."""

    id: int
    kind: str
    product: str
    applied: date
    coats: int
    thickness_um: float | None
    thickness_mark: str
    stage: str
    function_left: Band | None = None
    renewal_months: Band | None = None
    tired_on: DateBand | None = None
    end_on: DateBand | None = None
    rate_median: float = 1.0
    seen_on: date | None = None
    evidence_says: str = ""
    reasons: tuple[Reason, ...] = ()
    marks: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    course: tuple[CoursePoint, ...] = ()


@dataclass(frozen=True, slots=True)
class ClearView:
    """The clear-coat budget of a surface, as `lifecycle.wear.types.ClearCoat`."""

    budget_um: Band | None
    clear_um: Band | None
    removed_um: Band | None
    decision: str
    why: str
    marks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FilmReading:
    """Total film thickness at the last measuring: mean of the spots and the thinnest of them, from `count` values.

    `spots` 0: nobody said which value was of which spot. `unit`: what was typed (um, mil). `doubts`: what looked wrong
    and was recorded all the same.
    """

    mean_um: float
    lowest_um: float
    count: int
    method: str
    on: date
    spots: int = 0
    gauge: str = ""
    gauge_sd_um: float | None = None
    gauge_checked_on: date | None = None
    unit: str = "um"
    doubts: tuple[str, ...] = ()

    @property
    def mean_mil(self) -> float:
        return self.mean_um / UM_PER_MIL

    @property
    def lowest_mil(self) -> float:
        return self.lowest_um / UM_PER_MIL


@dataclass(frozen=True, slots=True)
class EventView:
    """Something dated that marks the axis of a course. `surface_id` None: the whole vehicle."""

    on: date
    kind: str
    surface_id: int | None = None


@dataclass(frozen=True, slots=True)
class SurfaceView:
    """One surface with its live layers from the bottom up."""

    id: int
    code: str
    orientation: str
    substrate: str
    finish: str
    refinished_on: date | None
    layers: tuple[LayerView, ...]
    clogged: bool = False
    clogging: Band | None = None
    clear: ClearView | None = None
    film: FilmReading | None = None
    events: tuple[EventView, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        return surface_name(self.code)

    @property
    def ruling(self) -> LayerView | None:
        """The layer that speaks for the surface: the worst of the lasting coats, else the newest short-lived one, else
        one without a forecast, else None (bare)."""
        lasting = [layer for layer in self.layers if layer.kind not in TOPPERS and layer.stage in STAGES]
        if lasting:
            return max(lasting, key=lambda layer: STAGES.index(layer.stage))
        told = [layer for layer in self.layers if layer.stage in STAGES]
        rest = told or self.layers
        return rest[-1] if rest else None

    @property
    def stage(self) -> str:
        """Stage of the ruling layer; "bare" without any layer."""
        ruling = self.ruling
        return ruling.stage if ruling is not None else "bare"

    @property
    def shown_stage(self) -> str:
        """As `stage`, but "clogged" where grime is why nothing is known of the layer."""
        return "clogged" if self.grimy and self.stage == "unknown" else self.stage

    @property
    def grimy(self) -> bool:
        """Whether grime may make a layer look worse than it is; on a bare surface it hides nothing."""
        return self.clogged and bool(self.layers)


@dataclass(frozen=True, slots=True)
class DueView:
    """Care that is due. `price` is None where the price list has none; `booked_on`: the visit that covers it."""

    id: int
    task: str
    title: str
    kind: str
    surfaces: tuple[str, ...]
    earliest: date
    ideal: date
    latest: date
    contract_on: date | None
    reason_code: str
    why: str
    known: str
    changed: str
    expected: str
    prevents: str
    if_postponed: str
    self_check: str
    price: tuple[Decimal, Decimal] | None = None
    cautions: tuple[str, ...] = ()
    labour_h: float = 0.0
    cure_h: float = 0.0
    booked_on: date | None = None
    task_title: str = ""  # as the table has it, for sentences that need it with its article


@dataclass(frozen=True, slots=True)
class RefusedView:
    task: str
    title: str
    surfaces: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class VisitView:
    id: int
    on: date
    tasks: tuple[str, ...]
    state: str
    site: str


@dataclass(frozen=True, slots=True)
class ProposalView:
    """A visit that would serve several dues; `tasks` in working order, `cure_h` dry and untouched afterwards.

    `planned`, `bay`, `planned_why`: where the site's calendar has room for it, and why there; None where nothing fits.
    """

    id: int
    earliest: date
    ideal: date
    latest: date
    tasks: tuple[str, ...]
    labour_h: float
    cure_h: float
    why: str
    planned: date | None = None
    bay: str = ""
    planned_why: str = ""


@dataclass(frozen=True, slots=True)
class HistoryItem:
    """One line of the history, newest first. `count` > 1: that many washes between `until` and `on`."""

    on: date
    kind: str
    what: str
    surfaces: tuple[str, ...] = ()
    by: str = "studio"
    detail: str = ""
    count: int = 1
    until: date | None = None


@dataclass(frozen=True, slots=True)
class HabitsView:
    since: date
    parking: str
    km_per_year: float
    wash_method: str
    washes_per_year: float
    road_salt: str
    source: str


@dataclass(frozen=True, slots=True)
class ContractView:
    title: str
    due: date
    tolerance_days: int


@dataclass(frozen=True, slots=True)
class VehicleView:
    """Everything that a page shows of one vehicle. `as_of` None: not assessed yet."""

    id: int
    studio_id: int
    studio: str
    studio_phone: str
    currency: str
    site: str
    plate: str
    description: str
    body: str
    size: str
    colour: str
    paint: str
    powertrain: str
    first_seen: date
    today: date
    keeper: str = ""
    keeper_id: int | None = None
    keeper_since: date | None = None
    as_of: date | None = None
    assessed_at: datetime | None = None
    model_version: str = ""
    climate: str = ""
    assumed: tuple[str, ...] = ()
    stored_since: date | None = None
    surfaces: tuple[SurfaceView, ...] = ()
    dues: tuple[DueView, ...] = ()
    refused: tuple[RefusedView, ...] = ()
    visits: tuple[VisitView, ...] = ()
    proposals: tuple[ProposalView, ...] = ()
    history: tuple[HistoryItem, ...] = ()
    habits: HabitsView | None = None
    contracts: tuple[ContractView, ...] = ()

    @property
    def has_films(self) -> bool:
        """Whether any panel's film thickness was read."""
        return any(surface.film is not None for surface in self.surfaces)

    @property
    def seen_on(self) -> date | None:
        """The last day on which any layer of this vehicle was seen."""
        return max((layer.seen_on for s in self.surfaces for layer in s.layers if layer.seen_on), default=None)


def cautions_for(task: CareTask, *, powertrain: str) -> tuple[str, ...]:
    """The usual cautions beside a care task, the vehicle's own first (common practice, no source)."""
    own: list[str] = []
    if task.phase == "engine_bay" and powertrain in ("electric", "hybrid"):
        own.append(
            "Orange cables carry high voltage: no steam and no pressure water in the engine bay by untrained people, "
            "and never while charging."
        )
    return tuple(say(one) for one in (*own, task.caution) if one)


def fold_washes(items: Iterable[HistoryItem]) -> tuple[HistoryItem, ...]:
    """Newest first, with washes that follow each other folded into one line."""
    folded: list[HistoryItem] = []
    for item in sorted(items, key=lambda item: item.on, reverse=True):
        last = folded[-1] if folded else None
        if last is not None and item.kind == last.kind == "wash" and item.by == last.by:
            folded[-1] = HistoryItem(last.on, "wash", last.what, by=last.by, count=last.count + 1, until=item.on)
        else:
            folded.append(item)
    return tuple(folded)
