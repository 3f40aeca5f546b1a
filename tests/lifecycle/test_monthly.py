"""The owner's monthly letter: what it says, once a month, a row before it is a mail, and switched off."""

from __future__ import annotations

import smtplib
from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail

from lifecycle.errors import DomainError
from lifecycle.models import JournalEntry, LetterState, OwnerLetter, Price
from lifecycle.monthly import letter_reads, post
from lifecycle.monthly.letter import compose
from lifecycle.monthly.pdf import make_pdf
from lifecycle.outlook.prepared import prepare_studio
from tests import people
from tests.factories import NOW, TODAY, CareDueFactory, SiteFactory, StudioFactory, VehicleFactory

pytestmark = pytest.mark.django_db
LATE = datetime(2026, 3, 20, 9, 0, tzinfo=UTC)


@pytest.fixture
def owner():
    """The owner of a studio with a window and a prepared outlook; NOW is the second of the month."""
    site = SiteFactory(name="Skarholt Sound")
    Price.objects.create(studio=site.studio, task="recoat", size="M", low=500, high=700)
    for _ in range(3):
        CareDueFactory(vehicle=VehicleFactory(site=site), task="recoat")
    prepare_studio(studio=site.studio, actor="cycle", at=NOW)
    return people.owner(site.studio)


def the_row() -> OwnerLetter:
    return OwnerLetter.objects.get()


def test_the_letter_goes_once_with_text_html_and_a_page_as_pdf(owner):
    assert post.send(at=NOW) == {"written": 1, "unconfirmed": 0, "stopped": 0, "accepted": 1}
    assert post.send(at=NOW + timedelta(hours=1))["written"] == 0
    (sent,) = mail.outbox
    assert sent.to == [owner.user.email]
    assert sent.subject == "March 2026 at Ossenmere Gloss Works"
    for words in ("WHAT IS COMING", "ARE WE RIGHT", "CAN WE DO THE WORK", "ONE SUGGESTION", "/studio/outlook/letter/"):
        assert words in sent.body
    assert max(len(line) for line in sent.body.splitlines() if "://" not in line) <= 72
    (html,) = [part.content for part in sent.alternatives]
    assert "March 2026" in html
    ((name, content, kind),) = sent.attachments
    assert (name, kind) == ("outlook-2026-03.pdf", "application/pdf")
    assert content.startswith(b"%PDF")
    assert sent.extra_headers["Auto-Submitted"] == "auto-generated"
    assert the_row().state == LetterState.ACCEPTED
    verbs = JournalEntry.objects.filter(subject="letter").values_list("verb", flat=True)
    assert list(verbs) == ["monthly letter written", "monthly letter accepted by the provider"]
    assert not any(owner.user.email in str(entry.data) for entry in JournalEntry.objects.all())


def test_the_next_month_brings_the_next_one(owner):
    post.send(at=NOW)
    post.send(at=NOW + timedelta(days=31))
    assert list(OwnerLetter.objects.order_by("month").values_list("month__month", flat=True)) == [3, 4]


def test_it_says_what_the_outlook_says(owner):
    letter = compose(owner.studio, today=TODAY)
    assert letter is not None
    assert [row.month for row in letter.months][:2] == ["March 2026", "April 2026"]
    assert len(letter.months) == 6
    assert any("cannot tell yet" in line for line in letter.right)
    assert letter.work
    assert letter.action
    assert make_pdf(letter) == make_pdf(letter)


def test_the_pdf_is_one_page(owner):
    import pypdf

    letter = compose(owner.studio, today=TODAY)
    from io import BytesIO

    read = pypdf.PdfReader(BytesIO(make_pdf(letter)))
    assert len(read.pages) == 1
    assert "What is coming" in read.pages[0].extract_text()


def test_nothing_is_written_late_in_a_month_or_before_an_outlook(owner):
    assert post.send(at=LATE)["written"] == 0
    bare = people.owner(StudioFactory())
    assert compose(bare.studio, today=TODAY) is None
    post.send(at=NOW)
    assert the_row().member == owner


def test_owners_alone_and_only_who_wants_it(owner):
    people.desk(owner.studio)
    people.technician(owner.studio)
    post.choose(studio=owner.studio, member_id=owner.pk, wanted=False, actor=f"member:{owner.pk}", at=NOW)
    assert post.send(at=NOW)["written"] == 0
    post.choose(studio=owner.studio, member_id=owner.pk, wanted=True, actor=f"member:{owner.pk}", at=NOW)
    assert post.send(at=NOW)["written"] == 1
    assert the_row().member == owner
    with pytest.raises(DomainError, match="owners alone"):
        post.choose(studio=owner.studio, member_id=people.desk(owner.studio).pk, wanted=True, actor="x", at=NOW)
    with pytest.raises(DomainError, match="owners alone"):
        post.choose(studio=StudioFactory(), member_id=owner.pk, wanted=False, actor="x", at=NOW)


def failing(monkeypatch, error):
    def send(self, mails):
        raise error

    monkeypatch.setattr("django.core.mail.backends.locmem.EmailBackend.send_messages", send)


def test_a_temporary_error_is_tried_again_and_then_goes(owner, monkeypatch):
    with monkeypatch.context() as patch:
        failing(patch, smtplib.SMTPDataError(451, b"later"))
        post.send(at=NOW)
    assert the_row().state == LetterState.RETRY
    assert "451" in the_row().error
    post.send(at=NOW + timedelta(minutes=30))
    assert the_row().state == LetterState.RETRY
    post.send(at=NOW + timedelta(hours=3))
    assert the_row().state == LetterState.ACCEPTED
    assert len(mail.outbox) == 1


def test_what_is_refused_for_good_is_shown_and_an_unknown_outcome_is_not_sent_again(owner, monkeypatch):
    with monkeypatch.context() as patch:
        failing(patch, smtplib.SMTPDataError(550, b"no"))
        post.send(at=NOW)
    assert the_row().state == LetterState.FAILED
    OwnerLetter.objects.all().delete()
    with monkeypatch.context() as patch:
        failing(patch, RuntimeError("the line went dead"))
        post.send(at=NOW)
    assert the_row().state == LetterState.UNCONFIRMED
    post.send(at=NOW + timedelta(hours=5))
    assert mail.outbox == []
    (shown,) = letter_reads.sent(owner.studio, member_id=owner.pk)
    assert shown.state == "unconfirmed"


def test_what_hangs_is_resolved(owner):
    post.send(at=NOW)
    claimed = {"state": LetterState.HANDING_OVER, "lease_until": NOW + timedelta(minutes=10)}
    OwnerLetter.objects.update(**claimed)
    post.send(at=NOW + timedelta(minutes=9))
    assert the_row().state == LetterState.HANDING_OVER
    post.send(at=NOW + timedelta(minutes=11))
    assert the_row().state == LetterState.UNCONFIRMED
    OwnerLetter.objects.update(state=LetterState.RETRY, next_try_at=NOW + timedelta(days=90), lease_until=None)
    post.send(at=NOW + timedelta(days=40))
    assert OwnerLetter.objects.get(month__month=3).state == LetterState.STOPPED


def test_switched_off_before_it_left_it_stays(owner, monkeypatch):
    with monkeypatch.context() as patch:
        failing(patch, smtplib.SMTPDataError(451, b"later"))
        post.send(at=NOW)
    post.choose(studio=owner.studio, member_id=owner.pk, wanted=False, actor="member:1", at=NOW)
    post.send(at=NOW + timedelta(hours=3))
    assert the_row().state == LetterState.STOPPED
    assert mail.outbox == []
