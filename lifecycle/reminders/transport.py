"""Hand a message to the provider through Django's e-mail interface, and say what became of it.

What counts is whether the provider may have it. An error before the content was sent means that it does not (temporary
or permanent); an error after the content began to be sent means that nobody knows.
"""

from __future__ import annotations

import re
import smtplib
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import timedelta
from enum import Enum
from typing import Any, Final, Self

from django.core.mail import EmailMultiAlternatives, get_connection
from django.core.mail.backends.smtp import EmailBackend as SmtpBackend

from lifecycle.models import Message
from lifecycle.reminders.mime import as_bytes, build, envelope
from lifecycle.reminders.retries import TABLE, Kind, asked_to_wait, chain, kind_of

__all__ = ["CannotReach", "Outcome", "Postman", "Result", "build", "classify", "describe"]


class Outcome(Enum):
    ACCEPTED = "accepted"
    TEMPORARY = "temporary"  # the provider does not have it; try again
    OUTAGE = "outage"  # it could not be reached or does not let us in: no fault of the message, so no try is used up
    PERMANENT = "permanent"  # the provider does not have it and will not take it
    UNKNOWN = "unknown"  # the provider may have it


@dataclass(frozen=True, slots=True)
class Result:
    """`bad_address`: the address itself was refused for good; write to it no more. `all_alike`: any other message would
    fare the same now. `wait`: how long the provider asks us to stay away, within `retries.WAIT_LEAST` and `_MOST`."""

    outcome: Outcome
    error: str = ""
    provider_id: str = ""
    bad_address: bool = False
    all_alike: bool = False
    kind: Kind = Kind.TEMPORARY
    wait: timedelta | None = None


class CannotReach(Exception):
    """The provider cannot be reached; nothing was handed over. `kind` says why."""

    def __init__(self, said: str, kind: Kind = Kind.CONNECTION) -> None:
        super().__init__(said)
        self.kind = kind


class _DataWatch:
    """Notes whether the content of a mail has begun to be sent over SMTP."""

    def __init__(self, smtp: smtplib.SMTP) -> None:
        self.started = False
        self._data = smtp.data

    def __call__(self, content: Any) -> tuple[int, bytes]:
        self.started = True
        return self._data(content)


