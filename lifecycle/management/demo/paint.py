"""Writes what is planned for a vehicle's paint and what its keeper said to it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from lifecycle.care.correction_consent import record_consent
from lifecycle.care.corrections import keep_plan
from lifecycle.management.demo.people import ACTOR, House
from lifecycle.management.demo.vehicles import Loaded
from lifecycle.management.demo.when import at


def write_plans(house: House, fleet: Sequence[Loaded]) -> int:
    """Every correction plan of the stories, with the consent to it. Needs the readings.

    Returns:
        How many plans were written.
    """
    count = 0
    for loaded in fleet:
        told = loaded.plan.correction_plan
        if told is None:
            continue
        made = at(house.book.when(told["on"]))
        plan = keep_plan(
            studio=house.studio, vehicle_id=loaded.vehicle.pk, member_id=house.technicians[0].pk,
            chosen={loaded.surfaces[code].pk: (stage, passes) for code, (stage, passes) in told["panels"].items()},
            actor=ACTOR, at=made,
        )  # fmt: skip
        record_consent(
            studio=house.studio, plan_id=plan.pk, given=True, how="spoken", note=told["said"], actor=ACTOR,
            at=made + timedelta(hours=3),
        )  # fmt: skip
        count += 1
    return count
