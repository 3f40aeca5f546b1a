"""Does the forecast know how sure it is? Invented vehicles with a known rate. Run: python -m tests.bench.calibration

Each vehicle has habits, a place and a true rate kappa drawn from what the model believes; inspectors read its bonnet
with noise. The bands are then held against the truth, and the due date against that of a fixed interval (the product's
median life for everybody). The last rows break what the model believes, to show what it costs. All is invented and
seeded; nothing here is a claim about real vehicles. `tests/oracle/test_calibration.py` holds the first rows.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from lifecycle.wear import degradation as deg
from lifecycle.wear import normal
from lifecycle.wear.course import Course
from lifecycle.wear.degradation import DAYS_PER_MONTH, Clock, angle_at
from lifecycle.wear.figures import wear_value
from lifecycle.wear.laid import Laid, courses_of, lay_out, life_spread, live_clocks
from lifecycle.wear.types import Band, ReadingInput, VehicleInput
from tests.wear import vehicles as people

KIND = "ceramic_mid"
APPLIED = date(2024, 4, 1)
INSPECTED_MONTHS = (12.0, 24.0)
VEHICLES, SEED = 500, 20260301
PLACES = (people.TEMPERATE, people.HOT_DRY, people.COOL, people.COLD, people.MEDITERRANEAN)
PARKING = ("street", "mixed", "garage_nights", "carport", "garage")
METHODS = ("two_bucket", "touch_free_neutral", "touch_free_high_ph", "soft_cloth_tunnel", "bristle_tunnel")
COLOURS = ("white", "light", "mid", "dark", "black")


@dataclass(frozen=True)
class World:
    """What is true beside the model: `tail` degrees of freedom of ln kappa (None: normal), `wider` its spread over the
    model's, `angle_sd` of a measured angle, `angle_bias` of every angle, degrees."""

    name: str = "the world is as the model believes (computed)"
    tail: float | None = None
    wider: float = 1.0
    angle_sd: float | None = None
    angle_bias: float = 0.0


@dataclass(frozen=True)
class Outcome:
    """One vehicle: true months to the end, the bands before and after two inspections, and the fixed interval."""

    true_months: float
    before: Band
    after: Band
    fixed_months: float


@dataclass(frozen=True)
class Measured:
    """Shares of vehicles inside the 80 % band, and median errors of the due date, months."""

    vehicles: int
    covered_before: float
    covered_after: float
    error_fixed: float
    error_before: float
    error_after: float
    narrower: float


def invented(generator: np.random.Generator) -> tuple[VehicleInput, str]:
    """A vehicle with random habits, and the climate class of its place."""
    koppen, place = PLACES[generator.integers(len(PLACES))]
    sea = float(generator.choice([200.0, 2_000.0, 400_000.0], p=[0.1, 0.2, 0.7]))
    use = people.habit(
        parking=str(generator.choice(PARKING)),
        wash_method=str(generator.choice(METHODS)),
        km_per_year=float(generator.uniform(4_000, 32_000)),
        washes_per_year=float(generator.choice([6.0, 12.0, 26.0, 52.0])),
        road_salt=str(generator.choice(["none", "some", "regular", "heavy"])),
        trees_birds=int(generator.integers(4)),
    )
    panel = people.surface(people.layer(KIND, APPLIED), orientation=str(generator.choice(["flat", "side"])))
    car = people.vehicle(
        panel,
        habits=(use,),
        colour=str(generator.choice(COLOURS)),
        place=replace(place, sea_distance_m=sea),
        as_of=deg.months_after(APPLIED, INSPECTED_MONTHS[-1]),
    )
    return car, koppen


def _true_rate(world: World, ln_sd: float, generator: np.random.Generator) -> tuple[float, float]:
    """(ln kappa, its rank): the rank also says how the calendar ages the layer."""
    z = float(generator.standard_normal())
    if world.tail is not None:
        # Student's t, brought to the same 80 % range as the normal.
        z = float(generator.standard_t(world.tail)) * _T_RANGE[world.tail]
    rank = float(normal.cdf(z))
    return world.wider * ln_sd * z, min(max(rank, 1e-6), 1.0 - 1e-6)


_T_RANGE = {3.0: normal.Z90 / 1.6377}


def _true_months(course: Course, ln_kappa: float, rank: float) -> float:
    """Months to D = 1, by stress or by the calendar, whichever comes first."""
    target = course.life.median_months * math.exp(-ln_kappa)
    by_calendar = course.life.mild_quantile(1.0 - rank)
    if target >= course.stress[-1]:
        return by_calendar
    day = float(np.interp(target, course.stress, np.arange(len(course.stress))))
    return min(day / DAYS_PER_MONTH, by_calendar)


def _consumed(course: Course, ln_kappa: float, rank: float, day: int) -> float:
    """True life consumed on a day."""
    by_stress = math.exp(ln_kappa) * float(course.stress[min(day, len(course.stress) - 1)]) / course.life.median_months
    by_calendar = (day / DAYS_PER_MONTH / course.life.mild_quantile(1.0 - rank)) ** wear_value("calendar.power")
    return max(by_stress, by_calendar)


