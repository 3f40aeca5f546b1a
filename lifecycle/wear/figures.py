"""The one parameter table: every figure of the wear model by key, and what a studio may put in its place.

`wear.csv` (clock, evidence, clogging, clear coat, etching) and `correction.csv` (film, defects, refinish) are asked
through `figure`; the exposure asks `parameters.csv` itself. `all_figures` joins them with the figures of the layer
kinds (`layer.<kind>.<column>`).
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

from lifecycle.wear import chemistry, marks
from lifecycle.wear.marks import CORRECTION, STUDIO_TABLES, WEAR, Figure, TableError, load_figures, parameter

# The reference duty and the climate were computed with these: one studio cannot change them without computing the
# reference anew (tests/oracle), else the median life at the reference duty would no longer come out.
COMPUTED_TOGETHER = ("dose.", "uv.", "panel.", "solar.", "climate.", "reference.", "day.", "home.", "moment.")
DEFINITIONS = (
    "absorptance.mid", "share_day.street", "share_night.street", "stage.function_at_end", "jump.washes",
)  # fmt: skip
SHARES = ("share_day.", "share_night.", "absorptance.", "clog.removed", "clog.due", "clog.hides", "clog.useful",
          "evidence.weight.", "clear.share", "etch.shield", "life.", "sun.inside", "warmth.inside")  # fmt: skip
IN_ORDER = (
    tuple(f"cut.{number}" for number in range(1, 6)),
    ("rate.least", "rate.most"),
    ("clear.least_total", "clear.middle_from", "clear.thick_from", "clear.most_total"),
    ("clear.thin", "clear.middle", "clear.thick"),
    ("refinish.possible", "refinish.above"),
    ("clog.due", "clog.hides"),
)
WILD = 10.0


def figure(key: str) -> Figure:
    """The figure of wear.csv or correction.csv with its range, mark and source; a studio's own where it has one.

    Raises:
        KeyError: no such key.
    """
    try:
        return load_figures(WEAR)[key]
    except KeyError:
        return parameter(key, path=CORRECTION)


def wear_value(key: str) -> float:
    """Short for `figure(key).value`."""
    return figure(key).value


def all_figures() -> dict[str, Figure]:
    """Every figure that holds here and now, by key; layers as `layer.<kind>.<column>`.

    Raises:
        TableError: a key stands in two tables.
    """
    found: dict[str, Figure] = {}
    for path in STUDIO_TABLES:
        table = load_figures(path)
        twice = sorted(table.keys() & found.keys())
        if twice:
            raise TableError(f"{path.name}: {twice[0]} stands in another table too; keep one row.")
        found.update(table)
    found.update(chemistry.layer_figures())
    return found


def why_fixed(key: str, shipped: Figure) -> str:
    """Why a studio cannot have its own figure for a key, "" where it can."""
    if key.startswith(COMPUTED_TOGETHER):
        return "it belongs to the physics and climate with which the reference duty was computed"
    if key in DEFINITIONS or (shipped.low == shipped.high and shipped.value == shipped.low):
        return "it defines the reference duty or a word; nothing is estimated here"
    return ""


def _plausible(key: str, own: Figure, shipped: Figure) -> None:
    if shipped.low >= 0 and own.low < 0:
        raise TableError(f"{key}: low {own.low:g} is below 0; this figure cannot be negative.")
    if shipped.low > 0 and not own.low > 0:
        raise TableError(f"{key}: low is 0; write a number above 0.")
    if key.startswith(SHARES) and own.high > 1:
        raise TableError(f"{key}: high {own.high:g} is above 1; write a share from 0 to 1.")
    if shipped.low > 0 and not shipped.low / WILD <= own.value <= shipped.high * WILD:
        span = f"{shipped.low:g} to {shipped.high:g} {shipped.unit if shipped.unit != '1' else ''}".strip()
        raise TableError(f"{key}: {own.value:g} is far from the table's {span}; check the unit.")


def _known(key: str, shipped: Mapping[str, Figure]) -> Figure:
    if key not in shipped:
        raise TableError(f"{key}: there is no such figure; take a key from the table.")
    reason = why_fixed(key, shipped[key])
    if reason:
        raise TableError(f"{key}: cannot be changed for one studio, {reason}.")
    return shipped[key]


def _in_order() -> None:
    for keys in IN_ORDER:
        for below, above in pairwise(keys):
            if not wear_value(below) < wear_value(above):
                says = f"{below} is {wear_value(below):g} and {above} is {wear_value(above):g}"
                raise TableError(f"{above}: {says}; the first must stay below the second.")


def check_overrides(
    figures: Mapping[str, Figure], *, products: Mapping[str, Mapping[str, Figure]] | None = None
) -> marks.Overrides:
    """A studio's figures, held to what holds for the table: range, sign, shares, order, weights that sum to 1.

    Args:
        figures: the studio's own figures by key.
        products: figures of single products, by the product's name; only keys `layer.<kind>.*`.

    Returns:
        What `marks.overridden` takes.

    Raises:
        TableError: names the key, what is wrong and how to mend it.
    """
    overrides = marks.make_overrides(figures, products=products)
    with marks.overridden(marks.NO_OVERRIDES):
        shipped = all_figures()
    for key, own in figures.items():
        _plausible(key, own, _known(key, shipped))
    for product, mine in overrides.products.items():
        for key, own in mine.items():
            if not key.startswith("layer."):
                raise TableError(f"{key}: only the figures of its layer kind can be set for a product ({product}).")
            _plausible(key, own, _known(key, shipped))
    with marks.overridden(overrides):
        _in_order()
        chemistry.chemistries()
        for product in overrides.products:
            chemistry.chemistries(product=product)
    return overrides
