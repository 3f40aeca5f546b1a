"""A signature: lines drawn on the screen, or a typed name and a tick. Checked and capped before it is kept."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, Final

from lifecycle.errors import DomainError

# The field in which the lines are drawn, in its own units.
WIDTH: Final = 1000
HEIGHT: Final = 360
MOST_LINES: Final = 120
MOST_POINTS: Final = 4000
MOST_CHARACTERS: Final = 60_000
FEWEST_POINTS: Final = 6
HOW: Final = ("drawn", "typed")
AGAIN: Final = "clear the field and sign again, or type your name and tick the box instead."

Strokes = list[list[list[int]]]


@dataclass(frozen=True, slots=True)
class Signature:
    """`how`: "drawn" or "typed". `strokes`: lines of [x, y] in 0 to WIDTH and 0 to HEIGHT; empty where it was typed."""

    how: str
    name: str
    strokes: Strokes


def _point(raw: Any) -> list[int]:
    if (
        not isinstance(raw, list)
        or len(raw) != 2
        or not all(type(part) is int for part in raw)
        or not (0 <= raw[0] <= WIDTH and 0 <= raw[1] <= HEIGHT)
    ):
        raise DomainError(f"strokes: the drawn signature could not be read; {AGAIN}", field="strokes")
    return list(raw)


def read_strokes(text: str) -> Strokes:
    """The lines of a drawn signature from what the page's script sent.

    Raises:
        DomainError: not a list of lines of whole-numbered points within the field, too few or too many of them.
    """
    if len(text) > MOST_CHARACTERS:
        raise DomainError(f"strokes: the drawn signature is too long to keep; {AGAIN}", field="strokes")
    try:
        raw = json.loads(text or "[]")
    except (ValueError, RecursionError) as error:
        raise DomainError(f"strokes: the drawn signature could not be read; {AGAIN}", field="strokes") from error
    if not isinstance(raw, list) or not all(isinstance(line, list) for line in raw):
        raise DomainError(f"strokes: the drawn signature could not be read; {AGAIN}", field="strokes")
    if len(raw) > MOST_LINES or sum(len(line) for line in raw) > MOST_POINTS:
        raise DomainError(f"strokes: the drawn signature has too many lines to keep; {AGAIN}", field="strokes")
    return [[_point(point) for point in line] for line in raw if line]


def signature(*, how: str, name: str, strokes: Strokes, ticked: bool) -> Signature:
    """A signature that can be sealed.

    Raises:
        DomainError: no name, nothing drawn, or the box was not ticked.
    """
    name = " ".join(name.split())
    if not name:
        raise DomainError("name: type the name of the person who signs.", field="name")
    if len(name) > 160:
        raise DomainError("name: at most 160 characters.", field="name")
    if how not in HOW:
        raise DomainError(f"how: {how!r} is not known; use one of {', '.join(HOW)}.", field="how")
    if how == "typed":
        if not ticked:
            raise DomainError("seen: tick the box to say that you have seen this report.", field="seen")
        return Signature("typed", name, [])
    if sum(len(line) for line in strokes) < FEWEST_POINTS:
        raise DomainError(
            "strokes: sign in the field with a finger, a pen or the mouse; or tick the box instead.", field="strokes"
        )
    return Signature("drawn", name, strokes)
