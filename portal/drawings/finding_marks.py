"""Findings as numbered marks on the vehicle plan and on a surface's own outline. Our own simple shapes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.utils.safestring import SafeString

from .outline import HALF, LENGTH, MIDDLE, X0, body_of, regions, silhouette
from .places import Spot, columns_of, manner_of, pieces_of
from .plan import HEIGHT, WIDTH, order_of, owners
from .svg import el, join, line, number

# A mark's shape tells the family of what was found; its number leads to the words in the list.
SHAPES: Final = {
    "line": "M-10 8L-6-8H10L6 8z",
    "loss": "M-10-8H10L5 9H-5z",
    "stain": "M0-12C4-7 10-4 10 2A10 8 0 0 1-10 2C-10-4-4-7 0-12z",
    "earlier": "M-9-9H4L9-4V9H-9z",
    "other": "M-11 0L-6-9H6L11 0L6 9H-6z",
}
FAMILIES: Final = {
    "line": ("swirls", "scuff", "scratch", "buffer_trails"),
    "loss": ("chip", "crack"),
    "stain": ("oxidation", "fading", "water_etching", "bird_etching", "staining"),
    "earlier": ("touch_up", "refinish", "overspray"),
}
# Outlines in a box of 100 by 60: the edge, and lines within that help to find one's way.
OUTLINES: Final = {
    "panel": ("M12 6L90 3Q97 30 90 57L12 54Q5 54 5 48V12Q5 6 12 6z", "M14 20Q50 15 93 17M14 40Q50 45 93 43"),
    "door": ("M7 31L25 6Q27 4 31 4H91Q94 4 94 7V54Q94 57 91 57H11Q7 57 7 53z", "M15 29L30 10H89V29zM76 35H88"),
    "wing": ("M4 26Q30 12 96 10V56H78A19 19 0 0 0 40 56H8Q4 56 4 51z", "M10 32Q50 20 94 20"),
    "sill": ("M3 22H97L93 42H7z", "M8 32H92"),
    "bumper": ("M4 16Q50 5 96 16L92 46Q50 57 8 46z", "M26 36Q50 41 74 36M10 26Q50 17 90 26"),
    "pane": ("M16 5H84Q90 5 92 11L98 51Q98 55 94 55H6Q2 55 2 51L8 11Q10 5 16 5z", ""),
    "wheel": (
        "M50 2A28 28 0 1 0 50 58A28 28 0 1 0 50 2z",
        "M50 11A19 19 0 1 0 50 49A19 19 0 1 0 50 11zM50 25V11M55 29L68 24M53 34L61 45M47 34L39 45M45 29L32 24",
    ),
    "lamp": ("M5 40Q9 12 46 8L92 11Q97 14 92 25Q80 47 40 51Q9 53 5 40z", "M34 20A11 11 0 1 0 34 42A11 11 0 1 0 34 20z"),
    "trim": ("M3 23Q50 14 97 23V37Q50 44 3 37z", ""),
    "engine bay": ("M9 6H91L96 30L91 54H9L4 30z", "M30 15H64V45H30zM71 15H87V28H71zM72 35H88V46H72z"),
    "interior": (
        "M12 5H88Q95 5 95 12V48Q95 55 88 55H12Q5 55 5 48V12Q5 5 12 5z",
        "M18 7Q24 30 18 53M31 10H47V26H31zM31 34H47V50H31zM66 9H84V51H66z",
    ),
}
CELL: Final = {1: (300, 180), 2: (156, 106)}
PAD: Final = 14


@dataclass(frozen=True, slots=True)
class Mark:
    """One finding on a drawing. `ours`: it was not there before the work."""

    number: int
    kind: str
    surface_id: int | None
    on_outline: bool
    x: float | None
    y: float | None
    ours: bool = False


def family_of(kind: str) -> str:
    """The shape that stands for a kind of finding."""
    return next((family for family, kinds in FAMILIES.items() if kind in kinds), "other")


def shape_of(spot: Spot) -> str:
    """Which of our outlines stands for a surface."""
    code = spot.code
    for words, shape in (
        (("engine",), "engine bay"),
        (("lamp", "headlight"), "lamp"),
        (("trim", "chrome", "mirror"), "trim"),
        (("door",), "door"),
        (("wing", "fender", "quarter"), "wing"),
        (("bumper",), "bumper"),
        (("sill", "rocker"), "sill"),
    ):
        if any(word in code for word in words):
            return shape
    if spot.substrate == "glass":
        return "pane"
    return {"wheel": "wheel", "inside": "interior", "sill": "sill"}.get(spot.orientation, "panel")


def _shape(kind: str, text: str, x: float, y: float, *, ours: bool) -> SafeString:
    shape = SHAPES[family_of(kind)]
    outer = el("path", d=shape, class_="ours", transform="scale(1.35)") if ours else ""
    return el(
        "g",
        outer,
        el("path", d=shape, class_="mark-edge"),
        el("text", text, y=4, class_="mark-number"),
        transform=f"translate({number(x)} {number(y)})",
        class_="finding-mark",
    )


def _mark(mark: Mark, x: float, y: float) -> SafeString:
    return _shape(mark.kind, str(mark.number), x, y, ours=mark.ours)


def sign(mark: Mark) -> SafeString:
    """A mark by itself, for the list beside the drawings."""
    inside = _mark(mark, 18, 18)
    return el("svg", inside, viewBox="0 0 36 36", class_="drawing sign", aria_hidden="true")


def draw_plan(spots: Sequence[Spot], marks: Sequence[Mark], *, body: str, key: str, title: str) -> SafeString:
    """The vehicle from above with the marks that were placed on it; each region carries the id of its surface."""
    shape = body_of(body)
    known = regions(shape)
    taken = owners(spots, known)
    drawn = [
        el(
            "path",
            el("title", taken[name].name) if name in taken else "",
            d=line(outline, closed=True),
            class_="region" if name in taken else "outline",
            data_surface=taken[name].id if name in taken else None,
        )
        for name in sorted(known, key=order_of)
        for outline in known[name]
    ]
    placed = [
        _mark(mark, mark.x * WIDTH, mark.y * HEIGHT)
        for mark in marks
        if not mark.on_outline and mark.x is not None and mark.y is not None
    ]
    parts = join(
        [
            el("title", title, id=f"{key}-t"),
            el("path", d=line(silhouette(shape), closed=True), class_="body"),
            *drawn,
            el("text", "front", x=X0, y=MIDDLE - HALF - 12, class_="aside"),
            el("text", "rear", x=X0 + LENGTH, y=MIDDLE - HALF - 12, class_="aside end"),
            *placed,
        ]
    )
    return el(
        "svg", parts, viewBox=f"0 0 {WIDTH} {HEIGHT}", role="img", class_="drawing plan findings-plan",
        aria_labelledby=f"{key}-t",
    )  # fmt: skip


def draw_outline(spot: Spot, marks: Sequence[Mark], *, body: str, key: str) -> SafeString:
    """A surface's own outline, all its pieces, with the marks that were placed on it.

    The whole drawing is the field of the coordinates; a piece is a cell of it.
    """
    pieces = pieces_of(spot.code, body)
    wide = columns_of(len(pieces))
    high = -(-len(pieces) // wide)
    width, height = CELL[wide]
    edge, inner = OUTLINES[shape_of(spot)]
    cells = []
    for i, piece in enumerate(pieces):
        x, y = i % wide * width, i // wide * height
        across, down = (width - 2 * PAD) / 100, (height - 2 * PAD) / 60
        if shape_of(spot) == "wheel":
            across = down = min(across, down)
        left = x + (width - 100 * across) / 2
        cells.append(
            el(
                "g",
                el("path", d=edge, class_="region"),
                el("path", d=inner, class_="inner") if inner else "",
                transform=f"translate({number(left)} {number(y + PAD)}) scale({across:.3f} {down:.3f})",
            )
        )
        if len(pieces) > 1:
            cells.append(el("text", piece.label, x=x + width / 2, y=y + height - 2, class_="aside mid"))
    placed = [
        _mark(mark, mark.x * width * wide, mark.y * height * high)
        for mark in marks
        if mark.on_outline and mark.surface_id == spot.id and mark.x is not None and mark.y is not None
    ]
    parts = join([el("title", f"Outline: {spot.name}", id=f"{key}-t"), *cells, *placed])
    return el(
        "svg", parts, viewBox=f"0 0 {width * wide} {height * high}", role="img", class_="drawing surface-outline",
        aria_labelledby=f"{key}-t", data_surface=spot.id, data_manner=manner_of(spot.orientation),
        data_columns=wide, data_rows=high, data_pieces="|".join(piece.label for piece in pieces),
    )  # fmt: skip
