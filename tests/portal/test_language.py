"""A reader's language changes words, never the coordinates of a drawing."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone, translation

from lifecycle.condition import assess
from lifecycle.outlook.prepared import prepare_studio
from portal.drawings import year_strip
from tests import people
from tests.factories import NOW, TODAY, HabitsFactory, LayerFactory, SurfaceFactory, VehicleFactory
from tests.portal.doors import as_user
from tests.portal.studio_world import fill

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


def test_the_studios_pages_stay_english_whatever_the_browser_asks_for(german, site, owner):
    fill(site, 3)
    prepare_studio(studio=site.studio, actor="cycle", at=timezone.now())
    answer = owner.get(reverse("studio:outlook"), headers=german)
    page = answer.content.decode()
    assert '<html lang="en">' in page
    assert answer["Content-Language"] == "en"
    assert 'class="rangechart"' in page
    assert wrong_numbers(page) == []


def test_the_years_strip_in_german():
    first = TODAY - timedelta(days=TODAY.weekday())
    weeks = [
        year_strip.WeekRow(first + timedelta(weeks=n), 3.25, 0.5, 7.5, open=1, ideal=0, visits=1, tasks=(), now=n == 0)
        for n in range(52)
    ]
    with translation.override("de"):
        drawn = str(year_strip.draw(weeks, today=TODAY, key="y", title="Jahr"))
    assert "yearstrip" in drawn
    assert wrong_numbers(drawn) == []


def test_the_vehicles_drawings_in_german(german, site):
    keeper = people.customer(site.studio, language="de")
    vehicle = VehicleFactory(site=site, keeper=keeper)
    HabitsFactory(vehicle=vehicle)
    LayerFactory(surface=SurfaceFactory(vehicle=vehicle, code="bonnet"))
    assess(at=NOW)
    page = as_user(keeper).get(reverse("customer:vehicle", args=[vehicle.pk])).content.decode()
    assert '<html lang="de">' in page
    assert len(drawings(page)) > 5, "plan, section, course and the shares of what wears it"
    assert 'class="reasons"' in page
    assert wrong_numbers(page) == []


class TestWhichLanguage:
    """The customer's own once signed in, before that the switch's cookie, then the browser (RFC 9110, 12.5.4)."""

    def test_before_sign_in_the_browser_then_the_switch(self, german, client):
        door = reverse("account_login")
        assert '<html lang="de">' in client.get(door, headers=german).content.decode()
        assert '<html lang="en">' in client.get(door, headers={"Accept-Language": "fr"}).content.decode()
        answer = client.post(reverse("switch_language"), {"language": "en", "next": f"{door}?next=/my/"})
        assert answer["Location"] == f"{door}?next=/my/"
        page = client.get(door, headers=german).content.decode()
        assert '<html lang="en">' in page
        assert 'name="language" value="de" lang="de"' in page
        client.post(reverse("switch_language"), {"language": "de-AT", "next": "https://example.org/"})
        assert '<html lang="de">' in client.get(door).content.decode()

    def test_a_language_that_is_not_spoken_changes_nothing_and_no_foreign_address_is_gone_to(self, german, client):
        answer = client.post(reverse("switch_language"), {"language": "tlh", "next": "//example.org/"})
        assert answer["Location"] == "/"
        assert answer.cookies.get("django_language") is None
        assert client.get(reverse("switch_language")).status_code == 405

    @pytest.mark.parametrize(
        ("own", "house", "spoken"),
        [("de", "en", "de"), ("en", "de", "en"), ("de-AT", "en", "de"), ("fr", "de", "de"), ("fr", "fr", "en")],
    )
    def test_once_signed_in_it_is_the_customers_own(self, german, site, client, own, house, spoken):
        site.studio.language = house
        site.studio.save()
        keeper = people.customer(site.studio, language=own)
        page = as_user(keeper).get(reverse("customer:choices"), headers={"Accept-Language": "en"}).content.decode()
        assert f'<html lang="{spoken}">' in page
        assert "switch_language" not in page
        assert reverse("switch_language") not in page

    def test_pages_that_only_members_use_are_english(self, german, client):
        assert '<html lang="en">' in client.get("/account/password/reset/", headers=german).content.decode()
        assert '<html lang="de">' in client.get("/nowhere/", headers=german).content.decode()
