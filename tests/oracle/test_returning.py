"""Who comes back, against published fits: the CDNOW customers, the donors of a charity, and a second library.

`lifetimes` runs beside pandas 3 and brings both data sets; nothing of it is used outside this file.
"""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest

from lifecycle.outlook import returning, spend

with warnings.catch_warnings():  # it sets an option that pandas 3 no longer heeds, and pandas says so
    warnings.simplefilter("ignore")
    import lifetimes
    from lifetimes import datasets

pytestmark = pytest.mark.oracle
WEEKS_39 = 39.0


def columns(frame, *names):
    return [frame[name].to_numpy(dtype=float) for name in names]


@pytest.fixture(scope="module")
def cdnow():
    return columns(datasets.load_cdnow_summary(index_col=[0]), "frequency", "recency", "T")


@pytest.fixture(scope="module")
def bgnbd(cdnow):
    return returning.fit_bgnbd(*cdnow)


@pytest.fixture(scope="module")
def donors():
    frame = datasets.load_donations()
    x, last, age, weights = columns(frame, "frequency", "recency", "periods", "weights")
    return [np.repeat(column, weights.astype(int)) for column in (x, last, age)]


@pytest.fixture(scope="module")
def paid():
    frame = datasets.load_cdnow_summary_data_with_monetary_value()
    return columns(frame[frame["frequency"] > 0], "frequency", "monetary_value")


def test_bgnbd_of_cdnow(bgnbd, cdnow):
    # Fader, Hardie & Lee 2005, Marketing Science 24(2), table 1: r .243, alpha 4.414, a .793, b 2.426, LL -9582.4.
    assert len(cdnow[0]) == 2357
    assert bgnbd.r == pytest.approx(0.243, abs=5e-4)
    assert bgnbd.alpha == pytest.approx(4.414, abs=5e-4)
    assert bgnbd.a == pytest.approx(0.793, abs=5e-4)
    assert bgnbd.b == pytest.approx(2.426, abs=5e-4)
    assert bgnbd.loglik == pytest.approx(-9582.4, abs=0.05)


def test_visits_ahead_of_one_cdnow_customer(bgnbd):
    # Fader, Hardie & Lee 2005, spreadsheet note: x 2, t_x 30.43, T 38.86 weeks, 39 weeks ahead: 1.226.
    one = [np.array([value]) for value in (2.0, 30.43, 38.86)]
    assert bgnbd.visits_ahead(WEEKS_39, *one)[0] == pytest.approx(1.226, abs=5e-4)


def test_bgnbd_check_values(bgnbd):
    # Check values computed for this project outside of it: visits in 39 weeks and the chance to be a customer still.
    rows = {
        (2, 30.43): (1.2259, 0.7266),
        (1, 1.71): (0.2033, 0.2122),
        (0, 0): (0.1948, 1.0),
        (7, 29.43): (3.3372, 0.6418),
    }
    for (x, last), (ahead, alive) in rows.items():
        one = [np.array([float(value)]) for value in (x, last, 38.86)]
        assert bgnbd.visits_ahead(WEEKS_39, *one)[0] == pytest.approx(ahead, abs=1e-4)
        assert bgnbd.alive(*one)[0] == pytest.approx(alive, abs=1e-4)
    for weeks, visits in {1: 0.0532, 39: 1.195, 52: 1.444, 78: 1.858}.items():
        assert bgnbd.expected(weeks) == pytest.approx(visits, abs=5e-4)


def test_bgnbd_agrees_with_a_second_library_on_every_customer(bgnbd, cdnow):
    other = lifetimes.BetaGeoFitter().fit(*cdnow)
    assert [bgnbd.r, bgnbd.alpha, bgnbd.a, bgnbd.b] == pytest.approx(list(other.params_), rel=1e-4)
    ahead = other.conditional_expected_number_of_purchases_up_to_time(WEEKS_39, *cdnow)
    assert bgnbd.visits_ahead(WEEKS_39, *cdnow) == pytest.approx(np.asarray(ahead), rel=1e-4)
    assert bgnbd.alive(*cdnow) == pytest.approx(np.asarray(other.conditional_probability_alive(*cdnow)), rel=1e-4)


