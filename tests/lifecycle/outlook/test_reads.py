"""What the outlook is made from: what counts as booked, likely and possible, what is left out, and for whom."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from lifecycle.models import Assessment, Complaint, Forecast, Offer, Price, Refusal, Visit
from lifecycle.outlook import answers_read, offers, prepared, sheet_reads
from tests.factories import (
    NOW,
    TODAY,
    CareDueFactory,
    LayerFactory,
    SiteFactory,
    StudioFactory,
    SurfaceFactory,
    VehicleFactory,
)

pytestmark = pytest.mark.django_db


def price(studio, *tasks):
    for task in tasks:
        Price.objects.get_or_create(studio=studio, task=task, size="M", defaults={"low": 100, "high": 140})


def due(site, task="decontamination_wash", opens=-5, **fields):
    price(site.studio, task)
    return CareDueFactory(
        vehicle=VehicleFactory(site=site), task=task, earliest=TODAY + timedelta(days=opens),
        ideal=TODAY + timedelta(days=opens + 30), latest=TODAY + timedelta(days=opens + 60), **fields,
    )  # fmt: skip


def sheet_of(studio):
    """The outlook of all sites, prepared just now."""
    prepared.prepare_studio(studio=studio, actor="cycle", at=NOW)
    return sheet_reads.page(studio).sheet


def forecast(vehicle, kind="wheel_coat", ends=(60, 120, 200), life=(9.0, 12.0, 15.0)):
    layer = LayerFactory(surface=SurfaceFactory(vehicle=vehicle), kind=kind)
    assessment, _made = Assessment.objects.get_or_create(
        studio=vehicle.studio, vehicle=vehicle, latest=True, defaults={"as_of": TODAY, "at": NOW, "input_hash": "x"}
    )
    days = [TODAY + timedelta(days=n) for n in ends]
    return Forecast.objects.create(
        studio=vehicle.studio, assessment=assessment, surface=layer.surface, layer=layer, stage="settled",
        function_p10=0.4, function_p50=0.6, function_p90=0.8, end_p10=days[0], end_p50=days[1], end_p90=days[2],
        renewal_p10_months=life[0], renewal_p50_months=life[1], renewal_p90_months=life[2],
    )  # fmt: skip


def test_booked_likely_and_possible_are_told_apart():
    site = SiteFactory()
    near, far = due(site), due(site, opens=160)
    vehicle = VehicleFactory(site=site)
    Visit.objects.create(
        studio=site.studio, vehicle=vehicle, site=site, on=TODAY + timedelta(days=40), hours=3,
        tasks=["decontamination_wash"], booked_at=NOW,
    )  # fmt: skip
    view = sheet_of(site.studio)
    assert view.year.booked.dues == 1
    assert view.year.likely.dues == 1
    assert view.months[1].booked.dues == 1
    assert 100 <= view.months[1].booked.money.p90 <= 140
    # Ideal on day 25 and day 190, again half a year (183 days) later: day 208 is inside the twelve months, day 373 not.
    assert view.year.possible.dues == 2
    assert (near.state, far.state) == ("open", "open")
    assert view.year.total.p10 < view.year.total.p50 < view.year.total.p90
    assert sum(month.dues for month in view.months) == view.year.dues


def test_a_window_whose_visit_is_in_the_book_is_not_counted_twice():
    site = SiteFactory()
    row = due(site, task="recoat")
    Visit.objects.create(
        studio=site.studio,
        vehicle=row.vehicle,
        site=site,
        on=TODAY + timedelta(days=9),
        tasks=["recoat"],
        booked_at=NOW,
    )
    view = sheet_of(site.studio)
    assert (view.year.booked.dues, view.year.likely.dues, view.year.possible.dues) == (1, 0, 0)


def test_renewals_follow_from_the_forecast_beyond_the_windows():
    site = SiteFactory()
    price(site.studio, "wheel_retreat", "wax_renewal")
    forecast(VehicleFactory(site=site))
    forecast(VehicleFactory(site=site), kind="wax", ends=(10, 20, 35), life=(1.5, 2.0, 2.5))
    view = sheet_of(site.studio)
    assert view.year.likely.dues == 0
    # One wheel coat; wax every two months from day 20 on: days 20, 81, 142, 203, 264, 325.
    assert view.year.possible.dues == 1 + 6


def test_what_the_care_rules_refuse_is_not_hoped_for():
    site = SiteFactory()
    price(site.studio, "wheel_retreat")
    row = forecast(VehicleFactory(site=site))
    Refusal.objects.create(
        studio=site.studio, vehicle=row.assessment.vehicle, task="wheel_retreat", why="clogged first", at=NOW
    )
    view = sheet_of(site.studio)
    assert view.year.dues == 0
    assert view.left_out == ("1 not offered by the care rules",)


def test_declined_is_left_out_accepted_is_likely_and_a_complaint_makes_it_only_possible():
    site = SiteFactory()
    rows = [due(site, task="recoat", opens=opens) for opens in (-5, 80, -5)]
    offers.recommend(at=NOW)
    made = [Offer.objects.get(due=row) for row in rows]
    for offer, kind in zip(made[:2], ("declined", "accepted"), strict=True):
        offers.answer(studio=site.studio, offer_id=offer.pk, kind=kind, actor="member:1", at=NOW)
    keeper = rows[2].vehicle.keepers.get().customer
    Complaint.objects.create(studio=site.studio, customer=keeper, about="a mark", opened_at=NOW)
    view = sheet_of(site.studio)
    assert view.left_out == ("1 declined",)
    assert view.year.likely.dues == 1
    assert view.months[3].likely.dues == 1  # the accepted one, whose ideal day is 110 days ahead
    assert view.year.possible.dues == 1


def test_put_off_it_counts_from_the_day_that_was_said():
    site = SiteFactory()
    row = due(site, task="recoat")
    offers.recommend(at=NOW)
    offers.answer(
        studio=site.studio, offer_id=Offer.objects.get(due=row).pk, kind="deferred", actor="member:1", at=NOW,
        until=TODAY + timedelta(days=140),
    )  # fmt: skip
    view = sheet_of(site.studio)
    assert (view.year.likely.dues, view.year.possible.dues) == (0, 1)
    assert all(month.total.p90 == 0 for month in view.months[:4])


def test_offers_carry_their_latest_answer_and_what_may_follow():
    site = SiteFactory()
    row = due(site)
    offers.recommend(at=NOW)
    offer = Offer.objects.get(due=row)
    offers.answer(
        studio=site.studio, offer_id=offer.pk, kind="declined", why="price", actor="member:1",
        at=NOW + timedelta(hours=2),
    )  # fmt: skip
    (shown,) = answers_read.answers(site.studio, today=TODAY).offers
    assert (shown.id, shown.state, shown.why, shown.title) == (offer.pk, "declined", "price", "decontamination wash")
    assert shown.keeper == row.vehicle.keepers.get().customer.name
    assert shown.can_answer == ("accepted", "deferred")


def test_nothing_of_another_studio_is_seen():
    site = SiteFactory()
    due(site)
    offers.recommend(at=NOW)
    forecast(VehicleFactory(site=site))
    stranger = StudioFactory()
    view, answered = sheet_of(stranger), answers_read.answers(stranger, today=TODAY)
    assert (answered.offers, answered.offers_total, view.year.dues, view.year.total.p90) == ((), 0, 0, 0)


def test_an_empty_studio_gets_twelve_months_and_words():
    view = sheet_of(StudioFactory())
    assert [month.first.month for month in view.months] == [3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 1, 2]
    assert view.months[0].label == "March 2026"
    assert view.year.total.p90 == 0
    answered = answers_read.answers(StudioFactory(), today=TODAY)
    assert answered.acceptance == ()
    assert answered.acceptance_all.leans


def test_as_many_questions_for_thirty_vehicles_as_for_one():
    def grow(site, count):
        for _ in range(count):
            row = due(site)
            forecast(row.vehicle)
            Visit.objects.create(
                studio=site.studio, vehicle=row.vehicle, site=site, on=TODAY + timedelta(days=9), booked_at=NOW,
                tasks=["decontamination_wash"],
            )  # fmt: skip
        offers.recommend(at=NOW)

    counts = []
    for count in (1, 30):
        site = SiteFactory()
        grow(site, count)
        with CaptureQueriesContext(
            connection,
        ) as seen:
            view = answers_read.answers(site.studio, today=TODAY)
        assert len(view.offers) == count
        counts.append(len(seen))
    assert counts[0] == counts[1]
