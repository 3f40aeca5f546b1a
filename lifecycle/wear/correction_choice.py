"""What a chosen grade and number of passes would do to one panel, and whether its budget bears it.

The planner (`correction_plan`) speaks of one pass of each grade; here the passes count. A choice goes where the grade
is allowed on this paint and the middle of the budget holds the table's figure of all passes; cut and refine and spot
sanding must fit their low end into the low end of the budget as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from lifecycle.wear import normal
from lifecycle.wear.clearcoat import measured
from lifecycle.wear.correction_plan import (
    ALLOWED,
    NONE_LEFT,
    STEP_SCORES,
    PanelPlan,
    corrections_left,
    taken_points,
    unlisted_corrections,
)
from lifecycle.wear.figures import figure
from lifecycle.wear.types import Band, FloatArray, SurfaceInput, VehicleInput

CHOICES = ("finishing", "one_step", "cut_and_refine", "spot_sanding")
NEEDS_CONSENT = CHOICES[1:]
MOST_PASSES = 10


@dataclass(frozen=True, slots=True)
class Choice:
    """A grade with its passes on one panel. Bands are 10-50-90 %; None where the paint is not known. `goes`: the budget
    bears it; `why` says it in a sentence."""

    code: str
    stage: str
    passes: int
    takes_um: Band
    removed_share: Band
    budget_um: Band | None
    budget_after_um: Band | None
    one_steps_before: Band | None
    one_steps_after: Band | None
    full_before: Band | None
    full_after: Band | None
    over_budget_chance: float | None
    goes: bool
    why: str


def fresh_refinish(surface: SurfaceInput, *, as_of: date) -> str:
    """Why a panel that was painted lately is left alone; "" where it was not."""
    painted = surface.refinished_on
    fresh_days = round(figure("refinish.fresh_days").value)
    if painted is None or not 0 <= (as_of - painted).days < fresh_days:
        return ""
    return (
        f"Painted again on {painted.isoformat()}: fresh paint is still hardening. Ask the painter; usual waits are 30 "
        f"to {fresh_days} days."
    )


def _quantiles(values: FloatArray) -> Band:
    return Band(*(float(one) for one in np.quantile(values, (0.1, 0.5, 0.9))))


def _taken(stage: str, passes: int, removal: tuple[float, float] | None) -> FloatArray:
    """µm on points of equal chance: the grade's figure for each pass, or what was measured."""
    if removal is None:
        return passes * taken_points(stage)
    middle, sd = sum(removal) / 2.0, (removal[1] - removal[0]) / (2.0 * normal.Z90)
    return np.maximum(middle + sd * STEP_SCORES, 0.0)


def _share(taken: FloatArray) -> Band:
    """Share of the defects removed; depth and removal drawn as independent on one grid."""
    depth = figure("defect.depth")
    median, sd = normal.lognormal_of_range(depth.low, depth.high)
    scales = median * np.exp(sd * STEP_SCORES)
    return _quantiles((1.0 - np.exp(-taken[:, None] / scales[None, :])).ravel())


def _verdict(
    panel: PanelPlan, budget: Band, stage: str, passes: int, removal: tuple[float, float] | None
) -> tuple[bool, str]:
    """Whether the budget bears it, and a sentence."""
    allowed = ALLOWED.get(panel.decision, ())
    if stage not in allowed and not (stage == "spot_sanding" and "cut_and_refine" in allowed):
        return False, f"Not offered: {panel.why}"
    one = figure(f"removal.{stage}")
    low, middle, high = (passes * value for value in (one.low, one.value, one.high))
    if removal is not None:
        low, middle, high = removal[0], sum(removal) / 2.0, removal[1]
    deep = stage in ("cut_and_refine", "spot_sanding")
    times = "" if passes == 1 else f" in {passes} passes"
    says = f"It takes {low:g} to {high:g} µm{times}; the budget is {budget.p10:.1f} to {budget.p90:.1f} µm"
    if middle > budget.p50 or (deep and low > budget.p10):
        return False, f"Over the budget: {says[0].lower()}{says[1:]}."
    return True, f"{says}."


def choose(
    vehicle: VehicleInput,
    panel: PanelPlan,
    *,
    stage: str,
    passes: int = 1,
    removal: tuple[float, float] | None = None,
) -> Choice:
    """What a choice costs on one panel of `plan_correction(vehicle)`, and whether it goes.

    Args:
        removal: 10-90 % range in µm where it was measured, in place of the grade's figure; all passes together.

    Raises:
        ValueError: no such grade, or passes outside 1 to 10.
    """
    if stage not in CHOICES:
        raise ValueError(f"{stage!r} is no grade of correction; use one of {', '.join(CHOICES)}.")
    if not 1 <= passes <= MOST_PASSES:
        raise ValueError(f"passes is {passes}; write 1 to {MOST_PASSES}.")
    taken = _taken(stage, passes, removal)
    surface = next(one for one in vehicle.surfaces if one.code == panel.code)
    told: dict[str, Band | None] = dict.fromkeys(
        ("budget_um", "budget_after_um", "one_steps_before", "one_steps_after", "full_before", "full_after")
    )
    goes, why, chance = False, f"Not offered: {panel.why}", None
    if panel.budget_um is not None:
        points = measured(surface, unlisted_corrections=unlisted_corrections(vehicle, surface)).points
        rest = (points[:, None] - taken[None, :]).ravel()
        after = np.maximum(rest, 0.0)
        allowed = ALLOWED.get(panel.decision, ())
        left = {
            grade: corrections_left(after, stage=grade) if grade in allowed else NONE_LEFT
            for grade in ("one_step", "cut_and_refine")
        }
        told = {
            "budget_um": panel.budget_um,
            "budget_after_um": _quantiles(after),
            "one_steps_before": panel.one_steps_left,
            "one_steps_after": left["one_step"],
            "full_before": panel.full_left,
            "full_after": left["cut_and_refine"],
        }
        chance = float(np.mean(rest < 0))
        goes, why = _verdict(panel, panel.budget_um, stage, passes, removal)
    fresh = fresh_refinish(surface, as_of=vehicle.as_of)
    if fresh:
        goes, why = False, f"Not offered: {fresh}"
    return Choice(
        code=panel.code, stage=stage, passes=passes, takes_um=_quantiles(taken), removed_share=_share(taken),
        over_budget_chance=chance, goes=goes, why=why, **told,
    )  # fmt: skip