class Postman:
    """One connection for a batch of messages, opened anew only when it broke. A context manager.

    `send_soon` hands over in a thread of its own, which touches nothing but the connection, so that the caller's thread
    works with the database meanwhile. One message at a time: `open` and `close` wait for nobody.
    """

    def __init__(self) -> None:
        self._connection: Any = get_connection(fail_silently=False)
        self._watch: _DataWatch | None = None
        self._thread: ThreadPoolExecutor | None = None
        self._ready: dict[int, tuple[Message, bytes]] = {}
        self.seconds_each: float | None = None  # of the last lot; None before the first

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        if self._thread is not None:
            self._thread.shutdown()
        self.close()

    def open(self) -> None:
        """Connect if not connected.

        Raises:
            CannotReach: no connection, or the provider did not let us in.
        """
        try:
            fresh = self._connection.open()
        except OSError as error:  # smtplib's errors are OSErrors too
            self.close()
            kind = kind_of(error)
            raise CannotReach(f"{TABLE[kind].words}: {describe(error)}", kind) from error
        smtp = getattr(self._connection, "connection", None)
        if isinstance(smtp, smtplib.SMTP) and (fresh or self._watch is None):
            self._watch = _DataWatch(smtp)
            smtp.data = self._watch  # type: ignore[assignment]

    def close(self) -> None:
        """Let go of the connection, whatever state it is in."""
        self._watch = None
        with suppress(OSError):
            self._connection.close()

    def make_ready(self, message: Message) -> None:
        """Write the bytes of a mail ahead. What cannot be written shows at the hand-over."""
        if self._plain_smtp() is not None:
            with suppress(ValueError, TypeError):
                self._ready[message.pk] = message, as_bytes(message)

    def forget(self, message: Message) -> None:
        """Drop the bytes of a mail that was not handed over after all: it may be written anew before it is."""
        self._ready.pop(message.pk, None)

    def _plain_smtp(self) -> smtplib.SMTP | None:
        """The open connection of Django's own SMTP backend. One that somebody made of it may do more with a mail."""
        smtp: smtplib.SMTP | None = self._connection.connection if type(self._connection) is SmtpBackend else None
        return smtp

    def send_soon(self, messages: Sequence[Message], *, for_s: float) -> Future[list[Result]]:
        """Hand over some messages one after the other in the thread of this postman.

        Returns:
            The results of those that were handed over, in their order; there are fewer than messages where the provider
            cannot be reached any more, all would fare alike, or `for_s` seconds are over.
        """
        if self._thread is None:
            self._thread = ThreadPoolExecutor(1, thread_name_prefix="postman")
        return self._thread.submit(self._hand_over_all, messages, for_s)

    def _hand_over_all(self, messages: Sequence[Message], for_s: float) -> list[Result]:
        results: list[Result] = []
        began = time.monotonic()
        for message in messages:
            if results:
                if results[-1].all_alike or time.monotonic() - began > for_s:
                    break
                try:
                    self.open()
                except CannotReach:
                    break
            results.append(self.hand_over(message))
        self.seconds_each = (time.monotonic() - began) / len(results)
        return results

    def hand_over(self, message: Message) -> Result:
        """Send one message over the open connection. Never raises an `Exception`; it is the result that tells."""
        of, ready = self._ready.pop(message.pk, (None, None))
        if of is not message:  # read anew since, so it may say something else now
            ready = None
        smtp = self._plain_smtp()
        if smtp is None:
            return self._hand_over(lambda: self._send(build(message)))

        def send() -> Result:  # what the backend does with a mail, without building it
            sender, receiver = envelope(message)
            smtp.sendmail(sender, [receiver], ready or as_bytes(message))
            return Result(Outcome.ACCEPTED)

        return self._hand_over(send)

    def hand_over_mail(self, mail: EmailMultiAlternatives) -> Result:
        """Send a mail that is no message of the outbox, in the same way."""
        return self._hand_over(lambda: self._send(mail))

    def _send(self, mail: EmailMultiAlternatives) -> Result:
        if self._connection.send_messages([mail]) == 0:
            return Result(Outcome.TEMPORARY, "The mail backend says that it sent nothing.")
        status = getattr(mail, "anymail_status", None)
        return Result(Outcome.ACCEPTED, provider_id=str(getattr(status, "message_id", None) or "")[:200])

    def _hand_over(self, send: Callable[[], Result]) -> Result:
        if self._watch is not None:
            self._watch.started = False
        try:
            return send()
        except Exception as error:
            result = classify(error, content_began=None if self._watch is None else self._watch.started)
            self.close()
            return result


def describe(error: BaseException) -> str:
    """An error in one line, with its type."""
    return " ".join(f"{type(error).__name__}: {error}".split())[:500]


def classify(error: Exception, *, content_began: bool | None) -> Result:
    """Say what an error of a hand-over means.

    Args:
        content_began: whether the content had begun to be sent; None where the backend does not let us see.
    """
    result = _classify(error, content_began)
    kind = kind_of(error, bad_address=result.bad_address)
    # A mail that could not be built met no server, and of an unknown outcome nobody can say what the server thinks.
    built = not isinstance(error, ValueError | TypeError)
    if result.outcome is Outcome.UNKNOWN or not built:
        return replace(result, kind=kind)
    if not TABLE[kind].waits and result.outcome is Outcome.OUTAGE:
        kind = Kind.CONNECTION  # never reached, whatever the library calls it
    if not TABLE[kind].waits and result.outcome is Outcome.TEMPORARY:
        result = replace(result, outcome=Outcome.PERMANENT)  # too large does not become smaller
    return replace(result, kind=kind, error=f"{TABLE[kind].words}: {result.error}")


def _classify(error: Exception, content_began: bool | None) -> Result:
    said = describe(error)
    if getattr(error, "handed_over", None) is False:
        return Result(Outcome.OUTAGE, said, all_alike=True)
    if isinstance(error, smtplib.SMTPException):
        return _smtp(error, said, content_began)
    if "AnymailError" in _kinds(error):  # by name: the library is loaded only where it is used
        return _anymail(error, said)
    if isinstance(error, ValueError | TypeError) and not content_began:
        return Result(Outcome.PERMANENT, f"The mail could not be built: {said}")
    if isinstance(error, OSError) and content_began is False:
        return Result(Outcome.TEMPORARY, said)
    return Result(Outcome.UNKNOWN, said)


