"""Who comes back, the pure part: shapes that must hold, priors, histories from days, the choice of a model."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lifecycle.outlook import coming, returning, spend
from lifecycle.outlook.coming import Seen

TODAY = date(2026, 3, 2)
NONE = np.array([])
# Fader, Hardie & Lee 2005, Marketing Science 24(2), table 1 (weeks).
CDNOW = returning.BgNbd(0.243, 4.414, 0.793, 2.426, loglik=-9582.4)
# Fader, Hardie & Shang 2010, Marketing Science 29(6), table 3 (from memory).
DONORS = returning.BgBb(1.204, 0.750, 0.657, 2.783, loglik=-33_225.6)


def one(*values):
    return [np.array([float(value)]) for value in values]


def seen(customer_id, first, *gaps, until=TODAY):
    days, day = [], first
    for gap in gaps:
        day += timedelta(days=gap)
        days.append(day)
    return Seen(customer_id, first, tuple(days), until)


def test_the_published_customer():
    # Fader, Hardie & Lee 2005: x 2, t_x 30.43, T 38.86 weeks; 1.226 visits in the next 39 weeks.
    assert CDNOW.visits_ahead(39, *one(2, 30.43, 38.86))[0] == pytest.approx(1.226, abs=1e-3)


def test_bgbb_likelihoods_sum_to_one_over_all_histories():
    # All 22 recency-frequency pairs of six opportunities, times the number of ways to reach each: a whole.
    from math import comb

    pairs = [(0, 0), *((x, last) for last in range(1, 7) for x in range(1, last + 1))]
    assert len(pairs) == 22
    ways = [1 if x == 0 else comb(last - 1, x - 1) for x, last in pairs]
    x, last = (np.array([pair[place] for pair in pairs], dtype=float) for place in (0, 1))
    chances = np.exp(returning.bgbb_loglik((1.204, 0.750, 0.657, 2.783), x, last, np.full(22, 6.0)))
    assert float(chances @ np.array(ways)) == pytest.approx(1.0, abs=1e-12)


def test_donors_ahead():
    # Fader, Hardie & Shang 2010, table 5 (from memory): over the next five years 0.07 gifts of who never gave again,
    # 3.75 of who gave every year.
    ahead = DONORS.visits_ahead(5, np.array([0.0, 6.0]), np.array([0.0, 6.0]), np.array([6.0, 6.0]))
    assert ahead == pytest.approx([0.07, 3.75], abs=5e-3)


@given(
    x=st.integers(0, 40), share=st.floats(0.05, 1.0), age=st.floats(0.5, 120.0), ahead=st.floats(0.1, 60.0),
    a=st.floats(0.05, 4.0), b=st.floats(0.3, 9.0),
)  # fmt: skip
def test_bgnbd_numbers_are_sane_everywhere(x, share, age, ahead, a, b):
    model = returning.BgNbd(1.5, 12.0, a, b, 0.0)
    row = one(x, share * age if x else 0.0, age)
    alive, visits, comes = (float(found[0]) for found in (
        model.alive(*row), model.visits_ahead(ahead, *row), model.comes(ahead, *row)))  # fmt: skip
    assert 0.0 <= alive <= 1.0
    assert 0.0 <= comes <= alive + 1e-12
    assert comes <= visits + 1e-6  # at least one visit is at most the number of visits expected
    assert visits <= model.visits_ahead(ahead * 2, *row)[0] + 1e-9


def test_the_removable_pole_of_the_expectation():
    around = [returning.BgNbd(1.5, 12.0, a, 3.0, 0.0).expected(24.0) for a in (1 - 1e-4, 1.0, 1 + 1e-4)]
    assert around[1] == pytest.approx((around[0] + around[2]) / 2, rel=1e-5)


@pytest.mark.parametrize("fit", [returning.fit_bgnbd, returning.fit_bgbb])
def test_without_any_history_the_prior_stands(fit):
    prior = returning.MONTHLY_PRIOR if fit is returning.fit_bgnbd else returning.HALF_YEAR_PRIOR
    found = fit(NONE, NONE, NONE, prior=prior)
    if isinstance(found, returning.BgNbd):
        assert found.r / found.alpha * 12 == pytest.approx(1.2)  # judgement: visits a year
        assert found.a / (found.a + found.b) == pytest.approx(0.15)
    else:
        assert found.alpha / (found.alpha + found.beta) == pytest.approx(0.5)
    with pytest.raises(ValueError, match="give a prior"):
        fit(NONE, NONE, NONE)


def test_histories_that_cannot_be_are_refused():
    for x, last, age in ((1, 5, 4), (0, 3, 4), (2, 0, 4)):
        with pytest.raises(ValueError, match="0 <= last <= age"):
            returning.fit_bgnbd(*one(x, last, age))
    with pytest.raises(ValueError, match="one of each"):
        returning.fit_bgnbd(np.zeros(2), np.zeros(1), np.zeros(2))
    with pytest.raises(ValueError, match="opportunities"):
        returning.fit_bgbb(*one(3, 2, 6))
    with pytest.raises(ValueError, match="above 0"):
        spend.fit_gamma_gamma(*one(2, 0.0))


def test_days_close_together_are_one_visit():
    first = date(2025, 1, 1)
    days = [first + timedelta(days=n) for n in (0, 5, 60, 63, 66, 90)]
    # Days 0 and 5 belong to the first; 60, 63 and 66 are one stay, each within a week of the one before.
    assert coming.stays(days, first) == (first + timedelta(days=60), first + timedelta(days=90))


def test_half_years_count_one_visit_each_and_leave_out_the_running_one():
    row = seen(1, TODAY - timedelta(days=400), 100, 30, 250)  # days 100, 130 and 380; two whole half years
    x, last, age = coming.half_years([row])
    assert (x[0], last[0], age[0]) == (1, 1, 2)


def test_a_regular_customer_is_likelier_still_one_than_one_who_stopped():
    rows = [
        seen(1, TODAY - timedelta(days=800), 180, 180, 180, 180),
        seen(2, TODAY - timedelta(days=800), 60, 60, 60, 60),
    ]
    fit = coming.fitted(rows, today=TODAY)
    found = coming.chances(rows, fit)
    assert fit.few
    assert found[1].alive > 0.8 > found[2].alive
    assert found[1].visits > found[2].visits


def test_the_model_that_foretells_better_is_used():
    # Invented: everybody comes once in every half year, half of them stopped long ago. Free visits would bunch.
    rows = []
    for number in range(120):
        gaps = [183] * (8 if number % 2 else 2)
        rows.append(seen(number, TODAY - timedelta(days=1500), 90, *gaps[:-1]))
    fit = coming.fitted(rows, today=TODAY)
    assert fit.name == coming.BG_BB
    assert "120 customers" in fit.why
    found = coming.chances(rows, fit)
    assert found[1].visits > 1.0 > 0.2 > found[0].visits


def test_a_large_studio_is_fitted_on_a_part_that_tells_the_same():
    random = np.random.default_rng(7)
    rows = [
        seen(n, TODAY - timedelta(days=900), *[int(gap) for gap in random.exponential(260, 2) + 8]) for n in range(9000)
    ]
    rows = [Seen(row.customer_id, row.first, tuple(day for day in row.days if day <= TODAY), TODAY) for row in rows]
    part = coming.fitted(rows, today=TODAY)
    whole = returning.fit_bgnbd(*coming.months(rows), prior=returning.MONTHLY_PRIOR)
    assert part.customers == 9000
    if isinstance(part.model, returning.BgNbd):
        assert part.model.expected(12.0) == pytest.approx(whole.expected(12.0), rel=0.03)
    assert len(coming.chances(rows, part)) == 9000


def test_single_amounts_tell_what_means_cannot():
    # The model itself, drawn: p 6.25, q 3.74, v 15.44 (Fader & Hardie 2013), two visits each.
    random = np.random.default_rng(3)
    rate = random.gamma(3.74, 1.0 / 15.44, 4000)
    amounts = random.gamma(6.25, 1.0 / rate[:, None], (4000, 2))
    x, mean, mean_log = np.full(4000, 2.0), amounts.mean(axis=1), np.log(amounts).mean(axis=1)
    found = spend.fit_gamma_gamma(x, mean, mean_log)
    assert (found.p, found.q, found.v) == pytest.approx((6.25, 3.74, 15.44), rel=0.1)
    # With one visit each the two likelihoods are the same thing.
    alone, logs = amounts[:, 0], np.log(amounts[:, 0])
    params = (6.25, 3.74, 15.44)
    assert spend.amounts_loglik(params, np.ones(4000), alone, logs) == pytest.approx(
        spend.gamma_gamma_loglik(params, np.ones(4000), alone)
    )
