"""Durability learned here, from rows: what inspections of a studio say of a product at each of its sites."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from lifecycle import models
from lifecycle.care.figures import override_figure
from lifecycle.climate.store import refresh
from lifecycle.condition import learning
from lifecycle.condition.durability import learned_here
from lifecycle.condition.inputs import figures_of, rows_for, vehicle_input
from lifecycle.condition.learning import learn, learned_of
from lifecycle.wear.types import Mark
from tests.factories import (
    NOW,
    TODAY,
    HabitsFactory,
    LayerFactory,
    ProductFactory,
    SiteFactory,
    StudioFactory,
    SurfaceFactory,
    VehicleFactory,
)

pytestmark = pytest.mark.django_db

MONTH = timedelta(days=30.4375)


@pytest.fixture
def product():
    return ProductFactory(studio=StudioFactory(), code="C36", name="two-coat ceramic")


@pytest.fixture
def site(product):
    return SiteFactory(studio=product.studio, name="Tarn Bellow")


def looked_after(product, site, *, works, months=30.0, ended_months=None, clean_state="decontaminated", by="studio"):
    """A vehicle with one bonnet of the product, `months` old, and what inspections saw: works at (months), ended at."""
    vehicle = VehicleFactory(site=site, studio=site.studio)
    HabitsFactory(vehicle=vehicle, studio=site.studio, start=TODAY - timedelta(days=2000))
    bonnet = SurfaceFactory(vehicle=vehicle, studio=site.studio, code="bonnet")
    layer = LayerFactory(
        surface=bonnet, studio=site.studio, product=product, kind=product.kind, applied=TODAY - months * MONTH
    )
    looks = [(works, 1.0)] if works is not None else []
    looks += [(ended_months, 0.0)] if ended_months is not None else []
    for age, value in looks:
        inspection = models.Inspection.objects.create(
            studio=site.studio, vehicle=vehicle, on=layer.applied + age * MONTH, clean_state=clean_state, by=by
        )
        models.Reading.objects.create(
            studio=site.studio, inspection=inspection, surface=bonnet, kind="works", value=value
        )
    return layer


def test_a_few_vehicles_are_mostly_the_label(product, site) -> None:
    for months in (12.0, 14.0):
        looked_after(product, site, works=months, ended_months=months + 6.0)
    refresh(at=NOW)
    (found,) = learned_here(product.studio, at=NOW)
    assert (found.product, found.site) == ("C36 two-coat ceramic", "Tarn Bellow")
    learned = found.learned
    assert (learned.vehicles, learned.ended, learned.excluded) == (2, 2, 0)
    # The life table's range for this kind: 28 to 40 months (from memory).
    assert learned.prior_median_months == pytest.approx((28 * 40) ** 0.5)
    assert learned.median_months.p50 < learned.prior_median_months
    assert "mostly the prior" in learned.says
    assert learned.mark is Mark.FROM_MEMORY


def test_a_dozen_early_ends_are_learned(product, site) -> None:
    for number in range(12):
        looked_after(product, site, works=10.0 + number % 4, ended_months=18.0 + number % 5)
    refresh(at=NOW)
    (found,) = learned_here(product.studio, at=NOW)
    assert (found.learned.vehicles, found.learned.ended) == (12, 12)
    assert 12.0 < found.learned.median_months.p50 < 23.0
    assert found.learned.mark is Mark.LEARNED_HERE
    assert found.learned.says.startswith("From 12 vehicles here, 12 of them at the end of this layer")
    assert found.calibration is not None
    assert found.calibration.ln_score > found.calibration.label_ln_score


def test_the_product_label_is_the_prior(product, site) -> None:
    product.life_low_months, product.life_high_months = 40.0, 60.0
    product.save()
    looked_after(product, site, works=12.0)
    refresh(at=NOW)
    (found,) = learned_here(product.studio, at=NOW)
    assert found.learned.prior_median_months == pytest.approx((40 * 60) ** 0.5)
    assert found.learned.mark is Mark.JUDGEMENT
    assert found.calibration is None


def test_a_figure_set_by_hand_is_the_prior_and_one_learned_here_is_not(product, site) -> None:
    looked_after(product, site, works=12.0)
    refresh(at=NOW)
    told = {"studio": product.studio, "product": product, "key": "layer.ceramic_mid.months", "since": NOW}
    own = models.FigureOverride.objects.create(
        **told, value=22.0, low=20.0, high=24.0, mark="judgement", source="own experience"
    )
    (found,) = learned_here(product.studio, at=NOW)
    assert found.learned.prior_median_months == pytest.approx((20 * 24) ** 0.5)
    # The same inspections must not count twice.
    models.FigureOverride.objects.filter(pk=own.pk).update(mark="learned here")
    (again,) = learned_here(product.studio, at=NOW)
    assert again.learned.prior_median_months == pytest.approx((28 * 40) ** 0.5)


def test_what_was_learned_can_be_put_into_the_forecast(product, site) -> None:
    for number in range(12):
        layer = looked_after(product, site, works=10.0 + number % 4, ended_months=18.0 + number % 5)
    refresh(at=NOW)
    (found,) = learned_here(product.studio, at=NOW)
    life = found.learned.life_months
    override_figure(
        studio=product.studio, key=found.figure_key, value=life.p50, low=life.p10, high=life.p90, mark="learned here",
        source=found.learned.says, product_id=found.product_id, actor="member:1", at=NOW,
    )  # fmt: skip
    own = figures_of([product.studio_id])[product.studio_id]
    (given,) = vehicle_input(rows_for([layer.surface.vehicle_id])[0], as_of=TODAY, figures=own).surfaces[0].layers
    assert given.life_months == (life.p10, life.p90)
    assert given.life_mark is Mark.LEARNED_HERE
    assert learned_here(product.studio, at=NOW) == (found,), "it does not learn from itself"


def test_what_was_polished_or_topped_up_between_looks_is_left_out(product, site) -> None:
    for _ in range(3):
        looked_after(product, site, works=12.0, ended_months=24.0)
    spoilt = looked_after(product, site, works=12.0, ended_months=24.0)
    models.CareEvent.objects.create(
        studio=site.studio, vehicle=spoilt.surface.vehicle, kind="top_up", on=spoilt.applied + 15 * MONTH
    )
    refresh(at=NOW)
    (found,) = learned_here(product.studio, at=NOW)
    assert (found.learned.vehicles, found.learned.excluded) == (3, 1)
    assert "1 left out" in found.learned.says


def test_a_customers_own_look_and_a_dirty_one_teach_no_product(product, site) -> None:
    looked_after(product, site, works=20.0, by="customer")
    looked_after(product, site, works=20.0, clean_state="dirty")
    refresh(at=NOW)
    (found,) = learned_here(product.studio, at=NOW)
    assert found.learned.vehicles == 0
    assert found.learned.median_months.p50 == pytest.approx(found.learned.prior_median_months, rel=1e-3)


def test_sites_stand_apart_and_lend_each_other_strength(product, site) -> None:
    other = SiteFactory(studio=product.studio, name="Skarholt Sound", lat=site.lat, lon=site.lon)
    for number in range(12):
        looked_after(product, site, works=10.0 + number % 4, ended_months=18.0 + number % 5)
    looked_after(product, other, works=None)
    refresh(at=NOW)
    sound, bellow = learned_here(product.studio, at=NOW)
    assert (sound.site, bellow.site) == ("Skarholt Sound", "Tarn Bellow")
    assert sound.learned.vehicles == 0
    assert bellow.learned.median_months.p50 < sound.learned.median_months.p50 < sound.learned.prior_median_months
    assert "those of other sites" in sound.learned.says


def test_another_studio_teaches_nothing_here(product, site) -> None:
    foreign = ProductFactory(studio=StudioFactory())
    looked_after(foreign, SiteFactory(studio=foreign.studio), works=12.0, ended_months=18.0)
    refresh(at=NOW)
    assert learned_here(product.studio, at=NOW) == ()
    assert len(learned_here(foreign.studio, at=NOW)) == 1


def test_the_number_of_queries_does_not_grow_with_vehicles(product, site) -> None:
    looked_after(product, site, works=12.0)
    refresh(at=NOW)
    with CaptureQueriesContext(
        connection,
    ) as few:
        learned_here(product.studio, at=NOW)
    for _ in range(6):
        looked_after(product, site, works=12.0, ended_months=20.0)
    with CaptureQueriesContext(connection) as more:
        learned_here(product.studio, at=NOW)
    assert len(more) == len(few)


def test_a_night_keeps_what_was_learned_for_the_pages(product, site) -> None:
    for works, ended in ((12.0, 18.0), (14.0, 20.0)):
        looked_after(product, site, works=works, ended_months=ended)
    refresh(at=NOW)
    assert learn(at=NOW) == {"studios": 1, "learned": 1}
    (found,), (kept,) = learned_here(product.studio, at=NOW), learned_of(product.studio, product.pk)
    assert (kept.site, kept.at, kept.vehicles, kept.ended, kept.excluded) == ("Tarn Bellow", NOW, 2, 2, 0)
    assert (kept.label, kept.median, kept.life) == (
        found.learned.prior_median_months, found.learned.median_months, found.learned.life_months,
    )  # fmt: skip
    assert (kept.says, kept.calibration_says) == (found.learned.says, found.calibration.says)
    # Once a night, whoever wakes it; then anew, and what is no longer there goes.
    looked_after(product, site, works=12.0, ended_months=18.0)
    assert learn(at=NOW + timedelta(hours=6))["studios"] == 0
    assert learned_of(product.studio, product.pk)[0].vehicles == 2
    assert learn(at=NOW + timedelta(hours=24))["learned"] == 1
    assert learned_of(product.studio, product.pk)[0].vehicles == 3
    assert learned_of(StudioFactory(), product.pk) == ()
    models.Layer.objects.update(product=None)
    assert learn(at=NOW + timedelta(hours=48)) == {"studios": 1, "learned": 0}
    assert learned_of(product.studio, product.pk) == ()


def test_a_studio_that_fails_leaves_the_others_theirs(product, site, monkeypatch) -> None:
    looked_after(product, site, works=12.0)
    other = ProductFactory(studio=StudioFactory())
    looked_after(other, SiteFactory(studio=other.studio), works=12.0)
    refresh(at=NOW)
    plain = learning.learned_here

    def ill(studio, *, at):
        if studio == product.studio:
            raise ValueError("a figure that no table knows")
        return plain(studio, at=at)

    monkeypatch.setattr(learning, "learned_here", ill)
    assert learn(at=NOW) == {"studios": 1, "learned": 1, "failed": 1}
    assert learned_of(product.studio, product.pk) == ()
    assert len(learned_of(other.studio, other.pk)) == 1
