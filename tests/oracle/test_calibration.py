"""Does the forecast know how sure it is? Five hundred invented vehicles with a known rate (tests/bench/calibration)."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lifecycle.wear import spread
from lifecycle.wear.assessment import assess
from lifecycle.wear.degradation import Clock
from lifecycle.wear.durability import History, Prior, learn
from lifecycle.wear.laid import lay_out, live_clocks
from tests.bench.calibration import (
    APPLIED,
    SEED,
    VEHICLES,
    WORLDS,
    World,
    invented,
    laid_out,
    measure,
    readings_of,
    row,
    simulate,
)
from tests.wear import vehicles as people

pytestmark = pytest.mark.oracle
README = Path(__file__).resolve().parents[2] / "README.md"


@pytest.fixture(scope="module")
def measured():
    return measure(simulate(vehicles=VEHICLES, seed=SEED))


def test_the_band_holds_four_of_five_before_and_after_looks(measured) -> None:
    assert 0.76 <= measured.covered_before <= 0.84
    assert 0.76 <= measured.covered_after <= 0.84
    # It is not the width that covers: two looks take about half of it away.
    assert measured.narrower > 0.35


def test_the_due_date_after_two_looks_is_off_by_half_of_a_fixed_interval_at_most(measured) -> None:
    assert measured.error_after <= 0.5 * measured.error_fixed
    assert measured.error_after < measured.error_before < measured.error_fixed


def figures_of(line: str) -> list[float]:
    return [float(cell) for cell in re.findall(r"[\d.]+", line.split("|", 2)[2])]


def test_the_readme_tells_what_is_measured(measured) -> None:
    """The README's first row is this one (another machine's last digit may round the other way), and every world stands
    there by the name that the bench prints."""
    lines = README.read_text(encoding="utf-8").splitlines()
    for world in WORLDS:
        assert sum(line.startswith(f"| {world.name} | ") for line in lines) == 1, world.name
    (told,) = (line for line in lines if line.startswith(f"| {WORLDS[0].name} | "))
    covered, errors = slice(0, 2), slice(2, 5)
    found = figures_of(row(WORLDS[0], measured))
    assert figures_of(told)[covered] == pytest.approx(found[covered], abs=1.0)
    assert figures_of(told)[errors] == pytest.approx(found[errors], abs=0.11)


def test_a_world_that_it_does_not_know_shows(measured) -> None:
    """Angles twice as noisy as believed: the band after looks is then too narrow, and the check sees it."""
    noisy = measure(simulate(vehicles=300, seed=20260301, world=World("noisy", angle_sd=6.0)))
    assert noisy.covered_after < 0.72


def test_the_simulation_forecasts_what_the_whole_model_forecasts() -> None:
    generator = np.random.default_rng(5)
    for _ in range(3):
        car, koppen = invented(generator)
        _, course, _ = laid_out(car, koppen)
        seen = replace(car, readings=readings_of(course, 0.2, 0.6, World(), generator))
        layer = assess(seen, people.source(koppen)).surfaces[0].layers[0]
        _, (surface,) = lay_out(seen, people.source(koppen), until=seen.as_of)
        (live,) = live_clocks(seen, surface).values()
        band = Clock(APPLIED, course.stress, course.life, live.rate).months_band(1.0)
        assert layer.renewal_months == band


def test_learned_medians_lie_in_their_bands_as_often_as_said() -> None:
    """Simulation-based calibration: true medians and spreads drawn from the prior, 15 vehicles each."""
    generator, inside, groups = np.random.default_rng(12), 0, 50
    prior = Prior(34.0, between_sd=0.30, product_sd=0.25, site_sd=0.15, between_sd_ln=0.35)
    for _ in range(groups):
        median = 34.0 * math.exp(prior.site_median_sd * generator.standard_normal())
        sd = 0.30 * math.exp(0.35 * generator.standard_normal())
        histories = []
        for number, life in enumerate(median * np.exp(sd * generator.standard_normal(15))):
            looks = np.arange(1, 6) * generator.uniform(6.0, 14.0)
            before, after = looks[looks < life], looks[looks >= life]
            alive = float(before[-1]) if before.size else 0.0
            histories.append(History(f"v{number}", alive, float(after[0]) if after.size else None))
        band = learn(histories, prior=prior).median_months
        inside += band.p10 <= median <= band.p90
    assert 0.68 <= inside / groups <= 0.92


def test_parameter_spread_against_doses_worked_out_again() -> None:
    """The linear spread of ln X_U against 400 draws of (p, Ea) with every dose worked out again, place by place, over
    that of the reference moments."""
    power, energy = spread.draw_parameters(draws=400, seed=2)
    reference = spread.spread_value("moment.reference_power"), spread.spread_value("moment.reference_energy")
    for place in (people.HOT_DRY, people.COOL, people.HOT_HUMID):
        light, surface, hours = spread.sunlit_hours(people.climate(*place))
        day = light > 0
        warmth = -(1.0 / (surface[day] + 273.15) - 1.0 / 298.15) / 8.314462618e-3
        ln_light = np.log(light[day] / 50.0)
        drawn = [
            math.log(float(hours[day] @ np.exp(p * ln_light + e * warmth))) - p * reference[0] - e * reference[1]
            for p, e in zip(power, energy, strict=True)
        ]
        linear = spread.parameter_spread(
            spread.sunlight_sensitivity(uv_w_m2=light, surface_c=surface, hours=hours), sunlight_share=1.0
        )
        assert linear == pytest.approx(float(np.std(drawn)), rel=0.2)
