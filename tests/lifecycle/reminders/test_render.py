"""What is written: words, headers against the standards, one renderer for preview and mail, the mail folder."""

from __future__ import annotations

import email
import email.policy
import re
from datetime import timedelta
from email.utils import parseaddr
from html.parser import HTMLParser
from uuid import UUID

import pytest
from django.core import mail

from lifecycle import models
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.reminders import mailfolder, reads, render
from lifecycle.reminders.outbox import deliver, enqueue
from lifecycle.reminders.planner import plan
from lifecycle.reminders.transport import build
from tests.factories import StudioFactory

from .conftest import NOW, OFFER, later, written

pytestmark = pytest.mark.django_db


@pytest.fixture
def raw(due):
    """The mail as it goes over the wire, parsed by Python's own parser."""
    models.Price.objects.create(studio=due.studio, task="retest", size="M", low=40, high=65)
    return email.message_from_bytes(build(written()).message().as_bytes(), policy=email.policy.default)


# ---- headers


def test_the_headers_of_rfc_5322(raw):
    assert not raw.defects
    assert not any(raw[name].defects for name in ("From", "To", "Reply-To", "Date", "Message-ID", "Subject"))
    assert [len(raw.get_all(name)) for name in ("From", "To", "Date", "Message-ID", "Subject")] == [1] * 5
    # section 3.6.4: msg-id = "<" id-left "@" id-right ">", both dot-atoms
    assert re.fullmatch(r"<[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*>", raw["Message-ID"])
    assert str(models.Message.objects.get().uid) in raw["Message-ID"]
    assert parseaddr(raw["From"])[0] == "Ossenmere Gloss Works"
    assert raw["To"] == "tove.halvarsen@example.org"
    assert raw["Reply-To"] == "desk@example.org"
    # section 3.3
    assert re.fullmatch(r"[A-Z][a-z]{2}, \d{1,2} [A-Z][a-z]{2} \d{4} \d\d:\d\d:\d\d [+-]\d{4}", raw["Date"])
    # section 2.1.1: no line over 998 characters
    assert max(len(line) for line in raw.as_bytes().splitlines()) <= 998