# In answer to the sender. RFC 4954, 6: a password is to be changed, wrong, too weak or missing, or the server cannot
# check it now; RFC 5321, 4.2.3: the service is not available and closes the connection.
NOT_LET_IN: Final = (421, 432, 454, 530, 534, 535, 538)


def _smtp(error: smtplib.SMTPException, said: str, content_began: bool | None) -> Result:
    """RFC 5321, 4.2.1: a reply 4yz is a transient, 5yz a permanent negative answer; either way it was not taken."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, answer = next(iter(error.recipients.values()), (550, b""))
        if code < 500:
            return Result(Outcome.TEMPORARY, said)
        return Result(Outcome.PERMANENT, said, bad_address=_bad_address(code, answer))
    if _not_let_in(error):
        return Result(Outcome.OUTAGE, said, all_alike=True)
    if isinstance(error, smtplib.SMTPResponseException):
        # A refused sender is a matter of our own settings: the owner can mend them before the tries are used up.
        again = error.smtp_code < 500 or isinstance(error, smtplib.SMTPSenderRefused)
        return Result(Outcome.TEMPORARY if again else Outcome.PERMANENT, said)
    if isinstance(error, smtplib.SMTPNotSupportedError):
        return Result(Outcome.PERMANENT, said)
    return Result(Outcome.TEMPORARY if content_began is False else Outcome.UNKNOWN, said)


def _not_let_in(error: smtplib.SMTPException) -> bool:
    if isinstance(error, smtplib.SMTPSenderRefused):
        return error.smtp_code in NOT_LET_IN
    return isinstance(error, smtplib.SMTPAuthenticationError | smtplib.SMTPHeloError | smtplib.SMTPConnectError)


def _bad_address(code: int, answer: bytes | str) -> bool:
    """Whether the address itself is bad: status X.1.Y (RFC 3463, 3.2), else replies 550, 551, 553 (RFC 5321, 4.2.3)."""
    text = answer.decode(errors="replace") if isinstance(answer, bytes) else str(answer)
    status = re.search(r"\b5\.(\d{1,3})\.\d{1,3}\b", text)
    return status.group(1) == "1" if status else code in (550, 551, 553)


# HTTP (RFC 9110, 15.5 and 15.6; RFC 6585, 4): key wrong, account unpaid, forbidden, too many, out of service. What is
# forbidden may be one studio's sender alone; the others hold for every message.
RATE_OR_ACCOUNT: Final = (401, 402, 403, 429, 503)
FORBIDDEN: Final = 403


def _anymail(error: Exception, said: str) -> Result:
    """What a provider's API answered; without an answer, whether it was reached at all."""
    kinds = _kinds(error)
    if "AnymailRecipientsRefused" in kinds:
        status = getattr(getattr(error, "email_message", None), "anymail_status", None)
        return Result(Outcome.PERMANENT, said, bad_address="invalid" in (getattr(status, "status", None) or ()))
    if "AnymailAPIError" not in kinds:
        return Result(Outcome.PERMANENT, said)  # refused before anything was posted
    code: int = getattr(error, "status_code", None) or 0
    if code in RATE_OR_ACCOUNT or (not code and _never_connected(error)):
        answer = getattr(getattr(error, "response", None), "headers", None) or {}
        return Result(Outcome.OUTAGE, said, all_alike=code != FORBIDDEN, wait=asked_to_wait(answer))
    if 400 <= code < 500 and code != 408:
        return Result(Outcome.PERMANENT, said)
    return Result(Outcome.UNKNOWN, said)


def _kinds(error: BaseException) -> set[str]:
    return {one.__name__ for one in type(error).__mro__}


def _never_connected(error: BaseException) -> bool:
    names = {"ConnectTimeout", "NewConnectionError", "NameResolutionError", "ConnectTimeoutError"}
    return any(type(one).__name__ in names or isinstance(one, ConnectionRefusedError) for one in chain(error))
