"""The vehicle plan of a report: our outline with a numbered mark for each finding that has a place in it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from lifecycle.care.reports.view import FindingLine

from .outline import HALF, LENGTH, MIDDLE, X0, Point, body_of, regions, silhouette
from .plan import HEIGHT, ORDER, WIDTH, regions_of
from .svg import el, join, line, number

RADIUS: Final = 7.5
APART: Final = 2 * RADIUS + 1
# For print: typst's renderer reads a style element; pages use css/report.css and know light and dark.
PRINT_STYLE: Final = """
text{font-family:"Libertinus Serif";font-size:9px;fill:#152e2d}
.body{fill:#f2eee2;stroke:#8b9691;stroke-width:1}.outline{fill:none;stroke:#c3bda9;stroke-width:.8}
.aside{font-size:9px;fill:#4a5f5c}.end{text-anchor:end}
.report-mark circle{fill:#0b4f4d;stroke:#fff;stroke-width:1.2}
.report-mark .ours{fill:none;stroke:#8f3f20;stroke-width:1.4}
.report-mark text{fill:#fff;font-size:9.5px;font-weight:bold;text-anchor:middle}
"""


@dataclass(frozen=True, slots=True)
class ReportPlan:
    """The drawing, and the numbers of the findings that have no place in it."""

    svg: SafeString
    unplaced: tuple[int, ...]

    def for_print(self) -> str:
        """The drawing as a file of its own."""
        return str(self.svg).replace(
            "<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1
        ).replace("</title>", f"</title><style>{PRINT_STYLE}</style>", 1)  # fmt: skip


def _order(name: str) -> int:
    return next(i for i, start in enumerate(ORDER) if name.startswith(start))


def _centre(outline: Sequence[Point]) -> Point:
    xs, ys = [x for x, _y in outline], [y for _x, y in outline]
    return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2


def _anchor(finding: FindingLine, known: dict[str, list[list[Point]]]) -> Point | None:
    """Where a finding belongs on the plan: its own place, else the middle of the piece of its surface."""
    if not finding.on_outline and finding.x is not None and finding.y is not None:
        return finding.x * WIDTH, finding.y * HEIGHT
    pieces = [outline for region in regions_of(finding.code) for outline in known.get(region, [])]
    if not pieces:
        return None
    piece = 0
    if finding.x is not None and finding.y is not None and len(pieces) > 1:
        # A surface of several pieces is drawn two abreast on its own outline.
        rows = -(-len(pieces) // 2)
        piece = min(len(pieces) - 1, min(rows - 1, int(finding.y * rows)) * 2 + min(1, int(finding.x * 2)))
    return _centre(pieces[piece])


def _free(wanted: Point, taken: Sequence[Point]) -> Point:
    """The nearest spot around the wanted one that hides no earlier mark, within the drawing."""
    for step in range(400):
        turn = step * 2.4  # the golden angle, nearly: an even spiral
        away = 3.2 * math.sqrt(step)
        x = min(max(wanted[0] + away * math.cos(turn), RADIUS + 1), WIDTH - RADIUS - 1)
        y = min(max(wanted[1] + away * math.sin(turn), RADIUS + 1), HEIGHT - RADIUS - 1)
        if all(math.dist((x, y), other) >= APART for other in taken):
            return x, y
    return wanted


def _mark(finding: FindingLine, place: Point) -> SafeString:
    words = f"{finding.n}. {finding.what}" + (f", {finding.surface}" if finding.surface else "")
    ring = "" if finding.pre_existing else el("circle", r=RADIUS + 2.2, class_="ours")
    return el(
        "g",
        el("title", words),
        ring,
        el("circle", r=RADIUS),
        el("text", str(finding.n), y=3.3),
        transform=f"translate({number(place[0])} {number(place[1])})",
        class_="report-mark",
    )


def draw(findings: Sequence[FindingLine], *, body: str, key: str) -> ReportPlan:
    """The plan with the findings' numbers.

    Args:
        body: saloon, estate, hatch, suv, van, pickup, roadster or coupe.
        key: unique on the page, for the ids.
    """
    shape = body_of(body)
    known = regions(shape)
    taken: list[Point] = []
    marks, unplaced = [], []
    for finding in findings:
        wanted = _anchor(finding, known)
        if wanted is None:
            unplaced.append(finding.n)
            continue
        place = _free(wanted, taken)
        taken.append(place)
        marks.append(_mark(finding, place))
    parts = join(
        [
            el("title", _("The vehicle from above with the numbers of the findings"), id=f"{key}-t"),
            el("path", d=line(silhouette(shape), closed=True), class_="body"),
            *(
                el("path", d=line(outline, closed=True), class_="outline")
                for name in sorted(known, key=_order)
                for outline in known[name]
            ),
            el("text", _("front"), x=X0, y=MIDDLE - HALF - 12, class_="aside"),
            el("text", _("rear"), x=X0 + LENGTH, y=MIDDLE - HALF - 12, class_="aside end"),
            *marks,
        ]
    )
    svg = el(
        "svg", parts, viewBox=f"0 0 {WIDTH} {HEIGHT}", role="img", class_="drawing plan report-plan",
        aria_labelledby=f"{key}-t",
    )  # fmt: skip
    return ReportPlan(svg, tuple(unplaced))


def signature(strokes: Sequence[Sequence[Point]], *, width: int, height: int, alone: bool = False) -> SafeString:
    """A drawn signature. `alone`: as a file of its own, for print."""
    lines = [
        el(
            "polyline",
            points=" ".join(f"{number(x)},{number(y)}" for x, y in (stroke if len(stroke) > 1 else [*stroke, *stroke])),
            fill="none",
            stroke="#152e2d" if alone else None,
            stroke_width="5",
            stroke_linecap="round",
            stroke_linejoin="round",
        )
        for stroke in strokes
    ]
    return el(
        "svg", *lines, viewBox=f"0 0 {width} {height}", class_="signature", role="img",
        aria_label=_("The signature as it was drawn"), xmlns="http://www.w3.org/2000/svg" if alone else None,
    )  # fmt: skip
