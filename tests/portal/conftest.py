"""A studio with a site, its owner's browser, and a car with two surfaces."""

from __future__ import annotations

import pytest
from django.test import Client

from lifecycle.models import Studio
from tests import people
from tests.factories import HabitsFactory, LayerFactory, SiteFactory, StudioFactory, SurfaceFactory, VehicleFactory
from tests.portal.doors import as_member


@pytest.fixture
def studio() -> Studio:
    return StudioFactory(zone="UTC")


@pytest.fixture
def site(studio):
    return SiteFactory(studio=studio, name="Skarholt Sound")


@pytest.fixture
def owner(studio) -> Client:
    return as_member(people.owner(studio))


@pytest.fixture
def car(site):
    vehicle = VehicleFactory(site=site, description="black large SUV", plate="TST 777")
    HabitsFactory(vehicle=vehicle)
    bonnet = SurfaceFactory(vehicle=vehicle, code="bonnet")
    roof = SurfaceFactory(vehicle=vehicle, code="roof")
    LayerFactory(surface=bonnet)
    return vehicle, bonnet, roof
