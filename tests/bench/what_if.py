"""What an answer to "what if" costs, beside the vehicle's page and the lightest page of the same keeper.

Run: python -m tests.bench.what_if, in the settings of a demo that is loaded (`sh deploy/demo --no-serve`, then
SHEENWARD_MODE=demo). Each page is asked for a dozen times through the whole stack, in turn, with another question each
time; printed are the median and the most milliseconds of the wall, those of the processor, and the ratio to the
lightest page. The house allows an answer 300 ms.
"""

from __future__ import annotations

import os
import statistics
import time
from collections import defaultdict

import django

TIMES = 12
PLATE = "SKA 104"
USE = "parking=garage&wash_method=two_bucket&washes_per_year=26&road_salt=regular&extra="


def main() -> None:
    """Ask, print."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
    django.setup()
    from django.conf import settings
    from django.test import Client

    from lifecycle.models import Vehicle

    settings.ALLOWED_HOSTS = ["testserver"]
    vehicle = Vehicle.objects.get(plate=PLATE)
    client = Client()
    client.force_login(vehicle.keepers.get(end=None).customer.user)
    page = f"/my/vehicle/{vehicle.pk}/"
    asked = {
        "lightest": lambda n: "/my/choices/",
        "vehicle": lambda n: page,
        "what if": lambda n: f"{page}what-if/?{USE}&km_per_year={9000 + 100 * n}&where=",
        "what if, a move": lambda n: f"{page}what-if/?{USE}&km_per_year=12000&where=38.{n},-2.1",
    }
    took = defaultdict(list)
    for n in range(TIMES + 1):
        for name, address in asked.items():
            wall, cpu = time.perf_counter(), time.process_time()
            answer = client.get(address(n), headers={"HX-Request": "true"} if name.startswith("what") else {})
            assert answer.status_code == 200, (name, answer.status_code)
            if n:  # the first one loads what is loaded once
                took[name].append((time.perf_counter() - wall, time.process_time() - cpu))
    base = statistics.median(cpu for _, cpu in took["lightest"])
    for name, times in took.items():
        walls, cpus = ([1000 * one[part] for one in times] for part in (0, 1))
        print(
            f"{name}: wall {statistics.median(walls):.0f} ms (most {max(walls):.0f}), processor "
            f"{statistics.median(cpus):.0f} ms; {statistics.median(cpus) / 1000 / base:.1f} times the lightest page"
        )


if __name__ == "__main__":
    main()
