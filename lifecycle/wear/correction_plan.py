"""How far a correction may go, panel by panel: defects removed against clear coat spent, and what is left for later.

Scratches have depths; taking d off removes the share `1 - exp(-d / depth)` of them. The depth scale is chosen so that
one step (1 to 2 µm) takes 70 to 80 % and a cut first about 90 % (common practice, no source); each further step takes
the same share of what is left, so the last 5 % costs most. Beside the share stands what it costs: the corrections that
this paint has left in its life, as a range. What the budget does not allow is refused, with the reason.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lifecycle.wear import normal
from lifecycle.wear.clearcoat import Measured, clear_coat, measured
from lifecycle.wear.figures import figure
from lifecycle.wear.refinish import RefinishSign, refinish_signs
from lifecycle.wear.stack import FILMS, PAINTED, LiveLayer, concerns, layers_of
from lifecycle.wear.types import Band, ClearCoat, FloatArray, Mark, SurfaceInput, VehicleInput

STAGES = ("finishing", "one_step", "cut_and_refine")
ALLOWED = {
    "finishing_only": STAGES[:1],
    "one_step_with_consent": STAGES[:2],
    "cut_and_refine_with_consent": STAGES,
}
CURVE_UM = tuple(round(0.25 * step, 2) for step in range(25))
BUDGET_CHANCES = np.linspace(0.0125, 0.9875, 40)
NONE_LEFT = Band(0.0, 0.0, 0.0)
STEP_SCORES = np.array([normal.quantile((index + 0.5) / 20) for index in range(20)])
MARKS = (Mark.PUBLISHED, Mark.COMMON_PRACTICE, Mark.COMPUTED, Mark.JUDGEMENT)
CAUTIONS = (
    "Machine work throws dust and paste: eyes, ears and breath covered; read the safety data sheet of each product.",
    "Film readings first on every panel, again after the test spot; stop at the budget, not at the last scratch.",
    "Edges, creases and bumpers of plastic are thinner and warm up faster: by hand or not at all.",
)


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """What taking `taken_um` would do: share of the defects removed, and one-step and full corrections left after."""

    taken_um: float
    removed_share: Band
    one_steps_left: Band
    full_left: Band


@dataclass(frozen=True, slots=True)
class Option:
    """One grade of correction on one panel. `over_budget_chance`: chance that it takes more than the budget."""

    stage: str
    takes_um: Band
    removed_share: Band
    budget_after_um: Band | None
    one_steps_left_after: Band | None
    full_left_after: Band | None
    over_budget_chance: float | None
    offered: bool
    why: str


@dataclass(frozen=True, slots=True)
class PanelPlan:
    """One panel: the paint that is left (µm), corrections left in its life (whole numbers, 10-50-90 %), the curve, and
    each grade with whether it is offered. Bands are None where the paint is not known."""

    code: str
    decision: str
    why: str
    total_um: Band | None
    clear_um: Band | None
    removed_um: Band | None
    budget_um: Band | None
    one_steps_left: Band | None
    full_left: Band | None
    curve: tuple[CurvePoint, ...]
    options: tuple[Option, ...]
    sign: RefinishSign | None
    marks: tuple[Mark, ...] = MARKS


@dataclass(frozen=True, slots=True)
class CorrectionPlan:
    """The vehicle, panel by panel, and the panels by the farthest grade offered ("" for none), for a split quote."""

    panels: tuple[PanelPlan, ...]
    by_grade: dict[str, tuple[str, ...]]
    cautions: tuple[str, ...] = CAUTIONS

    def panel(self, code: str) -> PanelPlan:
        """The plan of one panel.

        Raises:
            KeyError: the vehicle has no painted surface of that code.
        """
        for one in self.panels:
            if one.code == code:
                return one
        raise KeyError(f"{code!r} is no painted surface here; use one of {', '.join(one.code for one in self.panels)}.")


def defects_removed(taken_um: float) -> Band:
    """Share of the defects that taking so many µm removes: `1 - exp(-d / depth)`, depth 0.93 to 1.25 µm.

    Raises:
        ValueError: less than nothing taken.
    """
    if taken_um < 0:
        raise ValueError(f"taken_um is {taken_um}; write 0 or more.")
    depth = figure("defect.depth")
    return Band(*(1.0 - math.exp(-taken_um / scale) for scale in (depth.high, depth.value, depth.low)))


def depth_for(share: float) -> Band:
    """µm that must go to remove a share of the defects, the inverse of `defects_removed`.

    Raises:
        ValueError: a share not from 0 up to, but not, 1: the last defect would cost without end.
    """
    if not 0 <= share < 1:
        raise ValueError(f"share is {share}; write a number from 0 up to, but not, 1.")
    depth = figure("defect.depth")
    return Band(*(-scale * math.log(1.0 - share) for scale in (depth.low, depth.value, depth.high)))


def taken_points(stage: str) -> FloatArray:
    """µm that a grade takes, on 20 points of equal chance; lognormal through the ends of its range."""
    taken = figure(f"removal.{stage}")
    median, sd = normal.lognormal_of_range(taken.low, taken.high)
    return np.asarray(median * np.exp(sd * STEP_SCORES), dtype=float)


def _quantiles(values: FloatArray) -> Band:
    return Band(*(float(one) for one in np.quantile(values, (0.1, 0.5, 0.9))))


def _whole_quantiles(values: FloatArray) -> Band:
    found = np.sort(values)
    return Band(*(float(found[math.ceil(chance * len(found)) - 1]) for chance in (0.1, 0.5, 0.9)))


def corrections_left(budget_um: FloatArray, *, stage: str) -> Band:
    """How many corrections of a grade the budget still holds, whole numbers (10-50-90 %).

    One hand and one machine take about the same each time, so one draw of the removal serves all of them.

    Args:
        budget_um: points of equal chance (see `clearcoat.budget_points`).
    """
    return _held(np.quantile(budget_um, BUDGET_CHANCES), taken_points(stage))


def _held(budget: FloatArray, taken: FloatArray) -> Band:
    return _whole_quantiles(np.floor(budget[:, None] / taken[None, :] + 1e-9).ravel())


def _left(points: FloatArray, stage: str, decision: str) -> Band:
    """Corrections left of a grade; none where the paint is too thin for that grade at all."""
    return corrections_left(points, stage=stage) if stage in ALLOWED.get(decision, ()) else NONE_LEFT


def _curve(points: FloatArray, decision: str) -> tuple[CurvePoint, ...]:
    budget = np.quantile(points, BUDGET_CHANCES)
    takes = {stage: taken_points(stage) for stage in STAGES[1:] if stage in ALLOWED.get(decision, ())}
    made = []
    for taken in CURVE_UM:
        left = np.maximum(budget - taken, 0.0)
        one_steps, full = (_held(left, takes[stage]) if stage in takes else NONE_LEFT for stage in STAGES[1:])
        made.append(CurvePoint(taken, defects_removed(taken), one_steps, full))
    return tuple(made)


def _removed_by(stage: str) -> Band:
    """Share of the defects that one pass of a grade removes; depth and removal drawn as independent on one grid."""
    depth = figure("defect.depth")
    median, sd = normal.lognormal_of_range(depth.low, depth.high)
    scales = median * np.exp(sd * STEP_SCORES)
    return _quantiles((1.0 - np.exp(-taken_points(stage)[:, None] / scales[None, :])).ravel())


def _option(stage: str, coat: ClearCoat, found: Measured | None) -> Option:
    taken = taken_points(stage)
    offered = stage in ALLOWED.get(coat.decision, ())
    after, chance = None, None
    if found is not None:
        rest = (found.points[:, None] - taken[None, :]).ravel()
        after, chance = np.maximum(rest, 0.0), float(np.mean(rest < 0))
    why = coat.why if offered or coat.budget_um is None else f"Not offered: {coat.why}"
    return Option(
        stage=stage,
        takes_um=_quantiles(taken),
        removed_share=_removed_by(stage),
        budget_after_um=_quantiles(after) if after is not None else None,
        one_steps_left_after=_left(after, "one_step", coat.decision) if after is not None else None,
        full_left_after=_left(after, "cut_and_refine", coat.decision) if after is not None else None,
        over_budget_chance=chance,
        offered=offered,
        why=why,
    )


def _panel(
    surface: SurfaceInput, *, paint: str, stack: Sequence[LiveLayer], unlisted: int, sign: RefinishSign | None
) -> PanelPlan:
    coat = clear_coat(
        surface,
        paint=paint,
        under_film=any(live.layer.kind in FILMS and live.ended is None for live in stack),
        unlisted_corrections=unlisted,
        refinish=sign.says if sign is not None and sign.word == "likely" else "",
    )
    found = measured(surface, unlisted_corrections=unlisted) if coat.budget_um is not None else None
    return PanelPlan(
        code=surface.code,
        decision=coat.decision,
        why=coat.why,
        total_um=found.film.total_um if found else None,
        clear_um=coat.clear_um,
        removed_um=coat.removed_um,
        budget_um=coat.budget_um,
        one_steps_left=_left(found.points, "one_step", coat.decision) if found else None,
        full_left=_left(found.points, "cut_and_refine", coat.decision) if found else None,
        curve=_curve(found.points, coat.decision) if found else (),
        options=tuple(_option(stage, coat, found) for stage in STAGES),
        sign=sign,
    )


def unlisted_corrections(vehicle: VehicleInput, surface: SurfaceInput) -> int:
    """Corrections of a surface that are known only as events: days without an entry in its ledger of removals."""
    listed = {removal.on for removal in surface.removals}
    events = [e for e in vehicle.events if e.kind == "correction" and e.on <= vehicle.as_of and concerns(e, surface)]
    return len({event.on for event in events} - listed)


def plan_correction(vehicle: VehicleInput) -> CorrectionPlan:
    """What may be corrected on a vehicle on its `as_of`, panel by panel; pure, no draws.

    A panel is refused with the reason where its paint is not measured, not readable, likely painted again, under film,
    single-stage, matte or over budget. Glass, leather and textile have no line.
    """
    painted = [surface for surface in vehicle.surfaces if surface.substrate in PAINTED]
    events = tuple(event for event in vehicle.events if event.on <= vehicle.as_of)
    stacks = {surface.code: layers_of(surface, events, as_of=vehicle.as_of) for surface in painted}
    signs = refinish_signs(painted, stacks=stacks)
    panels = tuple(
        _panel(
            surface,
            paint=vehicle.paint,
            stack=stacks[surface.code],
            unlisted=unlisted_corrections(vehicle, surface),
            sign=signs.get(surface.code),
        )
        for surface in painted
    )
    by_grade: dict[str, tuple[str, ...]] = {}
    for panel in panels:
        grade = ALLOWED.get(panel.decision, ("",))[-1]
        by_grade[grade] = (*by_grade.get(grade, ()), panel.code)
    return CorrectionPlan(panels, by_grade)
