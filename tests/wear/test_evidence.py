"""Readings and the vehicle's rate. Check values were computed independently of this project's code."""

from __future__ import annotations

import math
from datetime import date
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.wear import evidence, normal
from lifecycle.wear.chemistry import Angles
from lifecycle.wear.evidence import (
    Seen,
    contributions,
    evidence_sentence,
    gloss_log_likelihood,
    grid_posterior,
    interval_log_likelihood,
    score_chances,
    update,
    weight_of,
)
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
    before = grid_posterior(prior_ln_sd=0.38, terms=[])
    assert [2.5 / kappa - 1.0 for kappa in quantiles(before)] == pytest.approx([3.0686, 1.5, 0.5362], abs=1e-3)
    # Chance that the end has come within the year: 0.0079 before the reading, 4.6e-6 after it.
    ended = [float(one.rate.chance_above(math.log(2.5))) for one in (before, after)]
    assert ended == pytest.approx([0.0079, 4.6e-6], rel=0.02)


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


def test_film_thickness_is_updated_as_a_normal_by_a_normal() -> None:
    # Prior 110 +- 8 um, reading 104 +- 1.5 um: 104.204 +- 1.474 um (normal theory, worked independently).
    mean, sd = normal.conjugate(mean=110.0, sd=8.0, seen=104.0, seen_sd=1.5)
    assert mean == pytest.approx(104.204, abs=5e-4)
    assert sd == pytest.approx(1.474, abs=5e-4)
    with pytest.raises(ValueError, match="above 0"):
        normal.conjugate(mean=110.0, sd=0.0, seen=104.0, seen_sd=1.5)


def test_failed_between_two_looks_is_an_interval() -> None:
    # With a hard edge the chance of D in the interval is a difference of two normal distribution functions; the
    # prior predictive of "alive at 2, failed by 2.5 years" (median 2.5, sd 0.38) is 0.22147, normal theory.
    z = np.linspace(-8.0, 8.0, 40_001)
    kappa, mass = np.exp(0.38 * z), np.exp(-0.5 * z * z)
    mass /= mass.sum()
    ends = {"alive": kappa * 2.0 / 2.5, "failed": kappa * 2.5 / 2.5}
    sharp, soft = (float(mass @ np.exp(interval_log_likelihood(**ends, edge=edge))) for edge in (1e-4, None))
    assert sharp == pytest.approx(0.22147, abs=2e-4)
    # The soft edge of a look (a tenth of a life) blurs both ends and leaves the chance about there.
    assert soft == pytest.approx(0.22147, abs=0.01)


def test_an_interval_says_more_than_either_of_its_looks() -> None:
    alive, gone = seen(2 / 2.5, works=True), seen(1.0, works=False)
    both = update(prior_ln_sd=0.38, seen=[gone, alive])
    assert both.used == 2
    assert both.ln_sd < 0.6 * min(update(prior_ln_sd=0.38, seen=[one]).ln_sd for one in (alive, gone))
    # The end of the middle vehicle lies between the two looks.
    assert 2.0 < 2.5 / both.kappa_median < 2.5


def _term(look: Seen) -> evidence.Likelihood:
    return lambda ln_kappa: evidence.log_likelihood(look, np.exp(ln_kappa) * look.consumed_at_median)


def test_looks_that_contradict_each_other_make_no_interval() -> None:
    # Gone at a third of the median life, yet working at its end: each look speaks for itself, and they cancel.
    odd = update(prior_ln_sd=0.38, seen=[seen(0.35, works=False), seen(1.0, works=True)])
    apart = [_term(seen(0.35, works=False)), _term(seen(1.0, works=True))]
    assert odd.kappa_median == pytest.approx(grid_posterior(prior_ln_sd=0.38, terms=apart).kappa_median, rel=1e-9)


def test_the_lower_weight_of_two_looks_is_that_of_their_interval() -> None:
    clean = update(prior_ln_sd=0.38, seen=[seen(0.8, works=True), seen(1.0, works=False)])
    washed = update(prior_ln_sd=0.38, seen=[seen(0.8, works=True), seen(1.0, works=False, clean_state="washed")])
    assert clean.ln_sd < washed.ln_sd


LOOKS = [
    seen(0.3, contact_angle_deg=104.0),
    seen(0.5, beading_score=4, clean_state="washed", clogging=0.2),
    seen(0.6, gloss_gu=80.0),
    seen(0.7, works=True, by="customer"),
    seen(0.9, works=False),
]


def test_the_order_of_readings_changes_nothing() -> None:
    one, *others = (update(prior_ln_sd=0.4, seen=order) for order in list(permutations(LOOKS))[::12])
    assert len(others) == 9
    for other in others:
        assert np.array_equal(other.rate.chance, one.rate.chance)
        assert (other.ln_mean, other.ln_sd, other.weight) == (one.ln_mean, one.ln_sd, one.weight)


CLEAN = st.sampled_from(["decontaminated", "washed", "dirty"])
ALIVE = st.lists(st.tuples(st.floats(0.02, 2.0), CLEAN, st.sampled_from(["studio", "customer"])), max_size=5)


