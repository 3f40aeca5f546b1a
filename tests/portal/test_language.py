"""A reader's language changes words, never the coordinates of a drawing."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from django.utils import timezone

from lifecycle.climate import store
from lifecycle.condition import assess
from lifecycle.outlook.prepared import prepare_studio
from tests import people
from tests.factories import NOW, HabitsFactory, LayerFactory, SurfaceFactory, VehicleFactory
from tests.portal.doors import as_user
from tests.portal.studio_world import due, fill

pytestmark = pytest.mark.django_db
# SVG 2, numbers: a decimal point; a comma parts two numbers, so "26,5" would be two of them.
NUMBERS = re.compile(r' (?:x|y|width|height|viewBox|x1|x2|y1|y2|r|transform)="([^"]*)"')
PATHS = re.compile(r' d="([^"]*)"')


@pytest.fixture
def german(settings):
    """A catalogue for German does not exist; its number format does, which is what would do the harm."""
    settings.LANGUAGES = [("en", "English"), ("de", "Deutsch")]
    return {"Accept-Language": "de"}


def drawings(page: str) -> list[str]:
    return re.findall(r"<svg.*?</svg>", page, re.DOTALL)


def wrong_numbers(page: str) -> list[str]:
    found = [value for svg in drawings(page) for value in (*NUMBERS.findall(svg), *PATHS.findall(svg))]
    return [value for value in found if re.search(r"\d,\d", value)]


def test_the_test_would_see_a_comma():
    assert wrong_numbers('<svg viewBox="0 0 360,0 98"><path d="M1,5 2"/></svg>') == ["0 0 360,0 98", "M1,5 2"]


def test_the_outlooks_chart_in_german(german, site, owner):
    fill(site, 3)
    prepare_studio(studio=site.studio, actor="cycle", at=timezone.now())
    page = owner.get(reverse("studio:outlook"), headers=german).content.decode()
    assert '<html lang="de">' in page
    assert 'class="rangechart"' in page
    assert 'class="month"' in page
    assert wrong_numbers(page) == []


def test_the_years_strip_in_german(german, site, owner):
    store.refresh(at=NOW)
    due(site)
    page = owner.get(reverse("studio:site", args=[site.pk]), headers=german).content.decode()
    assert '<html lang="de">' in page
    assert "yearstrip" in page
    assert wrong_numbers(page) == []


def test_the_vehicles_drawings_in_german(german, site):
    keeper = people.customer(site.studio)
    vehicle = VehicleFactory(site=site, keeper=keeper)
    HabitsFactory(vehicle=vehicle)
    LayerFactory(surface=SurfaceFactory(vehicle=vehicle, code="bonnet"))
    assess(at=NOW)
    page = as_user(keeper).get(reverse("customer:vehicle", args=[vehicle.pk]), headers=german).content.decode()
    assert '<html lang="de">' in page
    assert len(drawings(page)) > 5, "plan, section, course and the shares of what wears it"
    assert 'class="reasons"' in page
    assert wrong_numbers(page) == []
