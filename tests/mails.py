"""Every kind of mail to customers, rendered from real rows by the functions that the outbox uses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import time, timedelta
from uuid import UUID

from lifecycle.care import handover, sealing
from lifecycle.care.rules import TASKS
from lifecycle.models import Customer, Price, Purpose, Reminder, Visit
from lifecycle.reminders import handover_letters, letters, render, report_copy, visit_letters
from tests.factories import (
    NOW,
    TODAY,
    CareDueFactory,
    ConsentFactory,
    ReminderFactory,
    StudioFactory,
    VehicleFactory,
)
from tests.lifecycle.care.report_world import World, make_world

UID = UUID("6f1c1b8e-3f8d-4f0e-9d5a-0a3c5e7f9b11")
LANGUAGES = ("en", "de")
CARE, OFFER = "decontamination_wash", "recoat"
# Reasons as the rules write them (`tests/lifecycle/care/test_tongue.py` holds the rules to their sentences).
CAUSES = {
    CARE: "Bonnet: by our estimate so much bound dirt has gathered that beads say little about the coat beneath.",
    OFFER: "Bonnet: after the retest of 2 February 2026 the entry ceramic coat is expected to end its useful life "
    "between 15 December 2025 and 20 October 2026.",
    "wax_renewal": "Bonnet: the wax is expected to end its useful life between 1 February 2026 and 9 March 2026.",
    "inspection": "Whole car: the contract (C 7) names 11 April 2026, give or take 30 days.",
    "event_response": "Bonnet: a bird dropping of 1 March 2026, on it for about 30 hours or more is to be softened and "
    "lifted, not rubbed, within 24 to 48 hours.",
}


@dataclass(frozen=True)
class Kind:
    """A kind of mail: how it is written, and whether one can unsubscribe from it."""

    name: str
    write: Callable[[], render.Rendered]
    asked_for: bool


class Mails:
    """One customer with a vehicle, a sealed report and a visit; `kinds` are all mails that may come of it."""

    def __init__(self) -> None:
        self.world: World = make_world(StudioFactory(reply_to="desk@example.org"))
        self.keeper = self.world.keeper
        for purpose in Purpose.values:
            ConsentFactory(customer=self.keeper, purpose=purpose)
        self.report = self.world.seal()
        self.offered: handover.Offered | None = None
        self.visit = Visit.objects.create(
            studio=self.world.studio, vehicle=self.world.vehicle, site=self.world.vehicle.site, customer=self.keeper,
            on=TODAY + timedelta(days=9), starts=time(9, 30), tasks=[CARE], booked_at=NOW,
            offered=[f"{TODAY + timedelta(days=n)}T09:00" for n in (10, 12)], reason="The warm bay is taken that day.",
        )  # fmt: skip
        for task in (CARE, OFFER):
            Price.objects.create(studio=self.world.studio, task=task, size="M", low=40, high=65)

    def reminder(self, *, task: str = CARE, step: str = "first", vehicle: object = None, **due: object) -> Reminder:
        """A planned reminder of a new window, of one more vehicle where none is named."""
        vehicle = vehicle or VehicleFactory(
            site=self.world.vehicle.site, keeper=self.keeper, description="black large SUV"
        )
        known = TASKS[task]
        words = {"cause": CAUSES[task], "if_postponed": known.if_postponed, "self_check": known.self_check}
        window = CareDueFactory(vehicle=vehicle, task=task, **{"words": words, **due})
        purpose = "promotion" if task == OFFER else "service"
        return ReminderFactory(due=window, step=step, purpose=purpose, planned_on=window.ideal)

    def write(self, *rows: Reminder) -> render.Rendered:
        """The mail about these reminders."""
        loaded = Reminder.objects.filter(pk__in=[row.pk for row in rows]).order_by("pk")
        some = list(loaded.select_related("due__vehicle", "vehicle", "customer__studio", "studio"))
        return letters.preview(reminders=some, uid=UID, at=NOW)

    def several(self, number: int) -> render.Rendered:
        """One mail about as many vehicles of the same person."""
        site, keeper = self.world.vehicle.site, self.keeper
        some = [VehicleFactory(site=site, keeper=keeper) for n in range(number)]
        rows = [self.reminder(vehicle=one, task=CARE if n else "wax_renewal") for n, one in enumerate(some)]
        contract = self.reminder(vehicle=some[0], task="inspection", contract_on=TODAY + timedelta(days=40))
        happened = self.reminder(
            vehicle=some[-1], task="event_response", reason_code="event", latest=TODAY + timedelta(days=25),
        )  # fmt: skip
        return self.write(*rows, contract, happened)

    def addendum(self) -> render.Rendered:
        added = sealing.seal_addendum(
            studio=self.world.studio, report_id=self.report.pk, text="The door was measured again.",
            member_id=self.world.technician.pk, actor="member:1", at=NOW,
        )  # fmt: skip
        return report_copy.compose(added, self.keeper, uid=UID)

    def handover(self) -> render.Rendered:
        """To who takes the vehicle over; the offer stands once, the mail is written anew."""
        if self.offered is None:
            self.offered = handover.offer(
                customer_ids=[self.keeper.pk], vehicle_id=self.world.vehicle.pk, email="jory.tamm@example.org",
                on=TODAY, actor=f"customer:{self.keeper.pk}", at=NOW,
            )  # fmt: skip
        return handover_letters.compose(self.offered, uid=UID, language=self.keeper.language or "en")

    def about_visit(self, what: str) -> render.Rendered:
        return visit_letters.compose(self.visit, self.keeper, what, uid=UID)

    @property
    def every(self) -> tuple[Kind, ...]:
        """All kinds, also the one to somebody who is no customer yet: it has no own sentences and no choices."""
        return (*self.kinds, Kind("handover", self.handover, True))

    @property
    def kinds(self) -> tuple[Kind, ...]:
        soon = TODAY + timedelta(days=40)
        return (
            Kind("first notice", lambda: self.write(self.reminder()), False),
            Kind("follow-up", lambda: self.write(self.reminder(step="follow_up")), False),
            Kind("last notice", lambda: self.write(self.reminder(step="last", contract_on=soon)), False),
            Kind("offer", lambda: self.write(self.reminder(task=OFFER)), False),
            Kind("several vehicles", lambda: self.several(2), False),
            Kind("digest of a fleet", lambda: self.several(9), False),
            Kind("report", lambda: report_copy.compose(self.report, self.keeper, uid=UID), True),
            Kind("addendum", self.addendum, True),
            *(Kind(f"visit {what}", lambda what=what: self.about_visit(what), True) for what in visit_letters.WHAT),
        )  # fmt: skip


def in_language(mails: Mails, language: str) -> Mails:
    """The same person with another language."""
    Customer.objects.filter(pk=mails.keeper.pk).update(language=language)
    mails.keeper.refresh_from_db()
    mails.visit = Visit.objects.select_related("studio", "site", "vehicle").get(pk=mails.visit.pk)
    return mails
