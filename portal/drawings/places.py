"""Where on a surface something is: its pieces, thirds in words, and the way between words and coordinates.

Coordinates are shares from 0 to 1, either of the vehicle plan (nose to the left, the right-hand side above) or of the
surface's own outline. On an outline, what lies is seen from above, nose to the left; a flank from its side, front to
the left; front, rear and their panes with the vehicle's left to the left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from lifecycle.care.wording import spoken

from .outline import MIDDLE, Point, body_of, regions
from .plan import HEIGHT, WIDTH, regions_of

Manner = Literal["lying", "flank", "end"]
ALONG: Final = ("front", "middle", "rear")
HEIGHTS: Final = ("upper", "middle", "lower")
# Rows from the top of the outline's drawing, columns from its left.
GRIDS: Final[dict[str, tuple[tuple[str, ...], tuple[str, ...]]]] = {
    "lying": (("right", "middle", "left"), ALONG),
    "flank": (HEIGHTS, ALONG),
    "end": (HEIGHTS, ("left", "middle", "right")),
}
GROUP_WORDS: Final = {
    "lying": "Bonnet, roof, boot, inside",
    "flank": "Doors, wings, sills, wheels",
    "end": "Front, rear and their panes",
}


@dataclass(frozen=True, slots=True)
class Spot:
    """A surface as the drawings see it."""

    id: int
    code: str
    name: str
    orientation: str
    substrate: str


@dataclass(frozen=True, slots=True)
class Piece:
    """One part of a surface that has several (the left one of the front wings); `outline` where the plan shows it."""

    label: str
    outline: tuple[Point, ...] = ()


def manner_of(orientation: str) -> Manner:
    """How a surface is looked at."""
    if orientation in ("flat", "inside"):
        return "lying"
    return "end" if orientation in ("front", "rear", "screen") else "flank"


def pieces_of(code: str, body: str) -> tuple[Piece, ...]:
    """The parts of a surface from the front; always one at least."""
    known = regions(body_of(body))
    found = []
    for region in regions_of(code):
        shapes = known.get(region, [])
        for number, shape in enumerate(shapes):
            end = f"{ALONG[2 * number]} " if len(shapes) == 2 else ""
            found.append(Piece(f"{end}{spoken(region)}".replace("wheels", "wheel"), tuple(shape)))
    return tuple(found) or (Piece(""),)


def columns_of(count: int) -> int:
    """How many pieces stand side by side on the outline's drawing."""
    return 1 if count == 1 else 2


def _third(share: float) -> int:
    return min(2, max(0, int(share * 3)))


def third_words(manner: str, across: float, down: float) -> str:
    """The ninth of an outline in words: "front left", "upper rear", "centre"."""
    rows, columns = GRIDS[manner]
    row, column = rows[_third(down)], columns[_third(across)]
    first, second = (column, row) if manner == "lying" else (row, column)
    return "centre" if first == second else f"{first} {second}"


def choices() -> list[tuple[str, list[tuple[str, str]]]]:
    """The words of all three manners in groups, as a list to choose from. A value is e.g. "lying:front left"."""
    return [
        (
            GROUP_WORDS[manner],
            [
                (f"{manner}:{words}", words)
                for words in dict.fromkeys(
                    third_words(manner, (column + 0.5) / 3, (row + 0.5) / 3) for column in range(3) for row in range(3)
                )
            ],
        )
        for manner in GRIDS
    ]


def point_of(words: str, manner: str, *, piece: int = 0, count: int = 1) -> Point | None:
    """The middle of a ninth on the outline's drawing; None where the words are of another manner."""
    for row in range(3):
        for column in range(3):
            across, down = (column + 0.5) / 3, (row + 0.5) / 3
            if words == f"{manner}:{third_words(manner, across, down)}":
                wide = columns_of(count)
                high = -(-count // wide)
                return (piece % wide + across) / wide, (piece // wide + down) / high
    return None


def _on_plan(spot: Spot, piece: Piece, x: float, y: float) -> Point:
    """A point of the plan as shares of the piece's own outline."""
    xs, ys = [p[0] for p in piece.outline], [p[1] for p in piece.outline]
    along = (x * WIDTH - min(xs)) / (max(xs) - min(xs))
    below = (y * HEIGHT - min(ys)) / (max(ys) - min(ys))
    manner = manner_of(spot.orientation)
    if manner == "lying":
        return along, below
    if manner == "flank":
        # Flanks are folded out: away from the middle is down.
        return along, below if min(ys) + max(ys) > 2 * MIDDLE else 1 - below
    return 1 - below, along if spot.orientation == "rear" else 1 - along


def _distance(piece: Piece, x: float, y: float) -> float:
    """How far a point of the plan lies outside the box around a piece, in the drawing's units; 0 within."""
    xs, ys = [p[0] for p in piece.outline], [p[1] for p in piece.outline]
    across = max(min(xs) - x * WIDTH, 0.0, x * WIDTH - max(xs))
    down = max(min(ys) - y * HEIGHT, 0.0, y * HEIGHT - max(ys))
    return across + down


def outline_point(spot: Spot, body: str, x: float, y: float) -> Point | None:
    """A point of the vehicle plan on the surface's own outline; None where the plan does not show the surface."""
    pieces = pieces_of(spot.code, body)
    if not pieces[0].outline:
        return None
    index = min(range(len(pieces)), key=lambda one: _distance(pieces[one], x, y))
    across, down = (min(max(share, 0.0), 1.0) for share in _on_plan(spot, pieces[index], x, y))
    wide = columns_of(len(pieces))
    high = -(-len(pieces) // wide)
    return (index % wide + across) / wide, (index // wide + down) / high


def words_of(spot: Spot, body: str, *, on_outline: bool, x: float | None, y: float | None) -> str:
    """Where on its surface a point lies: "left front wing, upper rear". Empty where nobody said."""
    if x is None or y is None:
        return ""
    pieces = pieces_of(spot.code, body)
    if on_outline:
        wide = columns_of(len(pieces))
        high = -(-len(pieces) // wide)
        column, row = min(wide - 1, int(x * wide)), min(high - 1, int(y * high))
        piece = pieces[min(len(pieces) - 1, row * wide + column)]
        across, down = x * wide - column, y * high - row
    elif not pieces[0].outline:
        return ""
    else:
        piece = min(pieces, key=lambda one: _distance(one, x, y))
        across, down = _on_plan(spot, piece, x, y)
    words = third_words(manner_of(spot.orientation), across, down)
    return f"{piece.label}, {words}" if len(pieces) > 1 else words