@settings(max_examples=20, deadline=None)
@given(ALIVE, st.floats(0.2, 0.7))
def test_still_alive_never_shortens_a_life_at_any_quantile(looks: list[tuple[float, str, str]], sd: float) -> None:
    told = [seen(consumed, works=True, clean_state=state, by=by) for consumed, state, by in looks]
    before = grid_posterior(prior_ln_sd=sd, terms=[])
    after = update(prior_ln_sd=sd, seen=told)
    for chance in (0.05, 0.1, 0.5, 0.9, 0.95):
        assert after.rate.ln_quantile(chance) <= before.rate.ln_quantile(chance) + 1e-12


@settings(max_examples=20, deadline=None)
@given(st.lists(st.tuples(st.floats(-1.5, 1.5), st.floats(0.05, 2.0)), min_size=1, max_size=6), st.floats(0.1, 0.8))
def test_normal_readings_of_the_rate_always_narrow_it(rates: list[tuple[float, float]], sd: float) -> None:
    # Normal theory: precisions add, whatever the readings say.
    def term(ln_kappa: FloatArray) -> FloatArray:
        return np.sum([evidence.normal_log_likelihood(ln_kappa, seen=r, sd=s) for r, s in rates], axis=0)

    after = grid_posterior(prior_ln_sd=sd, terms=[term])
    precision = 1 / sd**2 + sum(1 / s**2 for _, s in rates)
    middle = sum(r / s**2 for r, s in rates) / precision
    assert after.ln_sd < sd
    # The grid reaches six prior sds: what would lie beyond it is not told apart.
    if abs(middle) + 4.0 * precision**-0.5 < 6.0 * sd:
        assert after.ln_sd == pytest.approx(precision**-0.5, rel=0.02)
        assert after.ln_mean == pytest.approx(middle, abs=0.02 * sd + 1e-6)


def test_gloss_is_told_from_fine_scratches() -> None:
    consumed = np.array([0.0, 0.5, 1.0, 1.5])
    # Index 1.50 gives 82.0 GU and 1.54 gives 92.7 GU at 20 degrees (Fresnel): a bright panel says that the layer is
    # there, a dull one may be scratched alone, so it says less.
    bright, dull = (gloss_log_likelihood(consumed, gloss_gu=gloss) for gloss in (90.0, 62.0))
    assert np.all(np.diff(bright) < 0)
    assert np.all(np.diff(dull) > 0)
    assert abs(dull[-1] - dull[0]) < abs(bright[-1] - bright[0])
    # A panel washed by brushes for years explains a low gloss, one that was hardly touched does not.
    gentle, rough = (gloss_log_likelihood(consumed, gloss_gu=70.0, contact_years=years) for years in (0.2, 6.0))
    assert gentle[2] - gentle[0] > 3 * (rough[2] - rough[0]) > 0


def test_the_scratch_channel_is_a_density() -> None:
    lacking = np.linspace(-40.0, 300.0, 68_001)
    for mean_loss in (0.0, 0.5, 4.0, 15.0):
        density = np.exp(normal.exgaussian_log_density(lacking=lacking, sd=4.3, mean_loss=mean_loss))
        total = np.trapezoid(density, lacking)
        assert total == pytest.approx(1.0, abs=1e-4)
        assert np.trapezoid(density * lacking, lacking) == pytest.approx(mean_loss, abs=0.01)


def test_a_customer_water_test_counts_a_quarter_and_is_read_widely() -> None:
    own = update(prior_ln_sd=0.38, seen=[seen(0.5, beading_score=5, by="customer")])
    studio = update(prior_ln_sd=0.38, seen=[seen(0.5, beading_score=5)])
    assert own.weight == 0.25
    assert 0 < own.life_change < studio.life_change


def test_the_sentence_says_how_much_the_range_narrowed() -> None:
    both = update(prior_ln_sd=0.38, seen=[seen(0.8, contact_angle_deg=106.0), seen(0.9, beading_score=5)])
    narrower = round(both.narrowing * 20) * 5
    assert narrower >= 30
    longer = round(both.life_change * 20) * 5
    assert evidence_sentence(both) == (
        f"Two readings made the expected life about {longer} % longer than habits alone tell, "
        f"and the range about {narrower} % narrower."
    )
    agreed = update(prior_ln_sd=0.38, seen=[seen(0.4, contact_angle_deg=99.7)])
    assert abs(agreed.life_change) < 0.03
    assert "left the expected life as it was; it made the range about" in evidence_sentence(agreed)


def test_every_reading_says_what_it_would_say_alone() -> None:
    told = contributions(prior_ln_sd=0.38, seen=[*LOOKS, seen(0.0, beading_score=3)])
    assert len(told) == 5, "a look on the day of application says nothing"
    by_words = {one.says: one for one in told}
    gone = by_words[
        "No longer works, decontaminated, seen by the studio: alone it would make the expected life about 25 % shorter."
    ]
    assert gone.life_change == pytest.approx(
        update(prior_ln_sd=0.38, seen=[seen(0.9, works=False)]).life_change, rel=1e-12
    )
    assert any(says.startswith("Still works, decontaminated, seen by the customer") for says in by_words)
    assert any(says.startswith("Gloss 80 GU") for says in by_words)
    assert [one.weight for one in told if one.by == "customer"] == [0.25]
