"""What the outlook costs: its nightly preparation by the number of vehicles, and the owner's pages.

    python tests/bench/outlook.py [vehicles ...]        (default: 2500 5000 10000 20000)

Invents studios of three sites with five years of history: per vehicle ten paid visits and ten closed care windows with
an offer and three steps each, four live windows, three layers with a forecast and one before it, two looks. Rows are
written in bulk into a database of their own. Prints the preparation in seconds of the clock and of the processor, the
processor's milliseconds a vehicle, by how much each studio costs more than the one before it (for twice the vehicles 2
is linear), and how long each of the owner's pages takes from a warm start as a whole answer of the server (best of
five, by the clock and by the processor), which is to be under 500 ms.
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
FOLDER = tempfile.TemporaryDirectory(prefix="sheenward-bench-")
os.environ |= {
    "SHEENWARD_MODE": "test", "DATABASE_URL": f"sqlite:///{FOLDER.name}/bench.sqlite3",
    "DJANGO_SETTINGS_MODULE": "tests.settings",
}  # fmt: skip

import django  # noqa: E402

django.setup()

from django.core.management import call_command  # noqa: E402
from django.test import Client  # noqa: E402
from django.urls import reverse  # noqa: E402

from lifecycle import models as m  # noqa: E402
from lifecycle.outlook import prepared  # noqa: E402

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
TODAY = NOW.date()
PAGES = (
    "outlook", "outlook_rows", "comes_back", "slipping", "acceptance", "decisions", "offers", "outlook_answers",
    "right", "letter",
)  # fmt: skip
TASKS = ("decontamination_wash", "inspection", "booster", "recoat")
BATCH = 5000
PER_YEAR = 2
YEARS = 5


def bulk(model: Any, rows: Iterator[Any]) -> list[Any]:
    """Write rows in bulk and give them back with their keys."""
    made: list[Any] = list(rows)
    model._base_manager.bulk_create(made, batch_size=BATCH)
    return made


def past(draw: random.Random) -> date:
    return TODAY - timedelta(days=draw.randint(40, 365 * YEARS))


def studio_of(count: int) -> m.Studio:
    """A studio with `count` vehicles and five years of history."""
    draw = random.Random(count)
    studio = m.Studio.objects.create(name=f"Bench {count}", slug=f"bench-{count}", zone="Europe/Oslo")
    sites = [
        m.Site.objects.create(studio=studio, name=name, lat=58, lon=6, zone="Europe/Oslo")
        for name in ("Skarholt Sound", "Valdemara Flats", "Tarn Bellow")
    ]
    for task in (*TASKS, "windscreen_retreat", "wheel_retreat"):
        m.Price.objects.create(studio=studio, task=task, size="M", low=100, high=200)
    people = bulk(
        m.Customer, (m.Customer(studio=studio, name=f"Customer {n}", zone="Europe/Oslo") for n in range(count))
    )
    cars = bulk(
        m.Vehicle,
        (
            m.Vehicle(
                studio=studio, site=sites[n % 3], plate=f"B{count} {n}", description="grey estate", body="estate",
                size="M", colour="mid", paint="clear_coat", powertrain="combustion",
                first_seen=TODAY - timedelta(days=365 * YEARS),
            )
            for n in range(count)
        ),
    )  # fmt: skip
    bulk(m.Keeper, (m.Keeper(studio=studio, vehicle=car, customer=who, start=car.first_seen)
                    for car, who in zip(cars, people, strict=True)))  # fmt: skip
    history(studio, cars, draw)
    paint(studio, cars, draw)
    return studio


def history(studio: m.Studio, cars: Sequence[Any], draw: random.Random) -> None:
    """Visits, closed windows with their offers, and live windows."""

    def window(car: Any, task: str, day: date, state: str) -> Any:
        over = None if state == "open" else NOW
        return m.CareDue(
            studio=studio, vehicle=car, task=task, earliest=day, ideal=day + timedelta(days=30),
            latest=day + timedelta(days=60), reason_code="wear", why="Due.", state=state, closed_at=over,
            opened_at=datetime.combine(day, NOW.time(), UTC),
        )  # fmt: skip

    turns = range(PER_YEAR * YEARS)
    bulk(m.Visit, (
        m.Visit(studio=studio, vehicle=car, site_id=car.site_id, on=(day := past(draw)), hours=3, tasks=["inspection"],
                state="done", booked_at=datetime.combine(day, NOW.time(), UTC), settled_at=NOW,
                paid=draw.randint(60, 600))
        for car in cars for _ in turns
    ))  # fmt: skip
    closed = bulk(m.CareDue, (window(car, draw.choice(TASKS), past(draw), "done") for car in cars for _ in turns))
    bulk(m.CareDue, (
        window(car, task, TODAY + timedelta(days=draw.randint(-30, 200)), "open") for car in cars for task in TASKS
    ))  # fmt: skip
    site_of = {car.pk: car.site_id for car in cars}
    offers = bulk(m.Offer, (
        m.Offer(studio=studio, vehicle_id=due.vehicle_id, due=due, task=due.task, price_low=100, price_high=200,
                made_at=due.opened_at, site_id=site_of[due.vehicle_id], reason_code="wear")
        for due in closed
    ))  # fmt: skip
    bulk(m.OfferStep, (
        m.OfferStep(studio=studio, offer=offer, kind=kind, at=offer.made_at + timedelta(days=days))
        for offer in offers
        for days, kind in enumerate(("recommended", "offered", draw.choice(("accepted", "declined", "expired"))))
    ))  # fmt: skip


def paint(studio: m.Studio, cars: Sequence[Any], draw: random.Random) -> None:
    """Layers with their forecasts, and looks at them."""
    product = m.Product.objects.create(studio=studio, code="C36", name="two-coat ceramic", kind="ceramic_mid")
    kinds = (("ceramic_mid", product), ("windscreen_coat", None), ("wheel_coat", None))
    surfaces = bulk(m.Surface, (
        m.Surface(studio=studio, vehicle=car, code=f"panel_{n}", orientation="flat", substrate="steel")
        for car in cars for n in range(len(kinds))
    ))  # fmt: skip
    layers = bulk(m.Layer, (
        m.Layer(studio=studio, surface=surface, kind=kinds[n % 3][0], product=kinds[n % 3][1], applied=past(draw))
        for n, surface in enumerate(surfaces)
    ))  # fmt: skip
    runs = bulk(m.Assessment, (
        m.Assessment(studio=studio, vehicle=car, as_of=TODAY - timedelta(days=7 * weeks), at=NOW, input_hash=str(weeks),
                     latest=weeks == 0)
        for car in cars for weeks in (20, 0)
    ))  # fmt: skip
    bulk(m.Forecast, (
        m.Forecast(
            studio=studio, assessment=run, surface=layer.surface, layer=layer, stage="settled", renewal_p10_months=9,
            renewal_p50_months=12, renewal_p90_months=15,
            **{f"{what}_{point}": TODAY + timedelta(days=days + 40 * index)
               for what, days in (("tired", draw.randint(-300, 200)), ("end", draw.randint(0, 400)))
               for index, point in enumerate(("p10", "p50", "p90"))},
        )
        for number, run in enumerate(runs) for layer in layers[3 * (number // 2) : 3 * (number // 2) + 3]
    ))  # fmt: skip
    looks = bulk(m.Inspection, (
        m.Inspection(studio=studio, vehicle=car, on=TODAY - timedelta(days=draw.randint(0, 130)),
                     clean_state="decontaminated")
        for car in cars for _ in range(2)
    ))  # fmt: skip
    bulk(m.Reading, (
        m.Reading(studio=studio, inspection=look, surface=surfaces[3 * (number // 2)], kind="contact_angle_deg",
                  value=draw.uniform(60, 112))
        for number, look in enumerate(looks)
    ))  # fmt: skip


def timed(work: Callable[[], object], turns: int = 1) -> tuple[float, float]:
    """Seconds of the clock and of the processor, of the fastest of some turns."""
    best = float("inf"), float("inf")
    for _ in range(turns):
        start, cpu = time.perf_counter(), time.process_time()
        work()
        best = min(best, (time.perf_counter() - start, time.process_time() - cpu))
    return best


def page_of(studio: m.Studio) -> Client:
    """A browser in which the studio's owner is signed in."""
    from tests import people
    from tests.portal.doors import as_member

    browser: Client = as_member(people.owner(studio))
    return browser


