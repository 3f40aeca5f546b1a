"""`python -m tests.services.scene N`: N customers, each with a vehicle whose wax is long worn, told through the verbs.

Their zone is one where it is about noon now, so that no quiet hour holds the reminders back whenever the tests run.
"""

from __future__ import annotations

import secrets
import sys
from datetime import UTC, datetime, timedelta

import django


def noon_zone(now: datetime) -> str:
    """A zone in which it is between 11:30 and 12:30. The names count the other way round: Etc/GMT-2 is UTC+2."""
    ahead = round(12 - now.hour - now.minute / 60)
    return f"Etc/GMT{-ahead:+d}" if ahead else "Etc/GMT"


def build(count: int, now: datetime) -> None:
    """Write the scene into the database of the settings."""
    from lifecycle.care import layering, record, register
    from lifecycle.models import Closure
    from tests.factories import SiteFactory, StudioFactory

    zone = noon_zone(now)
    studio = StudioFactory(zone=zone, slug=f"scene-{secrets.token_hex(6)}")
    site = SiteFactory(studio=studio, zone=zone)
    # Closed for long: the calendar plans no day, so no notice waits for one (`test_planned_day.py`), and what is sent
    # does not hang on which step came first.
    Closure.objects.create(
        studio=studio, site=site, first=now.date() - timedelta(days=1), last=now.date() + timedelta(days=500),
        reason="rebuilding", made_at=now,
    )  # fmt: skip
    since = now - timedelta(days=300)
    told = {"studio": studio, "actor": "test", "at": since}
    for number in range(count):
        customer = register.register_customer(
            name=f"Customer {number}", email=f"customer{number}@example.org", zone=zone, since=since.date(), **told
        )
        for purpose in ("service", "promotion"):
            register.set_consent(
                customer_id=customer.pk, purpose=purpose, given=True, how="paper form", wording="Please write.", **told
            )
        vehicle = register.register_vehicle(
            site_id=site.pk,
            keeper_id=customer.pk,
            plate=f"TST {number:03d}",
            description="grey estate",
            body="estate",
            size="M",
            colour="mid",
            paint="clear_coat",
            powertrain="combustion",
            first_seen=since.date(),
            **told,
        )
        surface = register.add_surface(
            vehicle_id=vehicle.pk, code="bonnet", orientation="flat", substrate="steel", **told
        )
        layering.record_layer(surface_id=surface.pk, kind="sealant", applied=since.date(), **told)
        record.record_habits(
            vehicle_id=vehicle.pk,
            start=since.date(),
            parking="street",
            km_per_year=15_000,
            wash_method="two_bucket",
            washes_per_year=26,
            wash_ph="neutral",
            road_salt="none",
            trees_birds=1,
            source="asked",
            **told,
        )


if __name__ == "__main__":
    django.setup()
    build(int(sys.argv[1]), datetime.now(UTC))
