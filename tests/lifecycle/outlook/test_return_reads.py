"""Who comes back, on rows: visits found, who is not lost though gone, money, and a fixed number of questions."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from lifecycle.care.keeping import retire_vehicle
from lifecycle.models import Habits, Inspection, Keeper, Price, Visit
from lifecycle.outlook import visit_days
from lifecycle.outlook.return_reads import returns
from tests.factories import NOW, TODAY, CustomerFactory, HabitsFactory, SiteFactory, StudioFactory, VehicleFactory

pytestmark = pytest.mark.django_db


def keeper_of(vehicle):
    return Keeper.objects.get(vehicle=vehicle, end=None).customer


def came(vehicle, *days_ago, paid=None, **fields):
    for days in days_ago:
        Visit.objects.create(
            studio=vehicle.studio, vehicle=vehicle, site=vehicle.site, on=TODAY - timedelta(days=days),
            tasks=["booster"],
            state="done", booked_at=NOW - timedelta(days=days + 9), settled_at=NOW - timedelta(days=days), paid=paid,
            **{"customer": keeper_of(vehicle), **fields},
        )  # fmt: skip


def test_who_came_regularly_is_likelier_back_than_who_stopped():
    site = SiteFactory()
    regular, stopped = VehicleFactory(site=site), VehicleFactory(site=site)
    came(regular, 320, 140, 10)
    came(stopped, 460, 440, 420)
    found = returns(site.studio, today=TODAY)
    here, away = found[keeper_of(regular).pk], found[keeper_of(stopped).pk]
    assert here.alive > 0.8 > away.alive
    assert here.visits_12m > away.visits_12m > 0
    assert 0 < here.comes_12m < here.alive
    assert (here.visits, here.last) == (3, TODAY - timedelta(days=10))
    assert here.few
    assert "leans on what the house assumes (judgement)" in here.says
    assert "Came back 3 times since 2024-10-18, last on 2026-02-20." in here.says


def test_a_look_by_the_studio_is_a_visit_and_one_by_the_keeper_is_not():
    vehicle = VehicleFactory()
    for days, by in ((200, "studio"), (100, "customer")):
        Inspection.objects.create(
            studio=vehicle.studio, vehicle=vehicle, on=TODAY - timedelta(days=days), clean_state="washed", by=by
        )
    came(vehicle, 198, customer=None)  # the visit of that look: the vehicle tells whose it was
    found = returns(vehicle.studio, today=TODAY)[keeper_of(vehicle).pk]
    assert found.visits == 1
    assert found.last == TODAY - timedelta(days=200)


def test_cancelled_missed_and_coming_visits_are_none():
    vehicle = VehicleFactory()
    for days, state in ((50, "cancelled"), (40, "no_show"), (-20, "booked")):
        Visit.objects.create(
            studio=vehicle.studio, vehicle=vehicle, site=vehicle.site, on=TODAY - timedelta(days=days),
            tasks=["booster"], state=state, booked_at=NOW, customer=keeper_of(vehicle),
        )  # fmt: skip
    found = returns(vehicle.studio, today=TODAY)[keeper_of(vehicle).pk]
    assert found.visits == 0
    assert "not back yet" in found.says


def test_who_sold_is_not_lost_and_brings_nothing():
    vehicle = VehicleFactory()
    who = keeper_of(vehicle)
    came(vehicle, 300, 120)
    retire_vehicle(
        studio=vehicle.studio,
        vehicle_id=vehicle.pk,
        on=TODAY - timedelta(days=30),
        why="sold",
        actor="member:1",
        at=NOW,
    )
    found = returns(vehicle.studio, today=TODAY)[who.pk]
    assert found.gone == "The vehicle was sold outside, on 2026-01-31."
    assert (found.alive, found.visits_12m, found.comes_12m, found.value_12m) == (0, 0, 0, 0)
    assert "Not lost" in found.says
    # For the studio's numbers their time ends with the vehicle: it is no silence that would speak of leaving.
    assert visit_days.gather(vehicle.studio, today=TODAY).seen[who.pk].until == TODAY - timedelta(days=30)


def test_who_passed_the_vehicle_on_is_gone_and_the_next_keeper_begins():
    vehicle = VehicleFactory()
    before = Keeper.objects.get(vehicle=vehicle)
    came(vehicle, 300)
    before.end = TODAY - timedelta(days=100)
    before.save()
    after = CustomerFactory(studio=vehicle.studio)
    Keeper.objects.create(studio=vehicle.studio, vehicle=vehicle, customer=after, start=before.end)
    came(vehicle, 20)
    found = returns(vehicle.studio, today=TODAY)
    assert found[before.customer_id].gone == "The vehicle went to another keeper, on 2025-11-22."
    assert (found[before.customer_id].visits, found[after.pk].visits) == (1, 1)
    assert found[after.pk].gone == ""


def test_who_moved_far_away_is_not_lost():
    site = SiteFactory()
    near, far = VehicleFactory(site=site), VehicleFactory(site=site)
    # Great-circle distance of two points of one meridian, 3 degrees apart: 3 / 360 x 40 030 km = 334 km (computed).
    for vehicle, lat in ((near, site.lat + 0.2), (far, site.lat + 3.0)):
        HabitsFactory(vehicle=vehicle, lat=lat, lon=site.lon, start=TODAY - timedelta(days=90))
    found = returns(site.studio, today=TODAY)
    assert found[keeper_of(near).pk].gone == ""
    assert found[keeper_of(far).pk].gone == "Moved away: the vehicle lives 334 km from its site since 2025-12-02."
    Habits.objects.filter(vehicle=far).update(lat=site.lat)
    assert returns(site.studio, today=TODAY)[keeper_of(far).pk].gone == ""


def test_worth_of_a_visit_from_prices_then_medians_then_gamma_gamma():
    site = SiteFactory()
    vehicle = VehicleFactory(site=site)
    who = keeper_of(vehicle).pk
    assert returns(site.studio, today=TODAY)[who].value_per_visit == 0
    assert "not known" in returns(site.studio, today=TODAY)[who].says
    Price.objects.create(studio=site.studio, task="booster", size="M", low=100, high=140)
    assert returns(site.studio, today=TODAY)[who].value_per_visit == 120
    came(vehicle, 200, 100, paid=Decimal(90))
    came(VehicleFactory(site=site), 150, paid=Decimal(300))
    two = returns(site.studio, today=TODAY)[who]
    assert two.value_per_visit == 90  # the median of 90, 90 and 300
    assert "Gamma-Gamma is used" in two.says
    came(VehicleFactory(site=site), 150, paid=Decimal(500))
    came(vehicle, 50, paid=Decimal(60))
    assert returns(site.studio, today=TODAY)[who].value_per_visit == 90  # own median of 90, 90, 60
    for number in range(31):
        other = VehicleFactory(site=site)
        came(other, 300, paid=Decimal(70 + 10 * number))
        came(other, 100, paid=Decimal(90 + 10 * number))
    many = returns(site.studio, today=TODAY)
    assert "by Gamma-Gamma from 32 customers" in many[who].says
    # Drawn a little from the own mean of 80 towards the others' mean of 230, since own amounts vary little.
    assert 80 < many[who].value_per_visit < 110


def test_only_this_studio_and_as_many_questions_for_one_as_for_thirty():
    site = SiteFactory()
    came(VehicleFactory(site=site), 100, paid=Decimal(90))
    came(VehicleFactory(), 100)
    with CaptureQueriesContext(
        connection,
    ) as one:
        assert len(returns(site.studio, today=TODAY)) == 1
    for _ in range(29):
        came(VehicleFactory(site=site), 100, 300, paid=Decimal(90))
    with CaptureQueriesContext(connection) as thirty:
        assert len(returns(site.studio, today=TODAY)) == 30
    assert len(thirty) == len(one)


def test_a_studio_without_customers_has_no_returns():
    assert returns(StudioFactory(), today=TODAY) == {}
