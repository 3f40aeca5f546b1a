"""The monthly letter's way: a row for each owner in the first week of a month, then a mail, its outcome written down.

It is no reminder to a customer: it goes to the studio's own owners, who switch it off on its page. A row is unique per
owner and month, so running the step again writes to nobody twice. A hand-over whose outcome nobody knows is
"unconfirmed" and is not sent again: a letter missed does less harm than one that comes twice.

| state | limit | what happens then |
|---|---|---|
| ready, waiting to try again | the end of its month | stopped: too old to be true |
| handing over | its lease of ten minutes | unconfirmed |
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Final

import structlog
from django.core.mail import EmailMultiAlternatives
from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse

from lifecycle import journal
from lifecycle.errors import DomainError
from lifecycle.models import LetterState, Member, OwnerLetter, Role, Studio
from lifecycle.monthly.letter import Letter, codec, compose
from lifecycle.monthly.pdf import make_pdf
from lifecycle.reminders.house import absolute
from lifecycle.reminders.render import one_line, plain_headers, sender, wrap
from lifecycle.reminders.transport import CannotReach, Outcome, Postman

log = structlog.get_logger("sheenward.monthly")

FIRST_DAYS: Final = 7  # a studio that begins later in a month gets its first letter with the next
LEASE: Final = timedelta(minutes=10)
TRY_AGAIN: Final = timedelta(hours=2)
MOST_TRIES: Final = 12
WAITING: Final = (LetterState.READY, LetterState.RETRY)
AFTER: Final = {
    Outcome.ACCEPTED: LetterState.ACCEPTED, Outcome.TEMPORARY: LetterState.RETRY, Outcome.OUTAGE: LetterState.RETRY,
    Outcome.PERMANENT: LetterState.FAILED, Outcome.UNKNOWN: LetterState.UNCONFIRMED,
}  # fmt: skip


def send(*, at: datetime) -> Mapping[str, int]:
    """The cycle's step: write the letters of this month, hand over what waits, resolve what hangs.

    Returns:
        Counts: written, and the states that letters went to.
    """
    counts: Counter[str] = Counter(written=0)
    for studio in Studio.objects.order_by("pk"):
        if studio.day(at).day <= FIRST_DAYS:
            counts["written"] += _write(studio, at)
    counts.update(_resolve(at))
    counts.update(_deliver(at))
    return dict(counts)


def _owners(studio: Studio, month: date) -> list[Member]:
    rows = Member.objects.of(studio).filter(role=Role.OWNER, ended_at=None, monthly_letter=True)
    return list(rows.exclude(letters__month=month).order_by("pk"))


def _write(studio: Studio, at: datetime) -> int:
    """Letters to the owners who have none of this month yet."""
    today = studio.day(at)
    owners = _owners(studio, today.replace(day=1))
    letter = compose(studio, today=today) if owners else None
    if letter is None:
        return 0
    written = 0
    with transaction.atomic():
        for member in owners:
            row, made = OwnerLetter.objects.get_or_create(
                member=member, month=letter.month,
                defaults={
                    "studio": studio, "facts": codec().dump_python(letter, mode="json"), "written_at": at,
                    "state_at": at,
                },
            )  # fmt: skip
            if made:
                written += 1
                journal.record(
                    studio=studio, actor="cycle", at=at, verb="monthly letter written", subject="letter",
                    subject_id=row.pk, member=member.pk, month=letter.month,
                )  # fmt: skip
    return written


def _resolve(at: datetime) -> Counter[str]:
    """What hangs: a deliverer that died, a letter whose month is over."""
    dead = OwnerLetter.objects.filter(state=LetterState.HANDING_OVER, lease_until__lte=at)
    gone = dead.update(
        state=LetterState.UNCONFIRMED, state_at=at, lease_until=None, error="Its deliverer stopped; nobody knows."
    )  # fmt: skip
    old = OwnerLetter.objects.filter(state__in=WAITING, month__lt=(at - timedelta(days=2)).date().replace(day=1))
    stopped = old.update(state=LetterState.STOPPED, state_at=at, error="Its month was over before it could be sent.")
    return Counter({str(LetterState.UNCONFIRMED): gone, str(LetterState.STOPPED): stopped})


def _deliver(at: datetime) -> Counter[str]:
    counts: Counter[str] = Counter()
    ready = OwnerLetter.objects.filter(state=LetterState.READY)
    again = OwnerLetter.objects.filter(state=LetterState.RETRY, next_try_at__lte=at)
    rows = list((ready | again).select_related("studio", "member__user").order_by("pk")[:100])
    if not rows:
        return counts
    with Postman() as postman:
        for row in rows:
            counts[_hand_over(row, postman, at)] += 1
    return counts


def _hand_over(row: OwnerLetter, postman: Postman, at: datetime) -> str:
    """Claim by compare-and-set, send outside of the transaction, settle by a small write."""
    member = row.member
    if member.ended_at is not None or not member.monthly_letter or member.role != Role.OWNER:
        _settle(row, LetterState.STOPPED, at, "Its owner does not want it any more.", was=WAITING)
        return str(LetterState.STOPPED)
    mine = OwnerLetter.objects.filter(pk=row.pk, state__in=WAITING).update(
        state=LetterState.HANDING_OVER, state_at=at, lease_until=at + LEASE
    )  # fmt: skip
    if not mine:
        return "lost"
    try:
        postman.open()
    except CannotReach as error:
        _settle(row, LetterState.RETRY, at, str(error))
        return str(LetterState.RETRY)
    try:
        mail = mail_of(row)
    except Exception as error:
        log.exception("letter could not be made", letter=row.pk)
        _settle(row, LetterState.FAILED, at, f"The mail could not be made: {type(error).__name__}")
        return str(LetterState.FAILED)
    result = postman.hand_over_mail(mail)
    state = AFTER[result.outcome]
    if state == LetterState.RETRY and row.attempts + 1 >= MOST_TRIES:
        state = LetterState.FAILED
    _settle(row, state, at, result.error)
    return str(state)


def _settle(
    row: OwnerLetter,
    state: LetterState,
    at: datetime,
    error: str,
    *,
    was: tuple[str, ...] = (LetterState.HANDING_OVER,),
) -> None:
    with transaction.atomic():
        done = OwnerLetter.objects.filter(pk=row.pk, state__in=was).update(
            state=state, state_at=at, lease_until=None, error=error[:500], attempts=row.attempts + 1,
            next_try_at=at + TRY_AGAIN if state == LetterState.RETRY else None,
        )  # fmt: skip
        if done:
            journal.record(
                studio=row.studio, actor="cycle", at=at, verb=f"monthly letter {LetterState(state).label}"[:60],
                subject="letter", subject_id=row.pk,
            )  # fmt: skip


def letter_of(row: OwnerLetter) -> Letter:
    """The letter as it was frozen."""
    return codec().validate_python(row.facts)


def words_of(letter: Letter, *, name: str) -> dict[str, object]:
    """What the mail's templates are filled with."""
    query = f"?site={letter.site}" if letter.site and letter.page == "outlook" else ""
    return {
        "letter": letter, "name": name, "subject": one_line(letter.title)[:150], "language": "en",
        "url": absolute(reverse("studio:outlook")), "letter_url": absolute(reverse("studio:letter")),
        "action_url": absolute(reverse(f"studio:{letter.page}") + query),
    }  # fmt: skip


