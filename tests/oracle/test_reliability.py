"""Censored, accelerated and plotted lives against NIST/SEMATECH and against scipy's own censored fits.

The usual survival library, lifelines, wants a pandas below 3 and cannot be installed here: what its release 0.30.3 fits
to the same lives, in an environment of its own, stands below as figures. `scipy.stats.CensoredData` is the third pair
of eyes for every mixture of exact, right-, left- and interval-censored lives.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from lifecycle.wear.durability import History, Prior, learn
from lifecycle.wear.reliability import (
    fit_line,
    fit_lives,
    inverse_temperature,
    likelihood_ratio,
    lives,
    median_rank_line,
)

pytestmark = pytest.mark.oracle

# NIST/SEMATECH e-Handbook 8.2.2.1: 20 units, 500 h.
ENDED = [54.0, 187.0, 216.0, 240.0, 244.0, 335.0, 361.0, 373.0, 375.0, 386.0]
WEIBULL = lives(ended=ENDED, alive=[500.0] * 10)
# NIST/SEMATECH 8.4.2.1 and 8.4.2.2: hours at 85, 105 and 125 °C, censored at 1000 h, units on test.
CELLS = {
    85: ([401, 428, 695, 725, 738], 100),
    105: (
        [
            171,
            187,
            189,
            266,
            275,
            285,
            301,
            302,
            305,
            316,
            317,
            324,
            349,
            350,
            386,
            405,
            480,
            493,
            530,
            534,
            536,
            567,
            589,
            598,
            599,
            614,
            620,
            650,
            668,
            685,
            718,
            795,
            854,
            917,
            926,
        ],
        50,
    ),
    125: (
        [
            24,
            42,
            92,
            93,
            141,
            142,
            143,
            159,
            181,
            188,
            194,
            199,
            207,
            213,
            243,
            256,
            259,
            290,
            294,
            305,
            392,
            454,
            502,
            696,
        ],
        25,
    ),
}
# NIST/SEMATECH 8.4.2.3: % degradation of five units after 200, 500 and 1000 h; 30 % is the end.
DEGRADED = {
    65: ((0.87, 0.33, 0.94, 0.72, 0.66), (1.48, 0.96, 2.91, 1.98, 0.99), (2.81, 2.13, 5.67, 4.28, 2.14)),
    85: ((1.41, 3.61, 2.13, 4.36, 6.91), (2.47, 8.99, 5.72, 9.82, 17.37), (5.71, 17.69, 11.54, 19.55, 34.84)),
    105: (
        (24.58, 9.73, 4.74, 23.61, 10.90),
        (62.02, 24.07, 11.53, 58.21, 27.85),
        (124.10, 48.06, 23.72, 117.20, 54.97),
    ),
}


def cell(celsius: int):
    ended, units = CELLS[celsius]
    return lives(ended=ended, alive=[1000.0] * (units - len(ended)))


def joint():
    data = [cell(celsius) for celsius in CELLS]
    temperature = np.concatenate([np.full(len(one.lower), celsius) for one, celsius in zip(data, CELLS, strict=True)])
    together = type(data[0])(np.concatenate([one.lower for one in data]), np.concatenate([one.upper for one in data]))
    return fit_lives(together, family="lognormal", covariates=[inverse_temperature(temperature)])


def test_weibull_of_nist() -> None:
    """NIST/SEMATECH 8.4.1.3: shape 1.7208, scale 606.528, ln L -75.135, AIC 154.27; lognormal AIC 154.39; mean 540.737
    h."""
    found = fit_lives(WEIBULL)
    assert found.weibull_shape == pytest.approx(1.720797, abs=2e-6)
    assert found.weibull_scale == pytest.approx(606.5276, abs=1e-3)
    assert found.log_likelihood == pytest.approx(-75.134618, abs=1e-6)
    assert found.aic == pytest.approx(154.269236, abs=1e-5)
    assert fit_lives(WEIBULL, family="lognormal").aic == pytest.approx(154.39, abs=5e-3)
    mean = found.weibull_scale * math.gamma(1.0 + 1.0 / found.weibull_shape)
    assert mean == pytest.approx(540.737, abs=2e-3)
    assert found.quantile(0.5) == pytest.approx(found.weibull_scale * math.log(2.0) ** (1.0 / found.weibull_shape))


def test_wald_intervals_are_those_of_the_observed_information() -> None:
    """Second derivatives of the Weibull ln likelihood in (ln eta, ln beta), written out by hand for right-censored
    lives: with w = (t / eta)^beta and u = ln w, they are -beta^2 sum w, beta (sum w + sum w u - r), and
    -sum w u^2 - sum w u + sum of u over ends."""
    found = fit_lives(WEIBULL)
    beta, eta = found.weibull_shape, found.weibull_scale
    times = np.array(ENDED + [500.0] * 10)
    w = (times / eta) ** beta
    u = np.log(w)
    ends = u[:10]
    cross = -beta * (w.sum() + (w * u).sum() - 10.0)
    information = np.array(
        [[beta**2 * w.sum(), cross], [cross, (w * u * u).sum() + (w * u).sum() - ends.sum()]], dtype=float
    )
    errors = np.sqrt(np.diag(np.linalg.inv(information)))
    assert found.standard_errors == pytest.approx(tuple(errors), rel=1e-5)
    wald = found.wald()
    for name, middle, error in (("exp_location", eta, errors[0]), ("inverse_scale", beta, errors[1])):
        assert wald[name] == pytest.approx(
            (middle * math.exp(-1.96 * error), middle * math.exp(1.96 * error)), rel=1e-4
        )


def test_median_rank_line_of_nist() -> None:
    """NIST/SEMATECH 8.2.2.1: on log10 axes of time the line of the median ranks (i - 0.3) / (n + 0.4) has slope
    1.457519 and intercept -4.116536."""
    found = median_rank_line(ended=ENDED, of=20)
    assert found.slope == pytest.approx(1.457519, abs=1e-6)
    # ln(-ln(1 - F)) over ln t; NIST takes log10 of both, which divides the intercept by ln 10.
    assert found.intercept / math.log(10.0) == pytest.approx(-4.116536, abs=1e-6)


@pytest.mark.parametrize(
    ("celsius", "mu", "sigma", "ln_l"),
    [
        (85, 8.891409, 1.211746, -53.354608),
        (105, 6.469712, 0.714788, -265.232292),
        (125, 5.333376, 0.810559, -156.525005),
    ],
)
def test_arrhenius_cells_of_nist(celsius: int, mu: float, sigma: float, ln_l: float) -> None:
    """NIST/SEMATECH 8.4.2.2: lognormal by temperature 8.891 / 1.21 / -53.4, 6.470 / 0.715 / -265.2, 5.333 / 0.811 /
    -156.5."""
    found = fit_lives(cell(celsius), family="lognormal")
    assert found.location == pytest.approx(mu, abs=2e-6)
    assert found.scale == pytest.approx(sigma, abs=2e-6)
    assert found.log_likelihood == pytest.approx(ln_l, abs=2e-6)


def test_arrhenius_model_of_nist() -> None:
    """NIST/SEMATECH 8.4.2.2: intercept -19.906, 0.863 eV, sigma 0.772, ln L -476.709; three cells say no more than one
    line (3.194 on 3 degrees, p 0.3627)."""
    found = joint()
    assert found.coefficients == pytest.approx((-19.906173, 0.862903), abs=2e-5)
    assert found.scale == pytest.approx(0.771986, abs=2e-6)
    assert found.log_likelihood == pytest.approx(-476.708914, abs=2e-6)
    test = likelihood_ratio(smaller=[found], larger=[fit_lives(cell(celsius), family="lognormal") for celsius in CELLS])
    assert test.statistic == pytest.approx(3.194015, abs=1e-5)
    assert test.freedom == 3
    assert test.chance == pytest.approx(0.3626682, abs=1e-6)


def test_graphical_arrhenius_of_nist() -> None:
    """NIST/SEMATECH 8.4.2.1: ln T50 of each cell from its lognormal plot, then a line over 1/kT weighted by failures:
    intercept -18.311, 0.808 eV, acceleration from 85 to 125 °C 13.9 (its script rounds on the way: 3e-4)."""
    plots = [median_rank_line(ended=ended, of=units, family="lognormal") for ended, units in CELLS.values()]
    at = inverse_temperature(list(CELLS))
    found = fit_line(at, [plot.intercept for plot in plots], weights=[len(ended) for ended, _ in CELLS.values()])
    assert found.intercept == pytest.approx(-18.3113, abs=1e-3)
    assert found.slope == pytest.approx(0.80849, abs=1e-4)
    assert math.exp(found.slope * float(at[0] - at[2])) == pytest.approx(13.898, abs=5e-3)


def test_degradation_of_nist() -> None:
    """NIST/SEMATECH 8.4.2.3: ln 30 - ln(degradation / time) on 1/kT: intercept -18.94337 (1.83343), slope 0.81877
    (0.05641), s 0.5611 on 43 degrees, R2 0.8305."""
    x, y = [], []
    for celsius, cells in DEGRADED.items():
        for hours, units in zip((200.0, 500.0, 1000.0), cells, strict=True):
            x += [float(inverse_temperature(celsius))] * 5
            y += [math.log(30.0) - math.log(degraded / hours) for degraded in units]
    found = fit_line(x, y)
    assert found.intercept == pytest.approx(-18.943369, abs=2e-6)
    assert found.slope == pytest.approx(0.818774, abs=1e-6)
    assert found.errors == pytest.approx((1.833429, 0.056408), abs=1e-6)
    assert (found.residual_sd, found.freedom) == (pytest.approx(0.561051, abs=1e-6), 43)
    assert found.r_squared == pytest.approx(0.830503, abs=1e-6)


def mixed(seed: int):
    """Simulated looks of every kind at lognormal lives around 30 months."""
    generator = np.random.default_rng(seed)
    true = 30.0 * np.exp(0.4 * generator.standard_normal(60))
    ended, alive, between = [], [], []
    for number, life in enumerate(true):
        if number % 3 == 0:
            ended.append(float(life))
        else:
            looks = np.arange(1, 5) * generator.uniform(7.0, 13.0)
            before, after = looks[looks < life], looks[looks >= life]
            if after.size == 0:
                alive.append(float(before[-1]))
            else:
                between.append((float(before[-1]) if before.size else 0.0, float(after[0])))
    return ended, alive, between


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("family", ["lognormal", "weibull"])
def test_any_censoring_against_scipy(family: str, seed: int) -> None:
    """`scipy.stats.CensoredData` with left-, interval-, right-censored and exact lives, the same maximum."""
    from scipy import stats

    ended, alive, between = mixed(seed)
    data = stats.CensoredData(
        uncensored=ended,
        right=alive,
        left=[high for low, high in between if low == 0.0],
        interval=[(low, high) for low, high in between if low > 0.0],
    )
    found = fit_lives(lives(ended=ended, alive=alive, between=between), family=family)
    if family == "lognormal":
        spread, _, scale = stats.lognorm.fit(data, floc=0)
        assert math.exp(found.location) == pytest.approx(scale, rel=2e-4)
        assert found.scale == pytest.approx(spread, rel=1e-3)
        same = stats.lognorm(s=found.scale, scale=math.exp(found.location))
    else:
        shape, _, scale = stats.weibull_min.fit(data, floc=0)
        assert found.weibull_scale == pytest.approx(scale, rel=2e-4)
        assert found.weibull_shape == pytest.approx(shape, rel=1e-3)
        same = stats.weibull_min(found.weibull_shape, scale=found.weibull_scale)
    by_scipy = same.logpdf(ended).sum() + same.logsf(alive).sum()
    by_scipy += sum(math.log(same.cdf(high) - same.cdf(low)) for low, high in between)
    assert found.log_likelihood == pytest.approx(by_scipy, abs=1e-7)


# lifelines 0.30.3, `WeibullFitter` and `LogNormalFitter.fit_interval_censoring` on `mixed(seed)`: scale and shape, or
# mu and sigma, and the log likelihood.
BY_LIFELINES = {
    (1, "weibull"): (35.402897, 2.827568, -130.0920049),
    (2, "weibull"): (35.290430, 3.411909, -121.4910111),
    (3, "weibull"): (38.821787, 2.073439, -142.7337742),
    (1, "lognormal"): (3.3932232, 0.3463011, -124.2387404),
    (2, "lognormal"): (3.4191284, 0.3819589, -121.5546907),
    (3, "lognormal"): (3.4260083, 0.4766591, -137.7469249),
}


@pytest.mark.parametrize(("seed", "family"), sorted(BY_LIFELINES))
def test_any_censoring_against_lifelines(seed: int, family: str) -> None:
    """lifelines 0.30.3 on 20 exact, 9 to 17 right-censored and 23 to 31 interval-censored lives: the same maximum."""
    ended, alive, between = mixed(seed)
    found = fit_lives(lives(ended=ended, alive=alive, between=between), family=family)
    ours = (found.weibull_scale, found.weibull_shape) if family == "weibull" else (found.location, found.scale)
    *theirs, log_likelihood = BY_LIFELINES[seed, family]
    assert ours == pytest.approx(theirs, rel=5e-5)
    assert found.log_likelihood == pytest.approx(log_likelihood, abs=1e-6)


def test_errors_of_the_nist_fit_are_those_of_lifelines() -> None:
    """lifelines 0.30.3, `WeibullFitter.fit_right_censoring` on the NIST units: lambda 606.5275 (124.9106), rho 1.720797
    (0.502151), ln L -75.134618; over the figures themselves these are the errors of their logarithms."""
    found = fit_lives(WEIBULL)
    assert (found.weibull_scale, found.weibull_shape) == pytest.approx((606.527535, 1.7207974), rel=1e-6)
    assert found.log_likelihood == pytest.approx(-75.13461816, abs=1e-7)
    assert found.standard_errors == pytest.approx((124.910637 / 606.527535, 0.502151 / 1.7207974), rel=1e-4)


def test_learning_with_a_flat_prior_is_the_maximum_likelihood_of_scipy() -> None:
    """The engine behind "learned here" with a prior so wide that it says nothing, 300 invented vehicles."""
    from scipy import stats

    generator = np.random.default_rng(8)
    histories = []
    for number, life in enumerate(24.0 * np.exp(0.35 * generator.standard_normal(300))):
        looks = np.arange(1, 7) * generator.uniform(5.0, 9.0)
        before, after = looks[looks < life], looks[looks >= life]
        histories.append(
            History(f"v{number}", float(before[-1]) if before.size else 0.0, float(after[0]) if after.size else None)
        )
    data = stats.CensoredData(
        right=[one.alive_months for one in histories if one.failed_months is None],
        left=[one.failed_months for one in histories if one.failed_months and one.alive_months == 0.0],
        interval=[(one.alive_months, one.failed_months) for one in histories if one.failed_months and one.alive_months],
    )
    spread, _, median = stats.lognorm.fit(data, floc=0)
    flat = Prior(40.0, between_sd=0.5, product_sd=2.0, site_sd=2.0, between_sd_ln=2.0)
    found = learn(histories, prior=flat)
    assert found.median_months.p50 == pytest.approx(median, rel=3e-3)
    assert found.between_sd == pytest.approx(spread, rel=0.01)
    copies = [History(f"{one.vehicle}x{n}", one.alive_months, one.failed_months) for n in range(7) for one in histories]
    many = learn(copies, prior=flat)
    assert many.median_months.p50 == pytest.approx(median, rel=1e-3)
    widths = [math.log(one.median_months.p90 / one.median_months.p10) for one in (many, found)]
    assert widths[0] == pytest.approx(widths[1] / math.sqrt(7.0), rel=0.02)


def test_what_cannot_be_fitted_says_why() -> None:
    with pytest.raises(ValueError, match="watch longer"):
        fit_lives(lives(alive=[500.0] * 10))
    with pytest.raises(ValueError, match="weibull, lognormal"):
        fit_lives(WEIBULL, family="gamma")
    with pytest.raises(ValueError, match="0 <= lower <= upper"):
        lives(between=[(5.0, 2.0)])
    with pytest.raises(ValueError, match="one for each life"):
        fit_lives(WEIBULL, covariates=[[1.0, 2.0]])
    with pytest.raises(ValueError, match="three points"):
        fit_line([1.0, 1.0, 1.0], [1.0, 2.0, 3.0])
