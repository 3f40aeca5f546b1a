"""Every kind of mail, in both languages: read by Python's own parser, headers by the standards, text without HTML."""

from __future__ import annotations

import email
import email.policy
import re
from email.headerregistry import Address
from itertools import pairwise

import pytest

from lifecycle import models
from lifecycle.reminders.transport import build
from tests.english import english_in
from tests.factories import NOW
from tests.mails import LANGUAGES, UID, Mails, in_language

pytestmark = pytest.mark.django_db
LINK = re.compile(r'https?://[^\s"<>]+')


@pytest.fixture(params=LANGUAGES)
def mails(request):
    return in_language(Mails(), request.param), request.param


def on_the_wire(person, rendered):
    """The bytes as the transport hands them over, parsed again."""
    message = models.Message(
        uid=UID, studio=person.studio, customer=person, purpose="service", to_email=person.email, state_at=NOW,
        written_at=NOW, subject=rendered.subject, text=rendered.text, html=rendered.html, headers=rendered.headers,
        from_email=rendered.from_email,
    )  # fmt: skip
    return email.message_from_bytes(build(message).message().as_bytes(), policy=email.policy.default)


def links(text):
    return {link.rstrip(".") for link in LINK.findall(text)}


def test_every_kind_is_parsed_without_a_defect_and_has_the_headers_of_the_standards(mails):
    mails, language = mails
    for kind in mails.every:
        raw = on_the_wire(mails.keeper, kind.write())
        parts = [raw, *raw.walk()]
        assert not [defect for part in parts for defect in part.defects], kind.name
        # RFC 5322, 3.6: From, Date and Message-ID once; here also To and Subject.
        for name in ("From", "To", "Date", "Subject", "Message-ID"):
            (value,) = raw.get_all(name)
            assert not value.defects, (kind.name, name)
        assert raw["From"].addresses[0].addr_spec == Address(addr_spec=raw["From"].addresses[0].addr_spec).addr_spec
        assert re.fullmatch(r"<[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*>", raw["Message-ID"])
        # RFC 5322, 2.1.1: at most 998 characters a line.
        assert max(map(len, raw.as_bytes().splitlines())) <= 998, kind.name
        assert raw["Auto-Submitted"] == "auto-generated"  # RFC 3834, 5
        told = raw["List-Unsubscribe"]
        if kind.asked_for:
            assert told is None, kind.name
            assert raw["List-Unsubscribe-Post"] is None, kind.name
        else:
            # RFC 2369, 2: URLs in angle brackets; RFC 8058, 3.1: an HTTPS or HTTP one, and exactly this value.
            (link,) = re.findall(r"<(https?://[^<>\s]+)>", told)
            assert raw["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
            assert link in raw.get_body(("plain",)).get_content().replace("\r\n", "\n"), kind.name
        assert f'<html lang="{language}">' in raw.get_body(("html",)).get_content()


def test_the_text_reads_well_without_its_html(mails):
    mails, _ = mails
    for kind in mails.every:
        mail = kind.write()
        lines = mail.text.splitlines()
        assert links(mail.text) == links(mail.html.replace("&amp;", "&")), kind.name
        assert all(len(line) <= 72 or line.startswith("http") for line in lines), kind.name
        assert "\n\n\n" not in mail.text, kind.name
        assert not re.search(r"[<>{}]|&\w+;|None", LINK.sub("", mail.text)), kind.name
        # An address stands alone in its line, and the line before says what is there.
        for number, line in enumerate(lines):
            if "http" in line:
                assert line.startswith("http"), (kind.name, line)
                assert lines[number - 1].endswith(":"), (kind.name, lines[number - 1 : number + 1])
        # No orphan: one word alone in a line under a full one.
        for before, line in pairwise(lines):
            alone = len(line.split()) == 1 and not line.startswith(("http", "-- ")) and len(line) < 60
            assert not (alone and len(before) > 50), (kind.name, before, line)
        # One line with the mark of a signature (RFC 3676, 4.3), and the reason for the mail under it.
        assert lines.count("-- ") == 1, kind.name
        assert lines[lines.index("-- ") + 1].strip(), kind.name


TYPED = ("The door was measured again", "The warm bay is taken that day", "Sheenward", "black large SUV")


def test_no_german_mail_keeps_an_english_word_or_a_code():
    """Subject, text and HTML of every kind; what people typed apart."""
    mails = in_language(Mails(), "de")
    studio, vehicle = mails.world.studio, mails.world.vehicle
    names = (*TYPED, studio.name, vehicle.site.name, vehicle.description, vehicle.plate, mails.keeper.name)
    wrong = {}
    for kind in mails.every:
        mail = kind.write()
        plain = " ".join(mail.text.split())
        shown = re.sub(r"<style>.*?</style>|<[^>]+>", " ", mail.html, flags=re.DOTALL)
        for part in (mail.subject, plain, " ".join(shown.split())):
            if left := english_in(part, [*names, *(" ".join(name.split()) for name in names)]):
                wrong.setdefault(kind.name, []).append((left, part))
    assert wrong == {}
    # The reason is the vehicle's own, not only that of its kind.
    said = " ".join(mails.kinds[0].write().text.split())
    assert "nach unserer Schätzung hat sich so viel festsitzender Schmutz angesammelt" in said


def test_a_reason_that_no_phrase_knows_is_said_by_its_kind():
    mails = in_language(Mails(), "de")
    words = {"cause": "Bonnet: the moon rose over it."}
    said = " ".join(mails.write(mails.reminder(words=words)).text.split())
    assert "Motorhaube: Festsitzender Schmutz verdeckt" in said
    assert english_in("Dach: the salt season endet; bird_dropping") == ["the", "bird_dropping"]
