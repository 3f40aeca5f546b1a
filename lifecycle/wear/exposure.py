"""Climate, parking and use to stress: how hard each mechanism works on a surface, month by month.

Three mechanisms come from physics (`doses.py`: sunlight, hydrolysis, heat; `days.py` sums them over hours, or over one
typical day a month), four from use (`usage.py`). Heat has histories of its own where a surface is heated by driving
(`running.py`: wheels, engine bay).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import lru_cache

import numpy as np

from lifecycle.wear import marks, running, usage
from lifecycle.wear.days import monthly_doses, reference_doses, typical_day_rates
from lifecycle.wear.doses import (
    PHYSICAL,
    Sky,
    arrhenius,
    heat_rate,
    hourly_rates,
    hydrolysis_rate,
    summed,
    sunlight_rate,
)
from lifecycle.wear.marks import value
from lifecycle.wear.panel import ORIENTATIONS
from lifecycle.wear.photodegradation import GAS_CONSTANT_KJ
from lifecycle.wear.running import Heat
from lifecycle.wear.tilted import OrientationLaw
from lifecycle.wear.types import ClimateYear, FloatArray, HabitPeriod, Mechanism, Place

__all__ = [
    "GAS_CONSTANT_KJ",
    "MECHANISMS",
    "ORIENTATIONS",
    "PHYSICAL",
    "Sky",
    "arrhenius",
    "combine",
    "heat_rate",
    "hourly_rates",
    "hydrolysis_rate",
    "monthly_doses",
    "reference_doses",
    "reference_stress",
    "summed",
    "sunlight_rate",
    "typical_day_rates",
]

MECHANISMS = tuple(Mechanism)


def combine(
    *,
    climate: ClimateYear,
    habit: HabitPeriod,
    orientation: str,
    colour: str,
    place: Place,
    stored: bool = False,
    heat: Heat = Heat.PARKED,
    powertrain: str = "combustion",
    law: OrientationLaw = OrientationLaw.JUDGEMENT,
) -> FloatArray:
    """Stress over the reference duty by mechanism (rows, in the order of `MECHANISMS`) and month; shape (7, 12),
    read-only.

    A row's mean over the days of the year is 1 at the reference duty; a single month lies above or below it with the
    season. `place` gives the sea distance and the hemisphere of the salt season. A stored vehicle is neither driven nor
    washed and stands under a roof: heat, humidity and a little dust stay, so that it still ages.

    `heat` says what warms the surface beside the weather (brakes, engine; with `powertrain`), `law` how its
    orientation is taken.

    Raises:
        ValueError: a value of `habit`, `orientation` or `colour` that the tables do not know.
    """
    # The dates of a period do not matter, so that the same use is worked out once for all surfaces, days and changes.
    use = replace(habit, start=date.min, end=None, source="", defaulted=())
    surface = (orientation, colour, heat, law)
    return _combined(
        climate=climate,
        habit=use,
        surface=surface,
        place=place,
        stored=stored,
        powertrain=powertrain,
        digest=marks.active().digest,
    )


@lru_cache(maxsize=2048)
def _combined(
    *,
    climate: ClimateYear,
    habit: HabitPeriod,
    surface: tuple[str, str, Heat, OrientationLaw],
    place: Place,
    stored: bool,
    powertrain: str,
    digest: str,
) -> FloatArray:
    orientation, colour, heat, law = surface
    parking = "stored" if stored else habit.parking
    per_day = monthly_doses(climate, orientation=orientation, colour=colour, parking=parking, law=law)
    physical = per_day * 365.0 / reference_doses()[:, None]
    if heat is not Heat.PARKED:
        km = 0.0 if stored else habit.km_per_year
        physical[2] = running.heat_ratio(
            parked_per_day=per_day[2], air_c=np.array(climate.air_c), km_per_year=km, heat=heat, powertrain=powertrain
        )
    if stored:
        used = np.zeros((3, 12))
        soil = np.full(12, value("soil_parking.stored"))
    else:
        salted = usage.salt_months(lat_deg=place.lat)
        contact = usage.contact_factor(habit) * usage.dust_factor(climate.koppen_class) * np.ones(12)
        if orientation == "screen":
            contact = usage.screen_contact(contact, km_per_year=habit.km_per_year, rain_days=climate.rain_days)
        chemistry = usage.chemistry_factor(habit)
        road = usage.road_factor(habit, salted=salted, orientation=orientation)
        used = np.stack([contact, np.full(12, chemistry), road])
        soil = usage.contamination_factor(
            habit, place=place, koppen_class=climate.koppen_class, salted=salted, orientation=orientation
        )
    rows = np.vstack([physical, used, soil[None, :]])
    rows.flags.writeable = False
    return rows


def reference_stress() -> FloatArray:
    """Ones, shape (7, 12): the yearly mean of the reference duty, laid evenly over the months.

    The reference duty is a flat, mid-coloured panel in the open at a temperate inland place (Mannheim) for U, H and T,
    and 26 neutral two-bucket washes, 15 000 km, mixed parking, few trees, no salt and no sea for A, C, R and K. Life
    tables speak of this duty, so a layer's median life comes out of these ones exactly. A real year at the reference
    place has the same mean, with summer above and winter below it.
    """
    return np.ones((len(MECHANISMS), 12))
