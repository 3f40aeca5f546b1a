"""`python -m tests.services.crowd N [M]`: N people, each with one care window that is open, written in bulk; the
messages of the first M of them are written too.

For measures and accidents in numbers, where it is the outbox that is looked at: the windows are put there, not derived.
"""

from __future__ import annotations

import secrets
import sys
from datetime import UTC, datetime, timedelta

import django

from tests.services.scene import noon_zone


def build(count: int, at: datetime, *, first: int = 0) -> None:
    """Write people, numbered from `first`, into the database of the settings; it is about noon where they live."""
    from lifecycle.models import CareDue, Consent, Customer, Keeper, Vehicle
    from tests.factories import CareDueFactory, ConsentFactory, CustomerFactory, SiteFactory, StudioFactory

    zone = noon_zone(at)
    studio = StudioFactory(zone=zone, slug=f"crowd-{secrets.token_hex(6)}")
    site = SiteFactory(studio=studio, zone=zone)
    today, since = at.date(), at - timedelta(days=300)
    people = Customer.objects.bulk_create(
        CustomerFactory.build(
            studio=studio, name=f"Customer {number}", email=f"customer{number}@example.org", zone=zone
        )
        for number in range(first, first + count)
    )
    Consent.objects.bulk_create(ConsentFactory.build(customer=one, studio=studio, at=since) for one in people)
    vehicles = Vehicle.objects.bulk_create(
        Vehicle(
            studio=studio, site=site, plate=f"TST {number:04d}", description="grey estate", body="estate", size="M",
            colour="mid", paint="clear_coat", powertrain="combustion", first_seen=since.date(),
        )
        for number in range(first, first + count)
    )  # fmt: skip
    Keeper.objects.bulk_create(
        Keeper(studio=studio, vehicle=vehicle, customer=person, start=since.date())
        for vehicle, person in zip(vehicles, people, strict=True)
    )
    CareDue.objects.bulk_create(
        CareDueFactory.build(
            vehicle=vehicle, studio=studio, task="retest", earliest=today - timedelta(days=10),
            ideal=today + timedelta(days=10), latest=today + timedelta(days=60),
        )
        for vehicle in vehicles
    )  # fmt: skip


def main(count: int, written: int) -> None:
    """Some with their messages, the others without."""
    from lifecycle.reminders.outbox import enqueue
    from lifecycle.reminders.planner import plan

    now = datetime.now(UTC)
    if written:
        build(written, now)
        plan(at=now)
        enqueue(at=now)
    build(count - written, now, first=written)


if __name__ == "__main__":
    django.setup()
    main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0)
