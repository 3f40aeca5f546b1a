"""Loads the whole demo studio in one transaction: all of it or nothing."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from lifecycle.climate import store
from lifecycle.errors import DomainError
from lifecycle.management.demo import (
    approvals,
    calendar,
    money,
    paint,
    people,
    people_plans,
    readings,
    reports,
    vehicles,
)
from lifecycle.management.demo.plans import open_book
from lifecycle.management.demo.when import at
from lifecycle.models import Layer, Studio


def load(*, today: date) -> dict[str, int]:
    """Write the demo studio as it stands on a day.

    Returns:
        What was written, counted.

    Raises:
        DomainError: there is a studio already.
    """
    book = open_book(today)
    with transaction.atomic():
        if Studio.objects.exists():
            raise DomainError(
                "There is a studio in this database already; the demo studio goes into an empty one only. "
                "Use another database, or --if-empty to leave this one as it is."
            )
        house = people.build_house(book)
        calendar.write_calendar(house)
        fleet: list[vehicles.Loaded] = []
        plans = people_plans.customers(book)
        for plan in plans:
            customer = people.register_customer(house, plan)
            loaded = [vehicles.load_vehicle(house, vehicle, customer) for vehicle in plan.vehicles]
            people.open_complaint(house, plan, customer, loaded[0].vehicle.pk)
            people.sell(house, plan, loaded[0].vehicle.pk)
            people.ask_for_visit(house, plan, customer, {one.vehicle.plate: one.vehicle.pk for one in loaded})
            if not fleet:
                vehicles.one_that_left(house, loaded[0].vehicle, customer)
            fleet += loaded
        people.add_users(house)
        approvals.approve_mails(house)
        return {
            "customers": len(plans) + sum(plan.sold_to is not None for plan in plans),
            "vehicles": len(fleet),
            "layers": Layer.objects.filter(studio=house.studio).count(),
            "readings": readings.write_looks(house, fleet, store.reader(at(today))),
            "correction plans": paint.write_plans(house, fleet),
            "sealed reports": reports.write_reports(house, fleet),
            "visits": money.write_visits(house, fleet),
            "offers": money.write_offers(house, fleet),
        }
