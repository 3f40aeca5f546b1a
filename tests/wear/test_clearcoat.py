"""The clear-coat budget: what gauges can read, what they cannot, and what that leaves."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from lifecycle.wear import normal
from lifecycle.wear.clearcoat import (
    clear_coat,
    clear_share,
    film_posterior,
    removed_band,
    spot_uncertainty_um,
)
from lifecycle.wear.types import Removal, SurfaceInput, Thickness

DAY = date(2024, 5, 1)


def panel(*values: float, removed: tuple[str, ...] = (), method: str = "magnetic", **changes: object) -> SurfaceInput:
    usual = SurfaceInput(
        code="bonnet",
        orientation="flat",
        substrate="steel",
        thickness=Thickness(values, method) if values else None,
        removals=tuple(Removal(DAY, stage) for stage in removed),
    )
    return replace(usual, **changes)  # type: ignore[arg-type]


THICK = (112.0, 115.0, 109.0, 113.0, 111.0)


@pytest.mark.parametrize(
    ("total", "low", "high"), [(120, 30, 45), (105, 30, 45), (96, 20, 35), (85, 20, 35), (80, 12, 25)]
)
def test_clear_share_by_total(total: float, low: float, high: float) -> None:
    # Judgement beside published stacks of 35-60 µm of clear in 100-150 µm.
    assert (clear_share(total).low, clear_share(total).high) == (low, high)


@pytest.mark.parametrize(
    ("stage", "low", "high"),
    [("finishing", 0.3, 1), ("one_step", 1, 2), ("cut_and_refine", 2, 4), ("spot_sanding", 4, 10)],
)
def test_what_a_grade_takes(stage: str, low: float, high: float) -> None:
    # Light polish 1-2, medium 2-4 µm: published trade figures; the others common practice, no source.
    taken = removed_band(panel(removed=(stage,)))
    assert taken.p10 == pytest.approx(low, abs=0.01)
    assert taken.p90 == pytest.approx(high, abs=0.01)


def test_two_unknown_jobs_are_one_allowance_of_three_to_six() -> None:
    twice = removed_band(panel(removed=("unknown_past", "unknown_past")))
    assert (twice.p10, twice.p90) == (pytest.approx(3), pytest.approx(6))


def test_a_used_car_of_96_with_two_unknown_corrections() -> None:
    # Expert's range (judgement): 0 to 4 µm left, one step on the worst panels with consent, never a bare figure.
    found = clear_coat(
        panel(91.0, 94.0, 96.0, 98.0, 101.0, removed=("unknown_past", "unknown_past")), paint="clear_coat"
    )
    assert found.decision == "one_step_with_consent"
    assert 0 <= found.budget_um.p10 <= 0.5
    assert 3.5 <= found.budget_um.p90 <= 4.5
    assert "to" in found.why


def test_a_thin_bonnet_is_refused_a_full_correction_and_the_roof_is_not() -> None:
    # Published rule of thumb: 70 to 80 µm nothing coarse, over 100 µm reasonable.
    bonnet = clear_coat(panel(78.0, 80.0, 84.0, 82.0, 81.0), paint="clear_coat")
    roof = clear_coat(panel(112.0, 112.0, 111.0, 113.0, 112.0, code="roof"), paint="clear_coat")
    assert bonnet.decision in ("finishing_only", "none")
    assert roof.decision == "cut_and_refine_with_consent"


def test_one_step_on_the_bonnet_costs_one_to_two_micrometres() -> None:
    before, after = (clear_coat(panel(*THICK, removed=stages), paint="clear_coat") for stages in ((), ("one_step",)))
    assert -2 <= after.budget_um.p50 - before.budget_um.p50 <= -1


def test_the_budget_never_passes_eight_micrometres_nor_a_quarter() -> None:
    assert clear_coat(panel(*(value + 60 for value in THICK)), paint="clear_coat").budget_um.p90 <= 8
    thin = clear_coat(panel(90.0, 91.0, 92.0, 93.0, 94.0), paint="clear_coat")
    assert thin.budget_um.p90 <= 0.25 * thin.clear_um.p90 + 0.1


@pytest.mark.parametrize(
    ("surface", "says"),
    [
        (panel(), "Nobody has measured"),
        (panel(110.0, 111.0, 112.0, 113.0), "at least five"),
        (panel(*THICK, substrate="plastic"), "does not read paint on plastic"),
        (panel(*THICK, method="eddy"), "does not read paint on steel"),
        (panel(0.0, *THICK), "zero the gauge"),
        (panel(240.0, *THICK), "a repair"),
        (panel(*THICK, finish="refinish"), "resprayed"),
    ],
)
def test_what_is_not_known_is_not_offered(surface: SurfaceInput, says: str) -> None:
    found = clear_coat(surface, paint="clear_coat")
    assert found.decision == "unknown"
    assert found.budget_um is None
    assert says in found.why


@pytest.mark.parametrize(
    ("surface", "paint", "film", "says"),
    [
        (panel(*THICK), "single_stage", False, "Single-stage"),
        (panel(*THICK), "matte", False, "Matte"),
        (panel(*THICK), "clear_coat", True, "film"),
        (panel(*THICK, finish="touch_up"), "clear_coat", False, "Touched-up"),
        (panel(60.0, 64.0, 66.0, 68.0, 69.0), "clear_coat", False, "nothing more is taken off"),
        (panel(90.0, 91.0, 92.0, 93.0, 94.0, removed=("cut_and_refine",) * 3), "clear_coat", False, "too much"),
    ],
)
def test_what_must_not_be_polished(surface: SurfaceInput, paint: str, film: bool, says: str) -> None:
    found = clear_coat(surface, paint=paint, under_film=film)
    assert found.decision == "none"
    assert says in found.why


def test_glass_carries_no_clear_coat() -> None:
    assert clear_coat(panel(substrate="glass"), paint="clear_coat").decision == "not_applicable"
    assert clear_coat(panel(orientation="wheel"), paint="clear_coat").decision == "not_applicable"


def test_an_unknown_finish_keeps_an_allowance_for_its_past() -> None:
    factory, unknown = (
        clear_coat(panel(*THICK, finish=finish), paint="clear_coat") for finish in ("factory", "unknown")
    )
    assert unknown.budget_um.p50 == pytest.approx(factory.budget_um.p50 - 4.5, abs=0.3)
    assert unknown.decision != "cut_and_refine_with_consent"


def test_an_ultrasonic_reading_of_the_layer_itself_is_believed() -> None:
    found = clear_coat(panel(40.0, 41.0, 42.0, 41.0, 40.0, method="ultrasonic", finish="refinish"), paint="clear_coat")
    assert found.clear_um.p50 == pytest.approx(40.0)
    assert found.decision == "one_step_with_consent"


def test_spot_uncertainty() -> None:
    # Computed independently: spot sd 2.5 over five readings and a gauge of 1.0 give 1.50 µm.
    half = 2.5 * (4 / 2) ** 0.5
    spread = Thickness((100 - half, 100.0, 100.0, 100.0, 100 + half), "magnetic", 1.0)
    assert spot_uncertainty_um(spread) == pytest.approx(1.50, abs=0.005)


# Readings over the ledger: a Kalman filter with total film, clear coat and removal.


def test_the_published_update_of_a_film_reading() -> None:
    # Computed independently: prior 110 +- 8 and a reading of 104 +- 1.5 give 104.204 +- 1.474 µm.
    half = 2.5 * (4 / 2) ** 0.5  # spot sd 2.5 over five readings and a gauge of 1.0: 1.50 µm
    read = Thickness((104 - half, 104.0, 104.0, 104.0, 104 + half), "magnetic", 1.0)
    found = film_posterior(panel(thickness=read), total_prior=(110.0, 8.0))
    assert found.total_um.p50 == pytest.approx(104.204, abs=5e-3)
    assert (found.total_um.p90 - found.total_um.p10) / (2 * normal.Z90) == pytest.approx(1.474, abs=5e-3)


def reading(mean: float, on: date, gauge_sd_um: float = 0.5) -> Thickness:
    return Thickness((mean,) * 25, "magnetic", gauge_sd_um, on)


BEFORE, JOB, AFTER = date(2024, 1, 1), date(2024, 5, 1), date(2024, 6, 1)


def polished(before: float, after: float, stage: str = "cut_and_refine", gauge_sd_um: float = 0.5) -> SurfaceInput:
    return panel(
        earlier_thickness=(reading(before, BEFORE, gauge_sd_um),),
        removals=(Removal(JOB, stage),),
        thickness=reading(after, AFTER, gauge_sd_um),
    )


def test_two_readings_with_a_job_between_them_correct_the_ledger() -> None:
    """By hand: 3 +- 0.78 by the ledger, 5 +- 0.71 by the readings: (3/0.78² + 5/0.71²) / (1/0.78² + 1/0.71²) = 4.1."""
    ledger = film_posterior(panel(removals=(Removal(JOB, "cut_and_refine"),), thickness=reading(115.0, AFTER)))
    both = film_posterior(polished(120.0, 115.0))
    assert ledger.removed_um.p50 == pytest.approx(3.0, abs=0.02)
    assert both.removed_um.p50 == pytest.approx(4.1, abs=0.1)
    assert both.removed_um.p90 - both.removed_um.p10 < ledger.removed_um.p90 - ledger.removed_um.p10
    assert both.total_um.p50 == pytest.approx(115.5, abs=0.6)


def test_a_gauge_that_cannot_see_a_polish_leaves_the_ledger_as_it_is() -> None:
    seen = film_posterior(polished(120.0, 112.0, "finishing", gauge_sd_um=4.0))
    assert seen.removed_um.p50 == pytest.approx(0.65, abs=0.15)


def test_readings_that_rise_never_give_clear_coat_back() -> None:
    assert film_posterior(polished(115.0, 121.0)).removed_um.p10 >= 0


def test_a_job_after_the_last_reading_leaves_less_clear_coat() -> None:
    plain = film_posterior(panel(thickness=reading(115.0, BEFORE)))
    done = film_posterior(panel(thickness=reading(115.0, BEFORE), removals=(Removal(JOB, "cut_and_refine"),)))
    assert done.clear_um.p50 == pytest.approx(plain.clear_um.p50 - 3.0, abs=0.01)
    assert done.clear_um.p90 - done.clear_um.p10 > plain.clear_um.p90 - plain.clear_um.p10


def test_an_ultrasonic_reading_of_the_clear_coat_after_a_job_is_what_is_left() -> None:
    layer = Thickness((38.0,) * 5, "ultrasonic", 0.5, AFTER)
    found = film_posterior(panel(thickness=layer, removals=(Removal(JOB, "one_step"),)))
    assert found.total_um is None
    assert found.clear_um.p50 == pytest.approx(38.0, abs=0.05)
    assert film_posterior(panel()) is None


def test_what_the_readings_say_of_the_removal_moves_the_budget() -> None:
    believed, worse = (
        clear_coat(polished(118.0, 115.0), paint="clear_coat"),
        clear_coat(polished(122.0, 115.0), paint="clear_coat"),
    )
    assert worse.budget_um.p50 < believed.budget_um.p50 - 1.0


def test_a_measured_removal_moves_the_budget():
    """Less was taken than the grade's figure says, in a narrower range. Common practice, no source."""
    by_grade = SurfaceInput(
        code="bonnet", orientation="flat", substrate="steel",
        thickness=Thickness(values=(112, 113, 111, 112, 112), method="magnetic"),
        removals=(Removal(date(2024, 1, 1), "cut_and_refine"),),
    )  # fmt: skip
    measured = replace(by_grade, removals=(Removal(date(2024, 1, 1), "cut_and_refine", taken_um=(0.9, 1.1)),))
    grade, known = removed_band(by_grade), removed_band(measured)
    assert known.p50 == pytest.approx(1.0)
    assert known.p50 < grade.p50
    assert known.p90 - known.p10 < grade.p90 - grade.p10
