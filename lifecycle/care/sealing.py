"""Verbs that seal reports and addenda, and the question whether an inspection is sealed.

Numbers are gapless and the chain is linear because everything happens in one transaction that holds the studio's row;
two unique constraints (number, previous digest) stand behind it.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db import transaction
from django.db.models import Q

from lifecycle import journal
from lifecycle.care.addresses import without_keepers
from lifecycle.care.find import one
from lifecycle.care.reports import content as contents
from lifecycle.care.reports.canonical import canonical, commitment, digest
from lifecycle.care.reports.signature import Signature
from lifecycle.errors import DomainError
from lifecycle.models import Customer, Inspection, Keeper, Member, Report, ReportKind, ReportParty, Studio

MOST_TEXT: Final = 4000
SEALED: Final = "This inspection is sealed in report {number}; write an addendum to that report instead."


def sealed_among(inspection_ids: Iterable[int]) -> frozenset[int]:
    """Those of the inspections whose report is sealed, in one query."""
    rows = Report.objects.filter(inspection_id__in=list(inspection_ids), kind=ReportKind.REPORT)
    return frozenset(rows.values_list("inspection_id", flat=True))


def is_sealed(inspection: Inspection | None) -> bool:
    """Whether a report of this inspection was sealed: then its findings, readings and photos stay as they are."""
    return inspection is not None and inspection.pk in sealed_among([inspection.pk])


def refuse_sealed(inspection: Inspection) -> None:
    """Refuse to change what belongs to a sealed inspection.

    A verb that changes something of an inspection holds its row (`select_for_update`) when it asks, for sealing holds
    it too: otherwise the change could slip in beside the seal.

    Raises:
        DomainError: it is sealed; names the report.
    """
    sealed = Report.objects.filter(inspection_id=inspection.pk, kind=ReportKind.REPORT).first()
    if sealed is not None:
        raise DomainError(SEALED.format(number=sealed.number))


@dataclass(frozen=True, slots=True)
class Draft:
    """A report as it would be sealed now. `seen` stands for exactly this content."""

    content: contents.Content
    seen: str
    keeper: str
    plate: str


def keeper_at(inspection: Inspection, at: datetime) -> Customer | None:
    """Who keeps the vehicle on the studio's day of `at`, else on the day of the inspection."""
    for day in (inspection.studio.day(at), inspection.on):
        rows = Keeper.objects.filter(vehicle_id=inspection.vehicle_id, start__lte=day)
        row = rows.filter(Q(end=None) | Q(end__gt=day)).select_related("customer").first()
        if row is not None:
            found: Customer = row.customer
            return found
    return None


def _inspection(studio: Studio, inspection_id: int, *, lock: bool = False) -> Inspection:
    inspection: Inspection = one(Inspection, studio, inspection_id, lock=lock)
    if inspection.by != "studio":
        raise DomainError("A customer's own look is no inspection of the studio; it cannot be sealed.")
    refuse_sealed(inspection)
    return inspection


def draft(*, studio: Studio, inspection_id: int, at: datetime) -> Draft:
    """The report of an inspection as it would be sealed now; nothing is written.

    Raises:
        NotFoundHere: no such inspection in this studio.
        DomainError: it is sealed already, or was the customer's own look.
    """
    inspection = _inspection(studio, inspection_id)
    said = contents.body(inspection)
    keeper = keeper_at(inspection, at)
    return Draft(said, digest(canonical(said), ""), keeper.name if keeper else "", inspection.vehicle.plate)


def _refuse_names(text: str, inspection: Inspection, *, field: str = "") -> None:
    """Keep whoever keeps or kept the vehicle out of a text that cannot be changed afterwards, not even for an
    erasure."""
    if without_keepers(text, inspection.vehicle_id) != text:
        raise DomainError(
            "A note, a caption or the vehicle's description names the keeper or one before, or holds an address or "
            "phone number of theirs. A sealed text cannot be changed any more: take it out first.",
            field=field,
        )


def _head(studio: Studio) -> Report | None:
    """The studio's newest report. The caller holds the studio's row, so that nobody else follows it meanwhile."""
    Studio.objects.select_for_update().get(pk=studio.pk)
    head: Report | None = Report.objects.filter(studio=studio).order_by("-number").first()
    return head


