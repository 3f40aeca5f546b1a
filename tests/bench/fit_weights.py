"""Draw the mechanism weights of `tables/chemistry.csv` from expert ranges. Run: python -m tests.bench.fit_weights

Not a test. The starting shares (judgement) are pulled only as far as the expert's ranges ask: durability of whole
vehicles and the mild, moderate and harsh columns of the life table at duties that fit those words. Prints the fitted
weights and what each range comes out at; whoever wants them copies them into the table.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from lifecycle.wear.chemistry import chemistries
from lifecycle.wear.course import home_ratios
from lifecycle.wear.timeline import build_timeline
from lifecycle.wear.types import FloatArray
from tests.wear import vehicles as people

FAMILIES: dict[str, tuple[tuple[str, ...], str]] = {
    "wax": (("wax",), "flat"),
    "sealant": (("sealant", "booster"), "flat"),
    "ceramic": (("ceramic_entry", "ceramic_mid", "ceramic_top"), "flat"),
    "film body": (("film_body",), "flat"),
    "film top coat": (("film_top_coat",), "flat"),
    "wrap": (("wrap",), "flat"),
    "screen": (("windscreen_coat", "windscreen_wipe_on"), "screen"),
    "side glass": (("side_glass_coat",), "side"),
    "wheel": (("wheel_coat",), "wheel"),
    "trim": (("trim_coat", "trim_dressing"), "side"),
    "headlamp": (("headlamp_coat",), "front"),
    "leather": (("leather_coat", "leather_guard"), "inside"),
    "textile": (("textile_guard",), "flat"),
    "engine bay": (("engine_bay_dressing", "engine_bay_coating"), "inside"),
    "metal": (("metal_sealant",), "front"),
}
# U, H, T, A, C, R, K: starting shares; sunlight, hydrolysis and heat share the U of the common tables.
START: dict[str, tuple[float, ...]] = {
    "wax": (0.10, 0.05, 0.20, 0.10, 0.30, 0.10, 0.15),
    "sealant": (0.14, 0.06, 0.05, 0.15, 0.25, 0.15, 0.20),
    "ceramic": (0.12, 0.05, 0.03, 0.20, 0.20, 0.15, 0.25),
    "film body": (0.28, 0.07, 0.15, 0.10, 0.05, 0.15, 0.20),
    "film top coat": (0.14, 0.07, 0.04, 0.20, 0.20, 0.10, 0.25),
    "wrap": (0.50, 0.05, 0.20, 0.05, 0.05, 0.05, 0.10),
    "screen": (0.08, 0.05, 0.02, 0.25, 0.20, 0.30, 0.10),
    "side glass": (0.15, 0.08, 0.02, 0.25, 0.20, 0.10, 0.20),
    "wheel": (0.05, 0.05, 0.15, 0.10, 0.30, 0.20, 0.15),
    "trim": (0.40, 0.05, 0.10, 0.10, 0.20, 0.10, 0.05),
    "headlamp": (0.50, 0.10, 0.10, 0.10, 0.10, 0.05, 0.05),
    "leather": (0.15, 0.05, 0.15, 0.05, 0.10, 0.45, 0.05),
    "textile": (0.30, 0.25, 0.05, 0.15, 0.05, 0.10, 0.10),
    "engine bay": (0.02, 0.03, 0.40, 0.05, 0.15, 0.20, 0.15),
    "metal": (0.08, 0.10, 0.04, 0.10, 0.28, 0.15, 0.25),
}
REGULARISATION = 0.6
MARGIN = 0.05
PANELS = 20.0


@dataclass(frozen=True)
class Target:
    """A life that should lie in a range: kind, mean stress ratios over the time in question, months."""

    name: str
    kind: str
    stress: FloatArray
    low: float
    high: float


def mean_stress(
    *,
    climate: tuple[str, people.Place],
    home: str,
    orientation: str,
    colour: str = "mid",
    sea_m: float | None = None,
    first: date = date(2024, 1, 1),
    days: int = 366,
    **habit: object,
) -> FloatArray:
    """Mean stress ratios of a duty, as a layer's clock sees them."""
    koppen, place = climate
    if sea_m is not None:
        place = people.replace(place, sea_distance_m=sea_m)
    vehicle = people.vehicle(habits=(people.habit(**habit),), place=place, colour=colour)
    timeline = build_timeline(vehicle, people.source(koppen), first=first, days=days)
    return np.asarray(timeline.daily(orientation=orientation).mean(axis=0) / home_ratios(home))


