"""Take-up rates: the Beta-binomial against values computed outside the project, and honest small numbers."""

from __future__ import annotations

import math

import pytest

from lifecycle.outlook import acceptance
from lifecycle.outlook.acceptance import Decisions


def test_two_three_and_seven_of_twelve():
    # Check value computed for this project (conjugate update of Beta(2, 3)): mean .52941, sd .11765, 90 % .3334-.7214.
    found = acceptance.rate("booster", Decisions(accepted=7, declined=5), prior_a=2, prior_b=3)
    assert found.mean == pytest.approx(0.52941, abs=5e-6)
    assert found.sd == pytest.approx(0.11765, abs=5e-6)
    assert acceptance.beta_quantile(0.05, found.a, found.b) == pytest.approx(0.3334, abs=5e-5)
    assert acceptance.beta_quantile(0.95, found.a, found.b) == pytest.approx(0.7214, abs=5e-5)


def test_partial_pooling_check_value():
    # Check value computed for this project: Beta(1.4 + 4, 8.6 + 10), mean .2250, sd .0835. The prior is a studio mean
    # of .14 that is worth ten decisions.
    found = acceptance.rate("recoat", Decisions(accepted=4, declined=7, unanswered=3), prior_a=1.4, prior_b=8.6)
    assert found.mean == pytest.approx(0.2250, abs=5e-5)
    assert found.sd == pytest.approx(0.0835, abs=5e-5)


def test_beta_binomial_check_value():
    # Check value computed for this project: betabinom(10, 2, 3), P(3) = .143856, mean 4, variance 6.
    chances = [math.exp(acceptance.log_beta_binomial(k, 10, 2, 3)) for k in range(11)]
    assert chances[3] == pytest.approx(0.143856, abs=5e-7)
    assert sum(chances) == pytest.approx(1)
    mean = sum(k * chance for k, chance in enumerate(chances))
    assert mean == pytest.approx(4)
    assert sum((k - mean) ** 2 * chance for k, chance in enumerate(chances)) == pytest.approx(6)


def test_quantiles_agree_with_the_distribution_of_a_reference_library():
    from scipy.stats import beta

    for chance in (0.1, 0.5, 0.9):
        assert acceptance.beta_quantile(chance, 5.4, 18.6) == pytest.approx(beta.ppf(chance, 5.4, 18.6))


def test_few_decisions_lean_on_the_studio_and_say_so():
    found = acceptance.rates({"booster": Decisions(40, 40), "recoat": Decisions(2, 0)})
    raw, studio = 1.0, acceptance.studio_mean([Decisions(40, 40), Decisions(2, 0)])
    assert studio < found["recoat"].mean < raw
    assert found["recoat"].leans
    assert "2 of 2" in found["recoat"].says
    assert "studio's mean" in found["recoat"].says
    assert not found["booster"].leans
    assert found["booster"].p10 < 0.5 < found["booster"].p90


def test_twenty_decisions_stand_alone_nineteen_lean():
    assert acceptance.rate("a", Decisions(10, 10), prior_a=1, prior_b=1).leans is False
    assert acceptance.rate("a", Decisions(10, 9), prior_a=1, prior_b=1).leans is True


def test_a_task_nobody_decided_on_has_the_studio_mean_and_a_wide_range():
    found = acceptance.rates({"booster": Decisions(30, 10)}, tasks=["trim_coat"])
    mean = acceptance.studio_mean([Decisions(30, 10)])
    assert found["trim_coat"].mean == pytest.approx(mean)
    assert found["trim_coat"].p90 - found["trim_coat"].p10 > found["booster"].p90 - found["booster"].p10
    assert "Nobody has decided" in found["trim_coat"].says


def test_like_tasks_pool_more_than_unlike_ones():
    like = [Decisions(5, 5), Decisions(5, 5), Decisions(5, 5), Decisions(5, 5)]
    unlike = [Decisions(10, 0), Decisions(0, 10), Decisions(10, 0), Decisions(0, 10)]
    assert acceptance.pool_weight(like, 0.5) == max(acceptance.POOL_WEIGHTS)
    assert acceptance.pool_weight(unlike, 0.5) == min(acceptance.POOL_WEIGHTS)
    assert acceptance.pool_weight(like[:3], 0.5) == acceptance.POOL_WEIGHT


def test_never_answered_counts_as_not_taken_up_and_is_told():
    silent = acceptance.rate("a", Decisions(5, 0, 5), prior_a=2, prior_b=3)
    assert silent.mean == acceptance.rate("a", Decisions(5, 5, 0), prior_a=2, prior_b=3).mean
    assert "5 never answered" in silent.says


def test_wrong_numbers_are_refused():
    with pytest.raises(ValueError, match="above 0"):
        acceptance.rate("a", Decisions(), prior_a=0, prior_b=1)
    with pytest.raises(ValueError, match="below 0"):
        acceptance.rate("a", Decisions(accepted=-1), prior_a=1, prior_b=1)
