"""What kinds of error a hand-over meets, and when each is tried again: data, so that the page shows what the code does.

The waits are judgement. RFC 5321, 4.5.4.1, advises a relay to wait half an hour and to go on for days; here the
provider does that, and our own waits only bridge the time until the provider has the mail.
"""

from __future__ import annotations

import re
import smtplib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from email.utils import parsedate_to_datetime
from enum import Enum
from typing import Final


class Kind(Enum):
    CONNECTION = "connection"
    TIMEOUT = "timeout"
    TEMPORARY = "temporary"
    RATE = "rate"
    AUTH = "auth"
    RECIPIENT = "recipient"
    TOO_LARGE = "too_large"
    PERMANENT = "permanent"


@dataclass(frozen=True, slots=True)
class Rule:
    """`words` is what the page says. `waits` are the minutes before the second, third … try; () is never tried again.
    `outage` is the wait where every message would fare the same, which uses up no try."""

    words: str
    waits: tuple[int, ...] = ()
    outage: int = 5


TABLE: Final[Mapping[Kind, Rule]] = {
    Kind.CONNECTION: Rule("The mail server could not be reached or hung up", (1, 5, 15, 60, 240), 5),
    Kind.TIMEOUT: Rule("The mail server did not answer in time", (5, 15, 60, 240, 480), 10),
    Kind.TEMPORARY: Rule("The mail server does not take it just now", (1, 5, 15, 60, 240), 5),
    Kind.RATE: Rule("Too many mails at once for the mail server", (15, 60, 120, 240, 480), 15),
    # Knocking often with a wrong password gets an account locked, and somebody has to mend it first.
    Kind.AUTH: Rule("The mail server does not let us in or refuses the sender", (15, 30, 60, 240, 480), 15),
    Kind.RECIPIENT: Rule("The customer's address is refused for good"),
    Kind.TOO_LARGE: Rule("The mail is too large for the mail server"),
    Kind.PERMANENT: Rule("The mail server refuses this mail for good"),
}
HTTP: Final[Mapping[int, Kind]] = {
    401: Kind.AUTH, 402: Kind.AUTH, 403: Kind.AUTH, 408: Kind.TIMEOUT, 413: Kind.TOO_LARGE, 429: Kind.RATE,
}  # fmt: skip

# Between these a provider may ask us to stay away: neither a knock a second nor silence for days. Judgement.
WAIT_LEAST: Final = timedelta(minutes=1)
WAIT_MOST: Final = timedelta(hours=6)


def asked_to_wait(headers: Mapping[str, str]) -> timedelta | None:
    """What an answer's Retry-After asks for, bounded; None where it says nothing that can be read.

    RFC 9110, 10.2.3: seconds, or a date; a date is compared with the answer's own Date, so that no clock but the
    provider's counts.
    """
    said = str(headers.get("Retry-After") or "").strip()
    if said.isascii() and said.isdigit():
        seconds = float(said[:9])
    else:
        try:
            until, now = (parsedate_to_datetime(text) for text in (said, str(headers.get("Date") or "")))
            seconds = (until - now).total_seconds()
        except (TypeError, ValueError):
            return None
    return min(max(timedelta(seconds=seconds), WAIT_LEAST), WAIT_MOST)


def kind_of(error: BaseException, *, bad_address: bool = False) -> Kind:
    """The kind of an error. Status codes: RFC 3463, 3.4 (X.3.4, too big), 3.3 (X.2.3) and 3.5 (X.4.5, congestion)."""
    if bad_address:
        return Kind.RECIPIENT
    code, answer = _answer(error)
    if isinstance(error, smtplib.SMTPException) and code:
        return _of_reply(error, code, answer)
    status = int(getattr(error, "status_code", None) or 0)  # a provider's API
    if status:
        return HTTP.get(status, Kind.TEMPORARY if status >= 500 else Kind.PERMANENT)
    # smtplib says of a timeout that the server disconnected; the timeout is what it was handling then.
    names = {kind.__name__ for one in chain(error) for kind in type(one).__mro__}
    if names & {"TimeoutError", "Timeout"}:
        return Kind.TIMEOUT
    return Kind.CONNECTION if isinstance(error, OSError) and code == 0 and _reached(error) else Kind.PERMANENT


def chain(error: BaseException | None) -> Iterator[BaseException]:
    """An error and those behind it."""
    seen: set[int] = set()
    while error is not None and id(error) not in seen:
        seen.add(id(error))
        yield error
        error = error.__cause__ or error.__context__


def _reached(error: BaseException) -> bool:
    return not isinstance(error, smtplib.SMTPNotSupportedError)


def _answer(error: BaseException) -> tuple[int, str]:
    """Code and text of a server's reply; (0, "") where there is none."""
    said: bytes | str
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, said = next(iter(error.recipients.values()), (550, b""))
    elif isinstance(error, smtplib.SMTPResponseException):
        code, said = error.smtp_code, error.smtp_error
    else:
        return 0, ""
    return int(code), said.decode(errors="replace") if isinstance(said, bytes) else str(said)


def _of_reply(error: BaseException, code: int, answer: str) -> Kind:
    found = re.search(r"\b[45]\.(\d{1,3}\.\d{1,3})\b", answer)
    status = found.group(1) if found else ""
    if status == "4.5" or (code < 500 and re.search(r"\brate\b|too many|throttl", answer, re.IGNORECASE)):
        return Kind.RATE
    if isinstance(error, smtplib.SMTPConnectError | smtplib.SMTPHeloError) or code == 421:
        return Kind.CONNECTION
    if isinstance(error, smtplib.SMTPAuthenticationError) or code in (432, 454, 530, 534, 535, 538):
        return Kind.AUTH
    if isinstance(error, smtplib.SMTPSenderRefused):
        too_large = code == 552 or status in ("3.4", "2.3")  # RFC 1870, 6.1: refused by the size given with MAIL
        return Kind.TOO_LARGE if too_large else Kind.AUTH if code >= 500 else Kind.TEMPORARY
    if code >= 500 and (status in ("3.4", "2.3") or (code == 552 and not status)):
        return Kind.TOO_LARGE
    return Kind.TEMPORARY if code < 500 else Kind.PERMANENT


def _span(minutes: int) -> str:
    if minutes % 60:
        return f"{minutes} min"
    return f"{minutes // 60} h"


def in_words() -> tuple[tuple[str, str], ...]:
    """The table as a page shows it: what went wrong, and what happens then."""
    rows = []
    for rule in TABLE.values():
        then = "not tried again"
        if rule.waits:
            waits = [_span(one) for one in rule.waits]
            then = (
                f"tried again after {', '.join(waits[:-1])} and {waits[-1]}, then given up; "
                f"where it holds for every mail, every {_span(rule.outage)} for up to two weeks"
            )
        rows.append((rule.words, then))
    return tuple(rows)