def columns(family: str) -> list[Target]:
    """Mild, moderate and harsh columns of the life table at duties that fit the words."""
    kinds, home = FAMILIES[family]
    rows = []
    mild = mean_stress(
        climate=people.COOL,
        home=home,
        orientation=home,
        colour="white",
        parking="garage",
        km_per_year=8000.0,
        trees_birds=0,
    )
    usual = mean_stress(climate=people.TEMPERATE, home=home, orientation=home)
    harsh = {
        "hot dry, brush": mean_stress(
            climate=people.HOT_DRY,
            home=home,
            orientation=home,
            colour="black",
            parking="street",
            km_per_year=25000.0,
            wash_method="bristle_tunnel",
            washes_per_year=12.0,
        ),
        "coast, salt, high pH": mean_stress(
            climate=people.TEMPERATE,
            home=home,
            orientation=home,
            colour="black",
            parking="street",
            km_per_year=25000.0,
            wash_method="touch_free_high_ph",
            sea_m=300.0,
            road_salt="heavy",
        ),
    }
    for kind in kinds:
        row = chemistries()[kind]
        rows.append(Target("mild", kind, mild, row.mild_months.low, row.mild_months.high))
        rows.append(Target("moderate", kind, usual, row.months.low, row.months.high))
        rows += [Target(name, kind, x, row.harsh_months.low, row.harsh_months.high) for name, x in harsh.items()]
    return rows


def whole_vehicles() -> dict[str, list[Target]]:
    """Durability of whole vehicles (an expert's ranges, judgement from memory)."""
    flat = {"home": "flat", "orientation": "flat"}
    suv = mean_stress(
        climate=people.TEMPERATE,
        colour="black",
        sea_m=300.0,
        parking="street",
        wash_method="bristle_tunnel",
        washes_per_year=12.0,
        **flat,  # type: ignore[arg-type]
    )
    garaged = {"colour": "white", "parking": "garage", "km_per_year": 8000.0}
    hatch = mean_stress(climate=people.COOL, **garaged, **flat)  # type: ignore[arg-type]
    estate = mean_stress(
        climate=people.TEMPERATE,
        parking="street",
        road_salt="heavy",
        km_per_year=20000.0,
        wash_method="touch_free_high_ph",
        first=date(2024, 10, 15),
        days=75,
        **flat,  # type: ignore[arg-type]
    )
    van = mean_stress(
        climate=people.TEMPERATE,
        parking="street",
        km_per_year=40000.0,
        wash_method="touch_free_high_ph",
        washes_per_year=52.0,
        **flat,  # type: ignore[arg-type]
    )
    return {
        "ceramic": [
            Target("black SUV by the sea", "ceramic_mid", suv, 15, 28),
            Target("white garaged hatch", "ceramic_mid", hatch, 38, 60),
            Target("white pick-up, hot dry", "ceramic_top", pick_up("flat"), 26, 52),
            Target("delivery van", "ceramic_entry", van, 5.5, 11),
        ],
        "sealant": [Target("grey estate, salt, high pH", "sealant", estate, 1.8, 3.8)],
    }


def pick_up(orientation: str) -> FloatArray:
    """A white pick-up in the street of a hot, dry place."""
    return mean_stress(
        climate=people.HOT_DRY,
        home="flat",
        orientation=orientation,
        colour="white",
        parking="street",
        km_per_year=25000.0,
        wash_method="touch_free_neutral",
    )


def life_months(target: Target, weights: FloatArray) -> float:
    """Median life at a target's duty, not beyond the mild column."""
    row = chemistries()[target.kind]
    return min(row.months.middle / float(weights @ target.stress), row.mild_months.middle)


def loss(
    logits: FloatArray, start: FloatArray, targets: list[Target], panels: tuple[FloatArray, FloatArray] | None
) -> float:
    """Squared distance (in ln) outside each range, and the distance of the shares from their start."""
    weights = np.exp(logits) / np.exp(logits).sum()
    total = REGULARISATION * float(np.sum((weights - start) ** 2 / (start + 0.02)))
    for target in targets:
        life = np.log(life_months(target, weights))
        out = max(np.log(target.low) + MARGIN - life, life - np.log(target.high) + MARGIN, 0.0)
        total += float(out) ** 2
    if panels is not None:
        flat, side = panels
        ratio = float(weights @ side) / float(weights @ flat)
        total += PANELS * max(ratio - 0.74, 0.60 - ratio, 0.0) ** 2
    return total


def main() -> None:
    """Print fitted weights for every family and where each range comes out."""
    from scipy.optimize import minimize

    extra = whole_vehicles()
    for family in FAMILIES:
        start = np.array(START[family])
        targets = columns(family) + extra.get(family, [])
        panels = (pick_up("flat"), pick_up("side")) if family == "ceramic" else None
        settings = {"maxiter": 4000}
        best = minimize(loss, np.log(start), args=(start, targets, panels), method="Nelder-Mead", options=settings)
        weights = np.exp(best.x) / np.exp(best.x).sum()
        print(f"\n{family}: start {start}  fitted {np.round(weights, 3)}  loss {best.fun:.4f}")
        if panels is not None:
            print(f"   flat over side {weights @ panels[1] / (weights @ panels[0]):.2f} (0.60 to 0.75)")
        for target in targets:
            life = life_months(target, weights)
            inside = "" if target.low <= life <= target.high else "   outside"
            print(f"   {target.kind:20s} {target.name:26s} {life:6.1f}  [{target.low:g} to {target.high:g}]{inside}")


if __name__ == "__main__":
    main()
