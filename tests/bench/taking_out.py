"""How fast a studio goes out and comes back beside the bare reading and writing of its rows, and what memory it takes.

    python tests/bench/taking_out.py [vehicles]

Invents a studio with its customers, vehicles, keepers and surfaces (four rows a vehicle), in a database of its own in
memory. Prints rows a second of the processor and ratios: lists beside `values_list(...).iterator()` of the same rows,
the zip beside reading all tables, the restore beside reading and writing the same objects; and by how much the peak of
resident memory grew.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ["SHEENWARD_MODE"] = "test"
os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
os.environ["DATABASE_URL"] = "sqlite://:memory:"

import django
from django.conf import settings
from django.core.management import call_command
from django.db import transaction

AT_ONCE = 500


def timed(what: str, rows: int, work: Callable[[], Any], *, beside: float = 0) -> float:
    """Do it, print rows a second and the ratio, and return the seconds of the processor."""
    memory, began = _peak_mb(), time.process_time()
    work()
    took = time.process_time() - began
    ratio = f", {took / beside:4.1f} times the bare one" if beside else ""
    print(f"{what:<34} {rows / took:>9,.0f} rows/s{ratio}; resident memory grew by {_peak_mb() - memory:.0f} MB")
    return took


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def drained(pieces: Iterable[Any]) -> None:
    for _ in pieces:
        pass


def invent(count: int) -> Any:
    """The studio."""
    from lifecycle.models import Customer, Keeper, Surface, Vehicle
    from tests.factories import TODAY, SiteFactory, StudioFactory

    studio = StudioFactory(slug="large")
    site = SiteFactory(studio=studio)
    for first in range(0, count, AT_ONCE):
        numbers = range(first, min(first + AT_ONCE, count))
        people = Customer.objects.bulk_create(
            Customer(studio=studio, name=f"Person {n} Halvarsen", email=f"p{n}@example.org") for n in numbers
        )
        cars = Vehicle.objects.bulk_create(
            Vehicle(
                studio=studio, site=site, plate=f"P {n}", description="grey estate", body="estate", size="M",
                colour="mid", first_seen=TODAY,
            )
            for n in numbers
        )  # fmt: skip
        pairs = list(zip(people, cars, strict=True))
        Keeper.objects.bulk_create(Keeper(studio=studio, vehicle=c, customer=p, start=TODAY) for p, c in pairs)
        Surface.objects.bulk_create(
            Surface(studio=studio, vehicle=c, code="bonnet", orientation="flat", substrate="steel") for c in cars
        )
    return studio


def main(count: int) -> None:
    """Invent, take out, bring back."""
    django.setup()
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    call_command("migrate", verbosity=0)
    from django.utils import timezone

    from lifecycle.taking_out.lists import take_list
    from lifecycle.taking_out.packing import take_studio
    from lifecycle.taking_out.registry import table, tables
    from lifecycle.taking_out.restoring import restore_studio

    who = {"actor": "bench", "at": timezone.now()}
    with transaction.atomic(), tempfile.TemporaryDirectory() as folder:
        studio, path, cars = invent(count), Path(folder) / "studio.zip", table("vehicle")
        names = [column.name for column in cars.columns]

        def bare() -> Any:
            return cars.rows(studio).values_list(*names).iterator(chunk_size=AT_ONCE)

        base = timed("bare reading of a list", count, lambda: drained(bare()))
        for form in ("csv", "xlsx"):
            going = take_list(studio=studio, name="vehicle", form=form, **who)
            timed(f"list as {form.upper()}", count, lambda going=going: drained(going.pieces), beside=base)
        base = timed(
            "bare reading of all tables", 4 * count,
            lambda: [drained(one.rows(studio).values_list().iterator(chunk_size=AT_ONCE)) for one in tables()],
        )  # fmt: skip
        going = take_studio(studio=studio, **who)
        with path.open("wb") as file:
            timed("the studio as a zip", 4 * count, lambda: file.writelines(going.pieces), beside=base)
        print(f"{'':<34} {path.stat().st_size / 4 / count:.0f} bytes a row")
        transaction.set_rollback(True)
    _back(count, who, take_studio, restore_studio)


def _back(count: int, who: dict[str, Any], take_studio: Any, restore_studio: Any) -> None:
    from lifecycle.models import Customer, Keeper, Surface, Vehicle

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "studio.zip"
        with transaction.atomic():
            path.write_bytes(b"".join(take_studio(studio=invent(count), **who).pieces))
            transaction.set_rollback(True)
        with transaction.atomic():
            done: list[Any] = []
            took = timed("brought back", 4 * count, lambda: done.append(restore_studio(path=path, **who)))
            studio = done[0].studio
            base = time.process_time()
            for model in (Customer, Vehicle, Keeper, Surface):
                rows = list(model.objects.of(studio))
                model.objects.all()._raw_delete("default")
                for first in range(0, len(rows), AT_ONCE):
                    model.objects.bulk_create(rows[first : first + AT_ONCE])
            base = time.process_time() - base
            print(f"{'':<34} {took / base:.1f} times reading and writing the same objects")
            transaction.set_rollback(True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