def test_bgbb_of_the_donors(donors):
    # Fader, Hardie & Shang 2010, Marketing Science 29(6), table 3: alpha 1.204, beta .750, gamma .657, delta 2.783,
    # LL -33,225.6 over 11,104 donors and six yearly opportunities (parameters from memory, data of the paper).
    found = returning.fit_bgbb(*donors)
    assert len(donors[0]) == 11_104
    assert found.alpha == pytest.approx(1.204, abs=5e-4)
    assert found.beta == pytest.approx(0.750, abs=5e-4)
    assert found.gamma == pytest.approx(0.657, abs=5e-4)
    assert found.delta == pytest.approx(2.783, abs=1e-3)
    assert found.loglik == pytest.approx(-33_225.6, abs=0.05)


def test_bgbb_agrees_with_a_second_library(donors):
    found = returning.fit_bgbb(*donors)
    other = lifetimes.BetaGeoBetaBinomFitter()
    frame = datasets.load_donations()
    other.fit(frame["frequency"], frame["recency"], frame["periods"], frame["weights"])
    rows = columns(frame, "frequency", "recency", "periods")
    ahead = other.conditional_expected_number_of_purchases_up_to_time(5, *rows)
    assert found.visits_ahead(5, *rows) == pytest.approx(np.asarray(ahead), rel=1e-4)
    alive = other.conditional_probability_alive(1, *rows)
    assert found.alive(*rows) == pytest.approx(np.asarray(alive), rel=1e-4)


def test_gamma_gamma_of_cdnow(paid):
    # Fader & Hardie 2013, "The Gamma-Gamma Model of Monetary Value": p 6.25, q 3.74, gamma 15.44 over 946 customers.
    found = spend.fit_gamma_gamma(*paid)
    assert len(paid[0]) == 946
    assert (found.p, found.q) == pytest.approx((6.25, 3.74), abs=5e-3)
    assert found.v == pytest.approx(15.44, abs=1e-2)
    # Check values computed for this project outside of it.
    assert found.loglik == pytest.approx(-4055.92, abs=5e-3)
    assert found.mean == pytest.approx(35.1710, abs=1e-3)
    assert spend.correlation(*paid) == pytest.approx(0.1139, abs=5e-5)
    x, mean = np.array([2.0, 1.0, 7.0]), np.array([22.35, 11.77, 73.74])
    assert found.value(x, mean) == pytest.approx([24.6586, 18.9115, 71.4629], abs=5e-4)


def test_a_thousand_customers_outweigh_the_prior(cdnow, bgnbd):
    # The prior speaks of months; on CDNOW's weeks it is badly wrong, and 2,357 customers still carry the day.
    leaning = returning.fit_bgnbd(*cdnow, prior=returning.MONTHLY_PRIOR)
    assert leaning.expected(WEEKS_39) == pytest.approx(bgnbd.expected(WEEKS_39), rel=0.03)
    assert leaning.loglik <= bgnbd.loglik


def test_expectation_is_the_sum_of_chances_by_simulation(bgnbd):
    # The model itself, drawn: rates Gamma(r, alpha), a chance Beta(a, b) to stay away after each visit.
    random = np.random.default_rng(20)
    runs = 200_000
    rate, drop = random.gamma(bgnbd.r, 1.0 / bgnbd.alpha, runs), random.beta(bgnbd.a, bgnbd.b, runs)
    clock, visits, here = np.zeros(runs), np.zeros(runs), np.ones(runs, dtype=bool)
    while here.any():
        clock = clock + random.exponential(1.0 / np.maximum(rate, 1e-12))
        here &= clock < 52.0
        visits += here
        here &= random.random(runs) > drop
    assert visits.mean() == pytest.approx(bgnbd.expected(52.0), abs=4 * visits.std() / math.sqrt(runs))
    new = [np.zeros(1)] * 3
    assert (visits > 0).mean() == pytest.approx(bgnbd.comes(52.0, *new)[0], abs=0.005)