def test_the_headers_of_rfc_2369_and_8058(raw):
    # RFC 2369, section 2: a URL in angle brackets.
    link = re.fullmatch(r"<(https?://[^<>\s]+)>", raw["List-Unsubscribe"].strip()).group(1)
    # RFC 8058, section 3.1: exactly this value, beside a List-Unsubscribe that has an HTTP(S) URI.
    assert raw["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert link in raw.get_body(("plain",)).get_content()
    assert raw["Auto-Submitted"] == "auto-generated"  # RFC 3834, section 5
    assert raw["X-Sheenward-Id"] == str(models.Message.objects.get().uid)


def test_text_and_html_are_alternatives_and_say_the_same(raw):
    assert raw.get_content_type() == "multipart/alternative"
    assert [part.get_content_type() for part in raw.iter_parts()] == ["text/plain", "text/html"]
    text, html = (part.get_content() for part in raw.iter_parts())
    for said in (
        "Why now:",
        "If it waits:",
        "See for yourself, free:",
        "about 40 to 65 EUR",
        "Doing nothing now is fine",
    ):
        assert said in text
        assert said in html


def test_a_line_break_in_a_name_cannot_make_a_header(due):
    models.Vehicle.objects.update(description="grey estate\nBcc: all@example.org")
    models.Studio.objects.update(name='Gloss "Works"\r\nX-Evil: yes')
    message = build(written()).message()
    assert message["Bcc"] is None
    assert message["X-Evil"] is None


def test_names_outside_ascii_arrive_whole(due):
    models.Studio.objects.update(name="Øssenmere Glänzwerk")
    sent = email.message_from_bytes(build(written()).message().as_bytes(), policy=email.policy.default)
    assert parseaddr(sent["From"])[0] == "Øssenmere Glänzwerk"
    assert not sent["From"].defects


# ---- words


def test_the_text_is_wrapped_at_72_and_addresses_stay_whole(due):
    lines = written().text.splitlines()
    assert all(len(line) <= 72 or line.startswith("http") for line in lines)
    assert sum(line.startswith("http") for line in lines) == 3
    assert "\n\n\n" not in "\n".join(lines)


def test_time_is_a_range_and_nothing_now_is_said_until_when(due):
    message = written()
    assert "between now and 1 May 2026" in message.subject
    assert "Doing nothing now is fine until 1 May 2026." in message.text


def test_nothing_now_is_not_said_where_it_is_not_so(make_due):
    make_due(reason_code="event")
    make_due(contract_on=NOW.date() + timedelta(days=40))
    make_due(latest=NOW.date() + timedelta(days=6), ideal=NOW.date())
    make_due(words={"cause": "Bonnet: the water test counts after a wash.", "overdue_since": "2026-02-01"})
    text = written().text
    assert text.count("Why now:") == 4
    assert "Why now: Bonnet: the water test counts after a wash." in text
    assert "Doing nothing" not in text
    assert text.replace("\n", " ").count("Your contract names 11 April 2026") == 1


def test_no_forbidden_words(make_due):
    make_due(contract_on=NOW.date() + timedelta(days=40))
    message = written()
    for part in (message.subject, message.text, message.html):
        assert not re.search(
            r"\b(safe|warranty|void|guarantee)", re.sub(r"<style>.*?</style>", "", part, flags=re.S), re.I
        )
        words = re.sub(r"(?s)<style>.*?</style>|<[^>]*>|https?://\S+", "", part)
        assert "%" not in words


def test_the_follow_up_says_that_we_wrote_before(due):
    written()
    deliver(at=NOW)
    at = later(days=31)
    plan(at=at)
    enqueue(at=at)
    message = models.Message.objects.order_by("pk").last()
    assert message.reminder.step == "follow_up"
    assert "We wrote to you about this on 2 March 2026." in message.text


def test_without_price_or_phone_nothing_is_made_up(due):
    models.Studio.objects.update(phone="")
    text = written().text
    assert "about" not in text.split("-- ")[0].replace("about your vehicle", "")
    assert "call us" not in text


def test_what_costs_nothing_says_so(due):
    models.Price.objects.create(studio=due.studio, task="retest", size="M", low=0, high=0)
    text = written().text
    assert "free of charge" in text
    assert "0 EUR" not in text


def test_what_is_said_about_one_vehicle_stands_together_soonest_end_first(make_due):
    first, second = make_due(), make_due(latest=NOW.date() + timedelta(days=30))
    make_due(vehicle=first.vehicle, task="inspection", latest=NOW.date() + timedelta(days=25))
    text = written().text
    places = [text.index(word) for word in (f"({first.vehicle.plate})", "Inspection,", f"({second.vehicle.plate})")]
    assert places == sorted(places)
    assert text.index("Inspection,") < text.index("Retest,")
    assert text.count("/my/vehicle/") == 2


def test_the_language_of_the_customer_is_used_and_given_back(due, person, monkeypatch):
    from django.utils import translation

    seen = []
    plain = render.render_to_string
    monkeypatch.setattr(
        render, "render_to_string", lambda *a, **k: seen.append(translation.get_language()) or plain(*a, **k)
    )
    models.Customer.objects.filter(pk=person.pk).update(language="de")
    message = written()
    assert seen == ["de", "de"]
    assert '<html lang="de">' in message.html
    assert translation.get_language() == "en"


class Html(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.open, self.seen, self.links = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.seen.append(tag)
        if tag == "a":
            self.links.append(dict(attrs)["href"])
        if tag not in ("meta", "br", "img", "link"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def test_the_html_is_well_formed_without_tables_scripts_pictures_or_trackers(due):
    page = Html(written().html)
    assert page.open == []
    assert not {"table", "script", "img", "link", "iframe", "form"} & set(page.seen)
    assert page.seen.count("h1") == 1
    assert all(link.startswith("http://127.0.0.1:8000/") for link in page.links)
    assert len(page.links) == 3


def test_what_people_typed_is_escaped(due):
    models.CareDue.objects.update(why="<script>alert(1)</script> & more")
    message = written()
    assert "<script>" not in message.html
    assert "<script>alert(1)</script> & more" in message.text


def test_a_mail_is_about_one_person_and_one_purpose(make_due):
    make_due()
    make_due(task=OFFER)
    plan(at=NOW)
    rows = list(models.Reminder.objects.filter(step="first").select_related("due", "vehicle", "customer__studio"))
    for several in (rows, []):
        with pytest.raises(ValueError, match="one person and one purpose"):
            render.compose(reminders=several, prices={}, uid=UUID(int=1), at=NOW)


# ---- the preview is the mail


def _without_ids(text):
    return re.sub(r"unsubscribe/[^/\s\"<>]+/|[0-9a-f]{8}-[0-9a-f-]{27}", "…", text)


def test_the_preview_and_the_mail_are_the_same(due, studio):
    models.Price.objects.create(studio=studio, task="retest", size="M", low=40, high=65)
    plan(at=NOW)
    row = models.Reminder.objects.get(step="first")
    seen = reads.preview(studio, reminder_id=row.pk, at=NOW)
    enqueue(at=NOW)
    sent = reads.mail(studio, message_id=models.Message.objects.get().pk)
    assert (seen.subject, seen.from_email, seen.to_email) == (sent.subject, sent.from_email, sent.to_email)
    assert _without_ids(seen.text) == _without_ids(sent.text)
    assert _without_ids(seen.html) == _without_ids(sent.html)
    assert {name for name, _ in seen.headers} == {name for name, _ in sent.headers}
    with pytest.raises(DomainError, match="written"):
        reads.preview(studio, reminder_id=row.pk, at=NOW)


def test_another_studio_sees_neither(due):
    message = written()
    other = StudioFactory()
    with pytest.raises(NotFoundHere):
        reads.mail(other, message_id=message.pk)
    with pytest.raises(NotFoundHere):
        reads.preview(other, reminder_id=message.reminder_id, at=NOW)


# ---- the mail folder


@pytest.fixture
def folder(settings, tmp_path):
    settings.EMAIL_BACKEND = "lifecycle.reminders.mailfolder.EmailBackend"
    settings.MAIL_FOLDER = tmp_path / "mail"
    return settings.MAIL_FOLDER


def test_each_mail_is_one_whole_file_named_by_date_and_id(due, folder):
    message = written()
    assert deliver(at=NOW)["accepted"] == 1
    (file,) = folder.iterdir()
    assert re.fullmatch(rf"\d{{8}}T\d{{6}}Z-{message.uid}\.eml", file.name)
    kept = email.message_from_bytes(file.read_bytes(), policy=email.policy.default)
    assert kept["Subject"] == message.subject
    assert kept.get_body(("plain",)).get_content().replace("\r\n", "\n") == message.text


def test_a_second_mail_with_the_same_name_stands_beside_the_first(due, folder):
    once = build(written())
    once.extra_headers["Date"] = "Mon, 02 Mar 2026 10:00:00 +0000"
    assert mailfolder.EmailBackend().send_messages([once, once]) == 2
    uid = once.metadata["uid"]
    names = ["20260302T100000Z-" + uid + ending for ending in ("-2.eml", ".eml")]
    assert sorted(file.name for file in folder.iterdir()) == sorted(names)


def test_a_folder_that_cannot_be_written_is_a_temporary_error_that_says_what(due, folder):
    folder.write_text("a file stands in the way")
    written()
    assert deliver(at=NOW)["retry"] == 1
    message = models.Message.objects.get()
    assert str(folder) in message.error
    assert "may write to" in message.error


def test_other_mails_are_kept_too(folder):
    mail.send_mail("Your code", "123456", "care@example.org", ["tove.halvarsen@example.org"])
    (file,) = folder.iterdir()
    assert file.suffix == ".eml"


# ---- reads


def test_lists_are_scoped_and_show_the_reasons(due, studio):
    plan(at=NOW)
    page = reads.reminders(studio)
    assert [(row.state, row.reason_code) for row in page.rows] == [
        ("planned", "window_open"),
    ]
    enqueue(at=NOW)
    plan(at=NOW)
    (line,) = reads.outbox(studio).rows
    assert (line.state, line.to_email, line.reminders) == ("ready", "tove.halvarsen@example.org", 1)
    assert reads.counts(studio).messages == (("ready", "ready", 1),)
    assert reads.counts(studio).waiting == (("first_comes_first", 1),)
    other = StudioFactory()
    assert (reads.outbox(other).total, reads.reminders(other).total) == (0, 0)


def test_pages_are_bounded(due, studio):
    written()
    assert reads.outbox(studio, page=99, size=10**6).number == 1
    assert reads.outbox(studio, page=-1, size=-5).pages == 1
    assert reads.outbox(studio, state="nonsense").total == 0


@pytest.mark.parametrize("what", ["outbox", "reminders", "counts"])
def test_thirty_rows_need_as_many_queries_as_one(make_due, studio, django_assert_num_queries, what):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from tests.factories import ConsentFactory, CustomerFactory

    def one_more():
        someone = CustomerFactory(studio=studio)
        ConsentFactory(customer=someone)
        make_due(keeper=someone)

    one_more()
    written()
    with CaptureQueriesContext(connection) as seen:
        getattr(reads, what)(studio)
    for _ in range(29):
        one_more()
    written()
    with django_assert_num_queries(len(seen)):
        getattr(reads, what)(studio)
