"""The usual cautions beside the work they belong to (common practice). They never replace the sheet of the product."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from lifecycle.care.directory import Choice

FIRST: Final = (
    "Read the product's safety data sheet first: it, the maker's guide and local rules overrule what stands here. "
    "Gloves and eye protection; never mix chemicals; fresh air."
)
LAYER: Final = (
    FIRST,
    "Solvents and coatings: no flame, spark or hot lamp near them; rags dry spread out, outdoors.",
    "Anything with isocyanates is sprayed only by trained people with supplied air.",
    "Curing lamps, UV or infrared: trained people only, eyes covered, distance as the maker says.",
    "Never coat or dress brakes, tyre tread, pedals or the steering wheel; nothing on airbag seams.",
    "Film and coats stay off cameras and sensors unless the maker allows it.",
    "Windscreen: smear test with wet wipers in the dark before the road.",
)
EVENT: Final = (
    FIRST,
    "Wheel cleaners free of hydrofluoric acid, on cold wheels; wash water to an approved drain.",
    "Steam and pressure: keep away from skin, seals, edges of film and electrics.",
    "Engine bay: engine cool, ignition off, electrics masked.",
)
ELECTRIC: Final = (
    "Orange cables carry high voltage: no steam and no pressure water in the engine bay by untrained people, and never "
    "while charging.",
    "A flooded electric vehicle stays outdoors, away from buildings, until trained people have seen it.",
)
CORRECTION: Final = (
    FIRST,
    "Machine and dust: eyes and ears covered, a mask where dust flies; cables and hair away from the pad.",
    "Edges, creases and body lines carry the least paint: measure before, tape them off, feel the heat of the panel.",
    "What was taken off does not come back: over its budget, or where it is not known, paint is not polished.",
)
INSPECTION: Final = (
    "Look at cool, dry panels; a hot engine and hot brakes burn.",
    "Thickness: calibrate the gauge on the day; five values a spot or more; the thinnest spot decides.",
)


def for_layer(powertrain: str) -> tuple[str, ...]:
    """Cautions beside putting a layer on."""
    return (*LAYER, ELECTRIC[0]) if powertrain in ("electric", "hybrid") else LAYER


def for_event(powertrain: str) -> tuple[str, ...]:
    """Cautions beside washing, decontaminating and whatever happened."""
    return (*EVENT, *ELECTRIC) if powertrain in ("electric", "hybrid") else EVENT


def of_products(products: Iterable[Choice]) -> dict[str, list[str]]:
    """What the studio noted with its products: each caution once, with the products it is of."""
    found: dict[str, list[str]] = {}
    for product in products:
        if product.hint:
            found.setdefault(product.hint, []).append(product.label)
    return found