def mail_of(row: OwnerLetter) -> EmailMultiAlternatives:
    """The letter as a mail: plain text, HTML, and the page as a PDF."""
    letter = letter_of(row)
    words = words_of(letter, name=str(row.member))
    mail = EmailMultiAlternatives(
        subject=str(words["subject"]), body=wrap(render_to_string("mail/monthly.txt", words)),
        from_email=sender(row.studio), to=[row.member.user.email],
        headers=plain_headers(uid=row.uid, studio=row.studio),
    )  # fmt: skip
    mail.attach_alternative(render_to_string("mail/monthly.html", words), "text/html")
    mail.attach(f"outlook-{letter.month:%Y-%m}.pdf", make_pdf(letter), "application/pdf")
    return mail


def choose(*, studio: Studio, member_id: int, wanted: bool, actor: str, at: datetime) -> Member:
    """Switch the letter of one owner on or off.

    Raises:
        DomainError: no owner of this studio.
    """
    with transaction.atomic():
        member: Member | None = Member.objects.of(studio).filter(pk=member_id, role=Role.OWNER, ended_at=None).first()
        if member is None:
            raise DomainError("The monthly letter goes to owners alone.")
        if member.monthly_letter != wanted:
            Member.objects.filter(pk=member.pk).update(monthly_letter=wanted)
            member.monthly_letter = wanted
            journal.record(
                studio=studio, actor=actor, at=at, verb=f"monthly letter switched {'on' if wanted else 'off'}",
                subject="member", subject_id=member.pk,
            )  # fmt: skip
    return member
