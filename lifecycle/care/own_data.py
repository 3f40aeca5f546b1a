"""All that is on record about a person, to be taken away: themselves, and their vehicles in the time they kept them."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.apps import apps
from django.db import models
from django.db.models import Q
from django.utils import timezone

from lifecycle.errors import NotFoundHere
from lifecycle.models import Customer, JournalEntry, Keeper, Suppression

FORM: Final = "sheenward own data 1"


@dataclass(frozen=True, slots=True)
class Part:
    """One kind of rows.

    Attributes:
        person: path from the row to the customer; "" where the row belongs to a vehicle.
        vehicle: path from the row to the vehicle.
        day: field that says when, so that only the time of keeping counts; "" where the thing lasts.
        owner: path to the customer whose row it is, where there is one; the vehicle alone tells where that is empty.
    """

    model: str
    title: str
    person: str = ""
    vehicle: str = ""
    day: str = ""
    owner: str = ""


PARTS: Final = (
    Part("Customer", "Who you are", person="pk"),
    Part("Consent", "What you agreed to", person="customer"),
    Part("Keeper", "Vehicles you keep or kept", person="customer"),
    Part("Complaint", "Complaints", person="customer"),
    Part("Message", "Mails to you", person="customer"),
    Part("Receipt", "What became of the mails", person="message__customer"),
    Part("Reminder", "Reminders, written or held back, and why", person="customer"),
    Part("ReportParty", "Your signatures under reports", person="customer"),
    Part("CorrectionConsent", "What you said to paint work", person="customer"),
    Part("CorrectionSignature", "Your signatures for paint work", person="consent__customer"),
    Part("CalendarFeed", "Your calendar address", person="customer"),
    Part("Handover", "Offers of a vehicle to a new keeper", person="customer"),
    Part("RecordLink", "Links to a care record that you shared", person="customer"),
    Part("ImportKey", "Your number in another list of the studio", person="customer"),
    Part("ImportKey", "Numbers of the vehicles in other lists", vehicle="vehicle"),
    Part("Vehicle", "Vehicles", vehicle="pk"),
    Part("Surface", "Surfaces", vehicle="vehicle"),
    Part("Mounted", "Wheel sets on the vehicle", vehicle="surface__vehicle", day="start"),
    Part("Layer", "Layers", vehicle="surface__vehicle"),
    Part("Habits", "How the vehicle is used", vehicle="vehicle", day="start"),
    Part("Storage", "Times in storage", vehicle="vehicle", day="start"),
    Part("CareEvent", "Washes and other events", vehicle="vehicle", day="on"),
    Part("Inspection", "Inspections", vehicle="vehicle", day="on"),
    Part("Reading", "Readings", vehicle="inspection__vehicle", day="inspection__on"),
    Part("ReadingDoubt", "Doubts about readings", vehicle="inspection__vehicle", day="inspection__on"),
    Part("Finding", "Findings", vehicle="inspection__vehicle", day="inspection__on"),
    Part("Photo", "Photos", vehicle="vehicle", day="added_at__date"),
    Part("Correction", "Paint corrections", vehicle="surface__vehicle", day="on"),
    Part("CorrectionPlan", "Plans for paint corrections", vehicle="vehicle", day="on"),
    Part("CorrectionPanel", "Surfaces of those plans", vehicle="plan__vehicle", day="plan__on"),
    Part("ContractRule", "Rules of contracts", vehicle="vehicle", day="starts_on"),
    Part("ContractTerm", "Dates of contracts", vehicle="vehicle", day="due"),
    Part("CareDue", "Care that was due", vehicle="vehicle", day="opened_at__date"),
    Part("Refusal", "Work that is not offered", vehicle="vehicle", day="at__date"),
    Part("VisitProposal", "Proposed visits", vehicle="vehicle", day="made_at__date"),
    Part("Visit", "Visits", vehicle="vehicle", day="booked_at__date", owner="customer"),
    Part("ForecastCheck", "Looks beside the forecasts before them", vehicle="vehicle", day="seen_on"),
    Part("ReminderTrial", "Whether reminders bring people: your care windows", vehicle="vehicle", day="start"),
    Part("OutlookRow", "Care that the studio expects, and how likely", vehicle="vehicle", day="made_on"),
    Part("CustomerOutlook", "Visits that the studio expects of you, and how likely", person="customer"),
    Part("Offer", "Advice and offers", vehicle="vehicle", day="made_at__date"),
    Part("OfferTold", "Advice that was told to you", person="customer"),
    Part("OfferStep", "Answers to advice", vehicle="offer__vehicle", day="at__date"),
    Part("Assessment", "Forecasts", vehicle="vehicle", day="as_of"),
    Part("Forecast", "Forecasts by layer", vehicle="assessment__vehicle", day="assessment__as_of"),
    Part("Report", "Sealed reports", vehicle="vehicle", day="sealed_at__date"),
    Part("CareRecord", "Care records issued for a buyer", vehicle="vehicle", day="issued_at__date"),
)
# Kept out of every row: the studio's people and inner workings, which say nothing about the customer.
LEFT_OUT_FIELDS: Final = frozenset(
    {"studio", "member", "applicator", "claim", "lease_until", "user", "salt", "token", "token_digest", "key",
     "input_hash", "file", "thumbnail", "previous", "serial", "site", "windows_at", "assess_again"}
)  # fmt: skip


def _in_time(part: Part, kept: Collection[Keeper]) -> Q:
    found = Q(pk__in=[])
    for keeper in kept:
        mine = Q(**{part.vehicle: keeper.vehicle_id})
        if part.day:
            mine &= Q(**{f"{part.day}__gte": keeper.start})
            if keeper.end is not None:
                mine &= Q(**{f"{part.day}__lte": keeper.end})
        if part.owner:
            mine &= Q(**{part.owner: None}) | Q(**{part.owner: keeper.customer_id})
        found |= mine
    return found


def _row(row: models.Model) -> dict[str, Any]:
    fields = [field for field in row._meta.concrete_fields if field.name not in LEFT_OUT_FIELDS]
    return {field.attname: getattr(row, field.attname) for field in fields}


def _rows(part: Part, ids: Collection[int], kept: Collection[Keeper]) -> list[dict[str, Any]]:
    model = apps.get_model("lifecycle", part.model)
    wanted = Q(**{f"{part.person}__in": ids}) if part.person else _in_time(part, kept)
    if part.model == "Message":
        # The mail to a new keeper holds the link by which they agree, and nobody else may: theirs from then on.
        wanted &= Q(handover=None) | Q(handover__to_customer__in=ids)
    return [_row(row) for row in model._base_manager.filter(wanted).order_by("pk")]


def own_data(customer_ids: Collection[int], *, at: datetime) -> dict[str, Any]:
    """Everything about these customers as plain values, a list of rows under each title, in a fixed number of queries.

    What happened to a vehicle before or after their time belongs to its other keepers and is not among it.

    Raises:
        NotFoundHere: no customer.
    """
    ids = list(customer_ids)
    people = list(Customer.objects.filter(pk__in=ids).select_related("studio").order_by("pk"))
    if not people:
        raise NotFoundHere("Nobody is on record by that name.")
    kept = list(Keeper.objects.filter(customer__in=ids).order_by("pk"))
    with timezone.override(ZoneInfo(people[0].studio.zone)):  # a keeping begins and ends on days of the studio
        parts = {part.title: _rows(part, ids, kept) for part in PARTS}
    parts["Addresses that are not written to"] = list(_suppressed(people))
    actors = [f"customer:{pk}" for pk in ids]
    entries = JournalEntry.objects.filter(Q(actor__in=actors) | Q(subject="customer", subject_id__in=ids))
    parts["What was done by you or to your record"] = list(
        entries.order_by("at", "pk").values("at", "verb", "subject", "subject_id", "vehicle_id")
    )
    return {"form": FORM, "made_at": at, "studios": [person.studio.name for person in people], "parts": parts}


def _suppressed(people: Collection[Customer]) -> Iterator[dict[str, Any]]:
    mine = {(person.studio_id, person.email.lower()) for person in people if person.email}
    studios = {studio_id for studio_id, _ in mine}
    wanted = Q(pk__in=[])
    for _, email in mine:
        wanted |= Q(email__iexact=email)
    for row in Suppression.objects.filter(wanted, studio__in=studios).order_by("pk"):
        if (row.studio_id, row.email.lower()) in mine:
            yield _row(row)
