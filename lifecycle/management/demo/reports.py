"""Seals the report of the first look at a vehicle, signed by its keeper on that day."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from lifecycle.care import sealing
from lifecycle.care.reports.signature import Signature
from lifecycle.management.demo.people import House
from lifecycle.management.demo.vehicles import Loaded
from lifecycle.management.demo.when import at
from lifecycle.models import Inspection


def write_reports(house: House, fleet: Sequence[Loaded]) -> int:
    """The report of the first inspection of every vehicle whose story plans a correction. Needs the readings.

    Returns:
        How many reports were sealed.
    """
    count = 0
    for loaded in fleet:
        looks = Inspection.objects.filter(studio=house.studio, vehicle=loaded.vehicle, by="studio")
        look = looks.order_by("on", "id").first()
        if loaded.plan.correction_plan is None or look is None:
            continue
        sealed = at(look.on) + timedelta(hours=5)
        seen = sealing.draft(studio=house.studio, inspection_id=look.pk, at=sealed)
        member = house.technicians[0]
        sealing.seal_report(
            studio=house.studio, inspection_id=look.pk, member_id=member.pk, seen=seen.seen,
            signature=Signature("typed", seen.keeper, []), actor=f"member:{member.pk}", at=sealed,
        )  # fmt: skip
        count += 1
    return count
