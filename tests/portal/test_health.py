"""The health page and the banner: a silent worker is told within 15 minutes, with how to mend it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import DatabaseError
from django.urls import reverse
from django.utils import timezone

from lifecycle import tasks
from lifecycle.models import Heartbeat
from tests import people
from tests.factories import VehicleFactory
from tests.portal.doors import as_member, as_user

pytestmark = pytest.mark.django_db


def beat(*, ago: timedelta = timedelta(0), but: str = "", ok: bool = True) -> None:
    now = timezone.now()
    Heartbeat.objects.all().delete()
    Heartbeat.objects.bulk_create(
        Heartbeat(name=name, last_at=now - (ago if not but or name == but else timedelta(0)), ok=ok or name != but)
        for name in tasks.STEPS
    )


def test_well(client):
    beat()
    answer = client.get("/healthz")
    assert answer.status_code == 200
    assert answer.json() == {"ok": True, "silent_steps": []}


def test_one_silent_step_is_named(client):
    beat(ago=timedelta(minutes=16), but="deliver")
    answer = client.get("/healthz")
    assert answer.status_code == 503
    assert answer.json() == {"ok": False, "silent_steps": ["deliver"]}


def test_a_step_that_fails_is_not_well(client):
    beat(but="plan", ok=False)
    assert client.get("/healthz").json()["silent_steps"] == ["plan"]


def test_never_heard_of_anybody(client):
    assert client.get("/healthz").status_code == 503


def test_a_broken_database_is_said_without_details(client, monkeypatch):
    def broken(now):
        raise DatabaseError("password=secret at 10.0.0.1")

    monkeypatch.setattr("lifecycle.tasks.stale", broken)
    answer = client.get("/healthz")
    assert answer.status_code == 503
    assert "secret" not in answer.content.decode()


def test_a_probe_costs_one_query(client, django_assert_num_queries):
    beat()
    with django_assert_num_queries(1):
        client.get("/healthz")


@pytest.mark.parametrize("ago", [timedelta(0), timedelta(hours=20)])
def test_nothing_is_cached_whether_well_or_not(ago, client):
    beat(ago=ago)
    assert "no-store" in client.get("/healthz")["Cache-Control"]


@pytest.mark.parametrize(("minutes", "shown"), [(14, False), (16, True)])
def test_banner_after_fifteen_minutes(minutes, shown):
    beat(ago=timedelta(minutes=minutes))
    page = as_member(people.technician()).get(reverse("studio:work")).content.decode()
    assert ("No reminders are going out." in page) is shown
    assert ("manage.py work" in page) is shown
    assert ("Celery worker" in page) is shown


def test_banner_names_the_one_step_that_does_not_run():
    beat(ago=timedelta(minutes=20), but="deliver")
    page = as_member(people.owner()).get(reverse("studio:work")).content.decode()
    assert "A part of the work does not run" in page
    assert "messages handed over" in page
    assert "No reminders are going out." not in page


def test_customers_do_not_see_the_banner():
    beat(ago=timedelta(hours=20))
    keeper = people.customer()
    vehicle = VehicleFactory(site__studio=keeper.studio, keeper=keeper)
    for url in (reverse("customer:vehicle", args=[vehicle.pk]), reverse("customer:choices")):
        answer = as_user(keeper).get(url)
        assert answer.status_code == 200
        assert 'class="banner"' not in answer.content.decode()
        assert "reminders are going out" not in answer.content.decode()
    page = as_member(people.technician(vehicle.studio)).get(reverse("studio:work")).content.decode()
    assert 'class="banner"' in page, "the same silence is shown to members"
