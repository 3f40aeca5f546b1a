"""A few bricks of SVG. Everything is escaped; nothing carries a style attribute."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from django.utils.html import conditional_escape
from django.utils.safestring import SafeString, mark_safe

Number = float | int
Attribute = str | Number | None


def number(value: Number) -> str:
    """A coordinate with one decimal at most and no needless zero."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def el(tag: str, *children: str, **attributes: Attribute) -> SafeString:
    """One element. `class_` is class, `_` in a name is `-`, None leaves the attribute out."""
    said = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{_value(value)}"'
        for name, value in attributes.items()
        if value is not None
    )
    inside = "".join(conditional_escape(child) for child in children)
    closed = f">{inside}</{tag}>" if inside else "/>"
    return mark_safe(f"<{tag}{said}{closed}")  # noqa: S308  (children and values are escaped above)


def _value(value: Attribute) -> str:
    return number(value) if isinstance(value, int | float) else str(conditional_escape(value))


def join(parts: Iterable[str]) -> SafeString:
    """Elements one after the other."""
    return mark_safe("".join(conditional_escape(part) for part in parts))  # noqa: S308  (escaped)


def line(pairs: Iterable[tuple[Number, Number]], *, closed: bool = False) -> str:
    """A path through whole pixels, told in steps: short, for a page holds many of them."""
    whole = [(round(x), round(y)) for x, y in pairs]
    steps = [(x - a, y - b) for (a, b), (x, y) in pairwise(whole)]
    told = "".join(_step(x, y) for x, y in steps if (x, y) != (0, 0))
    return f"M{whole[0][0]} {whole[0][1]}l{told.lstrip()}{'z' if closed else ''}"


def _step(x: int, y: int) -> str:
    return f"{'' if x < 0 else ' '}{x}{'' if y < 0 else ' '}{y}"


def wrap(text: str, width: int) -> tuple[str, ...]:
    """Lines of at most `width` characters, broken at spaces; a longer word stays whole."""
    lines: list[str] = []
    for word in text.split():
        if lines and len(lines[-1]) + 1 + len(word) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return tuple(lines)


@dataclass(slots=True)
class Label:
    """A text that wants to stand at height `y` and may be moved so that labels do not overlap."""

    y: float
    height: float


def spread(labels: list[Label], *, top: float, gap: float) -> float:
    """Move labels (sorted from top to bottom, by their upper edge) apart; returns the lowest edge in use.

    First everything is pushed down, then what went too far is pulled back up as long as there is room above.
    """
    edge = top
    wanted = [label.y for label in labels]
    for label in labels:
        label.y = max(label.y, edge)
        edge = label.y + label.height + gap
    for index in range(len(labels) - 1, -1, -1):
        label = labels[index]
        above = labels[index - 1].y + labels[index - 1].height + gap if index else top
        label.y = max(above, min(label.y, wanted[index]))
    return max((label.y + label.height for label in labels), default=top)
