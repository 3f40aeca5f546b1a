"""Reads of reports: for the studio, for the keepers of that time, for anybody with the link of the check page."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q

from lifecycle.care.find import one
from lifecycle.care.reports.check import Difference, check_report
from lifecycle.care.reports.view import AddendumLine, ReportView, Seal, Signed, of_content
from lifecycle.care.sealing import Draft, draft, sealed_content
from lifecycle.care.tongue.speak import say
from lifecycle.care.wording import spoken
from lifecycle.errors import NotFoundHere
from lifecycle.models import (
    Finding,
    Inspection,
    Keeper,
    Member,
    Photo,
    Report,
    ReportKind,
    ReportParty,
    Studio,
    Surface,
    Vehicle,
)

MOST_FINDINGS: Final = 400
MOST_INSPECTIONS: Final = 200


def _names(ids: Iterable[int | None]) -> dict[int, str]:
    rows = Member.objects.filter(pk__in={pk for pk in ids if pk}).select_related("user")
    return {row.pk: str(row) for row in rows}


def _local(report: Report) -> datetime:
    return report.sealed_at.astimezone(ZoneInfo(report.studio.zone))


def _view(report: Report, addenda: Sequence[Report]) -> ReportView:
    content = sealed_content(report)
    party = ReportParty.objects.filter(report=report).first()
    names = _names([content["inspection"]["member"], report.member_id, *(row.member_id for row in addenda)])
    lines = []
    for row in addenda:
        said = sealed_content(row)
        lines.append(
            AddendumLine(
                id=row.pk, number=row.number, sealed_at=_local(row), text=said["text"],
                findings=tuple(said["about_findings"]), by=names.get(row.member_id, ""), digest=row.digest,
                token=row.token,
            )
        )  # fmt: skip
    strokes = party.strokes if party else []
    return of_content(
        content,
        plate=party.plate if party else "",
        names=names,
        seal=Seal(
            id=report.pk, number=report.number, sealed_at=_local(report), digest=report.digest,
            previous=report.previous, token=report.token, sealed_by=names.get(report.member_id, ""),
        ),
        signed=Signed(
            how=(content["signed"] or {}).get("how", ""),
            name=party.name if party else "",
            strokes=tuple(tuple((point[0], point[1]) for point in line) for line in strokes),
            erased=party is None or party.erased_at is not None,
        ),
        addenda=tuple(lines),
    )  # fmt: skip


def _one(report: Report | None, report_id: int) -> Report:
    if report is None:
        raise NotFoundHere(f"There is no report {report_id} here.")
    return report.of or report


def for_studio(studio: Studio, report_id: int) -> ReportView:
    """A sealed report with its addenda; the key of an addendum leads to its report.

    Raises:
        NotFoundHere: not in this studio.
    """
    found = Report.objects.filter(studio=studio, pk=report_id).select_related("studio", "of__studio").first()
    report = _one(found, report_id)
    return _view(report, list(Report.objects.filter(of=report).select_related("studio").order_by("number")))


def _of_one(customer_ids: Iterable[int], path: str = "customer") -> Q:
    """Signed by one of these customers, or by a person who is erased since."""
    return Q(**{path: None}) | Q(**{f"{path}__in": list(customer_ids)})


def _kept(customer_ids: Sequence[int], report: Report) -> Keeper | None:
    """The keeping of one of these customers that holds the day of sealing. A sale that is recorded afterwards with an
    earlier day gives nobody the report that another keeper signed."""
    if ReportParty.objects.filter(report=report).exclude(_of_one(customer_ids)).exists():
        return None
    day = report.studio.day(report.sealed_at)
    rows = Keeper.objects.filter(vehicle_id=report.vehicle_id, customer_id__in=customer_ids, start__lte=day)
    found: Keeper | None = rows.filter(Q(end=None) | Q(end__gt=day)).first()
    return found


def for_customer(customer_ids: Iterable[int], report_id: int) -> tuple[ReportView, bool]:
    """A sealed report for who kept the vehicle when it was sealed, with the addenda of the time that they kept it, and
    whether they keep it still.

    Raises:
        NotFoundHere: no such report, or they did not keep the vehicle then.
    """
    found = Report.objects.filter(pk=report_id).select_related("studio", "of__studio").first()
    report = _one(found, report_id)
    kept = _kept(list(customer_ids), report)
    if kept is None:
        raise NotFoundHere(f"There is no report {report_id} here.")
    addenda = [
        row
        for row in Report.objects.filter(of=report).select_related("studio").order_by("number")
        if kept.end is None or row.studio.day(row.sealed_at) < kept.end
    ]
    return _view(report, addenda), kept.end is None


def draft_view(*, studio: Studio, inspection_id: int, at: datetime) -> tuple[Draft, ReportView]:
    """The report of an inspection as it would be sealed now.

    Raises:
        NotFoundHere, DomainError: as `sealing.draft`.
    """
    found = draft(studio=studio, inspection_id=inspection_id, at=at)
    return found, of_content(found.content, plate=found.plate, names=_names([found.content["inspection"]["member"]]))


def report_of(studio: Studio, inspection_id: int) -> int | None:
    """The key of an inspection's sealed report."""
    rows = Report.objects.filter(studio=studio, inspection_id=inspection_id, kind=ReportKind.REPORT)
    found: int | None = rows.values_list("pk", flat=True).first()
    return found


