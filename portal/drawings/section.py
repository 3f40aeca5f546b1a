"""The section: a surface cut through, its layers to scale in µm, what has worn off hatched.

Films and paint stand on a linear scale; coats thinner than 2 µm on a logarithmic one, marked as such; the substrate is
cut off. The width of a coat is its function: full as far as nearly surely left (10 %), lightly
hatched as far as perhaps left (90 %), hatched where nearly surely worn.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from lifecycle.care.tongue import measures
from lifecycle.care.tongue.measures import thickness_words

from .strata import Stratum
from .svg import Label, el, join, number, spread, wrap
from .words import STAGE_WORDS, share_range, thickness_range

WIDTH: Final = 340
LEFT: Final = 22.0
CUT: Final = 128.0
LABEL_X: Final = 174.0
LABEL_CHARS: Final = 27
LINE: Final = 13.5
TOP: Final = 10.0
SUBSTRATE_PX: Final = 34.0
THIN_UM: Final = 2.0
LINEAR_PX: Final = 176.0
MOST_PX_PER_UM: Final = 1.6
SHORTEST_BAR_UM: Final = 5.1  # 5 µm or 0.2 mil


@dataclass(frozen=True, slots=True)
class _Placed:
    stratum: Stratum
    top: float
    bottom: float


def thin_px(thickness_um: float) -> float:
    """Height of a coat on the logarithmic scale: 8 px at 0.01 µm, 9 more for every ten times as much."""
    return 8.0 + 9.0 * math.log10(max(thickness_um, 0.01) / 0.01)


def _is_thin(stratum: Stratum) -> bool:
    return stratum.um is not None and stratum.um < THIN_UM


def px_per_um(strata: Sequence[Stratum]) -> float:
    """The linear scale that fits all thick strata."""
    total = sum(s.um for s in strata if s.um is not None and not _is_thin(s))
    return min(MOST_PX_PER_UM, LINEAR_PX / total) if total > 0 else MOST_PX_PER_UM


def _height(stratum: Stratum, scale: float) -> float:
    if stratum.um is None:
        return SUBSTRATE_PX if stratum.material not in ("coat", "film") else thin_px(0.3)
    return thin_px(stratum.um) if _is_thin(stratum) else max(stratum.um * scale, 5.0)


def _place(strata: Sequence[Stratum], scale: float) -> list[_Placed]:
    """From the top down."""
    placed = []
    y = TOP
    for stratum in reversed(strata):
        height = _height(stratum, scale)
        placed.append(_Placed(stratum, y, y + height))
        y += height
    return placed


def _wave(y: float, swell: float = 1.2) -> str:
    """A layer's upper boundary: nearly straight, never ruled."""
    quarter, half = number(CUT / 4), number(CUT / 2)
    return f"M{number(LEFT)} {number(y)}q{quarter}-{number(swell)} {half} 0t{half} 0"


def _block(placed: _Placed, bottom: float) -> SafeString:
    """One stratum down to the bottom of the drawing: the next one below is drawn over it."""
    stratum = placed.stratum
    body = f"{_wave(placed.top)}V{number(bottom)}H{number(LEFT)}z"
    kind = f"st-{stratum.stage}" if stratum.stage else f"m-{stratum.material}"
    block = el("path", d=body, fill=f"url(#{kind})", class_="bed")
    if stratum.function is None:
        return block
    return join([block, *_worn(placed), el("path", d=_wave(placed.top), class_="line")])


def _worn(placed: _Placed) -> list[SafeString]:
    band = placed.stratum.function
    if band is None:
        return []
    low, likely, high = (LEFT + CUT * share for share in (band.p10, band.p50, band.p90))
    top, height = placed.top, placed.bottom - placed.top
    return [
        el("rect", x=low, y=top, width=high - low, height=height, fill="url(#worn-perhaps)"),
        el("rect", x=high, y=top, width=LEFT + CUT - high, height=height, fill="url(#worn)"),
        el("path", d=f"M{number(likely)} {number(top)}v{number(height)}", class_="likely"),
    ]


def _budget(placed: _Placed, scale: float) -> list[SafeString]:
    """The bracket on the clear coat: how much may come off, from its upper face down."""
    band = placed.stratum.budget
    if band is None or band.p50 <= 0:
        return []
    depth = max(band.p50 * scale, 3.0)
    x = LEFT + CUT + 2
    return [
        el("path", d=f"M{number(x)} {number(placed.top)}h5v{number(depth)}h-5", class_="bracket"),
        el("path", d=f"M{number(LEFT)} {number(placed.top + depth)}h{number(CUT)}", class_="horizon"),
    ]


