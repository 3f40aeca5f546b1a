"""Sentences about why a layer wears: plain words from the habits of the day, without threats and without bare
percentages."""

from __future__ import annotations

from collections.abc import Mapping

from lifecycle.wear.types import HabitPeriod, Mechanism, Place, Reason

PARKING = {
    "garage": "always garaged",
    "garage_nights": "garaged at night",
    "carport": "kept under a carport",
    "mixed": "parked here and there",
    "street": "parked in the street",
    "under_trees": "parked under trees",
}
METHODS = {
    "two_bucket": "two-bucket hand washes",
    "touch_free_neutral": "neutral touch-free washes",
    "touch_free_high_ph": "high-pH touch-free washes",
    "rinseless": "rinseless washes",
    "soft_cloth_tunnel": "soft-cloth tunnel washes",
    "bristle_tunnel": "bristle-tunnel washes",
    "self_service_brush": "self-service brush washes",
    "dish_soap": "hand washes with dish soap",
}
AGENTS = {"neutral": "", "alkaline": " with an alkaline (high-pH) agent", "acid": " with an acid agent", "unknown": ""}
GRIME = ("few trees", "few trees", "trees and birds", "many trees and birds")
SALT = {"none": "", "some": ", some road salt", "regular": ", regular road salt", "heavy": ", heavy road salt"}
NEAR_SEA_M = 5000.0


def _washing(habit: HabitPeriod) -> str:
    return f"about {habit.washes_per_year:.0f} {METHODS.get(habit.wash_method, 'washes')} a year"


def _sea(place: Place) -> str:
    if place.sea_distance_m is None or place.sea_distance_m > NEAR_SEA_M:
        return ""
    return f", {place.sea_distance_m:.0f} m from the sea"


def reason_sentence(mechanism: Mechanism, *, habit: HabitPeriod, place: Place, colour: str, stored: bool) -> str:
    """One sentence on a mechanism's part, from today's habits."""
    where = "laid up" if stored else PARKING.get(habit.parking, habit.parking)
    salt, trees = SALT.get(habit.road_salt, ""), GRIME[min(max(habit.trees_birds, 0), 3)]
    sentences = {
        Mechanism.SUNLIGHT: f"Sunlight: {where}, {colour} colour.",
        Mechanism.HYDROLYSIS: f"Dew, rain and damp: {where}.",
        Mechanism.HEAT: f"Heat of the panel: {where}, {colour} colour.",
        Mechanism.WASH_CONTACT: f"Rubbing of the wash: {_washing(habit)}.",
        Mechanism.WASH_CHEMISTRY: f"Wash chemistry: {_washing(habit)}{AGENTS.get(habit.wash_ph, '')}.",
        Mechanism.ROAD: f"Road: about {habit.km_per_year:.0f} km a year{salt}.",
        Mechanism.CONTAMINATION: f"Grime, droppings and salt left to sit: {where}{_sea(place)}, {trees}{salt}.",
    }
    return sentences[mechanism]


def reasons(
    shares: Mapping[Mechanism, float], *, habit: HabitPeriod, place: Place, colour: str, stored: bool
) -> tuple[Reason, ...]:
    """Reasons sorted by share, largest first; shares are brought to a sum of 1."""
    total = sum(shares.values()) or 1.0
    made = [
        Reason(
            mechanism=mechanism,
            share=share / total,
            says=reason_sentence(mechanism, habit=habit, place=place, colour=colour, stored=stored),
        )
        for mechanism, share in shares.items()
    ]
    return tuple(sorted(made, key=lambda reason: -reason.share))
