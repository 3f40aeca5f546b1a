"""The planner's curve of one panel: share of the defects removed against µm taken, where each grade lands, what the
budget bears, and below it how many corrections in one step the paint would have left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.utils.safestring import SafeString

from lifecycle.wear.correction_plan import CurvePoint, PanelPlan
from lifecycle.wear.types import Band

from .svg import el, join, line, number

WIDTH: Final = 340
HEIGHT: Final = 226
LEFT: Final = 34.0
RIGHT: Final = 326.0
TOP: Final = 16.0
BOTTOM: Final = 140.0
BUDGET_Y: Final = 152.0
AXIS_Y: Final = 172.0
LEFT_Y: Final = 196.0
MOST_UM: Final = 6.0
LETTERS: Final = {"finishing": "F", "one_step": "1", "cut_and_refine": "2"}
SAID: Final = {"finishing": "finishing polish", "one_step": "one step", "cut_and_refine": "cut and refine"}


@dataclass(frozen=True, slots=True)
class CurveRow:
    """One row of the table behind the picture; shares in whole percent, corrections left in whole numbers."""

    um: str
    low: int
    middle: int
    high: int
    one_steps: str
    full: str


def whole_range(band: Band | None) -> str:
    """Corrections left: "3 to 6", "none"."""
    if band is None:
        return "not known"
    low, high = int(band.p10), int(band.p90)
    if high == 0:
        return "none"
    return f"{low}" if low == high else f"{low} to {high}"


def rows(curve: Sequence[CurvePoint]) -> tuple[CurveRow, ...]:
    """Every half µm of the curve."""
    return tuple(
        CurveRow(
            f"{point.taken_um:g}",
            round(100 * point.removed_share.p10),
            round(100 * point.removed_share.p50),
            round(100 * point.removed_share.p90),
            whole_range(point.one_steps_left),
            whole_range(point.full_left),
        )
        for point in curve[::2]
    )  # fmt: skip


def _x(um: float) -> float:
    return LEFT + (RIGHT - LEFT) * min(max(um, 0.0), MOST_UM) / MOST_UM


def _y(share: float) -> float:
    return BOTTOM - (BOTTOM - TOP) * share


def _grid() -> list[SafeString]:
    levels = "".join(f"M{number(LEFT)} {number(_y(s))}H{number(RIGHT)}" for s in (0.0, 0.25, 0.5, 0.75, 1.0))
    parts = [el("path", d=levels, class_="threshold")]
    parts += [
        el("text", f"{round(100 * share)}", x=LEFT - 5, y=_y(share) + 4, class_="aside end")
        for share in (0.0, 0.5, 0.75, 1.0)
    ]
    parts.append(el("text", "% of the fine scratches gone", x=LEFT, y=TOP - 5, class_="aside"))
    return parts


def _band(curve: Sequence[CurvePoint]) -> list[SafeString]:
    upper = [(_x(point.taken_um), _y(point.removed_share.p90)) for point in curve]
    lower = [(_x(point.taken_um), _y(point.removed_share.p10)) for point in reversed(curve)]
    middle = [(_x(point.taken_um), _y(point.removed_share.p50)) for point in curve]
    return [
        el("path", d=line([*upper, *lower], closed=True), class_="band past"),
        el("path", d=line(middle), class_="median"),
    ]


def _stages(panel: PanelPlan) -> list[SafeString]:
    """Each grade: the range that it takes as a bar under the curve, its middle as a mark on it; hollow if refused."""
    parts = []
    for option in panel.options:
        x, share = _x(option.takes_um.p50), _y(option.removed_share.p50)
        kind = "stage" if option.offered else "stage refused"
        parts.append(el("path", d=f"M{number(x)} {number(share)}V{number(BOTTOM)}", class_="drop"))
        parts.append(el("circle", cx=x, cy=share, r=8.5, class_=kind))
        parts.append(el("text", LETTERS[option.stage], x=x, y=share + 4, class_=f"mid {kind}"))
    return parts


def _budget(band: Band) -> list[SafeString]:
    """Solid as far as the budget surely goes (10 %), thin as far as it perhaps goes (90 %)."""
    return [
        el("path", d=f"M{number(LEFT)} {number(BUDGET_Y)}H{number(_x(band.p10))}", class_="sure"),
        el("path", d=f"M{number(_x(band.p10))} {number(BUDGET_Y)}H{number(_x(band.p90))}", class_="perhaps"),
        el("text", "budget", x=LEFT - 4, y=BUDGET_Y + 4, class_="aside end"),
    ]


def _axis(curve: Sequence[CurvePoint]) -> list[SafeString]:
    parts = [el("text", "µm", x=LEFT - 14, y=AXIS_Y, class_="aside end")]
    parts.append(el("text", "one-step corrections left after it", x=LEFT, y=LEFT_Y + 22, class_="aside"))
    for point in curve:
        if point.taken_um != int(point.taken_um):
            continue
        x = _x(point.taken_um)
        low, high = int(point.one_steps_left.p10), int(point.one_steps_left.p90)
        parts.append(el("text", f"{point.taken_um:g}", x=x, y=AXIS_Y, class_="aside mid"))
        parts.append(el("text", f"{low}" if low == high else f"{low}–{high}", x=x, y=LEFT_Y, class_="mid"))
    return parts


def describe(panel: PanelPlan) -> str:
    """The picture in words: the grades, what they take and leave."""
    said = [
        f"{SAID[option.stage]} takes {option.takes_um.p10:.1f} to {option.takes_um.p90:.1f} µm and removes "
        f"{round(100 * option.removed_share.p10)} to {round(100 * option.removed_share.p90)} percent"
        f"{'' if option.offered else ', not offered'}"
        for option in panel.options
    ]
    return "; ".join(said).capitalize() + "."


def draw(panel: PanelPlan, *, key: str, title: str) -> SafeString | None:
    """The curve as SVG; None where the paint is not known.

    Args:
        key: unique on the page, for the ids.
    """
    if not panel.curve or panel.budget_um is None:
        return None
    parts = [
        el("title", title, id=f"{key}-t"),
        el("desc", describe(panel), id=f"{key}-d"),
        join(_grid()),
        join(_band(panel.curve)),
        join(_stages(panel)),
        join(_budget(panel.budget_um)),
        join(_axis(panel.curve)),
    ]
    return el(
        "svg", *parts, viewBox=f"0 0 {WIDTH} {HEIGHT}", role="img", class_="drawing removal",
        aria_labelledby=f"{key}-t {key}-d",
    )  # fmt: skip