def _says(stratum: Stratum) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Lines of a label: the name, for a coat with its thickness; then the facts."""
    if stratum.stage:
        name = stratum.name if stratum.um is None else f"{stratum.name}, {thickness_words(stratum.um)}"
        fact = str(STAGE_WORDS[stratum.stage])
        if stratum.function is not None:
            fact = _("%(stage)s, %(range)s left") % {"stage": fact, "range": share_range(stratum.function)}
        return wrap(name, LABEL_CHARS), wrap(fact, LABEL_CHARS + 2)
    if stratum.um is None:
        return wrap(stratum.name, LABEL_CHARS), (_("not to scale"),)
    thick = thickness_words(stratum.um)
    facts = (_("usually %(thick)s") % {"thick": thick} if stratum.usual else thick,)
    if stratum.budget is None:
        return wrap(stratum.name, LABEL_CHARS), facts
    if stratum.budget.p50 > 0:
        return wrap(stratum.name, LABEL_CHARS), (
            *facts,
            _("to spare: %(range)s") % {"range": thickness_range(stratum.budget)},
        )
    return wrap(stratum.name, LABEL_CHARS), (*facts, _("nothing to spare"))


def _labels(placed: Sequence[_Placed]) -> tuple[SafeString, float]:
    """Names to the right with leader lines; returns the lowest edge too."""
    texts = [_says(item.stratum) for item in placed]
    labels = []
    for item, (name, details) in zip(placed, texts, strict=True):
        height = LINE * (len(name) + len(details))
        labels.append(Label(y=(item.top + item.bottom - height) / 2, height=height))
    lowest = spread(labels, top=2.0, gap=5.0)
    parts = []
    for item, label, (name, details) in zip(placed, labels, texts, strict=True):
        middle = (item.top + item.bottom) / 2
        start = LEFT + CUT + (8 if item.stratum.budget is not None else 1)
        text_y = label.y + 7
        parts.append(el("path", d=f"M{number(start)} {number(middle)}L{number(LABEL_X - 6)} {number(text_y)}h3",
                        class_="leader"))  # fmt: skip
        spans = [
            el("tspan", line, x=LABEL_X, dy=None if index == 0 else LINE, class_="fact" if index >= len(name) else None)
            for index, line in enumerate((*name, *details))
        ]
        parts.append(el("text", *spans, x=LABEL_X, y=label.y + 10.5))
    return join(parts), lowest


def bar_lengths_um() -> tuple[float, ...]:
    """Lengths that the scale bar may have, the longest first: round in the unit shown."""
    if measures.mils():
        return tuple(measures.UM_PER_MIL * mil for mil in (4.0, 2.0, 1.0, 0.5, 0.2))
    return (100.0, 50.0, 20.0, 10.0, 5.0)


def _scales(placed: Sequence[_Placed], scale: float) -> list[SafeString]:
    """At the left: a bar for the linear scale, a bracket where the scale is logarithmic."""
    parts = []
    thick = [item for item in placed if item.stratum.um is not None and not _is_thin(item.stratum)]
    if thick:
        bottom = max(item.bottom for item in thick)
        length = next(um for um in bar_lengths_um() if um * scale <= 60 or um <= SHORTEST_BAR_UM)
        y = bottom - length * scale
        parts.append(el("path", d=f"M17 {number(bottom)}h-5V{number(y)}h5", class_="measure"))
        parts.append(_aside(thickness_words(length), (bottom + y) / 2))
    thin = [item for item in placed if item.stratum.um is not None and _is_thin(item.stratum)]
    for item in thin:
        parts.append(el("path", d=f"M17 {number(item.bottom - 1)}h-3V{number(item.top + 1)}h3", class_="measure log"))
    if thin:
        parts.append(_aside(_("log"), (thin[0].top + thin[-1].bottom) / 2))
    return parts


def _aside(text: str, middle: float) -> SafeString:
    return el("text", text, x=8, y=middle, transform=f"rotate(-90 8 {number(middle)})", class_="aside")


def _torn(y: float) -> SafeString:
    """The lower edge of the substrate: torn off, for the rest is far thicker than the drawing."""
    step = CUT / 8
    jags = "".join(f"l{number(step / 2)} 5l{number(step / 2)}-5" for _index in range(8))
    edge = f"M{number(LEFT)} {number(y)}{jags}V{number(y + 12)}H{number(LEFT)}z"
    return join([el("path", d=edge, class_="tear"), el("path", d=f"M{number(LEFT)} {number(y)}{jags}", class_="line")])


def describe(strata: Sequence[Stratum]) -> str:
    """The section in one sentence, from the top down."""
    said = []
    for stratum in reversed(strata):
        name, details = _says(stratum)
        said.append(" ".join(name) + (f" ({', '.join(details)})" if details else ""))
    return _("From the top down: %(layers)s.") % {"layers": "; ".join(said)}


def draw(strata: Sequence[Stratum], *, key: str, title: str) -> SafeString:
    """The section as SVG.

    Args:
        strata: from the substrate up, at least the substrate.
        key: unique on the page, for the ids.
        title: what is cut, e.g. "Section through the bonnet".
    """
    if not strata:
        raise ValueError("a section needs at least the substrate")
    scale = px_per_um(strata)
    placed = _place(strata, scale)
    bottom = placed[-1].bottom
    labels, lowest = _labels(placed)
    height = max(bottom + 8, lowest + 4)
    parts: list[str] = [
        el("title", title, id=f"{key}-t"),
        el("desc", describe(strata), id=f"{key}-d"),
        *(_block(item, bottom) for item in placed),
        _torn(bottom - 5),
        *(part for item in placed for part in _budget(item, scale)),
        *_scales(placed, scale),
        labels,
    ]  # fmt: skip
    return el(
        "svg", *parts, viewBox=f"0 0 {WIDTH} {number(height)}", role="img", class_="drawing section",
        aria_labelledby=f"{key}-t {key}-d",
    )  # fmt: skip
