"""Pages of advice: take-up with its decisions, the history of a vehicle, and the buttons beside it."""

from __future__ import annotations

import pytest
from django.urls import reverse

from tests import people
from tests.factories import SiteFactory, VehicleFactory
from tests.lifecycle.outlook.test_acceptance_reads import advice
from tests.portal.doors import as_member

pytestmark = pytest.mark.django_db


def test_take_up_opens_to_its_decisions():
    site = SiteFactory(name="Tarn Bellow")
    vehicle = VehicleFactory(site=site)
    advice(vehicle, "offered", "accepted")
    advice(vehicle, "offered", "declined", task="recoat")
    browser = as_member(people.owner(site.studio))
    page = browser.get(reverse("studio:acceptance")).content.decode()
    assert "2 decisions so far" in page
    assert f"?task=booster&amp;site={site.pk}" in page
    assert "?task=booster&amp;reason=wear" in page
    rows = browser.get(reverse("studio:decisions"), {"task": "booster", "site": site.pk}).content.decode()
    assert "1 decision, the latest first" in rows
    assert vehicle.plate in rows
    assert "Re-coat" not in rows


def test_no_decision_is_an_answer_too():
    browser = as_member(people.owner())
    assert "0 decisions so far" in browser.get(reverse("studio:acceptance")).content.decode()
    empty = browser.get(reverse("studio:decisions"), {"task": "x" * 500, "site": "abc", "page": "-1"})
    assert empty.status_code == 200
    assert "No decision on record here" in empty.content.decode()
