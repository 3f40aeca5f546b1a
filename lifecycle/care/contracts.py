"""Inspections that a contract asks for by a rule. Dates are data; whether anything is covered is never judged."""

from __future__ import annotations

from datetime import date, datetime
from typing import Final

from django.db import transaction

from lifecycle import journal
from lifecycle.care.find import one, plausible_day
from lifecycle.care.months import add_months, every
from lifecycle.errors import DomainError
from lifecycle.models import ContractRule, ContractTerm, Inspection, Studio, Vehicle

# A rule without an end is worked out so far ahead; each inspection that serves it carries it on.
AHEAD_MONTHS: Final = 60


def _checked(
    *, title: str, starts_on: date, every_months: int, tolerance_days: int, ends_on: date | None, written_in: str
) -> None:
    if not title.strip():
        raise DomainError("title: say what the contract asks for.", field="title")
    if not written_in.strip():
        raise DomainError("written_in: say where it is written, like the paper and its paragraph.", field="written_in")
    plausible_day("starts_on", starts_on)
    plausible_day("ends_on", ends_on)
    if not 1 <= every_months <= 120:
        raise DomainError(f"every_months: {every_months} is not between 1 and 120.", field="every_months")
    if not 0 <= tolerance_days <= 366:
        raise DomainError(f"tolerance_days: {tolerance_days} is not between 0 and 366.", field="tolerance_days")
    first = add_months(starts_on, every_months)
    if ends_on is not None and ends_on < first:
        raise DomainError(
            f"ends_on: the first inspection would be on {first}, after the end, {ends_on}.", field="ends_on"
        )


def _until(rule: ContractRule, today: date) -> date:
    ahead = add_months(max(today, rule.starts_on), max(AHEAD_MONTHS, 2 * rule.every_months))
    return min(ahead, rule.ends_on) if rule.ends_on is not None else ahead


def carry_on(rule: ContractRule, today: date) -> int:
    """Put the rule's days on record that are not yet, as far ahead as `_until`."""
    had = set(ContractTerm.every.filter(rule=rule).values_list("due", flat=True))
    days = [day for day in every(rule.starts_on, rule.every_months, until=_until(rule, today)) if day not in had]
    ContractTerm.objects.bulk_create(
        ContractTerm(
            studio=rule.studio, vehicle_id=rule.vehicle_id, title=rule.title, due=day,
            tolerance_days=rule.tolerance_days, rule=rule,
        )
        for day in days
    )  # fmt: skip
    return len(days)


def add_rule(
    *,
    studio: Studio,
    vehicle_id: int,
    title: str,
    starts_on: date,
    every_months: int,
    tolerance_days: int,
    ends_on: date | None = None,
    written_in: str,
    actor: str,
    at: datetime,
) -> ContractRule:
    """Inspections every so many months, counted from `starts_on`; the days are worked out and stand as dates.

    Args:
        every_months: 1 to 120.  tolerance_days: how far from the day the contract lets the inspection be.
        ends_on: the last day on which one can fall; None: the contract names none.
        written_in: the paper, its paragraph.

    Raises:
        DomainError: names the field, what is wrong with it and what would be right.
        NotFoundHere: the vehicle is not of this studio.
    """
    _checked(
        title=title, starts_on=starts_on, every_months=every_months, tolerance_days=tolerance_days, ends_on=ends_on,
        written_in=written_in,
    )  # fmt: skip
    vehicle = one(Vehicle, studio, vehicle_id)
    with transaction.atomic():
        rule: ContractRule = ContractRule.objects.create(
            studio=studio, vehicle=vehicle, title=title.strip(), starts_on=starts_on, every_months=every_months,
            tolerance_days=tolerance_days, ends_on=ends_on, written_in=written_in.strip(),
        )  # fmt: skip
        count = carry_on(rule, studio.day(at))
        Vehicle.objects.filter(pk=vehicle.pk).update(assess_again=True)
        journal.record(
            studio=studio, actor=actor, at=at, verb="contract rule added", subject="contract rule", subject_id=rule.pk,
            vehicle_id=vehicle.pk, starts_on=starts_on, every_months=every_months, dates=count,
        )  # fmt: skip
    return rule


def stop_rule(*, studio: Studio, rule_id: int, why: str, actor: str, at: datetime) -> ContractRule:
    """The rule no longer holds: its days that no inspection has served are withdrawn, with the reason.

    Raises:
        DomainError: no reason, or it was stopped before.
        NotFoundHere: the rule is not of this studio.
    """
    if not why.strip():
        raise DomainError("why: say why the rule no longer holds.", field="why")
    with transaction.atomic():
        rule = one(ContractRule, studio, rule_id, lock=True)
        if rule.stopped_at is not None:
            raise DomainError("This rule was stopped already.")
        rule.stopped_at = at
        rule.save(update_fields=["stopped_at"])
        dropped = ContractTerm.objects.filter(rule=rule, done_on=None).update(
            withdrawn_at=at, withdrawn_why=why.strip()[:200]
        )
        Vehicle.objects.filter(pk=rule.vehicle_id).update(assess_again=True)
        journal.record(
            studio=studio, actor=actor, at=at, verb="contract rule stopped", subject="contract rule",
            subject_id=rule.pk, vehicle_id=rule.vehicle_id, dates_withdrawn=dropped,
        )  # fmt: skip
    return rule


def mark_done(*, studio: Studio, term_id: int, inspection_id: int, actor: str, at: datetime) -> ContractTerm:
    """Say which inspection of the studio was the one that a contract asked for. That it counts is not for us to say.

    Raises:
        DomainError: it is marked already, or the inspection is of another vehicle or by the customer.
        NotFoundHere: term or inspection of another studio.
    """
    with transaction.atomic():
        term = one(ContractTerm, studio, term_id, lock=True)
        inspection = one(Inspection, studio, inspection_id)
        if inspection.vehicle_id != term.vehicle_id:
            raise DomainError("inspection: it was of another vehicle.", field="inspection")
        if inspection.by != "studio":
            raise DomainError(
                "inspection: a customer's own look is none; choose one of the studio.", field="inspection"
            )
        if term.inspection_id is not None:
            raise DomainError(f"This date is marked already, by the inspection of {term.done_on}.")
        term.done_on, term.inspection = inspection.on, inspection
        term.save(update_fields=["done_on", "inspection"])
        if term.rule is not None and term.rule.stopped_at is None:
            carry_on(term.rule, studio.day(at))
        Vehicle.objects.filter(pk=term.vehicle_id).update(assess_again=True)
        journal.record(
            studio=studio, actor=actor, at=at, verb="contract term done", subject="contract term", subject_id=term.pk,
            vehicle_id=term.vehicle_id, inspection=inspection.pk, on=inspection.on,
        )  # fmt: skip
    return term
