"""The owner's one action on a full or empty week: plan the proposals' days anew, and say what moved and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.site_plan import plan_days
from lifecycle.care.worklist import task_title
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import JournalEntry, ProposalState, Site, Studio, VisitProposal

VERB = "invitations spread"


@dataclass(frozen=True, slots=True)
class Moved:
    """One proposal whose planned day changed; a day is None where there was, or is, none."""

    vehicle_id: int
    vehicle: str
    plate: str
    tasks: tuple[str, ...]
    before: date | None
    after: date | None
    why: str


@dataclass(frozen=True, slots=True)
class Spreading:
    """What one spreading did."""

    site_id: int
    site: str
    at: datetime
    stayed: int
    nowhere: int
    moved: tuple[Moved, ...]


def spread_invitations(*, studio: Studio, site_id: int, actor: str, at: datetime) -> JournalEntry:
    """Plan the days of a site's proposals anew, without regard to the days planned before.

    The cycle plans them, too, but leaves a planned day where it is unless much speaks against it. Visits that stand are
    not moved, and no window is left.

    Returns:
        The journal entry, which `spreading` reads.

    Raises:
        NotFoundHere: the site is not of this studio.
        DomainError: no visit is proposed there now, or the days could not be planned.
    """
    site = one(Site, studio, site_id)
    with transaction.atomic():
        Site.objects.select_for_update().get(pk=site.pk)
        before = _days(site)
        if not before:
            raise DomainError(f"{site.name} has no proposed visit now, so there is nobody to invite to another day.")
        counts = plan_days(at=at, site_ids=[site.pk], anew=True)
        if counts.get("failed"):
            raise DomainError(f"The days of {site.name} could not be planned; look at its opening hours.")
        after = _days(site)
        moved = [
            {"proposal": pk, "from": before.get(pk), "to": day} for pk, day in after.items() if before.get(pk) != day
        ]
        return journal.record(
            studio=studio, actor=actor, at=at, verb=VERB, subject="site", subject_id=site.pk, moved=moved,
            stayed=len(after) - len(moved), nowhere=sum(day is None for day in after.values()),
        )  # fmt: skip


def _days(site: Site) -> Mapping[int, date | None]:
    rows = VisitProposal.objects.filter(site=site, state=ProposalState.PROPOSED).order_by("pk")
    return dict(rows.values_list("pk", "planned_on"))


def spreading(studio: Studio, entry_id: int) -> Spreading:
    """What one spreading moved, and why; three queries.

    Raises:
        NotFoundHere: no such spreading in this studio.
    """
    entry = JournalEntry.objects.of(studio).filter(pk=entry_id, verb=VERB).first()
    if entry is None:
        raise NotFoundHere("There is no such spreading of invitations in this studio.")
    site = one(Site, studio, entry.subject_id)
    told = {row["proposal"]: row for row in entry.data["moved"]}
    found = VisitProposal.objects.of(studio).filter(pk__in=list(told)).select_related("vehicle")
    moved = [
        Moved(
            vehicle_id=row.vehicle_id, vehicle=row.vehicle.description, plate=row.vehicle.plate,
            tasks=tuple(task_title(task) for task in row.tasks), before=_day(told[row.pk]["from"]),
            after=_day(told[row.pk]["to"]),
            why=row.planned_why if row.planned_on == _day(told[row.pk]["to"]) else "It has been planned again since.",
        )
        for row in found
    ]  # fmt: skip
    moved.sort(key=lambda row: (row.after is None, row.after or date.max, row.vehicle_id))
    return Spreading(site.pk, site.name, entry.at, entry.data["stayed"], entry.data["nowhere"], tuple(moved))


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None
