"""Rows for tests. Every factory takes the studio from its parent, so that nothing crosses studios by accident."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import factory
from factory.django import DjangoModelFactory

from lifecycle import models

TODAY = date(2026, 3, 2)
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


class UserFactory(DjangoModelFactory):
    class Meta:
        model = models.User

    email = factory.Sequence(lambda n: f"person{n}@example.org")
    name = factory.Sequence(lambda n: f"Person {n}")


class StudioFactory(DjangoModelFactory):
    class Meta:
        model = models.Studio

    name = "Ossenmere Gloss Works"
    slug = factory.Sequence(lambda n: f"studio-{n}")
    zone = "Europe/Oslo"
    phone = "+47 00 00 00 00"
    # Its owner has said that nothing needs a look before it goes out; tests of approval ask for the house's default.
    approve_first = approve_prices = approve_batches = False


class SiteFactory(DjangoModelFactory):
    class Meta:
        model = models.Site

    studio = factory.SubFactory(StudioFactory)
    name = factory.Sequence(lambda n: f"Site {n}")
    lat, lon, height_m, sea_distance_m = 49.49, 8.47, 97.0, 400_000.0
    zone = "Europe/Oslo"


class MemberFactory(DjangoModelFactory):
    class Meta:
        model = models.Member

    studio = factory.SubFactory(StudioFactory)
    user = factory.SubFactory(UserFactory)
    role = "owner"


class CustomerFactory(DjangoModelFactory):
    class Meta:
        model = models.Customer

    studio = factory.SubFactory(StudioFactory)
    name = factory.Sequence(lambda n: f"Customer {n}")
    email = factory.Sequence(lambda n: f"customer{n}@example.org")
    zone = "Europe/Oslo"


class ConsentFactory(DjangoModelFactory):
    class Meta:
        model = models.Consent

    customer = factory.SubFactory(CustomerFactory)
    studio = factory.SelfAttribute("customer.studio")
    purpose = "service"
    given = True
    at = NOW - timedelta(days=400)
    how = "paper form"
    wording = "Please write to me when care is due."


class VehicleFactory(DjangoModelFactory):
    """A vehicle with a keeper (`keeper=None` for none)."""

    class Meta:
        model = models.Vehicle
        skip_postgeneration_save = True

    site = factory.SubFactory(SiteFactory)
    studio = factory.SelfAttribute("site.studio")
    plate = factory.Sequence(lambda n: f"TST {n:03d}")
    description = "grey estate"
    body, size, colour, paint, powertrain = "estate", "M", "mid", "clear_coat", "combustion"
    first_seen = TODAY - timedelta(days=500)

    @factory.post_generation
    def keeper(obj, create, extracted, **kwargs):
        if extracted is None and "customer" not in kwargs:
            extracted = CustomerFactory(studio=obj.studio)
        if extracted:
            models.Keeper.objects.create(studio=obj.studio, vehicle=obj, customer=extracted, start=obj.first_seen)


class SurfaceFactory(DjangoModelFactory):
    class Meta:
        model = models.Surface

    vehicle = factory.SubFactory(VehicleFactory)
    studio = factory.SelfAttribute("vehicle.studio")
    code = factory.Sequence(lambda n: f"panel_{n}")
    orientation, substrate = "flat", "steel"


class ProductFactory(DjangoModelFactory):
    class Meta:
        model = models.Product

    studio = factory.SubFactory(StudioFactory)
    code = factory.Sequence(lambda n: f"P{n}")
    name = "two-coat ceramic"
    kind = "ceramic_mid"


class GaugeFactory(DjangoModelFactory):
    class Meta:
        model = models.Gauge

    studio = factory.SubFactory(StudioFactory)
    name = factory.Sequence(lambda n: f"Gauge {n}")
    method, sd_um = "magnetic", 1.0
    checked_on = TODAY - timedelta(days=30)


class LayerFactory(DjangoModelFactory):
    class Meta:
        model = models.Layer

    surface = factory.SubFactory(SurfaceFactory)
    studio = factory.SelfAttribute("surface.studio")
    kind = "ceramic_mid"
    applied = TODAY - timedelta(days=450)
    coats = 2


class HabitsFactory(DjangoModelFactory):
    class Meta:
        model = models.Habits

    vehicle = factory.SubFactory(VehicleFactory)
    studio = factory.SelfAttribute("vehicle.studio")
    start = TODAY - timedelta(days=500)
    parking, km_per_year, wash_method, washes_per_year = "mixed", 15_000, "two_bucket", 26
    wash_ph, road_salt, trees_birds, source = "neutral", "none", 1, "asked"


class CareDueFactory(DjangoModelFactory):
    class Meta:
        model = models.CareDue

    vehicle = factory.SubFactory(VehicleFactory)
    studio = factory.SelfAttribute("vehicle.studio")
    task = "decontamination_wash"
    surfaces = factory.LazyFunction(lambda: ["bonnet"])
    earliest = TODAY - timedelta(days=5)
    ideal = TODAY + timedelta(days=20)
    latest = TODAY + timedelta(days=60)
    reason_code = "clogging"
    why = "The bonnet has gathered grime; a decontamination wash between 2 and 6 weeks from now does most good."
    words = factory.LazyFunction(
        lambda: {
            "known": "Coated 15 months ago.",
            "changed": "No decontamination since.",
            "expected": "The surface clogs further.",
            "prevents": "Grime that hides how the coating really is.",
            "if_postponed": "Nothing breaks; washing gets harder.",
            "self_check": "Pour a cup of water on the washed bonnet and watch it run.",
        }
    )
    opened_at = NOW - timedelta(days=2)  # no notice of it waits for a plan any more


class ReminderFactory(DjangoModelFactory):
    class Meta:
        model = models.Reminder

    due = factory.SubFactory(CareDueFactory)
    studio = factory.SelfAttribute("due.studio")
    vehicle = factory.SelfAttribute("due.vehicle")
    customer = factory.LazyAttribute(lambda o: o.vehicle.keepers.get(end=None).customer)
    step, state = "first", "planned"
    send_at = NOW
    reason_code, reason = "window_open", "The window is open."
    made_at = NOW
    changed_at = NOW


class MessageFactory(DjangoModelFactory):
    class Meta:
        model = models.Message

    customer = factory.SubFactory(CustomerFactory)
    studio = factory.SelfAttribute("customer.studio")
    purpose = "service"
    to_email = factory.SelfAttribute("customer.email")
    from_email = "care@example.org"
    subject, text, html = "Care is due", "Hello", "<p>Hello</p>"
    state, state_at, written_at = "ready", NOW, NOW
