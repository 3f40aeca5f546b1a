"""The mail as it goes over the wire, and what an error of its hand-over means."""

from __future__ import annotations

import re
import smtplib

import pytest

from lifecycle.reminders import mime, transport

from .conftest import written

pytestmark = pytest.mark.django_db


LONG_SUBJECT = "Pflege für Ihren Kombi – zwischen 3. und 17. Mai, wenn es trocken und über zehn Grad warm bleibt"
CHANGES = {
    "as it is": {},
    "a long subject with umlauts": {"subject": LONG_SUBJECT},
    "a long plain subject": {"subject": "word " * 30},
    "odd headers": {"headers": {"X-Long": "word " * 40, "X-Short": "plain", "X-Umlaut": "Grüße", "X-Word": "w" * 90}},
    "a header of just the line": {"headers": {f"X-{n}": "v" * (n - 6) for n in range(74, 84)}},
    "a text with umlauts": {"text": "Grüße\r\nvon uns\rhier\n.\n"},
    "a line too long to be sent as it is": {"text": "long " * 300},
    "no text": {"text": ""},
    "an address in another alphabet": {"to_email": "post@grüße.example.org"},
    "a sender with a comma": {"from_email": '"Ossenmere, Gloss" <care@example.org>'},
    "a sender with umlauts": {"from_email": "Glänzend <care@example.org>"},
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_a_mail_is_written_as_django_writes_it(due, change):
    """The quick way leaves no other byte than Django's own, but for the boundary."""
    message = written()
    for name, value in change.items():
        setattr(message, name, message.headers | value if name == "headers" else value)
    theirs = transport.build(message).message()
    theirs.set_boundary("boundary")
    ours = mime.as_bytes(message)
    drawn = re.search(rb'boundary="([^"]+)"', ours)[1]
    same = ours.replace(drawn, b"boundary").replace(b';\r\n boundary="', b'; boundary="')
    dated = re.compile(rb"\r\nDate: [^\r]+")
    assert dated.sub(b"", same) == dated.sub(b"", theirs.as_bytes(linesep="\r\n"))


def test_a_header_with_a_line_end_is_no_mail(due):
    message = written()
    message.headers |= {"X-Broken": "a\nBcc: somebody@example.org"}
    with pytest.raises(ValueError, match="newline"):
        mime.as_bytes(message)


# ---- what an error means (replies: RFC 5321, 4.2.1; status codes: RFC 3463)

OUT = transport.Outcome
ERRORS = [
    (smtplib.SMTPServerDisconnected("gone"), False, OUT.TEMPORARY),
    (smtplib.SMTPServerDisconnected("gone"), True, OUT.UNKNOWN),
    (smtplib.SMTPServerDisconnected("gone"), None, OUT.UNKNOWN),
    (TimeoutError("timed out"), False, OUT.TEMPORARY),
    (TimeoutError("timed out"), True, OUT.UNKNOWN),
    (ConnectionResetError(104, "reset"), True, OUT.UNKNOWN),
    (smtplib.SMTPDataError(554, b"rejected"), True, OUT.PERMANENT),
    (smtplib.SMTPDataError(421, b"closing"), True, OUT.TEMPORARY),
    (smtplib.SMTPSenderRefused(550, b"no", "care@example.org"), False, OUT.TEMPORARY),
    (smtplib.SMTPSenderRefused(530, b"5.7.0 log in", "care@example.org"), False, OUT.OUTAGE),
    (smtplib.SMTPSenderRefused(421, b"closing", "care@example.org"), False, OUT.OUTAGE),
    (smtplib.SMTPAuthenticationError(535, b"5.7.8 no"), False, OUT.OUTAGE),
    (smtplib.SMTPRecipientsRefused({"a@example.org": (450, b"greylisted")}), False, OUT.TEMPORARY),
    (smtplib.SMTPRecipientsRefused({"a@example.org": (550, b"5.7.1 policy")}), False, OUT.PERMANENT),
    (ValueError("bad header"), False, OUT.PERMANENT),
    (ValueError("bad header"), True, OUT.UNKNOWN),
    (RuntimeError("whatever"), None, OUT.UNKNOWN),
]


@pytest.mark.parametrize(("error", "began", "outcome"), ERRORS)
def test_what_an_error_means(error, began, outcome):
    assert transport.classify(error, content_began=began).outcome is outcome


@pytest.mark.parametrize(
    ("code", "answer", "bad"),
    [
        (550, b"5.1.1 unknown user", True), (550, b"5.7.1 we do not like you", False), (550, b"nobody here", True),
        (552, b"mailbox full", False), (553, b"name not allowed", True), (554, b"5.1.2 bad domain", True),
    ],
)  # fmt: skip
def test_only_a_bad_address_is_suppressed(code, answer, bad):
    error = smtplib.SMTPRecipientsRefused({"a@example.org": (code, answer)})
    assert transport.classify(error, content_began=False).bad_address is bad


def test_what_a_providers_api_answered():
    from anymail.exceptions import AnymailRecipientsRefused, AnymailRequestsAPIError, AnymailUnsupportedFeature
    from requests import ConnectTimeout, ReadTimeout, Response

    def answered(code):
        response = Response()
        response.status_code = code
        return AnymailRequestsAPIError(response=response)

    def broke(kind):
        error = type("AnymailRequestsAPIError", (AnymailRequestsAPIError, kind), {})("posting")
        error.__cause__ = kind("told")
        return error

    results = {code: transport.classify(answered(code), content_began=None) for code in (429, 503, 401, 403, 422)}
    meanings = {code: result.outcome for code, result in results.items()}
    assert meanings == dict.fromkeys((429, 503, 401, 403), OUT.OUTAGE) | {422: OUT.PERMANENT}
    # Forbidden may be one studio's sender alone, so the messages of others are tried all the same.
    assert {code for code, result in results.items() if result.all_alike} == {429, 503, 401}
    assert transport.classify(answered(500), content_began=None).outcome is OUT.UNKNOWN
    assert transport.classify(broke(ConnectTimeout), content_began=None).outcome is OUT.OUTAGE
    assert transport.classify(broke(ReadTimeout), content_began=None).outcome is OUT.UNKNOWN
    for refused in (AnymailRecipientsRefused(), AnymailUnsupportedFeature("no")):
        assert transport.classify(refused, content_began=None).outcome is OUT.PERMANENT
