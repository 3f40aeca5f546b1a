"""Two wheel sets: the one that is off wears by heat and damp alone."""

from __future__ import annotations

from datetime import timedelta

import pytest

from lifecycle.care.wheels import mount
from lifecycle.condition import assess, rows_for, vehicle_input
from lifecycle.errors import DomainError
from lifecycle.models import Forecast, Mounted
from tests.factories import NOW, TODAY, HabitsFactory, LayerFactory, SurfaceFactory

pytestmark = pytest.mark.django_db
BY = {"actor": "member:1", "at": NOW}


@pytest.fixture
def sets():
    summer = SurfaceFactory(code="wheels_summer", orientation="wheel", substrate="aluminium")
    winter = SurfaceFactory(code="wheels_winter", orientation="wheel", substrate="aluminium", vehicle=summer.vehicle)
    HabitsFactory(vehicle=summer.vehicle)
    for wheels in (summer, winter):
        LayerFactory(surface=wheels, kind="wheel_coat", applied=TODAY - timedelta(days=200), coats=1)
    return summer, winter


def test_a_swap_takes_the_other_set_off(sets):
    summer, winter = sets
    studio, vehicle = summer.studio, summer.vehicle
    mount(studio=studio, surface_id=winter.pk, on=TODAY - timedelta(days=120), **BY)
    mount(studio=studio, surface_id=summer.pk, on=TODAY, **BY)
    given = {one.code: one for one in vehicle_input(rows_for([vehicle.pk])[0], as_of=TODAY).surfaces}
    swap = TODAY - timedelta(days=120)
    assert [(on.start, on.end) for on in given["wheels_winter"].mounted] == [(swap, TODAY)]
    assert [(on.start, on.end) for on in given["wheels_summer"].mounted] == [(vehicle.first_seen, swap), (TODAY, None)]


def test_the_stored_set_has_more_left(sets):
    """Common practice, no source: wheels in the cellar see no brake dust, no wash and no road."""
    summer, winter = sets
    mount(studio=summer.studio, surface_id=winter.pk, on=TODAY - timedelta(days=190), **BY)
    assess(at=NOW)
    left = dict(Forecast.objects.values_list("surface__code", "function_p50"))
    assert left["wheels_summer"] > left["wheels_winter"] + 0.05


def test_wrong_swaps_are_refused(sets):
    summer, _ = sets
    bonnet = SurfaceFactory(code="bonnet", vehicle=summer.vehicle)
    with pytest.raises(DomainError, match="bonnet is not a wheel set"):
        mount(studio=summer.studio, surface_id=bonnet.pk, on=TODAY, **BY)
    mount(studio=summer.studio, surface_id=summer.pk, on=TODAY, **BY)
    with pytest.raises(DomainError, match="on the vehicle already"):
        mount(studio=summer.studio, surface_id=summer.pk, on=TODAY, **BY)
    with pytest.raises(DomainError, match="not after the last swap"):
        mount(studio=summer.studio, surface_id=sets[1].pk, on=TODAY, **BY)
    assert Mounted.objects.filter(end=None).count() == 1
