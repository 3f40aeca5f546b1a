"""Readings and the vehicle's rate. Check values were computed independently of this project's code."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest

from lifecycle.wear import evidence
from lifecycle.wear.chemistry import Angles
from lifecycle.wear.evidence import Seen, evidence_sentence, grid_posterior, score_chances, update, weight_of
from lifecycle.wear.types import FloatArray, ReadingInput

COAT = Angles(new=112, end=90, bare=76.5)
DAY = date(2025, 6, 1)


def reading(**changes: object) -> ReadingInput:
    told: dict[str, object] = {"on": DAY, "surface": "bonnet", "clean_state": "decontaminated", "drops": 5}
    return ReadingInput(**{**told, **changes})  # type: ignore[arg-type]


def seen(consumed: float = 0.4, clogging: float = 0.0, **changes: object) -> Seen:
    return Seen(reading(**changes), consumed, COAT, clogging)


def quantiles(of: evidence.Posterior) -> list[float]:
    return [math.exp(of.rate.ln_quantile(chance)) for chance in (0.1, 0.5, 0.9)]


def test_one_angle_on_a_ceramic_coat_of_one_year() -> None:
    # Worked check (computed, exact grid): median life 2.5 years, sd 0.38, 101 +- 3 degrees at 1.0 year.
    after = update(prior_ln_sd=0.38, seen=[seen(1 / 2.5, contact_angle_deg=101.0)])
    assert after.ln_mean == pytest.approx(-0.06623, abs=3e-4)
    assert after.ln_sd == pytest.approx(0.25384, abs=3e-4)
    assert quantiles(after) == pytest.approx([0.67254, 0.94573, 1.28492], abs=1e-3)
    remaining = [2.5 / kappa - 1.0 for kappa in quantiles(after)]
    assert remaining == pytest.approx([2.7173, 1.6435, 0.9456], abs=4e-3)


def test_normal_prior_and_normal_observation_are_conjugate() -> None:
    # N(0, 0.4^2) and one log rate 0.5 +- 0.2 give mean 0.400 and sd 0.17889 (normal theory).
    def term(ln_kappa: FloatArray) -> FloatArray:
        return evidence.normal_log_likelihood(ln_kappa, seen=0.5, sd=0.2)

    after = grid_posterior(prior_ln_sd=0.4, terms=[term])
    assert after.ln_mean == pytest.approx(0.400, abs=1e-4)
    assert after.ln_sd == pytest.approx(0.17889, abs=1e-4)


def test_alive_at_two_and_failed_by_two_and_a_half_years_keeps_that_interval() -> None:
    # Lognormal life, median 2.5 years, sd 0.38: chance of an end between 2 and 2.5 years is 0.22147 (normal theory).
    prior = evidence.grid_posterior(prior_ln_sd=0.38, terms=[])
    between = prior.rate.chance_above(0.0) - prior.rate.chance_above(math.log(2.5 / 2.0))
    assert float(between) == pytest.approx(0.22147, abs=1e-4)
    after = update(prior_ln_sd=0.38, seen=[seen(2 / 2.5, works=True), seen(1.0, works=False)])
    inside = after.rate.chance_above(-0.1) - after.rate.chance_above(math.log(2.5 / 2.0) + 0.1)
    assert float(inside) > 0.8


@pytest.mark.parametrize(
    ("angle", "chances"),
    [(101.0, (0.0, 0.0002, 0.0331, 0.2752, 0.4390, 0.2525)), (88.0, (0.0013, 0.0899, 0.5393, 0.3217, 0.0455, 0.0023))],
)
def test_beading_score_is_an_ordered_probit(angle: float, chances: tuple[float, ...]) -> None:
    # Cuts 70/80/90/98/105 degrees, sd 6; computed independently.
    found = score_chances(np.array([angle]), sd_deg=6.0)[:, 0]
    assert found == pytest.approx(chances, abs=6e-5)
    assert found.sum() == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("told", "weight"),
    [
        ({}, 1.0),
        ({"clean_state": "washed"}, 0.5),
        ({"by": "customer"}, 0.25),
        ({"by": "customer", "clean_state": "washed"}, 0.25),
        ({"clean_state": "dirty"}, 0.1),
        ({"by": "customer", "clean_state": "dirty"}, 0.025),
    ],
)
def test_how_much_a_look_counts(told: dict[str, object], weight: float) -> None:
    # Decontaminated outweighs, washed half, a customer's own look a quarter: common practice, no source.
    assert weight_of(seen(beading_score=3, **told)) == pytest.approx(weight)


def test_a_clogged_surface_says_less_unless_it_still_works() -> None:
    dull = seen(clogging=0.8, clean_state="washed", beading_score=1)
    assert weight_of(dull) == pytest.approx(0.1)
    assert weight_of(seen(clogging=0.8, clean_state="washed", works=True)) == pytest.approx(0.5)
    assert weight_of(seen(clogging=0.8, beading_score=1)) == pytest.approx(1.0)


def test_a_dirty_angle_is_read_five_degrees_low_and_with_more_doubt() -> None:
    # Without decontamination an angle has sd 8 and bias -5 (engineering default).
    clean = update(prior_ln_sd=0.38, seen=[seen(contact_angle_deg=100.4)])
    washed = update(prior_ln_sd=0.38, seen=[seen(contact_angle_deg=95.4, clean_state="washed")])
    assert abs(clean.ln_mean) < 0.06
    assert abs(washed.ln_mean) < 0.06
    assert washed.ln_sd > clean.ln_sd


def test_more_drops_tell_more() -> None:
    one, five = (update(prior_ln_sd=0.38, seen=[seen(contact_angle_deg=95.0, drops=drops)]) for drops in (1, 5))
    assert five.ln_sd < one.ln_sd < 0.38


def test_still_working_never_lowers_the_expected_life() -> None:
    for consumed in (0.1, 0.5, 1.0, 1.6):
        after = update(prior_ln_sd=0.4, seen=[seen(consumed, works=True)])
        assert after.kappa_median <= 1.0 + 1e-9
        assert update(prior_ln_sd=0.4, seen=[seen(consumed, works=False)]).kappa_median >= 1.0 - 1e-9


def test_gloss_moves_a_little_and_not_where_it_means_nothing() -> None:
    dull = update(prior_ln_sd=0.4, seen=[seen(gloss_gu=70.0)])
    assert dull.kappa_median > 1.0
    assert update(prior_ln_sd=0.4, seen=[Seen(reading(gloss_gu=70.0), 0.4, COAT, glossy=False)]).used == 0
    assert update(prior_ln_sd=0.4, seen=[seen(gloss_gu=70.0, clean_state="dirty")]).used == 0


def test_readings_that_cannot_speak_of_the_layer_are_left_out() -> None:
    film = Seen(reading(beading_score=1), 0.4, None)
    on_the_day = seen(0.0, beading_score=1)
    after = update(prior_ln_sd=0.4, seen=[film, on_the_day])
    assert after.used == 0
    assert after.kappa_median == pytest.approx(1.0)
    assert evidence_sentence(after) == ""


def test_the_sentence_says_how_many_and_which_way() -> None:
    hopeful = update(prior_ln_sd=0.38, seen=[seen(0.8, contact_angle_deg=106.0), seen(0.9, beading_score=5)])
    assert evidence_sentence(hopeful).startswith("Two readings made the expected life about")
    assert "longer than habits alone tell" in evidence_sentence(hopeful)
    gloomy = update(prior_ln_sd=0.38, seen=[seen(0.3, contact_angle_deg=88.0)])
    assert evidence_sentence(gloomy).startswith("One reading made")
    assert "shorter" in evidence_sentence(gloomy)
    dirty = update(prior_ln_sd=0.38, seen=[seen(0.3, beading_score=0, clean_state="dirty", clogging=0.5)])
    assert "little about wear" in evidence_sentence(dirty)


def test_no_beading_is_doubtful_only_on_what_was_not_decontaminated() -> None:
    doubtful = evidence.no_beading_without_decontamination
    assert doubtful(reading(clean_state="washed", beading_score=1))
    assert doubtful(reading(clean_state="dirty", works=False))
    assert not doubtful(reading(clean_state="washed", beading_score=3))
    assert not doubtful(reading(beading_score=0))


def test_a_prior_without_spread_is_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        grid_posterior(prior_ln_sd=0.0, terms=[])
