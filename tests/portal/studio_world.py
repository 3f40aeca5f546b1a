"""What the tests of the studio's pages share: windows, rows in plenty, and a page's plain words."""

from __future__ import annotations

import re
from datetime import date, timedelta

from django.utils import timezone

from lifecycle.models import Consent, Offer, OfferStep, Visit
from tests.factories import CareDueFactory, MessageFactory, ReminderFactory, VehicleFactory


def today() -> date:
    return timezone.now().date()


def due(site, *, opens: int = -5, ideal: int = 20, closes: int = 60, **fields):
    """A live window around today, on a vehicle of its own unless one is given."""
    day = today()
    fields.setdefault("vehicle", None)
    vehicle = fields.pop("vehicle") or VehicleFactory(site=site)
    return CareDueFactory(
        vehicle=vehicle, earliest=day + timedelta(opens), ideal=day + timedelta(ideal), latest=day + timedelta(closes),
        **fields,
    )  # fmt: skip


def text(answer) -> str:
    """The page's words without its markup."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", answer.content.decode()))


def fill(site, count: int) -> None:
    for _ in range(count):
        window = due(site)
        reminder = ReminderFactory(due=window, state="written")
        MessageFactory(reminder=reminder, customer=reminder.customer)
        vehicle = window.vehicle
        ReminderFactory(due=due(site, vehicle=vehicle, task="inspection", reason_code="contract"), state="planned")
        Visit.objects.create(
            studio=site.studio, site=site, vehicle=vehicle, on=today(), tasks=["inspection"], booked_at=timezone.now()
        )
        offer = Offer.objects.create(
            studio=site.studio, vehicle=vehicle, due=window, task=window.task, price_low=80, price_high=120,
            made_at=timezone.now(),
        )  # fmt: skip
        OfferStep.objects.create(studio=site.studio, offer=offer, kind="offered", at=timezone.now())
        for customer in {row.customer for row in vehicle.keepers.all()}:
            Consent.objects.create(
                studio=site.studio, customer=customer, purpose="service", given=True, at=timezone.now(), how="form",
                wording="Yes.",
            )  # fmt: skip


def read_and_send(client, url: str, data: dict, **more):
    """Send a form, and once more with the mark of the warnings that the page showed."""
    page = client.post(url, data).content.decode()
    seen = re.search(r'name="seen" value="([^"]+)"', page)
    assert seen is not None, "nothing was to be read first"
    return client.post(url, data | {"seen": seen[1]}, **more)
