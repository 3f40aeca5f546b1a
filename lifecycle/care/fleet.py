"""Many vehicles of one customer as rows: what is due next, and when."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext

from lifecycle.care.customer_reads import kept_rows, next_due_of, sentence_of, stages_of


@dataclass(frozen=True, slots=True)
class FleetLine:
    """One vehicle. `care`: what is due next, "" for nothing; `booked_on`: its next booked visit."""

    id: int
    plate: str
    description: str
    studio: str
    site: str
    care: str
    earliest: date | None
    ideal: date | None
    latest: date | None
    booked_on: date | None
    sentence: str

    @property
    def soonest(self) -> date:
        """The day that counts for the order: booked, else the end of the window, else never."""
        return self.booked_on or self.latest or date.max


def fleet_lines(
    *, customer_ids: Iterable[int], today: date, search: str = "", only: str = "", order: str = "due"
) -> tuple[FleetLine, ...]:
    """The vehicles that these customers keep now, in a number of queries that does not grow with them.

    Args:
        search: part of the plate or the description, any case.
        only: open (something is due and nothing booked), booked, nothing; "" for all.
        order: due (soonest first) or plate.
    """
    vehicles = kept_rows(customer_ids, today)
    stages = stages_of(vehicles)
    lines = []
    for vehicle in vehicles:
        due, booked = next_due_of(vehicle), next((visit.on for visit in vehicle.visits.all()), None)
        lines.append(
            FleetLine(
                id=vehicle.pk, plate=vehicle.plate, description=vehicle.description, studio=vehicle.studio.name,
                site=vehicle.site.name, care=gettext(due[1]) if due else "", earliest=due[0].earliest if due else None,
                ideal=due[0].ideal if due else None, latest=due[0].latest if due else None, booked_on=booked,
                sentence=sentence_of(vehicle, stages, today),
            )
        )  # fmt: skip
    wanted = search.strip().lower()
    kept = [line for line in lines if wanted in f"{line.plate} {line.description}".lower() and _is(line, only)]
    return tuple(sorted(kept, key=lambda line: ((line.soonest if order == "due" else date.min), line.plate, line.id)))


def _is(line: FleetLine, only: str) -> bool:
    if only == "open":
        return bool(line.care)
    if only == "booked":
        return line.booked_on is not None
    return not only or (not line.care and line.booked_on is None)
