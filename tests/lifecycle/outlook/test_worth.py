"""What a due window is worth: chance of a visit x acceptance x price, in the figures and behind them alike."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from scipy.stats import beta, binom

from lifecycle.models import CareDue, OutlookRow
from lifecycle.outlook import acceptance, prepared, revenue, sheet_reads
from lifecycle.outlook.acceptance import Decisions
from lifecycle.outlook.return_reads import returns
from lifecycle.outlook.revenue import Prospect
from lifecycle.outlook.worth import window_worth
from tests.factories import NOW, TODAY, CareDueFactory, HabitsFactory, SiteFactory, VehicleFactory
from tests.lifecycle.outlook.test_acceptance_reads import advice
from tests.lifecycle.outlook.test_reads import due, price
from tests.lifecycle.outlook.test_return_reads import came, keeper_of

DAY = timedelta(days=1)


def test_worth_is_visit_times_acceptance_times_price():
    rates = acceptance.of_answers({"booster": Decisions(accepted=7, declined=5, unanswered=30)})
    # The studio's mean is (2 + 7) / (5 + 12), worth ten decisions; Beta(5.294 + 7, 4.706 + 5) by scipy (computed).
    a = 9 / 17 * 10 + 7
    rate = rates["booster"]
    assert (rate.a, rate.b) == pytest.approx((a, 22 - a))
    found = window_worth(0.5, rate, price_low=100, price_high=140)
    assert found.worth == pytest.approx(0.5 * a / 22 * 120)
    assert found.low == pytest.approx(0.5 * beta(a, 22 - a).ppf(0.1) * 100)
    assert found.high == pytest.approx(0.5 * beta(a, 22 - a).ppf(0.9) * 140)
    assert rate.says == (
        "7 of 12 answers were a yes, 30 never answered and are left out; under 20 answers, so it leans on the studio's "
        "mean"
    )


def test_silence_does_not_lower_the_acceptance_of_any_task():
    # Who stays away is in the chance of a visit: counted again here, it would be in the worth twice.
    quiet = {"booster": Decisions(8, 2, 0), "recoat": Decisions(30, 20, 0)}
    loud = {"booster": Decisions(8, 2, 90), "recoat": Decisions(30, 20, 400)}
    assert {task: rate.mean for task, rate in acceptance.of_answers(quiet).items()} == {
        task: rate.mean for task, rate in acceptance.of_answers(loud).items()
    }
    assert acceptance.of_answers({}, tasks=["booster"])["booster"].says == (
        "nobody has answered yet: the studio's mean stands in"
    )


def windows(count: int, **fields: object) -> list[Prospect]:
    one = Prospect(
        key="", split="likely", rate="booster", earliest=date(2026, 5, 1), ideal=date(2026, 5, 15),
        latest=date(2026, 5, 31), price_low=1.0, price_high=1.0, labour_h=1.0,
    )  # fmt: skip
    return [replace(one, key=f"{number:04d}", **fields) for number in range(count)]  # type: ignore[arg-type]


def drawn(rows: list[Prospect]) -> revenue.Revenue:
    return revenue.simulate(rows, rates={"booster": (1e6, 1e-3)}, today=TODAY, seed=(1, 2026, 3))


def test_the_chance_of_a_visit_thins_out_the_draws():
    # 400 people who come with chance .3 and then say yes: binomial, mean 120, sd 9.17 (the distribution's formula).
    band = drawn(windows(400, visit=0.3)).year_total
    assert band.p50 == pytest.approx(120, abs=2)
    assert (band.p10, band.p90) == pytest.approx((120 - 11.7, 120 + 11.7), abs=3)
    assert drawn(windows(9, visit=0.0)).year_total.p90 == 0
    with pytest.raises(ValueError, match=r"chance of a visit 1\.2"):
        drawn(windows(1, visit=1.2))


def test_the_windows_of_one_customer_come_or_stay_away_together():
    # 20 windows each of 20 people: the mean is that of 400 people, the range that of 20 groups (binomial, by scipy).
    rows = [replace(row, customer=1 + number % 20) for number, row in enumerate(windows(400, visit=0.3))]
    found = drawn(rows)
    assert found.months[2].mean["likely"] == pytest.approx(120, abs=4)
    assert found.year_total.p10 == 20 * binom(20, 0.3).ppf(0.1)
    assert found.year_total.p90 == 20 * binom(20, 0.3).ppf(0.9)
    alone = [replace(row, customer=row.customer + 100 * number) for number, row in enumerate(rows)]
    assert drawn(alone).year_total.p90 < found.year_total.p90


@pytest.mark.django_db
class TestOnRows:
    def prepared(self, studio):
        prepared.prepare_studio(studio=studio, actor="cycle", at=NOW)
        return sheet_reads.page(studio).sheet

    def test_the_rows_show_the_factors_the_draws_use(self):
        site = SiteFactory()
        regular, stopped = due(site, task="recoat"), due(site, task="recoat")
        came(regular.vehicle, 320, 140, 10)
        came(stopped.vehicle, 1460, 1440, 1420)  # the first of them is their first day
        advice(regular.vehicle, "offered", "accepted", task="recoat")
        advice(regular.vehicle, "offered", "declined", task="recoat")
        advice(stopped.vehicle, "offered", "expired", task="recoat")
        sheet = self.prepared(site.studio)
        expected = returns(site.studio, today=TODAY)
        rows = {row.vehicle_id: row for row in sheet_reads.rows(site.studio, split="likely").rows}
        for window, came_back in ((regular, 3), (stopped, 2)):
            row = rows[window.vehicle_id]
            one = expected[keeper_of(window.vehicle).pk]
            assert row.value.visit == pytest.approx(one.comes_12m)
            assert (row.visits, row.value.price_low, row.value.price_high) == (came_back, 100, 140)
            assert row.says.startswith("1 of 2 answers were a yes, 1 never answered")
            assert row.value.worth == pytest.approx(one.comes_12m * row.value.accepted * 120)
            assert row.value.low < row.value.worth < row.value.high
        assert rows[regular.vehicle_id].value.worth > 2 * rows[stopped.vehicle_id].value.worth
        assert sum(row.worth for row in rows.values()) == pytest.approx(sheet.year.likely.mean, rel=0.1)
        assert "leans on what the house assumes (judgement)" in sheet.comes
        assert any("times the share of those who come that says yes" in line for line in sheet.fed_by)

    def test_who_said_yes_is_not_doubted_twice(self):
        site = SiteFactory()
        window = due(site, task="recoat")
        offer = advice(window.vehicle, "offered", "accepted", task="recoat", days=10, due=window)
        self.prepared(site.studio)
        row = OutlookRow.objects.get(source=f"due:{offer.due_id}", split="likely")
        assert (row.rate, row.visit, row.take_up) == ("said yes", 1.0, 0.8)
        (line,) = (line for line in sheet_reads.rows(site.studio, split="likely").rows)
        assert (line.visits, line.value.chance) == (None, 0.8)

    def test_who_moved_away_is_left_out_and_said(self):
        site = SiteFactory()
        price(site.studio, "recoat")
        far = CareDueFactory(vehicle=VehicleFactory(site=site), task="recoat")
        HabitsFactory(vehicle=far.vehicle, lat=site.lat + 3.0, lon=site.lon, start=TODAY - 90 * DAY)
        sheet = self.prepared(site.studio)
        assert sheet.year.dues == 0
        assert sheet.left_out == ("1 of keepers who moved away: not lost, but nothing is expected",)
        assert CareDue.objects.filter(pk=far.pk, state="open").exists()  # the need is still there

    def test_the_chances_are_stable_numbers(self):
        site = SiteFactory()
        due(site)
        first, second = (self.prepared(site.studio).year.total for _ in range(2))
        assert first == second
        assert np.isfinite(first.p90)
