"""What must hold for every vehicle (Hypothesis, few examples: the suite stays fast)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.wear import choices
from lifecycle.wear import degradation as deg
from lifecycle.wear.assessment import assess
from lifecycle.wear.chemistry import chemistries, chemistry
from lifecycle.wear.course import layer_course
from lifecycle.wear.evidence import Seen, update
from lifecycle.wear.figures import wear_value
from lifecycle.wear.stack import LiveLayer
from lifecycle.wear.types import HabitPeriod, LayerForecast, Mechanism, ReadingInput
from tests.wear.test_evidence import COAT
from tests.wear.vehicles import habit, layer, source, surface, vehicle

FEW = settings(max_examples=6, deadline=None, database=None)
KINDS = st.sampled_from(sorted(chemistries()))
APPLIED = date(2024, 3, 10)
HABITS = st.builds(
    habit,
    parking=st.sampled_from(choices.PARKING),
    km_per_year=st.floats(0, 60_000),
    wash_method=st.sampled_from(choices.WASH_METHODS),
    washes_per_year=st.floats(0, 104),
    wash_ph=st.sampled_from(choices.WASH_PH),
    road_salt=st.sampled_from(choices.ROAD_SALT),
    trees_birds=st.integers(0, 3),
)


def forecast(
    kind: str, use: HabitPeriod, koppen: str = "Cfb", *, cut: date | None = None, **changes: object
) -> LayerForecast:
    habits = (use,) if cut is None else (replace(use, end=cut), replace(use, start=cut))
    car = vehicle(surface(layer(kind, APPLIED)), habits=habits, **changes)
    return assess(car, source(koppen)).surfaces[0].layers[0]


@FEW
@given(KINDS, HABITS, st.sampled_from(["Cfb", "BWh", "Dfb", "Am"]))
def test_every_forecast_is_ordered_finite_and_never_bare(kind: str, use: HabitPeriod, koppen: str) -> None:
    found = forecast(kind, use, koppen)
    for band in (found.function_left, found.life_consumed, found.renewal_months):
        assert band is not None
        assert np.isfinite([band.p10, band.p50, band.p90]).all()
        assert band.p10 <= band.p50 <= band.p90
    assert found.renewal_months.p10 < found.renewal_months.p90
    assert 0 <= found.function_left.p10 <= found.function_left.p90 <= 1
    assert found.tired_on.p50 <= found.end_on.p50
    assert found.end_on == found.renewal_on
    assert sum(reason.share for reason in found.reasons) == pytest.approx(1.0)
    chances = [chance for chance, _ in found.chance_dates]
    days = [day for _, day in found.chance_dates]
    assert chances == sorted(chances)
    assert days == sorted(days)


@FEW
@given(KINDS, HABITS, st.integers(1, 700))
def test_cutting_a_period_changes_nothing(kind: str, use: HabitPeriod, days: int) -> None:
    whole, cut = forecast(kind, use), forecast(kind, use, cut=APPLIED + timedelta(days=days))
    assert cut.life_consumed.p50 == pytest.approx(whole.life_consumed.p50, rel=1e-12)
    assert cut.chance_dates == whole.chance_dates


@FEW
@given(KINDS, HABITS)
def test_wear_only_grows(kind: str, use: HabitPeriod) -> None:
    course = forecast(kind, use).course
    for point in ("p10", "p50", "p90"):
        values = [getattr(one, point) for one in course]
        assert all(later <= earlier + 1e-12 for earlier, later in pairwise(values))


@FEW
@given(
    KINDS, st.sampled_from(list(Mechanism)), st.floats(1.01, 4.0), st.lists(st.floats(0.1, 2.5), min_size=7, max_size=7)
)
def test_more_of_any_stress_never_lengthens_a_life_and_more_of_a_weighted_one_shortens_it(
    kind: str, mechanism: Mechanism, more: float, duty: list[float]
) -> None:
    row = chemistry(kind)
    life, live = deg.life_of(row), LiveLayer(layer(kind, APPLIED))
    column, days = list(Mechanism).index(mechanism), 4000
    daily = np.tile(duty, (days, 1))
    harder = daily.copy()
    harder[:, column] *= more
    courses = [
        layer_course(live, life=life, chemistry=row, surface=surface(), daily=each, km=np.zeros(days))
        for each in (daily, harder)
    ]
    base, worse = (one.stress for one in courses)
    assert np.all(worse >= base - 1e-9)
    if row.weights[column] > 0.0 and base[-1] < 0.99 * deg.cumulate(np.full(days, wear_value("rate.most")))[-1]:
        assert worse[-1] > base[-1]
    ends = [deg.Clock(APPLIED, one.stress, life, deg.prior_rate(ln_sd=0.3)).months_until(1.0, 0.5) for one in courses]
    assert ends[1] <= ends[0] + 1e-9


@FEW
@given(KINDS, HABITS)
def test_more_distance_salt_or_trees_and_a_darker_colour_never_lengthen_a_life(kind: str, use: HabitPeriod) -> None:
    base = forecast(kind, use).renewal_months.p50
    harder = replace(use, km_per_year=use.km_per_year * 1.5 + 1000, road_salt="heavy", trees_birds=3)
    assert forecast(kind, harder).renewal_months.p50 <= base + 1e-9
    assert (
        forecast(kind, use, colour="black").renewal_months.p50
        <= forecast(kind, use, colour="white").renewal_months.p50 + 1e-9
    )


@FEW
@given(st.floats(0.05, 1.8), st.floats(60, 120), st.floats(0.3, 0.8))
def test_a_gaussian_reading_never_widens_much_and_a_posterior_is_proper(
    consumed: float, angle: float, sd: float
) -> None:
    told = ReadingInput(on=APPLIED, surface="bonnet", clean_state="decontaminated", contact_angle_deg=angle, drops=5)
    after = update(prior_ln_sd=sd, seen=[Seen(told, consumed, COAT)])
    assert after.ln_sd <= sd * 1.05
    assert after.rate.chance[0] == 0.0
    assert after.rate.chance[-1] == pytest.approx(1.0)
    assert np.all(np.diff(after.rate.chance) >= 0)


@FEW
@given(st.floats(0, 3), st.floats(70, 80), st.floats(82, 95), st.floats(97, 125))
def test_the_angle_stays_between_new_and_bare(consumed: float, bare: float, end: float, new: float) -> None:
    angle = float(deg.angle_at(consumed, new_deg=new, end_deg=end, bare_deg=bare))
    assert bare - 1e-9 <= angle <= new + 1e-9


@FEW
@given(KINDS)
def test_a_layer_applied_today_has_consumed_nothing(kind: str) -> None:
    car = vehicle(surface(layer(kind, date(2026, 3, 1))))
    found = assess(car, source("Cfb")).surfaces[0].layers[0]
    assert found.function_left.p50 == pytest.approx(1.0)
    assert found.life_consumed.p90 == 0.0