def pages_of(studio: m.Studio) -> dict[str, tuple[float, float]]:
    """Seconds of the clock and of the processor for each page, from a warm start."""
    browser = page_of(studio)
    took = {}
    for name in PAGES:

        def get(name: str = name) -> None:
            assert browser.get(reverse(f"studio:{name}")).status_code == 200

        get()
        took[name] = timed(get, 5)
    return took


def main() -> None:
    counts = [int(word) for word in sys.argv[1:]] or [2500, 5000, 10_000, 20_000]
    call_command("migrate", verbosity=0)
    before: tuple[int, float] | None = None
    for count in counts:
        studio = studio_of(count)
        clock, spent = timed(lambda studio=studio: prepared.prepare_studio(studio=studio, actor="cycle", at=NOW))
        rows = m.OutlookRow.objects.of(studio).count()
        grown = f"; {count / before[0]:g} times the vehicles cost {spent / before[1]:.2f} times" if before else ""
        print(
            f"{count} vehicles: prepared in {clock:.1f} s ({spent:.1f} s of the processor), "
            f"{1000 * spent / count:.2f} ms each, {rows} rows{grown}",
            flush=True,
        )
        took = pages_of(studio)
        print(
            "    pages, ms (of the processor): "
            + ", ".join(f"{name} {1000 * clock:.0f} ({1000 * cpu:.0f})" for name, (clock, cpu) in took.items()),
            flush=True,
        )
        before = count, spent


if __name__ == "__main__":
    main()
    FOLDER.cleanup()
