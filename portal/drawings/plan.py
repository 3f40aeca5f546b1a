"""The vehicle plan: surfaces as regions of an outline, filled with the pattern of their stage, with word and link."""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Protocol, TypeVar

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from .outline import HALF, LENGTH, MIDDLE, X0, Point, body_of, regions, silhouette
from .svg import el, join, line, number

WIDTH: Final = 340
HEIGHT: Final = 172
SIDES: Final = ("left", "right")
# Words of a code -> the regions it covers. The first line whose words are all in the code holds; a region ends in "*"
# where left and right are separate regions and both are meant unless the code names one.
KNOWN: Final = (
    (("soft", "top"), ("roof",)),
    (("roof",), ("roof",)),
    (("windscreen",), ("windscreen",)),
    (("windshield",), ("windscreen",)),
    (("side", "glass"), ("side_glass*",)),
    (("side", "window"), ("side_glass*",)),
    (("glass", "rear"), ("rear_glass",)),
    (("window", "rear"), ("rear_glass",)),
    (("headlamp",), ("headlamp*",)),
    (("headlight",), ("headlamp*",)),
    (("bumper", "rear"), ("rear_bumper",)),
    (("bumper",), ("front_bumper",)),
    (("bonnet",), ("bonnet",)),
    (("hood",), ("bonnet",)),
    (("boot",), ("boot",)),
    (("tailgate",), ("boot",)),
    (("bed",), ("boot",)),
    (("rear", "door"), ("rear_door*",)),
    (("front", "door"), ("front_door*",)),
    (("door",), ("front_door*", "rear_door*")),
    (("side",), ("front_door*", "rear_door*")),
    (("rear", "wing"), ("rear_wing*",)),
    (("quarter",), ("rear_wing*",)),
    (("wing",), ("front_wing*",)),
    (("fender",), ("front_wing*",)),
    (("sill",), ("sill*",)),
    (("rocker",), ("sill*",)),
    (("wheel",), ("wheels*",)),
)
# Order of drawing: small parts lie on large ones.
ORDER: Final = (
    "wheels", "sill", "front_bumper", "rear_bumper", "front_wing", "front_door", "rear_door", "rear_wing", "bonnet",
    "boot", "windscreen", "rear_glass", "side_glass", "roof", "headlamp",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class PlanItem:
    """One surface for the plan: its number in the list beside it, its stage and where its words stand on the page."""

    number: int
    code: str
    name: str
    stage: str
    word: str
    href: str
    grimy: bool = False


class HasCode(Protocol):
    """Anything with the code of a surface."""

    @property
    def code(self) -> str: ...


Coded = TypeVar("Coded", bound=HasCode)


def regions_of(code: str) -> tuple[str, ...]:
    """Regions that a surface's code covers; empty: it has no place in the plan (trim, leather, engine bay)."""
    words = code.lower().replace("-", "_")
    if any(word in words for word in ("trim", "leather", "engine", "interior", "mirror", "chrome")):
        return ()
    for needed, found in KNOWN:
        if all(word in words for word in needed):
            sides = [side for side in SIDES if side in words.split("_")] or list(SIDES)
            return tuple(f"{region[:-1]}_{side}" for region in found if region.endswith("*") for side in sides) or found
    return ()


def _centre(outline: Sequence[Point]) -> Point:
    xs, ys = [x for x, _y in outline], [y for _x, y in outline]
    return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2


def _size(outline: Sequence[Point]) -> float:
    xs, ys = [x for x, _y in outline], [y for _x, y in outline]
    return (max(xs) - min(xs)) * (max(ys) - min(ys))


def order_of(name: str) -> int:
    """Place of a region in the order of drawing."""
    return next(i for i, start in enumerate(ORDER) if name.startswith(start))


def _item(item: PlanItem, outlines: Sequence[Sequence[Point]]) -> SafeString:
    """A linked region. Its number stands in its largest piece, its word too where there is room."""
    shapes = [
        el("path", d=line(outline, closed=True), fill=f"url(#st-{item.stage})", class_="region") for outline in outlines
    ]
    if item.grimy:
        waves = "".join(line(outline, closed=True) for outline in outlines)
        shapes.append(el("path", d=waves, fill="url(#st-over)"))
    largest = max(outlines, key=_size)
    x, y = _centre(largest)
    label: list[SafeString] = [el("text", str(item.number), x=x, y=y + 4, class_="key")]
    xs, ys = [p[0] for p in largest], [p[1] for p in largest]
    if max(xs) - min(xs) >= 5.6 * len(item.word) and max(ys) - min(ys) >= 34:
        label = [
            el("text", str(item.number), x=x, y=y - 2, class_="key"),
            el("text", item.word, x=x, y=y + 12, class_="word"),
        ]
    title = el("title", f"{item.number}. {item.name}: {item.word}")
    return el("a", title, *shapes, *label, href=item.href, aria_label=f"{item.name}: {item.word}")


def owners(items: Iterable[Coded], known: Container[str]) -> dict[str, Coded]:
    """Which surface has which region of the plan.

    The first to name a region has it, unless a later one names fewer (a single door over all doors).
    """
    taken: dict[str, Coded] = {}
    for item in items:
        for region in regions_of(item.code):
            if region in known and (
                region not in taken or len(regions_of(item.code)) < len(regions_of(taken[region].code))
            ):
                taken[region] = item
    return taken


def draw(items: Sequence[PlanItem], *, body: str, key: str, title: str) -> SafeString:
    """The plan as SVG, with a link for each surface that has a place in it.

    Args:
        body: saloon, estate, hatch, suv, van, pickup, roadster or coupe.
        key: unique on the page, for the ids.
    """
    shape = body_of(body)
    known = regions(shape)
    taken = owners(items, known)
    empty = [
        el("path", d=line(outline, closed=True), class_="outline")
        for name in sorted(known, key=order_of)
        if name not in taken
        for outline in known[name]
    ]
    drawn = []
    for item in sorted(items, key=lambda i: min((order_of(r) for r in regions_of(i.code) if r in known), default=99)):
        outlines = [outline for name, owner in taken.items() if owner is item for outline in known[name]]
        if outlines:
            drawn.append(_item(item, outlines))
    nose = f"M{number(X0 - 4)} {number(MIDDLE - HALF * 0.4)}q-4 {number(HALF * 0.4)} 0 {number(HALF * 0.8)}"
    parts = join(
        [
            el("title", title, id=f"{key}-t"),
            el("path", d=line(silhouette(shape), closed=True), class_="body"),
            *empty,
            *drawn,
            el("path", d=nose, class_="nose"),
            el("text", _("front"), x=X0, y=MIDDLE - HALF - 8, class_="aside"),
            el("text", _("rear"), x=X0 + LENGTH, y=MIDDLE - HALF - 8, class_="aside end"),
        ]
    )
    return el(
        "svg", parts, viewBox=f"0 0 {WIDTH} {HEIGHT}", role="group", class_="drawing plan", aria_labelledby=f"{key}-t"
    )