@dataclass(frozen=True, slots=True)
class InspectionLine:
    """One inspection of a vehicle with what was sealed of it. `report_id` None: nothing yet."""

    id: int
    on: date
    kind: str
    by: str
    findings: int
    readings: int
    report_id: int | None
    number: int | None
    addenda: tuple[int, ...]


def of_vehicle(studio: Studio, vehicle_id: int) -> tuple[Vehicle, tuple[InspectionLine, ...]]:
    """The studio's inspections of a vehicle, newest first, in a constant number of queries.

    Raises:
        NotFoundHere: the vehicle is not of this studio.
    """
    vehicle = one(Vehicle, studio, vehicle_id)
    rows = list(
        Inspection.objects.filter(vehicle=vehicle, by="studio")
        .select_related("member__user")
        .prefetch_related("findings", "readings", "reports")
        .order_by("-on", "-pk")[:MOST_INSPECTIONS]
    )
    lines = []
    for row in rows:
        sealed = [report for report in row.reports.all() if report.kind == ReportKind.REPORT]
        added = sorted(report.number for report in row.reports.all() if report.kind == ReportKind.ADDENDUM)
        lines.append(
            InspectionLine(
                id=row.pk, on=row.on, kind=row.get_kind_display(), by=str(row.member) if row.member else "",
                findings=len(row.findings.all()), readings=len(row.readings.all()),
                report_id=sealed[0].pk if sealed else None, number=sealed[0].number if sealed else None,
                addenda=tuple(added),
            )
        )  # fmt: skip
    return vehicle, tuple(lines)


@dataclass(frozen=True, slots=True)
class CustomerReport:
    id: int
    number: int
    sealed_on: date


def of_customer(customer_ids: Iterable[int], vehicle_id: int) -> tuple[CustomerReport, ...]:
    """The sealed reports of a vehicle from the time in which one of these customers kept it, newest first."""
    customer_ids = list(customer_ids)
    kept = list(Keeper.objects.filter(vehicle_id=vehicle_id, customer_id__in=customer_ids))
    if not kept:
        return ()
    reports = Report.objects.filter(vehicle_id=vehicle_id, kind=ReportKind.REPORT).select_related("studio")
    found = []
    for report in reports.filter(_of_one(customer_ids, "party__customer")).defer("content").order_by("-number"):
        day = report.studio.day(report.sealed_at)
        if any(row.start <= day and (row.end is None or day < row.end) for row in kept):
            found.append(CustomerReport(report.pk, report.number, day))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class PublicCheck:
    """What anybody with the link may know: no name, no plate, no finding's text."""

    number: int
    kind: str
    of: int | None
    studio: str
    sealed_at: datetime
    digest: str
    previous: str
    differences: tuple[str, ...]
    notes: tuple[str, ...]
    addenda: tuple[int, ...]

    @property
    def unchanged(self) -> bool:
        return not self.differences


