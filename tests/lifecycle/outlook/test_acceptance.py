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


def test_the_weight_of_the_mean_is_the_likeliest_by_a_reference_library():
    # scipy.stats.betabinom as a second pair of eyes on the likelihood that chooses how much the groups share.
    from scipy.stats import betabinom

    counts = [Decisions(6, 2), Decisions(3, 9), Decisions(1, 5, 2), Decisions(10, 4), Decisions(2, 8)]
    mean = acceptance.studio_mean(counts)

    def loglik(weight):
        return sum(betabinom.logpmf(one.accepted, one.asked, mean * weight, (1 - mean) * weight) for one in counts)

    assert acceptance.pool_weight(counts, mean) == max(acceptance.POOL_WEIGHTS, key=loglik)


def test_a_site_leans_on_its_care_elsewhere_and_the_care_on_the_studio():
    counts = {
        ("booster", "1"): Decisions(30, 10),
        ("booster", "2"): Decisions(0, 3),
        ("recoat", "1"): Decisions(4, 16),
    }
    found = {(row.task, row.group): row.rate for row in acceptance.grouped(counts)}
    # By hand: studio (2 + 34) / (5 + 63) = .529412, worth ten (two cares are too few to fit); booster without site 2 is
    # Beta(5.29412 + 30, 4.70588 + 10), mean .705882; site 2 is Beta(7.05882, 2.94118 + 3), mean .542986.
    small = found["booster", "2"]
    assert (small.a, small.b) == pytest.approx((7.058824, 5.941176), abs=1e-6)
    assert small.mean == pytest.approx(0.542986, abs=1e-6)
    assert small.leans
    assert "leans on this care elsewhere and on the studio's mean" in small.says
    large = found["booster", "1"]
    assert not large.leans
    assert "leans" not in large.says
    # Alone, the care itself is pooled with the studio; its only site has nothing elsewhere to lean on but that.
    assert found["recoat", "1"].mean == pytest.approx((0.529412 * 10 + 4) / 30, abs=1e-6)


def test_the_interval_of_a_group_is_that_of_the_beta_distribution_and_predicts_by_the_beta_binomial():
    from scipy.stats import beta, betabinom

    row = acceptance.grouped({("booster", "a"): Decisions(3, 4), ("booster", "b"): Decisions(5, 1)})[0].rate
    assert (row.p10, row.p90) == pytest.approx(tuple(beta.ppf([0.1, 0.9], row.a, row.b)))
    for taken in range(6):
        chance = math.exp(acceptance.log_beta_binomial(taken, 5, row.a, row.b))
        assert chance == pytest.approx(betabinom.pmf(taken, 5, row.a, row.b))


def test_no_decision_counts_twice_and_none_is_lost():
    counts = {("booster", "1"): Decisions(1, 2, 3), ("booster", "2"): Decisions(4, 5, 6)}
    both = acceptance.total(counts.values())
    assert both == Decisions(5, 7, 9)
    assert acceptance.minus(both, counts["booster", "1"]) == counts["booster", "2"]
    assert [row.rate.decisions for row in acceptance.grouped(counts)] == list(counts.values())
    assert acceptance.grouped({}) == ()
