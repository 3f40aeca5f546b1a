"""What the addresses of a vehicle's life name: a contract's rule and date, an event, a vehicle that left."""

from __future__ import annotations

from lifecycle.models import CareEvent, ContractRule, ContractTerm, Customer, Vehicle
from tests.factories import NOW, VehicleFactory


def life_ids(vehicle: Vehicle, keeper: Customer) -> dict[str, int | str]:
    """Rows on this vehicle, and one that left, by the names that the addresses use."""
    mine = {"studio": vehicle.studio, "vehicle": vehicle}
    rule = ContractRule.objects.create(
        **mine, title="yearly look", starts_on=NOW.date(), every_months=12, written_in="paper"
    )
    term = ContractTerm.objects.create(**mine, title="yearly look", due=NOW.date(), rule=rule)
    event = CareEvent.objects.create(**mine, kind="sap", on=NOW.date())
    gone = VehicleFactory(site=vehicle.site, retired_on=NOW.date(), keeper=keeper)
    return {
        "rule_id": rule.pk, "term_id": term.pk, "entry_id": event.pk, "left_id": gone.pk, "work": "repaint",
        "kind": "event",
    }  # fmt: skip
