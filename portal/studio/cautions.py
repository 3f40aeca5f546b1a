"""The usual cautions beside the work they belong to (common practice, no source). They never replace the sheet of the
product, the maker's word, local codes or a licensed trade; the first line of every step says so."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from lifecycle.care.directory import Choice

FIRST: Final = (
    "Read the product's safety data sheet first: it, the vehicle's maker, local codes and licensed trades overrule "
    "what stands here. Gloves and eye protection; never mix chemicals; fresh air."
)
# The steps of work, in the order in which they are done.
STEPS: Final = (
    "walk_around", "inspection", "wheels", "engine_bay", "wash", "decontamination", "event", "correction", "lamps",
    "film", "coating", "trim", "glass", "textile", "interior",
)  # fmt: skip
WET: Final = ("wheels", "engine_bay", "wash", "decontamination", "event")
SEALING: Final = ("film", "coating", "trim", "glass")


@dataclass(frozen=True, slots=True)
class Caution:
    """`electric`: only for vehicles with a drive battery."""

    text: str
    steps: tuple[str, ...]
    electric: bool = False


CAUTIONS: Final = (
    Caution(
        "Orange cables carry high voltage: no steam and no pressure water in the engine bay by untrained people, and "
        "never while charging.",
        ("walk_around", "inspection", "engine_bay", "wash", "event", "coating"),
        electric=True,
    ),
    Caution(
        "A flooded electric vehicle stays outdoors, away from buildings, until trained people have seen it.",
        ("walk_around", "inspection", "engine_bay", "wash", "event"),
        electric=True,
    ),
    Caution("Look at cool, dry panels; a hot engine and hot brakes burn.", ("walk_around", "inspection")),
    Caution(
        "Inspection lamps: never into eyes; UV lamps only with eyes and skin covered.", ("walk_around", "inspection")
    ),
    Caution(
        "Thickness: check the gauge on the day; three values a spot, five spots a panel or more; the thinnest spot "
        "decides.",
        ("inspection", "correction"),
    ),
    Caution(
        "Wheel cleaners free of hydrofluoric acid, on cold wheels; acids never on bare metal, hot panels or together "
        "with bleach or alkali.",
        ("wheels", "wash", "decontamination", "event"),
    ),
    Caution("Wash water and residues go to an approved drain, never into rain water or soil.", WET),
    Caution(
        "Steam and pressure: keep away from skin, seals, edges of film, sensors and electrics.",
        ("wheels", "engine_bay", "wash", "event", "interior"),
    ),
    Caution(
        "Engine bay: engine cool, ignition off, electrics masked; degreaser away from belts.", ("engine_bay", "event")
    ),
    Caution("Droppings, sap and overspray: soften, never rub dry; no solvent near a flame.", ("event",)),
    Caution(
        "Machine and dust: eyes and ears covered, a mask where dust flies; cables and hair away from the pad.",
        ("correction", "lamps"),
    ),
    Caution(
        "Edges, creases and body lines carry the least paint: measure before, tape them off, feel the panel's heat.",
        ("correction",),
    ),
    Caution(
        "What was taken off does not come back: over its budget, or where it is not known, paint is not polished.",
        ("correction",),
    ),
    Caution(
        "Solvents and coatings: no flame, spark or hot lamp near them; rags dry spread out, outdoors.",
        ("coating", "film", "trim", "glass", "lamps", "textile", "interior"),
    ),
    Caution(
        "Anything with isocyanates is sprayed only by trained people with supplied air.",
        ("coating", "lamps", "textile"),
    ),
    Caution(
        "Curing lamps, UV or infrared: trained people only, eyes and skin covered, distance as the maker says.",
        ("coating", "lamps", "trim"),
    ),
    Caution("Film: gentle heat only, blades away from glass coatings, seals and wiring.", ("film",)),
    Caution("Film and coats stay off cameras and sensors unless the maker allows it.", (*SEALING, "lamps")),
    Caution(
        "Never coat or dress brakes, tyre tread, pedals or the steering wheel; nothing on airbag seams.",
        ("coating", "trim", "wheels", "interior", "textile"),
    ),
    Caution("Windscreen: smear test with wet wipers in the dark before the road.", ("glass", "coating")),
    Caution("Spraying proofer: outdoors or with extraction, breathing protection, no flame.", ("textile",)),
)
POWERED: Final = ("electric", "hybrid")
LAYER_STEPS: Final = ("coating", "film", "trim", "glass", "textile", "interior", "lamps")
EVENT_STEPS: Final = ("wheels", "engine_bay", "wash", "decontamination", "event")


def for_steps(*steps: str, powertrain: str = "combustion") -> tuple[str, ...]:
    """What stands beside these steps of work on a vehicle: first what nobody has to open, the usual line and all that
    concerns a drive battery, then the rest.

    Raises:
        ValueError: no such step.
    """
    battery, others = _fitting(steps, powertrain)
    return (" ".join((FIRST, *battery)), *others)


def own_of(*steps: str, powertrain: str = "combustion") -> tuple[str, ...]:
    """What is these steps' own, the first of it open, on a page that says the usual line and that of the battery once
    above all of its steps (`for_steps(...)[0]`).

    Raises:
        ValueError: no such step.
    """
    battery, others = _fitting(steps, powertrain)
    return (*others[:1], *battery, *others[1:])


def _fitting(steps: tuple[str, ...], powertrain: str) -> tuple[list[str], list[str]]:
    """What concerns a drive battery, and the rest."""
    unknown = set(steps) - set(STEPS)
    if unknown:
        raise ValueError(f"no such step of work: {', '.join(sorted(unknown))}; use {', '.join(STEPS)}")
    fitting = [row for row in CAUTIONS if set(row.steps) & set(steps)]
    battery = [row.text for row in fitting if row.electric and powertrain in POWERED]
    return battery, [row.text for row in fitting if not row.electric]


def for_layer(powertrain: str) -> tuple[str, ...]:
    """Cautions beside putting a layer on, whatever its kind."""
    return for_steps(*LAYER_STEPS, powertrain=powertrain)


def for_event(powertrain: str) -> tuple[str, ...]:
    """Cautions beside washing, decontaminating and whatever happened."""
    return for_steps(*EVENT_STEPS, powertrain=powertrain)


def for_inspection(powertrain: str) -> tuple[str, ...]:
    """Cautions beside looking and measuring."""
    return for_steps("walk_around", "inspection", powertrain=powertrain)


CORRECTION: Final = for_steps("correction")
INSPECTION: Final = for_steps("walk_around", "inspection")


def of_products(products: Iterable[Choice]) -> dict[str, list[str]]:
    """What the studio noted with its products: each caution once, with the products it is of."""
    found: dict[str, list[str]] = {}
    for product in products:
        if product.hint:
            found.setdefault(product.hint, []).append(product.label)
    return found
