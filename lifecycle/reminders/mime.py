"""The bytes of a mail (RFC 5322, RFC 2046), made once from what was frozen, just before they are needed.

Django and Python's email library build the parts; only the putting together is ours, because their generator searches
the whole text for a boundary that no part holds and folds every header anew. A test compares every byte with theirs.
"""

from __future__ import annotations

import re
import secrets
from email.policy import Compat32
from functools import partial
from typing import Any, Final

from django.core.mail import EmailMultiAlternatives

from lifecycle.models import Message

LINE_ENDS: Final = re.compile(r"\r\n|\r|\n")
# RFC 5322, 2.1.1: lines of 78 characters; "name: value".
MOST_ON_A_LINE: Final = 78


class PlainHeaders(Compat32):
    """Python's rules for writing a header; one that is ASCII and short, or one long word, needs none of them, and nearly
    all are. A long word gets a line of its own, as Python does it."""

    def fold_binary(self, name: str, value: Any) -> bytes:
        if isinstance(value, str) and value.isascii() and value.isprintable():
            length = len(name) + 2 + len(value)
            if length < MOST_ON_A_LINE:
                return f"{name}: {value}{self.linesep}".encode("ascii")
            if length > MOST_ON_A_LINE and value and not any(sign in value for sign in " ;,"):
                return f"{name}: {self.linesep} {value}{self.linesep}".encode("ascii")
        return super().fold_binary(name, value)


PLAIN_HEADERS: Final = PlainHeaders()
ON_THE_WIRE: Final = PLAIN_HEADERS.clone(linesep="\r\n")


class Mail(EmailMultiAlternatives):
    """A mail that is built once, however often it is asked for, and written out quickly."""

    _whole: Any = None

    def message(self, *args: Any, **kwargs: Any) -> Any:
        if self._whole is None:
            whole = super().message(*args, **kwargs)
            for part in whole.walk():
                part.policy = PLAIN_HEADERS
            whole.as_bytes = partial(as_bytes, whole)
            self._whole = whole
        return self._whole


def as_bytes(whole: Any, unixfrom: bool = False, linesep: str = "\n") -> bytes:
    """The mail as bytes: what `email.generator.BytesGenerator` writes, but for the boundary, which is drawn.

    Args:
        whole: a multipart whose parts are texts (and nothing within them); anything else goes the library's way.
    """
    parts = whole.get_payload() if whole.is_multipart() else []
    if unixfrom or not parts or any(part.is_multipart() or not isinstance(part._payload, str) for part in parts):
        return bytes(type(whole).as_bytes(whole, unixfrom=unixfrom, linesep=linesep))
    policy = ON_THE_WIRE if linesep == "\r\n" else PLAIN_HEADERS.clone(linesep=linesep)
    if "boundary=" not in str(whole["Content-Type"]):
        whole.replace_header("Content-Type", f'{whole["Content-Type"]}; boundary="=_{secrets.token_hex(11)}"')
    end = linesep.encode("ascii")
    line = b"--" + whole.get_boundary().encode("ascii")
    out = [_headers(whole, policy)]
    for part in parts:
        text = linesep.join(LINE_ENDS.split(part._payload))
        out += [line, end, _headers(part, policy), text.encode("ascii", "surrogateescape"), end]
    return b"".join([*out, line, b"--", end])


def _headers(part: Any, policy: PlainHeaders) -> bytes:
    return b"".join([policy.fold_binary(name, value) for name, value in part.raw_items()]) + policy.linesep.encode()


def build(message: Message) -> Mail:
    """The e-mail as it was frozen. Our id goes into the metadata for providers that hand it back with their events."""
    mail = Mail(
        subject=message.subject,
        body=message.text,
        from_email=message.from_email,
        to=[message.to_email],
        headers={name: str(value) for name, value in message.headers.items()},
    )
    mail.attach_alternative(message.html, "text/html")
    mail.metadata = {"uid": str(message.uid)}  # type: ignore[attr-defined]
    return mail
