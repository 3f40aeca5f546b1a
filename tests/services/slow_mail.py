"""The folder backend with a provider's slowness: time to kill a worker between the hand-over and the note of it, on a
busy machine too."""

from __future__ import annotations

import time
from collections.abc import Sequence

from django.core.mail import EmailMessage

from lifecycle.reminders import mailfolder


class EmailBackend(mailfolder.EmailBackend):
    """Hands over, and answers two seconds later."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        sent = super().send_messages(email_messages)
        time.sleep(2)
        return sent