def _write(
    said: contents.Content, *, inspection: Inspection, head: Report | None, of: Report | None, member: Member,
    signed: contents.Content | None, actor: str, at: datetime,
) -> Report:  # fmt: skip
    number = head.number + 1 if head else 1
    previous = head.digest if head else ""
    text = canonical(contents.framed(said, number=number, at=at, member_id=member.pk, signed=signed))
    report: Report = Report.objects.create(
        studio=inspection.studio, vehicle_id=inspection.vehicle_id, inspection=inspection, member=member, of=of,
        kind=ReportKind.ADDENDUM if of else ReportKind.REPORT, number=number, sealed_at=at.replace(microsecond=0),
        content=text, digest=digest(text, previous), previous=previous,
    )  # fmt: skip
    # The journal cannot be changed either: it is the second witness of number and digest.
    journal.record(
        studio=inspection.studio, actor=actor, at=at, verb="addendum sealed" if of else "report sealed",
        subject="report", subject_id=report.pk, vehicle_id=inspection.vehicle_id, number=number, digest=report.digest,
    )  # fmt: skip
    return report


def seal_report(
    *, studio: Studio, inspection_id: int, member_id: int, seen: str, signature: Signature, actor: str, at: datetime
) -> Report:
    """Seal the report of an inspection, signed by the customer.

    Args:
        seen: `Draft.seen` of the page on which it was signed: what was signed is what is sealed.

    Raises:
        NotFoundHere: no such inspection in this studio.
        DomainError: sealed already, no keeper on record, or the record has changed since the page was shown.
    """
    with transaction.atomic():
        head = _head(studio)
        inspection = _inspection(studio, inspection_id, lock=True)
        said = contents.body(inspection)
        if digest(canonical(said), "") != seen:
            raise DomainError(
                "The inspection has changed since this page was shown. Look at the report below once more, and sign it "
                "again."
            )
        _refuse_names(canonical(said), inspection)
        keeper = keeper_at(inspection, at)
        if keeper is None:
            # A name that belongs to nobody on record could never be erased with its person.
            raise DomainError("No keeper is on record for this vehicle; record whose it is, then have it signed.")
        salt, plate = secrets.token_hex(32), inspection.vehicle.plate
        sealed_hash = commitment(salt=salt, name=signature.name, plate=plate, strokes=signature.strokes)
        report = _write(
            said, inspection=inspection, head=head, of=None, member=one(Member, studio, member_id),
            signed={"how": signature.how, "commitment": sealed_hash}, actor=actor, at=at,
        )  # fmt: skip
        ReportParty.objects.create(
            studio=studio, report=report, customer=keeper, name=signature.name, plate=plate,
            strokes=signature.strokes, salt=salt,
        )  # fmt: skip
    return report


def seal_addendum(
    *, studio: Studio, report_id: int, text: str, findings: Sequence[int] = (), member_id: int, actor: str, at: datetime
) -> Report:
    """Seal an addendum to a report; the report itself stays as it is.

    Args:
        findings: numbers of the findings in the report that it is about.

    Raises:
        NotFoundHere: no such report in this studio.
        DomainError: no text, a finding that the report does not have, or an addendum to an addendum.
    """
    said = text.strip().replace("\r\n", "\n")
    if not said:
        raise DomainError("text: say what is to be added or set right.", field="text")
    if len(said) > MOST_TEXT:
        raise DomainError(f"text: at most {MOST_TEXT} characters; it has {len(said)}.", field="text")
    with transaction.atomic():
        head = _head(studio)
        report = one(Report, studio, report_id)
        if report.of is not None:
            raise DomainError(f"Add to report {report.of.number} itself, not to its addendum.")
        known = {finding["n"] for finding in sealed_content(report)["findings"]}
        for n in findings:
            if n not in known:
                raise DomainError(f"findings: report {report.number} has no finding {n}.", field="findings")
        _refuse_names(said, report.inspection, field="text")
        return _write(
            contents.addendum_body(report, text=said, findings=sorted(set(findings))), inspection=report.inspection,
            head=head, of=report, member=one(Member, studio, member_id), signed=None, actor=actor, at=at,
        )  # fmt: skip


def sealed_content(report: Report) -> contents.Content:
    """The content of a sealed report as values.

    Raises:
        ValueError: the text is not JSON any more; somebody changed it.
    """
    found = json.loads(report.content)
    if not isinstance(found, dict):
        raise ValueError("the content of the report is no JSON object.")
    return found


def erase_signatures(*, studio: Studio, customer_id: int, actor: str, at: datetime) -> int:
    """Blank name, plate, strokes and salt of every report that this customer signed. The sealed text holds none of
    it, so the chain stays whole; without the salt nobody can test a guess against the hash.

    Returns:
        How many reports it touched.
    """
    with transaction.atomic():
        rows = list(ReportParty.objects.filter(studio=studio, customer_id=customer_id, erased_at=None))
        for row in rows:
            row.customer, row.name, row.plate, row.strokes, row.salt, row.erased_at = None, "", "", [], "", at
            row.save()
        if rows:
            journal.record(
                studio=studio, actor=actor, at=at, verb="signatures erased", subject="report", subject_id=None,
                reports=[row.report_id for row in rows],
            )  # fmt: skip
    return len(rows)
