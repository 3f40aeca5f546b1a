"""A mail backend for one machine without a provider: each mail becomes one .eml file, whole or not at all."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Sequence
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend

from lifecycle.reminders.house import setting


class NotWritten(OSError):
    """The mail is not in the folder."""

    handed_over = False


class EmailBackend(BaseEmailBackend):
    """Writes into `settings.MAIL_FOLDER`, which is made where it is missing. The file is named by date and id."""

    def __init__(self, fail_silently: bool = False, **kwargs: Any) -> None:
        super().__init__(fail_silently=fail_silently)
        self.folder = Path(setting("MAIL_FOLDER"))

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        """Write the mails. Returns how many.

        Raises:
            NotWritten: the folder cannot be written (says which mail; the ones before it are there).
        """
        written = 0
        for mail in email_messages:
            try:
                self._write(mail)
            except OSError as error:
                if self.fail_silently:
                    continue
                raise NotWritten(
                    f"{self.folder}: {error}. Make it a folder that this process may write to, with space left."
                ) from error
            written += 1
        return written

    def _write(self, mail: EmailMessage) -> Path:
        message: Any = mail.message()
        self.folder.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=self.folder, prefix=".writing-", suffix=".tmp")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(message.as_bytes(linesep="\r\n"))
                file.flush()
                os.fsync(file.fileno())
            return self._place(Path(temporary), self._name(message))
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise

    def _place(self, temporary: Path, stem: str) -> Path:
        """Give the whole file its name; a resend gets its own, beside the first."""
        for number in range(1, 1000):
            final = self.folder / (f"{stem}.eml" if number == 1 else f"{stem}-{number}.eml")
            try:
                os.link(temporary, final)  # fails if the name is taken, unlike a rename
            except FileExistsError:
                continue
            except OSError:  # a file system without hard links
                if final.exists():
                    continue
                os.replace(temporary, final)
                return final
            temporary.unlink()
            return final
        raise OSError(f"there are a thousand mails named {stem}; move the old ones away")

    @staticmethod
    def _name(message: Any) -> str:
        uid = str(message.get("X-Sheenward-Id") or "")
        if not re.fullmatch(r"[0-9a-f-]{36}", uid):
            uid = str(uuid4())
        try:
            when = parsedate_to_datetime(str(message["Date"]))
            # "-0000" is UTC said without a zone (RFC 5322, 3.3); Python gives it back without one.
            when = when.replace(tzinfo=UTC) if when.tzinfo is None else when.astimezone(UTC)
        except (TypeError, ValueError):
            when = datetime.now(UTC)
        return f"{when:%Y%m%dT%H%M%SZ}-{uid}"