def public_check(token: str) -> PublicCheck:
    """Check one report anew for its public page.

    Raises:
        NotFoundHere: no report has this token.
    """
    rows = Report.objects.select_related("studio", "inspection", "of")
    report = rows.filter(token=token).first() if 0 < len(token) <= 43 else None
    if report is None:
        raise NotFoundHere("No report has this link.")
    found = check_report(report)
    return PublicCheck(
        number=report.number, kind=report.kind, of=report.of.number if report.of else None, studio=report.studio.name,
        sealed_at=_local(report), digest=report.digest, previous=report.previous,
        differences=tuple(say(row.said) for row in found if isinstance(row, Difference)),
        notes=tuple(say(row.said) for row in found if not isinstance(row, Difference)),
        addenda=tuple(Report.objects.filter(of=report).order_by("number").values_list("number", flat=True)),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class FindingHit:
    """One finding of any inspection. `report_id` None: that inspection was not sealed."""

    on: date
    inspection: str
    what: str
    surface: str
    size_mm: float | None
    severity: int
    pre_existing: bool
    note: str
    by: str
    report_id: int | None
    number: int | None
    photos: tuple[UUID, ...]


@dataclass(frozen=True, slots=True)
class FindingSearch:
    """Was it there before? Findings of a vehicle, newest first; `panels` to choose from; `total` before the limit."""

    vehicle_id: int
    vehicle: str
    plate: str
    panels: tuple[tuple[str, str], ...]
    hits: tuple[FindingHit, ...]
    total: int


def findings(studio: Studio, vehicle_id: int, *, panel: str = "") -> FindingSearch:
    """Findings by panel and date over all inspections of a vehicle, in a constant number of queries.

    Raises:
        NotFoundHere: the vehicle is not of this studio.
    """
    vehicle = one(Vehicle, studio, vehicle_id)
    panels = tuple(
        (code, spoken(code)) for code in Surface.objects.filter(vehicle=vehicle).values_list("code", flat=True)
    )
    rows = Finding.objects.filter(inspection__vehicle=vehicle).select_related("inspection", "surface")
    if panel:
        rows = rows.filter(surface__code=panel)
    listed = list(rows.order_by("-inspection__on", "-pk")[:MOST_FINDINGS])
    sealed = {
        row.inspection_id: row
        for row in Report.objects.filter(
            kind=ReportKind.REPORT, inspection__in={row.inspection_id for row in listed}
        ).defer("content")
    }
    photos: dict[int, list[UUID]] = defaultdict(list)
    pictures = Photo.objects.filter(finding__in=[row.pk for row in listed]).order_by("added_at", "pk")
    for finding_id, uid in pictures.values_list("finding_id", "uid"):
        photos[finding_id].append(uid)
    hits = []
    for row in listed:
        report = sealed.get(row.inspection_id)
        hits.append(
            FindingHit(
                on=row.inspection.on, inspection=row.inspection.get_kind_display(), what=row.get_kind_display(),
                surface=spoken(row.surface.code) if row.surface else "", size_mm=row.size_mm, severity=row.severity,
                pre_existing=row.pre_existing, note=row.note, by=row.inspection.by,
                report_id=report.pk if report else None, number=report.number if report else None,
                photos=tuple(photos[row.pk]),
            )
        )  # fmt: skip
    return FindingSearch(
        vehicle_id=vehicle.pk, vehicle=vehicle.description, plate=vehicle.plate, panels=panels, hits=tuple(hits),
        total=rows.count(),
    )  # fmt: skip
