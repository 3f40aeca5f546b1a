"""Durability learned here: partial pooling of interval-censored histories. Truths are simulated from seeded draws; the
closed forms are normal theory."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

import numpy as np
import pytest

from lifecycle.wear import normal
from lifecycle.wear.degradation import Life
from lifecycle.wear.durability import History, Learned, Prior, learn, learn_sites, leave_one_out, prior_of
from lifecycle.wear.histories import histories_of, verdict
from lifecycle.wear.types import EventInput, Mark, ReadingInput, VehicleInput
from tests.wear.vehicles import layer, source, surface, vehicle

PRIOR = Prior(median_months=34.0, between_sd=0.30, product_sd=0.25, site_sd=0.15, between_sd_ln=0.35)
LOOKS = (8.0, 16.0, 24.0, 32.0, 40.0, 48.0)


def looked_at(months: float, looks: Sequence[float], name: str) -> History:
    """A life seen only on the days of looks."""
    alive = [look for look in looks if look < months]
    gone = [look for look in looks if look >= months]
    return History(name, max(alive, default=0.0), min(gone, default=None))


def fleet(count: int, *, median: float, sd: float = 0.30, seed: int = 1) -> list[History]:
    """Lives at evenly spread chances of a lognormal, in shuffled order: a fleet without the luck of the draw."""
    scores = [normal.quantile((number + 0.5) / count) for number in range(count)]
    lives = median * np.exp(sd * np.random.default_rng(seed).permutation(scores))
    return [looked_at(float(life), LOOKS, f"v{number}") for number, life in enumerate(lives)]


def test_without_histories_the_prior_comes_back() -> None:
    found = learn([], prior=PRIOR)
    assert found.median_months.p50 == pytest.approx(34.0, rel=1e-6)
    ln_sd = math.log(found.median_months.p90 / found.median_months.p10) / 2.5631
    assert ln_sd == pytest.approx(math.hypot(0.25, 0.15), rel=2e-3)
    assert found.label_share == pytest.approx(1.0, abs=1e-3)
    assert found.mark is Mark.COMMON_PRACTICE
    assert found.says.startswith("No vehicle here has told anything yet: 34 months")


def test_nearly_exact_lives_give_the_normal_normal_answer() -> None:
    # Lives seen to the day and a known spread: precisions add, mean = (m0/t^2 + n x/s^2) / (1/t^2 + n/s^2).
    lives = [20.0, 23.0, 25.0, 28.0, 24.0, 22.0]
    sharp = Prior(34.0, between_sd=0.30, product_sd=0.25, site_sd=0.15, between_sd_ln=1e-3)
    found = learn([History(f"v{n}", x, x * 1.0005) for n, x in enumerate(lives)], prior=sharp)
    t2, s2 = 0.25**2 + 0.15**2, 0.30**2
    precision = 1 / t2 + len(lives) / s2
    mean = (math.log(34.0) / t2 + sum(math.log(x * 1.00025) for x in lives) / s2) / precision
    assert math.log(found.median_months.p50) == pytest.approx(mean, abs=2e-3)
    assert found.label_share == pytest.approx(1 / precision / t2, rel=0.01)


@pytest.mark.parametrize("family", ["lognormal", "weibull"])
def test_many_vehicles_overrule_the_label(family: str) -> None:
    prior = Prior(34.0, 0.30, 0.25, 0.15, 0.35, family=family)
    found = learn(fleet(90, median=24.0, sd=0.4), prior=prior)
    # The lives are lognormal: a Weibull, whose left tail is longer, puts its median a little late.
    assert found.median_months.p50 == pytest.approx(24.0, rel=0.03 if family == "lognormal" else 0.08)
    assert found.median_months.p10 < 25.0
    assert found.label_share < 0.03
    if family == "lognormal":
        assert found.between_sd == pytest.approx(0.4, abs=0.03)
    assert found.mark is Mark.LEARNED_HERE


def test_under_ten_vehicles_it_says_that_it_is_mostly_the_prior() -> None:
    nine, ten = (learn(fleet(count, median=24.0), prior=PRIOR) for count in (9, 10))
    assert "Only 9 vehicles" in nine.says
    assert "mostly the prior, 34 months" in nine.says
    assert nine.mark is Mark.COMMON_PRACTICE
    assert ten.says.startswith("From 10 vehicles here")
    assert "mostly" not in ten.says
    assert ten.mark is Mark.LEARNED_HERE


def test_more_vehicles_shrink_less_and_narrow_the_median() -> None:
    found = [learn(fleet(count, median=22.0, seed=4), prior=PRIOR) for count in (1, 6, 24)]
    shares = [one.label_share for one in found]
    assert shares == sorted(shares, reverse=True)
    widths = [math.log(one.median_months.p90 / one.median_months.p10) for one in found]
    assert widths == sorted(widths, reverse=True)
    # The next vehicle stays uncertain however many were seen.
    assert math.log(found[-1].life_months.p90 / found[-1].life_months.p10) > 2.0 * 0.25


def test_vehicles_still_alive_never_shorten_the_median() -> None:
    before = PRIOR.median_months
    for months in (5.0, 20.0, 45.0):
        found = learn([History(f"v{n}", months) for n in range(12)], prior=PRIOR)
        assert found.median_months.p50 >= before - 1e-6
        before = found.median_months.p50
    assert before > 1.3 * PRIOR.median_months


def test_the_order_of_histories_changes_nothing() -> None:
    histories = fleet(15, median=27.0)
    one, other = learn(histories, prior=PRIOR), learn(histories[::-1], prior=PRIOR)
    assert one == other


def test_sites_lend_each_other_strength_and_keep_their_own() -> None:
    fast, slow = fleet(24, median=20.0, seed=2), fleet(24, median=30.0, seed=3)
    both = learn_sites({"coast": fast, "valley": slow, "new": []}, prior=PRIOR)
    assert both["coast"].median_months.p50 < 22.5
    assert both["valley"].median_months.p50 > 27.0
    # A site without a vehicle leans on its sisters, between the two and below the label.
    assert 20.0 < both["new"].median_months.p50 < 30.0
    assert both["new"].label_share > both["coast"].label_share
    assert "those of other sites" in both["new"].says
    alone = learn(fast[:3], prior=PRIOR)
    helped = learn_sites({"coast": fast[:3], "sister": fleet(24, median=20.0, seed=9)}, prior=PRIOR)["coast"]
    assert helped.median_months.p50 < alone.median_months.p50
    assert helped.label_share < alone.label_share


def test_a_sister_site_without_vehicles_changes_nothing() -> None:
    # The sum over product medians on a grid against its closed form for one site.
    histories = fleet(8, median=24.0)
    alone, beside = learn(histories, prior=PRIOR), learn_sites({"a": histories, "b": []}, prior=PRIOR)["a"]
    for name in ("median_months", "life_months"):
        one, other = getattr(alone, name), getattr(beside, name)
        assert (one.p10, one.p50, one.p90) == pytest.approx((other.p10, other.p50, other.p90), rel=2e-3)


def test_surfaces_of_one_vehicle_count_as_one() -> None:
    once = learn([History("v1", 16.0, 24.0)], prior=PRIOR)
    panels = learn([History("v1", 16.0, 24.0)] * 6, prior=PRIOR)
    assert panels.vehicles == 1
    assert panels.median_months.p50 == pytest.approx(once.median_months.p50, rel=1e-4)


def test_touched_surfaces_are_left_out_and_counted() -> None:
    clean, spoilt = fleet(12, median=24.0), [History(f"t{n}", 4.0, 8.0, touched=True) for n in range(5)]
    found, without = learn([*clean, *spoilt], prior=PRIOR), learn(clean, prior=PRIOR)
    assert found.excluded == 5
    assert found.median_months == without.median_months
    assert found.says.endswith("5 left out because a polish or a top-up came between the looks.")


def test_leave_one_out_counts_as_many_ends_as_were_seen() -> None:
    found = leave_one_out(fleet(40, median=24.0), prior=PRIOR)
    assert found.vehicles == 40
    assert found.expected == pytest.approx(found.seen, rel=0.06)
    assert found.ln_score > found.label_ln_score
    assert "better than the label alone" in found.says
    with pytest.raises(ValueError, match="no history"):
        leave_one_out([History("v", 0.0)], prior=PRIOR)


def test_leave_one_out_is_what_learning_without_the_vehicle_says() -> None:
    # Three vehicles; the score of each must be that of a posterior which never saw it.
    histories = [History("a", 16.0, 24.0), History("b", 24.0, 32.0), History("c", 30.0)]
    found = leave_one_out(histories, prior=PRIOR)
    by_hand = []
    for left in histories:
        rest = learn([one for one in histories if one is not left], prior=PRIOR)
        by_hand.append(_ln_chance(rest, left))
    assert found.ln_score == pytest.approx(sum(by_hand) / 3, abs=0.03)


def _ln_chance(learned: Learned, history: History) -> float:
    """ln chance of a history by the band of the next vehicle, taken as lognormal."""
    sd = math.log(learned.life_months.p90 / learned.life_months.p10) / 2.5631

    def below(months: float) -> float:
        return 0.5 * math.erfc(-(math.log(months / learned.life_months.p50)) / sd / math.sqrt(2.0))

    end = 1.0 if history.failed_months is None else below(history.failed_months)
    return math.log(end - below(history.alive_months))


def test_bad_histories_and_priors_are_refused_in_words() -> None:
    for alive, failed in ((12.0, 12.0), (-1.0, None), (24.0, 12.0)):
        with pytest.raises(ValueError, match="0 <= alive < failed"):
            History("v", alive, failed)
    with pytest.raises(ValueError, match="above 0"):
        Prior(0.0, 0.3, 0.25, 0.15, 0.35)
    with pytest.raises(ValueError, match="lognormal, weibull"):
        Prior(34.0, 0.3, 0.25, 0.15, 0.35, family="normal")
    with pytest.raises(ValueError, match="at least one site"):
        learn_sites({}, prior=PRIOR)


def test_the_prior_is_never_surer_than_vehicles_allow() -> None:
    # Life ranges of the tables are narrower than what vehicles show: at least 0.30 (judgement).
    prior = prior_of(Life(median_months=33.5, ln_sd=0.14, mild_months=50.0, mild_ln_sd=0.14, mark=Mark.FROM_MEMORY))
    assert prior.between_sd == 0.30
    assert prior.mark is Mark.FROM_MEMORY


APPLIED = date(2023, 4, 1)


def look(on: date, **changes: object) -> ReadingInput:
    told: dict[str, object] = {"on": on, "surface": "bonnet", "clean_state": "decontaminated", "drops": 5}
    return ReadingInput(**{**told, **changes})  # type: ignore[arg-type]


def bonnet(*readings: ReadingInput, **changes: object) -> VehicleInput:
    return vehicle(surface(layer("ceramic_mid", APPLIED)), readings=readings, **changes)


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ({"works": True}, True),
        ({"works": False}, False),
        ({"works": False, "clean_state": "washed"}, None),
        ({"works": True, "clean_state": "dirty"}, None),
        ({"works": False, "by": "customer"}, None),
        ({"contact_angle_deg": 97.0}, True),
        ({"contact_angle_deg": 91.0}, None),
        ({"contact_angle_deg": 84.0}, False),
        ({"beading_score": 4, "clean_state": "washed"}, True),
        ({"beading_score": 2}, None),
        ({"beading_score": 0}, False),
        ({"works": True, "beading_score": 0}, None),
        ({"gloss_gu": 60.0}, None),
    ],
)
def test_what_a_look_says_of_a_layer(told: dict[str, object], says: bool | None) -> None:
    assert verdict(look(APPLIED, **told), end_deg=90.0) is says


def test_looks_become_an_interval_in_months_of_the_reference_duty() -> None:
    car = bonnet(look(date(2024, 4, 1), works=True), look(date(2025, 10, 1), works=False))
    (found,) = histories_of(car, source("Cfb"), key="v")
    assert (found.key, found.kind) == (car.surfaces[0].layers[0].key, "ceramic_mid")
    assert found.life.median_months == pytest.approx(math.sqrt(28 * 40))
    # The car stands in a temperate place at the reference use: a month is about a month.
    assert found.history.alive_months == pytest.approx(12.0, rel=0.15)
    assert found.history.failed_months == pytest.approx(30.0, rel=0.15)
    assert not found.history.touched
    assert found.history.weight == 1.0


def test_a_hard_use_counts_more_months() -> None:
    seen = look(date(2025, 4, 1), works=True)
    usual, hard = (
        histories_of(bonnet(seen, colour=colour, place=place), source(koppen), key="v")[0].history.alive_months
        for colour, koppen, place in (("mid", "Cfb", vehicle().place), ("black", "BWh", vehicle().place))
    )
    assert hard > 1.1 * usual


def test_refinish_is_brought_to_factory_paint() -> None:
    # Layers on refinish last 0.6 to 0.85 as long (common practice): a month there says more.
    seen = look(date(2025, 4, 1), works=True)
    panels = [surface(layer("ceramic_mid", APPLIED), finish=finish) for finish in ("factory", "refinish")]
    factory, refinish = (histories_of(vehicle(one, readings=(seen,)), source("Cfb"), key="v")[0] for one in panels)
    assert refinish.history.alive_months == pytest.approx(factory.history.alive_months / 0.714, rel=0.01)


def test_a_polish_or_a_top_up_between_looks_spoils_the_history() -> None:
    looks = (look(date(2024, 4, 1), works=True), look(date(2025, 10, 1), works=False))
    top_up = EventInput(on=date(2024, 9, 1), kind="top_up")
    (touched,) = histories_of(bonnet(*looks, events=(top_up,)), source("Cfb"), key="v")
    assert touched.history.touched
    later = EventInput(on=date(2025, 12, 1), kind="top_up")
    (after,) = histories_of(bonnet(*looks, events=(later,)), source("Cfb"), key="v")
    assert not after.history.touched
    polish = EventInput(on=date(2024, 9, 1), kind="correction")
    (ended,) = histories_of(bonnet(*looks, events=(polish,)), source("Cfb"), key="v")
    assert ended.history.failed_months is None, "the second look speaks of bare paint"
    assert ended.history.alive_months == pytest.approx(12.0, rel=0.15)


def test_working_again_after_a_decontamination_takes_the_end_back() -> None:
    looks = (look(date(2024, 4, 1), works=False), look(date(2025, 4, 1), works=True))
    (found,) = histories_of(bonnet(*looks), source("Cfb"), key="v")
    assert found.history.failed_months is None
    assert found.history.alive_months == pytest.approx(24.0, rel=0.15)
