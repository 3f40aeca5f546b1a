"""The constraints that carry the promises hold in the database itself, whatever the code above does."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from lifecycle.models import APPEND_ONLY_TABLES, Forecast, JournalEntry, Member, OfferStep, Receipt, Reminder
from tests.factories import (
    NOW,
    TODAY,
    CareDueFactory,
    ConsentFactory,
    CustomerFactory,
    LayerFactory,
    MessageFactory,
    ReminderFactory,
    VehicleFactory,
)

pytestmark = pytest.mark.django_db


def refused(act) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        act()


def test_one_reminder_per_window_and_step():
    first = ReminderFactory()
    refused(lambda: ReminderFactory(due=first.due, step=first.step))
    ReminderFactory(due=first.due, step="follow_up")
    assert Reminder.objects.count() == 2


def test_a_reminder_planned_after_its_send_time_is_refused():
    refused(lambda: ReminderFactory(send_at=NOW - timedelta(seconds=1), made_at=NOW))


def test_a_receipt_id_is_taken_once():
    message = MessageFactory()
    kept = {
        "studio": message.studio, "provider": "p", "event_id": "1", "message": message, "kind": "delivered",
        "occurred_at": NOW, "received_at": NOW,
    }  # fmt: skip
    Receipt.objects.create(**kept)
    refused(lambda: Receipt.objects.create(**kept))
    Receipt.objects.create(**{**kept, "event_id": "2"})


@pytest.mark.parametrize(("p10", "p50", "p90"), [(-0.01, 0.5, 0.6), (0.4, 0.5, 1.01), (0.6, 0.5, 0.7), (0.2, 0.5, 0.4)])
def test_function_left_is_an_ordered_share(p10, p50, p90):
    from lifecycle.models import Assessment

    layer = LayerFactory()
    vehicle = layer.surface.vehicle
    assessment = Assessment.objects.create(
        studio=vehicle.studio, vehicle=vehicle, as_of=TODAY, at=NOW, input_hash="x", model_version="1"
    )

    def store(a, b, c):
        return Forecast.objects.create(
            studio=vehicle.studio, assessment=assessment, surface=layer.surface, layer=layer, stage="tired",
            function_p10=a, function_p50=b, function_p90=c,
        )  # fmt: skip

    refused(lambda: store(p10, p50, p90))
    store(0.0, 0.5, 1.0)


def _journal_row() -> JournalEntry:
    vehicle = VehicleFactory()
    return JournalEntry.objects.create(
        studio=vehicle.studio, at=NOW, actor="member:1", verb="layer recorded", subject="layer", subject_id=1
    )


@pytest.mark.parametrize("statement", ["UPDATE {} SET at = at", "DELETE FROM {}"])
@pytest.mark.parametrize("table", APPEND_ONLY_TABLES)
def test_append_only_tables_refuse_change(table, statement):
    _journal_row()
    consent = ConsentFactory()
    due = CareDueFactory()
    from lifecycle.models import Offer

    offer = Offer.objects.create(
        studio=due.studio, vehicle=due.vehicle, due=due, task=due.task, price_low=1, price_high=2, made_at=NOW
    )
    OfferStep.objects.create(studio=offer.studio, offer=offer, kind="recommended", at=NOW)
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement.format(table))
    consent.refresh_from_db()


def test_a_vehicle_has_one_keeper_and_a_window_one_life():
    vehicle = VehicleFactory()
    from lifecycle.models import Keeper

    refused(
        lambda: Keeper.objects.create(
            studio=vehicle.studio, vehicle=vehicle, customer=CustomerFactory(studio=vehicle.studio), start=TODAY
        )
    )
    due = CareDueFactory(vehicle=vehicle)
    refused(lambda: CareDueFactory(vehicle=vehicle, task=due.task))
    due.state, due.closed_at = "done", NOW
    due.save()
    CareDueFactory(vehicle=vehicle, task=due.task)


def test_every_business_row_carries_its_studio():
    """Journal, messages, layers: all of them, except places' climate, heartbeats, users with their keys, the studio,
    and a provider's events that wait for their message."""
    from django.apps import apps

    without = {
        "Studio",
        "User",
        "SignInKey",
        "ClimateNormal",
        "ClimateService",
        "Heartbeat",
        "HookCursor",
        "EarlyReceipt",
    }
    for model in apps.get_app_config("lifecycle").get_models():
        names = {field.name for field in model._meta.get_fields()}
        assert ("studio" in names) != (model.__name__ in without), model.__name__
    assert Member._meta.get_field("studio").null is False
