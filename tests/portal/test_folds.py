"""The vehicle's page holds what one reads first; a fold fetches the rest, or leads to a page of its own."""

from __future__ import annotations

import re
from base64 import b64encode
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.contrib.staticfiles import finders
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests import factories as f
from tests import people
from tests.portal.doors import as_user
from tests.portal.test_customer_pages import Outline, text_of, vehicle_of

pytestmark = pytest.mark.django_db
FRAGMENT = {"HX-Request": "true"}
MOST_BYTES = 100_000


@pytest.fixture(autouse=True)
def _clock() -> Any:
    with time_machine.travel(f.NOW, tick=False):
        yield


def part(vehicle: Any, surface: Any) -> str:
    return reverse("customer:surface", args=[vehicle.pk, surface.pk])


def own_files(page: str) -> dict[str, int]:
    """Bytes of each style sheet and script that a page names, as they lie in the repository."""
    names = re.findall(r'(?:href|src)="/static/([^"]+\.(?:css|js))"', page)
    return {name: Path(str(finders.find(name))).stat().st_size for name in names}


@pytest.mark.parametrize("surfaces", [12, 30])
def test_page_style_and_script_weigh_less_than_100_kb_not_compressed(surfaces: int) -> None:
    customer = people.customer()
    page = text_of(as_user(customer), vehicle_of(customer, surfaces=surfaces))
    files = own_files(page)
    assert {"js/charts.js", "js/load-folds.js"} <= files.keys()
    assert len(page.encode()) + sum(files.values()) < MOST_BYTES


def test_the_style_is_in_the_page_and_the_policy_names_it_alone() -> None:
    """No round trip before something is seen; a style element is let through by the base64 of the SHA-256 of its text
    (W3C, Content Security Policy level 3, "Does element match source list?"); nothing else inline is there."""
    customer = people.customer()
    answer = as_user(customer).get(reverse("customer:vehicle", args=[vehicle_of(customer, surfaces=3).pk]))
    page, policy = answer.content.decode(), answer["Content-Security-Policy"]
    (style,) = re.findall(r"<style>(.*?)</style>", page, flags=re.DOTALL)
    named = b64encode(sha256(style.encode()).digest()).decode()
    (allowed,) = re.findall(r"style-src ([^;]+)", policy)
    assert allowed == f"'self' 'sha256-{named}'"
    assert "unsafe" not in policy
    assert 'rel="stylesheet"' not in page
    assert not re.search(r"\sstyle=|<script(?![^>]*\ssrc=)", page)
    for rule in (".lead", ".course .band", ".asking"):  # of each of the three sheets
        assert rule in style
    assert all(link in Client().get("/account/login/").content.decode() for link in ("sheenward.css", "drawings.css"))


def test_only_the_worst_surface_is_drawn_until_a_fold_is_opened() -> None:
    customer = people.customer()
    vehicle = vehicle_of(customer, surfaces=3)
    client = as_user(customer)
    page = text_of(client, vehicle)
    assert (page.count('class="drawing section"'), page.count('class="drawing course"')) == (1, 1)
    waiting = [tag["data-load"] for tag in Outline(page).all("div") if "data-load" in tag]
    assert len(waiting) == 2
    for address in waiting:
        assert f'<a href="{address}">' in page  # without script
        inside = client.get(str(address), headers=FRAGMENT).content.decode()
        assert "<html" not in inside
        assert (inside.count('class="drawing section"'), inside.count('class="drawing course"')) == (1, 1)
        assert "How do we know?" in inside
        alone = client.get(str(address))
        assert "<h1>" in alone.content.decode()
        assert 'class="drawing section"' in alone.content.decode()
        assert "HX-Request" in alone["Vary"]
    whole = client.get(reverse("customer:vehicle", args=[vehicle.pk]), {"whole": 1}).content.decode()
    assert whole.count('class="drawing section"') == 3
    assert "data-load" not in whole


def test_what_a_fold_holds_is_the_same_as_on_the_whole_page() -> None:
    customer = people.customer()
    vehicle = vehicle_of(customer, surfaces=2)
    client = as_user(customer)
    whole = client.get(reverse("customer:vehicle", args=[vehicle.pk]), {"whole": 1}).content.decode()
    for surface in vehicle.surfaces.all():
        inside = client.get(part(vehicle, surface), headers=FRAGMENT).content.decode().strip()
        assert inside in whole


def test_a_foreign_surface_is_not_there_and_a_fragment_sends_to_the_door_as_a_whole_page() -> None:
    mine, other = people.customer(), people.customer()
    own, foreign = vehicle_of(mine), vehicle_of(other)
    client = as_user(mine)
    assert client.get(part(own, own.surfaces.get())).status_code == 200
    assert client.get(part(foreign, foreign.surfaces.get())).status_code == 404
    assert client.get(part(own, foreign.surfaces.get())).status_code == 404  # another vehicle's surface under one's own
    answer = Client().get(part(own, own.surfaces.get()), headers={**FRAGMENT, "HX-Current-URL": "/my/"})
    assert answer.status_code == 401
    assert answer["HX-Redirect"].startswith(reverse("account_login"))


def test_one_surface_asks_no_more_of_a_large_vehicle() -> None:
    customer = people.customer()
    counts = []
    for surfaces in (1, 30):
        vehicle = vehicle_of(customer, surfaces=surfaces)
        client = as_user(customer)
        with CaptureQueriesContext(connection) as queries:
            client.get(part(vehicle, vehicle.surfaces.first()), headers=FRAGMENT)
        counts.append(len(queries))
    assert counts[0] == counts[1]
