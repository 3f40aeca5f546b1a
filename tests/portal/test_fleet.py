"""Many vehicles: soonest first, searched, filtered, as CSV that no spreadsheet reckons."""

from __future__ import annotations

import csv
import io
import re
from datetime import timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lifecycle.models import Visit
from portal.customer.fleet import cell
from tests import factories as f
from tests import people
from tests.portal.doors import as_user

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(f.NOW, tick=False):
        yield


def vehicle(customer, plate: str, *, due_in: int | None = None, booked_in: int | None = None, **fields):
    row = f.VehicleFactory(site__studio=customer.studio, keeper=customer, plate=plate, **fields)
    f.LayerFactory(surface=f.SurfaceFactory(vehicle=row))
    if due_in is not None:
        days = [f.TODAY + timedelta(days=due_in + more) for more in (0, 7, 14)]
        f.CareDueFactory(vehicle=row, earliest=days[0], ideal=days[1], latest=days[2])
    if booked_in is not None:
        Visit.objects.create(
            studio=row.studio, site=row.site, vehicle=row, on=f.TODAY + timedelta(days=booked_in), tasks=["retest"],
            booked_at=f.NOW,
        )  # fmt: skip
    return row


def plates(page: str) -> list[str]:
    return re.findall(r"/my/vehicle/\d+/\">([^<]+)</a>", page)


def test_sorted_searched_and_filtered():
    me = people.customer()
    vehicle(me, "AA 1")
    vehicle(me, "BB 2", due_in=40)
    vehicle(me, "CC 3", due_in=5, description="white van")
    vehicle(me, "DD 4", booked_in=3)
    vehicle(people.customer(me.studio), "ZZ 9", due_in=1)
    client, url = as_user(me), reverse("customer:fleet")

    def shown(**asked: str) -> list[str]:
        return plates(client.get(url, asked).content.decode())

    assert shown() == ["DD 4", "CC 3", "BB 2", "AA 1"]
    assert shown(order="plate") == ["AA 1", "BB 2", "CC 3", "DD 4"]
    assert shown(search="WHITE v") == ["CC 3"]
    assert shown(search="bb") == ["BB 2"]
    assert shown(only="open") == ["CC 3", "BB 2"]
    assert shown(only="booked") == ["DD 4"]
    assert shown(only="nothing") == ["AA 1"]
    assert shown(only="<script>", order="?") == ["DD 4", "CC 3", "BB 2", "AA 1"]
    assert "No vehicle fits." in client.get(url, {"search": "nowhere"}).content.decode()
    rows = list(csv.reader(io.StringIO(client.get(reverse("customer:fleet_csv"), {"only": "open"}).content.decode())))
    assert [row[0] for row in rows] == ["Plate", "CC 3", "BB 2"]
    assert rows[1][5] == (f.TODAY + timedelta(days=5)).isoformat()


def test_no_cell_is_a_formula():
    """OWASP, "CSV injection": cells that begin with = + - @, a tab or a carriage return."""
    me = people.customer()
    vehicle(me, '=HYPERLINK("x")', description="@SUM(1+1)")
    text = as_user(me).get(reverse("customer:fleet_csv")).content.decode()
    row = list(csv.reader(io.StringIO(text)))[1]
    assert row[:2] == ['\'=HYPERLINK("x")', "'@SUM(1+1)"]
    assert [cell(text) for text in ("+1", "-1", "\t=1", "\r=1", "a=1", None)] == ["'+1", "'-1", "'\t=1", "'\r=1",
                                                                                 "a=1", ""]  # fmt: skip


@pytest.mark.parametrize("name", ["customer:fleet", "customer:fleet_csv"])
def test_as_many_queries_for_thirty_vehicles_as_for_one(name):
    counts = []
    for many in (1, 30):
        me = people.customer()
        for number in range(many):
            vehicle(me, f"N {number}", due_in=number, booked_in=number if number % 3 == 0 else None)
        client = as_user(me)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(reverse(name)).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]
