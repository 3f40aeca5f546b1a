"""Are we right: intervals against published ones, forecasts against later looks, reminders against none."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from scipy.stats import lognorm

from lifecycle.models import (
    Assessment,
    CareEvent,
    Forecast,
    ForecastCheck,
    Inspection,
    LearnedLife,
    Reading,
    ReminderTrial,
    Visit,
)
from lifecycle.outlook import checking, intervals, look, right_reads, trials
from lifecycle.outlook.intervals import difference, wilson
from lifecycle.outlook.look import END, TIRED, Look
from lifecycle.outlook.right_reads import Wanted
from lifecycle.outlook.trials import Trial, Window
from lifecycle.wear.chemistry import chemistry
from lifecycle.wear.types import DateBand
from tests.factories import (
    NOW,
    TODAY,
    CareDueFactory,
    LayerFactory,
    MemberFactory,
    MessageFactory,
    ProductFactory,
    ReminderFactory,
    SiteFactory,
    StudioFactory,
    SurfaceFactory,
    VehicleFactory,
)


# Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3 (score), from memory.
@pytest.mark.parametrize(
    ("k", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0, 0.1611), (1, 29, 0.0061, 0.1718)],
)  # fmt: skip
def test_wilson_as_published(k, n, low, high):
    found = wilson(k, n)
    assert (found.low, found.high) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


# Newcombe, Statistics in Medicine 17 (1998) 873-890, table II, method 10, from memory.
@pytest.mark.parametrize(
    ("first", "second", "low", "high"),
    [
        ((56, 70), (48, 80), 0.0524, 0.3339),
        ((9, 10), (3, 10), 0.1705, 0.8090),
        ((6, 7), (2, 7), 0.0582, 0.8062),
        ((5, 56), (0, 29), -0.0381, 0.1926),
        ((10, 10), (0, 10), 0.6075, 1.0),
    ],
)
def test_newcombes_worked_examples(first, second, low, high):
    found = difference(wilson(*first), wilson(*second))
    assert (found.low, found.high) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


def test_wilson_is_scipys():
    from scipy.stats import binomtest

    for k, n in ((0, 1), (1, 1), (3, 10), (50, 100), (999, 1000)):
        oracle = binomtest(k, n).proportion_ci(method="wilson")
        assert (wilson(k, n).low, wilson(k, n).high) == pytest.approx((oracle.low, oracle.high), abs=1e-9)


@pytest.mark.parametrize(
    ("first", "second", "says"),
    [((56, 70), (48, 80), "more"), ((48, 80), (56, 70), "fewer"), ((9, 10), (3, 10), intervals.CANNOT_TELL),
     ((50, 100), (48, 100), intervals.CANNOT_TELL), ((5, 30), (0, 0), intervals.CANNOT_TELL)],
)  # fmt: skip
def test_few_or_none_cannot_tell_yet(first, second, says):
    assert difference(wilson(*first), wilson(*second)).says == says


def test_counts_that_make_no_sense():
    with pytest.raises(ValueError, match="3 of 2"):
        wilson(3, 2)


class TestLooks:
    angles = chemistry("ceramic_mid").angles

    @pytest.mark.parametrize("what", [TIRED, END])
    def test_an_angle_tells_outside_of_its_margin(self, what):
        at = look.angle_of(what, self.angles)
        for off, answer in ((10, False), (3.5, False), (2, None), (-2, None), (-3.5, True)):
            assert look.seen(what, Look((("contact_angle_deg", at + off),)), self.angles) is answer

    def test_tired_comes_before_the_end(self):
        assert self.angles.new > look.angle_of(TIRED, self.angles) > look.angle_of(END, self.angles) == self.angles.end

    def test_still_works_says_nothing_of_tired(self):
        works, gone = Look((("works", 1.0),)), Look((("works", 0.0),))
        assert [look.seen(what, works, None) for what in (TIRED, END)] == [None, False]
        assert [look.seen(what, gone, None) for what in (TIRED, END)] == [True, True]

    def test_scores_at_both_ends_tell_and_contradictions_do_not(self):
        assert look.seen(END, Look((("beading_score", 5.0),)), self.angles) is False
        assert look.seen(END, Look((("beading_score", 0.0),)), self.angles) is True
        assert look.seen(END, Look((("beading_score", 5.0), ("works", 0.0))), self.angles) is None

    def test_the_chance_is_the_lognormal_of_the_band(self):
        # A lognormal life of median 24 months, sigma 0.4: its quantiles as days, and its own distribution back.
        life = lognorm(0.4, scale=24.0)
        applied = date(2024, 1, 1)
        days = [applied + timedelta(days=round(30.4375 * life.ppf(level))) for level in (0.1, 0.5, 0.9)]
        for months in (6, 12, 20, 24, 30, 45, 70):
            on = applied + timedelta(days=round(30.4375 * months))
            assert look.chance_by(on, applied=applied, band=DateBand(*days)) == pytest.approx(
                life.cdf(months), abs=0.004
            )

    def test_a_band_of_one_day_is_a_step(self):
        day = date(2025, 1, 1)
        chances = [
            look.chance_by(on, applied=date(2024, 1, 1), band=DateBand(day, day, day))
            for on in (day - timedelta(days=1), day)
        ]
        assert chances == [0.0, 1.0]


def seen_layer(site, *, seen=TODAY, angle=60.0, state="decontaminated", before=30, by="studio", **layer):
    """A layer with a forecast made `before` days ahead of a look at it; its end is forecast for about 400 days ago."""
    vehicle = VehicleFactory(site=site)
    surface = SurfaceFactory(vehicle=vehicle)
    made = LayerFactory(surface=surface, applied=TODAY - timedelta(days=1400), **layer)
    forecast(vehicle, made, on=seen - timedelta(days=before))
    looked = Inspection.objects.create(studio=site.studio, vehicle=vehicle, on=seen, clean_state=state, by=by)
    Reading.objects.create(
        studio=site.studio, inspection=looked, surface=surface, kind="contact_angle_deg", value=angle
    )  # fmt: skip
    return vehicle, made


def forecast(vehicle, layer, *, on, ends=(-600, -400, -200), tired=(-900, -700, -500)):
    assessment = Assessment.objects.create(
        studio=vehicle.studio, vehicle=vehicle, as_of=on, at=NOW, input_hash=str(on), latest=False
    )
    days = {
        f"{what}_{point}": TODAY + timedelta(days=shift)
        for what, shifts in (("end", ends), ("tired", tired))
        for point, shift in zip(("p10", "p50", "p90"), shifts, strict=True)
    }
    return Forecast.objects.create(
        studio=vehicle.studio, assessment=assessment, surface=layer.surface, layer=layer, stage="end", **days
    )


@pytest.mark.django_db
class TestChecks:
    def test_the_forecast_before_the_look_is_taken_never_a_later_one(self):
        site = SiteFactory()
        vehicle, layer = seen_layer(site)
        forecast(vehicle, layer, on=TODAY, ends=(100, 400, 900), tired=(50, 200, 500))  # of the day itself: hindsight
        forecast(vehicle, layer, on=TODAY + timedelta(days=7), ends=(100, 400, 900), tired=(50, 200, 500))
        assert checking.check_studio(site.studio) == 1
        rows = ForecastCheck.objects.all()
        assert {row.forecast_on for row in rows} == {TODAY - timedelta(days=30)}
        assert {(row.what, row.seen) for row in rows} == {("tired", True), ("end", True)}
        assert all(row.chance > 0.9 for row in rows)

    def test_the_early_one_is_90_days_older(self):
        site = SiteFactory()
        vehicle, layer = seen_layer(site, before=5)
        forecast(vehicle, layer, on=TODAY - timedelta(days=89))
        assert not self.days(site, "early")
        forecast(vehicle, layer, on=TODAY - timedelta(days=90))
        forecast(vehicle, layer, on=TODAY - timedelta(days=300))
        assert self.days(site, "early") == {TODAY - timedelta(days=90)}
        assert self.days(site, "last") == {TODAY - timedelta(days=5)}

    def days(self, site, lead):
        checking.check_studio(site.studio)
        return {row.forecast_on for row in ForecastCheck.objects.filter(lead=lead)}

    @pytest.mark.parametrize("case", [{"state": "washed"}, {"by": "customer"}])
    def test_looks_that_do_not_count(self, case):
        site = SiteFactory()
        seen_layer(site, **case)
        assert checking.check_studio(site.studio) == 0

    def test_work_between_forecast_and_look_leaves_it_out(self):
        site = SiteFactory()
        vehicle, layer = seen_layer(site)
        CareEvent.objects.create(
            studio=site.studio, vehicle=vehicle, surface=layer.surface, kind="correction",
            on=TODAY - timedelta(days=10),
        )  # fmt: skip
        assert checking.check_studio(site.studio) == 0
        other, under = seen_layer(site)
        assert checking.check_studio(site.studio) == 1
        LayerFactory(surface=under.surface, kind="spray_booster", applied=TODAY - timedelta(days=3))
        assert checking.check_studio(site.studio) == 0
        assert other != vehicle

    def test_counts_by_product_applicator_site_and_bin_and_the_rows_behind_them(self):
        studio = StudioFactory()
        sites = [SiteFactory(studio=studio, name=name) for name in ("Skarholt Sound", "Tarn Bellow")]
        product = ProductFactory(studio=studio)
        piet = MemberFactory(studio=studio, role="technician", user__name="Piet Oxenrood")
        for number in range(8):
            seen_layer(sites[number % 2], product=product, applicator=piet, angle=60.0 if number < 6 else 110.0)
        checking.check_studio(studio)
        view = right_reads.are_we_right(studio)
        end = next(row for row in view.calibrations if row.what == END)
        assert (view.looks, end.whole.hit.k, end.whole.hit.n, end.whole.missed.n) == (8, 6, 8, 0)
        assert (end.whole.hit.low, end.whole.hit.high) == pytest.approx((wilson(6, 8).low, wilson(6, 8).high))
        assert [(row.name, row.hit.k, row.hit.n) for row in end.groups["site"]] == [
            ("Skarholt Sound", 3, 4), ("Tarn Bellow", 3, 4)
        ]  # fmt: skip
        assert [(row.name, row.hit.n) for row in end.groups["applicator"]] == [("Piet Oxenrood", 8)]
        assert [row.hit.n for row in end.groups["product"]] == [8]
        assert [row.seen.n for row in end.bins] == [0, 0, 0, 0, 8]
        assert end.bins[4].agrees is False  # all but certain, and 6 of 8 seen
        behind = right_reads.check_lines(studio, Wanted(what=END, group="site", key=sites[0].pk, predicted=True))
        assert (behind.total, sum(row.seen for row in behind.rows)) == (4, 3)
        assert right_reads.check_lines(studio, Wanted(what=END, number=4)).total == 8
        assert right_reads.check_lines(studio, Wanted(what=END, number=1)).total == 0
        assert right_reads.check_lines(StudioFactory(), Wanted()).total == 0

    def test_worked_out_anew_it_is_the_same(self):
        site = SiteFactory()
        seen_layer(site)
        checking.check_studio(site.studio)
        first = list(ForecastCheck.objects.values_list("what", "lead", "chance", "seen"))
        checking.check_studio(site.studio)
        assert list(ForecastCheck.objects.values_list("what", "lead", "chance", "seen")) == first

    def test_a_fair_forecast_is_found_fair(self):
        # Truth drawn from the forecast's own distribution: the shares seen agree with the chances (binomial, 95 %).
        import numpy as np

        random, site = np.random.default_rng(7), SiteFactory()
        for _ in range(150):
            shift = int(random.integers(-500, 500))
            vehicle, layer = seen_layer(site)
            days = [shift - 250, shift, shift + 330]
            band = DateBand(*(TODAY + timedelta(days=day) for day in days))
            ends = {f"end_{point}": getattr(band, point) for point in ("p10", "p50", "p90")}
            Forecast.objects.filter(layer=layer).update(**ends)
            chance = look.chance_by(TODAY, applied=layer.applied, band=band)
            Reading.objects.filter(inspection__vehicle=vehicle).update(
                value=60.0 if random.random() < chance else 112.0
            )
        checking.check_studio(site.studio)
        (end,) = [row for row in right_reads.are_we_right(site.studio).calibrations if row.what == END]
        assert sum(row.seen.n for row in end.bins) == 150
        assert sum(bool(row.agrees) for row in end.bins) >= 4


DAY = date(2026, 1, 1)


def days(*shifts: int) -> tuple[date, ...]:
    return tuple(DAY + timedelta(days=shift) for shift in shifts)


@pytest.mark.parametrize(
    ("told", "booked", "gone", "answer"),
    [
        (None, (), None, Trial(False, DAY, False)),
        (None, (28,), None, Trial(False, DAY, True)),
        (None, (29,), None, Trial(False, DAY, False)),
        (5, (), None, Trial(True, DAY + timedelta(days=5), False)),
        (5, (20,), None, Trial(True, DAY + timedelta(days=5), True)),
        (5, (33,), None, Trial(True, DAY + timedelta(days=5), True)),
        (5, (34,), None, Trial(True, DAY + timedelta(days=5), False)),
        (5, (3,), None, Trial(False, DAY, True)),  # booked before anybody was reminded
        (40, (50,), None, Trial(False, DAY, False)),  # its first four weeks went by without a reminder
        (-3, (), None, None),  # told before it opened
        (None, (), 10, None),  # no longer due
        (None, (5,), 10, Trial(False, DAY, True)),
    ],
)
def test_which_group_a_window_belongs_to(told, booked, gone, answer):
    window = Window(
        DAY, days(told)[0] if told is not None else None, days(*booked), days(gone)[0] if gone is not None else None
    )
    assert trials.trial_of(window, today=DAY + timedelta(days=200)) == answer


def test_four_weeks_must_be_over():
    assert trials.trial_of(Window(DAY, None, ()), today=DAY + timedelta(days=28)) is None
    assert trials.trial_of(Window(DAY, None, ()), today=DAY + timedelta(days=29)) is not None


@pytest.mark.django_db
class TestReminders:
    def window(self, site, *, reminded, came):
        opened = NOW - timedelta(days=100)
        row = CareDueFactory(
            vehicle=VehicleFactory(site=site), earliest=opened.date(), ideal=TODAY, latest=TODAY + timedelta(days=9),
            opened_at=opened,
        )  # fmt: skip
        if reminded:
            reminder = ReminderFactory(due=row, state="written")
            MessageFactory(
                reminder=reminder, customer=reminder.customer, state="delivered", written_at=opened + timedelta(days=2)
            )
        if came:
            Visit.objects.create(
                studio=site.studio, site=site, vehicle=row.vehicle, on=TODAY, tasks=[row.task],
                booked_at=opened + timedelta(days=9),
            )  # fmt: skip
        return row

    def test_counts_and_what_may_be_said(self):
        site = SiteFactory()
        for number in range(24):
            self.window(site, reminded=True, came=number < 15)
            self.window(site, reminded=False, came=number < 4)
        assert trials.try_studio(site.studio, today=TODAY) == 48
        whole, task = right_reads.are_we_right(site.studio).effects
        assert (whole.found.first.k, whole.found.first.n) == (15, 24)
        assert (whole.found.second.k, whole.found.second.n) == (4, 24)
        assert whole.found.says == "more"
        assert (task.task, task.found) == ("decontamination_wash", whole.found)
        behind = right_reads.trial_lines(site.studio, reminded=True)
        assert (behind.total, sum(row.came for row in behind.rows)) == (24, 15)

    def test_a_mail_that_was_not_delivered_reminded_nobody(self):
        site = SiteFactory()
        row = self.window(site, reminded=True, came=False)
        row.reminders.get().message.__class__.objects.update(state="failed")
        trials.try_studio(site.studio, today=TODAY)
        assert ReminderTrial.objects.get().reminded is False

    def test_nothing_on_record_says_so(self):
        view = right_reads.are_we_right(StudioFactory())
        (whole,) = view.effects
        assert (view.since, view.looks, whole.found.says) == (None, 0, intervals.CANNOT_TELL)


@pytest.mark.django_db
def test_learned_lives_stand_beside_their_labels():
    site = SiteFactory()
    product = ProductFactory(studio=site.studio)
    plain = {
        "studio": site.studio, "at": NOW, "vehicles": 12, "ended": 7, "excluded": 1, "life_low": 10, "life_mid": 20,
        "life_high": 30, "mark": "learned here", "says": "12 vehicles.",
    }  # fmt: skip
    row = LearnedLife.objects.create(
        product=product, site=site, label=36, median_low=20, median_mid=25, median_high=30, **plain
    )
    (found,) = right_reads.are_we_right(site.studio).learned
    assert (found.label, found.vehicles, found.ended, found.off) == (36, 12, 7, "shorter than the label")
    LearnedLife.objects.filter(pk=row.pk).update(label=22)
    assert right_reads.are_we_right(site.studio).learned[0].off == "cannot tell apart"


@pytest.mark.django_db
def test_as_many_questions_for_thirty_looks_as_for_one():
    counts = []
    for count in (1, 30):
        site = SiteFactory()
        for _ in range(count):
            seen_layer(site)
            TestReminders().window(site, reminded=True, came=True)
        with CaptureQueriesContext(connection) as working:
            checking.check_studio(site.studio)
            trials.try_studio(site.studio, today=TODAY)
        with CaptureQueriesContext(connection) as page:
            right_reads.are_we_right(site.studio)
        with CaptureQueriesContext(connection) as rows:
            right_reads.check_lines(site.studio, Wanted())
            right_reads.trial_lines(site.studio)
        counts.append([len(working), len(page), len(rows)])
    assert counts[0] == counts[1]
