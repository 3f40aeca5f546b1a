"""A frozen message as an e-mail: Django's, for any backend; and its bytes for SMTP, written at once.

Nearly every mail is two texts and a dozen short headers. Its bytes are put together here without what the general way
does besides: it searches the text for a boundary, folds each header anew and copies every line. Whatever is not that
simple goes Django's way. A test compares the two, byte for byte, but for boundary and date.
"""

from __future__ import annotations

import re
import secrets
from email.policy import compat32
from email.utils import formatdate
from functools import lru_cache
from typing import Any, Final

from django.core.mail import EmailMultiAlternatives
from django.core.mail.message import forbid_multi_line_headers, sanitize_address

from lifecycle.models import Message

ENCODING: Final = "utf-8"
LINE_ENDS: Final = re.compile(r"\r\n|\r|\n")
# RFC 5322, 2.1.1: lines must not be longer than 998 characters, and should not be than 78.
LONGEST_LINE: Final = 998
GOOD_LINE: Final = 78
# Django folds a subject by itself; one that is shorter than this it leaves as it is.
SHORT_SUBJECT: Final = 60
PLAIN_ADDRESS: Final = re.compile(r"[A-Za-z0-9._+-]+@[A-Za-z0-9.-]+")
POLICY: Final = compat32.clone(linesep="\r\n")
PART: Final = (
    '--{}\r\nContent-Type: text/{}; charset="utf-8"\r\nMIME-Version: 1.0\r\nContent-Transfer-Encoding: {}\r\n\r\n'
)


def build(message: Message) -> EmailMultiAlternatives:
    """The e-mail as it was frozen. Our id goes into the metadata for providers that hand it back with their events."""
    mail = EmailMultiAlternatives(
        subject=message.subject,
        body=message.text,
        from_email=message.from_email,
        to=[message.to_email],
        headers={name: str(value) for name, value in message.headers.items()},
    )
    mail.attach_alternative(message.html, "text/html")
    mail.metadata = {"uid": str(message.uid)}  # type: ignore[attr-defined]
    return mail


def as_bytes(message: Message) -> bytes:
    """The bytes of `build(message)` with the line ends of SMTP.

    Raises:
        ValueError: a header holds a line end.
    """
    text, html = _lines(message.text), _lines(message.html)
    names = {name.lower() for name in message.headers}
    odd = names & {"from", "to", "cc", "date", "subject"} or "message-id" not in names
    if odd or not text or not html:
        whole: Any = build(message).message()
        return bytes(whole.as_bytes(linesep="\r\n"))
    boundary = f"=_{secrets.token_hex(11)}"
    fields = {
        "Content-Type": f'multipart/alternative; boundary="{boundary}"', "MIME-Version": "1.0",
        "Subject": message.subject, "From": message.from_email, "To": message.to_email,
    }  # fmt: skip
    told = {name: str(value) for name, value in message.headers.items()}
    if "Reply-To" in told:
        fields["Reply-To"] = told.pop("Reply-To")
    fields |= {"Date": formatdate(), **told}
    out = [_header(name, value) for name, value in fields.items()]
    for kind, part in (("plain", text), ("html", html)):
        out += [b"\r\n", PART.format(boundary, kind, "7bit" if part.isascii() else "8bit").encode("ascii"), part]
    return b"".join([*out, f"\r\n--{boundary}--\r\n".encode("ascii")])


def _lines(text: str) -> bytes | None:
    """A text with the line ends of SMTP; None where a line is too long to be sent as it is."""
    lines = [line.encode(ENCODING) for line in LINE_ENDS.split(text)]
    return None if max(map(len, lines)) > LONGEST_LINE else b"\r\n".join(lines)


def _header(name: str, value: str) -> bytes:
    """A header as Django and Python write it: encoded where it is not ASCII, folded where it is long."""
    if not value.isascii() or not value.isprintable() or (name == "Subject" and len(value) > SHORT_SUBJECT):
        value = forbid_multi_line_headers(name, value, ENCODING)[1]
    elif len(name) + 2 + len(value) < GOOD_LINE:
        return f"{name}: {value}\r\n".encode("ascii")
    elif len(value) > GOOD_LINE and not any(sign in value for sign in " ;,"):  # one long word gets a line of its own
        return f"{name}: \r\n {value}\r\n".encode("ascii")
    return bytes(POLICY.fold_binary(name, value))


def envelope(message: Message) -> tuple[str, str]:
    """Sender and receiver as SMTP is told of them."""
    receiver = message.to_email
    plain = PLAIN_ADDRESS.fullmatch(receiver) is not None
    return _sender(message.from_email), receiver if plain else str(sanitize_address(receiver, ENCODING))


@lru_cache(maxsize=256)
def _sender(text: str) -> str:
    return str(sanitize_address(text, ENCODING))