def readings_of(
    course: Course, ln_kappa: float, rank: float, world: World, generator: np.random.Generator
) -> tuple[ReadingInput, ...]:
    """An angle of five drops and a beading score at each inspection, after decontamination."""
    angles, made = course.chemistry.angles, []
    assert angles is not None
    five_drops = math.hypot(wear_value("evidence.operator_sd"), wear_value("evidence.drop_sd") / math.sqrt(5.0))
    cuts = [wear_value(f"cut.{number}") for number in range(1, 6)]
    for months in INSPECTED_MONTHS:
        on = deg.months_after(APPLIED, months)
        consumed = _consumed(course, ln_kappa, rank, (on - APPLIED).days)
        true = float(angle_at(consumed, new_deg=angles.new, end_deg=angles.end, bare_deg=angles.bare))
        seen = true + world.angle_bias + float(generator.normal(0.0, world.angle_sd or five_drops))
        judged = true + world.angle_bias + float(generator.normal(0.0, wear_value("evidence.score_sd")))
        told = {"on": on, "surface": "bonnet", "clean_state": "decontaminated"}
        made.append(ReadingInput(**told, contact_angle_deg=seen, drops=5))  # type: ignore[arg-type]
        made.append(ReadingInput(**told, beading_score=sum(judged >= cut for cut in cuts)))  # type: ignore[arg-type]
    return tuple(made)


def laid_out(car: VehicleInput, koppen: str) -> tuple[Laid, Course, float]:
    """The bonnet on its timeline, its layer's course, and the spread of ln life before any look."""
    _, (surface,) = lay_out(car, people.source(koppen), until=car.as_of)
    course = courses_of(car, surface)[0]
    ln_sd, _ = life_spread(car, surface, course, extra=0.0)
    return surface, course, ln_sd


def one(world: World, generator: np.random.Generator) -> Outcome:
    """Invent a vehicle, let it wear, look at it twice, and forecast."""
    car, koppen = invented(generator)
    surface, course, ln_sd = laid_out(car, koppen)
    ln_kappa, rank = _true_rate(world, ln_sd, generator)
    seen = replace(car, readings=readings_of(course, ln_kappa, rank, world, generator))
    (after,) = live_clocks(seen, surface).values()
    clocks = [Clock(APPLIED, course.stress, course.life, rate) for rate in (deg.prior_rate(ln_sd=ln_sd), after.rate)]
    bands = [clock.months_band(1.0) for clock in clocks]
    return Outcome(_true_months(course, ln_kappa, rank), *bands, fixed_months=course.life.median_months)


def simulate(*, vehicles: int, seed: int, world: World | None = None) -> list[Outcome]:
    """Invented vehicles, one after the other from one seeded generator."""
    generator = np.random.default_rng(seed)
    return [one(world or World(), generator) for _ in range(vehicles)]


def _inside(outcomes: Sequence[Outcome], name: str) -> float:
    return float(np.mean([getattr(one, name).p10 <= one.true_months <= getattr(one, name).p90 for one in outcomes]))


def measure(outcomes: Sequence[Outcome]) -> Measured:
    """Coverage and errors over all vehicles."""
    true = np.array([one.true_months for one in outcomes])

    def error(said: list[float]) -> float:
        return float(np.median(np.abs(np.array(said) - true)))

    widths = [[math.log(band.p90 / band.p10) for band in (one.before, one.after)] for one in outcomes]
    return Measured(
        vehicles=len(outcomes),
        covered_before=_inside(outcomes, "before"),
        covered_after=_inside(outcomes, "after"),
        error_fixed=error([one.fixed_months for one in outcomes]),
        error_before=error([one.before.p50 for one in outcomes]),
        error_after=error([one.after.p50 for one in outcomes]),
        narrower=1.0 - float(np.median([after / before for before, after in widths])),
    )


WORLDS = (
    World(),
    World("vehicles differ a third more than it believes", wider=1.33),
    World("heavy tails (Student's t, 3 degrees of freedom)", tail=3.0),
    World("angles twice as noisy as it believes", angle_sd=6.0),
    World("every angle read 3° low", angle_bias=-3.0),
)


def row(world: World, found: Measured) -> str:
    """One row of the README's table."""
    return (
        f"| {world.name} | {100.0 * found.covered_before:.0f} % | {100.0 * found.covered_after:.0f} % "
        f"| {found.error_fixed:.1f} months | {found.error_before:.1f} | {found.error_after:.1f} |"
    )


def main() -> None:
    """Print the table as it stands in the README."""
    print(
        f"| {VEHICLES} invented vehicles, inspected at 12 and 24 months | truth in the 80 % band: before | after "
        "| due date off: fixed interval | forecast | after two looks |"
    )
    print("|---|---|---|---|---|---|")
    for world in WORLDS:
        print(row(world, measure(simulate(vehicles=VEHICLES, seed=SEED, world=world))))


if __name__ == "__main__":
    main()
