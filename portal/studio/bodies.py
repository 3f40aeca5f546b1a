"""The bodies to choose from, each with its outline from above."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.utils.safestring import SafeString

from portal.drawings.outline import body_of, regions, silhouette
from portal.drawings.svg import el, line

SHOWN = ("bonnet", "windscreen", "roof", "rear_glass", "boot")


@dataclass(frozen=True, slots=True)
class BodyChoice:
    code: str
    label: str
    outline: SafeString


def outlines(words: Mapping[str, str]) -> tuple[BodyChoice, ...]:
    """One entry for each body. The drawing only helps; the word beside it says the same."""
    return tuple(BodyChoice(code, label, _outline(code)) for code, label in words.items())


def _outline(code: str) -> SafeString:
    body = body_of(code)
    parts = regions(body)
    return el(
        "svg",
        el("path", d=line(silhouette(body), closed=True), class_="body"),
        *(el("path", d=line(shape, closed=True), class_="outline") for name in SHOWN for shape in parts[name]),
        viewBox="0 16 340 140",
        class_="drawing plan",
        aria_hidden="true",
    )
