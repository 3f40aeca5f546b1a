"""See a mail before anybody gets it: rendered about a real reminder, visit or report, and sent to a member's own
address through the outbox's own transport. Nothing here counts as a reminder."""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction
from django.db.models import QuerySet

from lifecycle import journal
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import LIVE_DUE, MailTrial, Member, Message, Purpose, Reminder, Report, Studio, StudioRow, Visit
from lifecycle.reminders import letters, report_copy, visit_letters, wordings
from lifecycle.reminders.render import Rendered
from lifecycle.reminders.transport import CannotReach, Outcome, Postman, Result

MOST_SAMPLES: Final = 30
# Judgement: enough to get the words right, too few to use the house's mail for anything else.
TRIALS_AN_HOUR: Final = 10
TOKEN: Final = re.compile(r"/mail/(unsubscribe|choices)/[^/\s\"<>]+/")


@dataclass(frozen=True, slots=True)
class Sample:
    """A real thing that a kind of mail can be shown with."""

    id: int
    label: str


def samples(studio: Studio, kind: str) -> tuple[Sample, ...]:
    """The newest things of the studio that a mail of this kind could be about, in one query."""
    rows = list(_rows(studio, kind)[:MOST_SAMPLES])
    return tuple(Sample(row.pk, _label(row)) for row in rows)


def _rows(studio: Studio, kind: str) -> QuerySet[Reminder] | QuerySet[Visit] | QuerySet[Report]:
    if kind in Purpose.values:
        reminders: QuerySet[Reminder] = Reminder.objects.of(studio).filter(purpose=kind, due__state__in=LIVE_DUE)
        return reminders.select_related("due__vehicle", "vehicle", "customer__studio", "studio").order_by("-pk")
    if kind in ("report", "addendum"):
        reports: QuerySet[Report] = Report.objects.filter(studio=studio, of__isnull=kind == "report")
        return reports.select_related("studio", "vehicle", "of__party__customer__studio", "party__customer__studio") \
            .order_by("-pk")  # fmt: skip
    visits: QuerySet[Visit] = Visit.objects.of(studio).filter(customer__isnull=False, customer__erased_at=None)
    if kind == "visit_offered":
        visits = visits.exclude(offered=[])
    return visits.select_related("studio", "site", "vehicle", "customer__studio").order_by("-pk")


def _label(row: StudioRow) -> str:
    if isinstance(row, Reminder):
        return f"{row.vehicle}: {row.due.task.replace('_', ' ')}, {row.get_step_display()}"
    if isinstance(row, Visit):
        return f"{row.vehicle}: visit on {row.on}"
    return f"{row.vehicle}: report {row.number}" if isinstance(row, Report) else str(row)


def show(
    *, studio: Studio, kind: str, language: str, sample_id: int, draft: Mapping[str, str] | None = None, at: datetime
) -> Rendered:
    """Render one mail of a kind with words that need not be kept yet: the renderer of the outbox itself.

    Args:
        draft: part -> words; None for what holds now.

    Raises:
        NotFoundHere: the studio has no such thing to show it with.
        DomainError: the words may not be kept as they are; names the part.
    """
    voice = wordings.voice(studio, kind, language, draft=draft)
    row = _rows(studio, kind).filter(pk=sample_id).first()
    if row is None:
        raise NotFoundHere(f"There is nothing of number {sample_id} to show this mail with.")
    uid = uuid.uuid4()
    if isinstance(row, Reminder):
        return letters.preview(reminders=[row], uid=uid, at=at, voice=voice)
    if isinstance(row, Visit):
        if row.customer is None:
            raise NotFoundHere("This visit is nobody's.")
        return visit_letters.compose(row, row.customer, kind.removeprefix("visit_"), uid=uid, voice=voice)
    party = getattr(row.of or row, "party", None)
    if party is None or party.customer is None:
        raise DomainError("Whoever signed this report is no longer on record; choose another one.", field="sample")
    return report_copy.compose(row, party.customer, uid=uid, voice=voice)


def harmless(rendered: Rendered) -> Rendered:
    """The same mail with links that change nobody's choices, marked as a trial in its subject."""

    def cut(text: str) -> str:
        return TOKEN.sub(r"/mail/\1/trial/", text)

    return replace(
        rendered,
        subject=f"[Trial] {rendered.subject}"[:200],
        text=cut(rendered.text),
        html=cut(rendered.html),
        headers={name: cut(str(value)) for name, value in rendered.headers.items()},
    )


def send_trial(
    *,
    studio: Studio,
    kind: str,
    language: str,
    sample_id: int,
    draft: Mapping[str, str] | None = None,
    member_id: int,
    actor: str,
    at: datetime,
) -> MailTrial:
    """Send one mail of a kind to the member's own address now, and keep what became of it.

    It is on record before it is handed over, and handed over outside any transaction, as every mail is.

    Raises:
        NotFoundHere: as `show`, or nobody of that number works here.
        DomainError: as `show`, or too many in an hour.
    """
    member = Member.objects.of(studio).filter(pk=member_id, ended_at=None).select_related("user").first()
    if member is None:
        raise NotFoundHere(f"Member {member_id} does not work in this studio.")
    rendered = harmless(show(studio=studio, kind=kind, language=language, sample_id=sample_id, draft=draft, at=at))
    with transaction.atomic():
        recent = MailTrial.objects.of(studio).filter(member=member, at__gt=at - timedelta(hours=1)).count()
        if recent >= TRIALS_AN_HOUR:
            raise DomainError(
                f"{TRIALS_AN_HOUR} trials in an hour are enough; look at the preview, or come back later."
            )
        trial: MailTrial = MailTrial.objects.create(
            studio=studio, member=member, kind=kind, language=language, at=at, outcome=Outcome.UNKNOWN.value
        )
    headers = rendered.headers | {"X-Sheenward-Id": str(trial.uid)}
    message = Message(
        uid=trial.uid, studio=studio, to_email=member.user.email, from_email=rendered.from_email,
        subject=rendered.subject, text=rendered.text, html=rendered.html, headers=headers,
    )  # fmt: skip
    with Postman() as postman:
        try:
            postman.open()
            result = postman.hand_over(message)
        except CannotReach as error:
            result = Result(Outcome.OUTAGE, str(error))
    with transaction.atomic():
        trial.outcome, trial.error = result.outcome.value, result.error
        trial.save(update_fields=["outcome", "error"])
        journal.record(
            studio=studio, actor=actor, at=at, verb="mail tried", subject="mail trial", subject_id=trial.pk,
            kind=kind, language=language, outcome=trial.outcome,
        )  # fmt: skip
    return trial


@dataclass(frozen=True, slots=True)
class TrialRow:
    """One trial as a page shows it. `outcome`: accepted, or what went wrong, in `error`."""

    at: datetime
    by: str
    outcome: str
    error: str


def trials(studio: Studio, *, kind: str, language: str) -> tuple[TrialRow, ...]:
    """The last trials of a kind of mail, newest first, with who made them; one query."""
    rows = MailTrial.objects.of(studio).filter(kind=kind, language=language).select_related("member__user")
    return tuple(TrialRow(row.at, str(row.member), row.outcome, row.error) for row in rows[:5])
