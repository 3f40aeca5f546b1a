"""Work that must not show in how long a page takes: it is done beside the request, by a thread of this process.

A mail that is lost with the process is asked for anew by the person who waits for it, so this needs no queue; what
must never be lost goes through `lifecycle.reminders.outbox`.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from django.conf import settings
from django.db import connections

log = logging.getLogger(__name__)
_hands = ThreadPoolExecutor(max_workers=2, thread_name_prefix="courier")


def _carry(work: Callable[..., None], kwargs: dict[str, Any]) -> None:
    try:
        work(**kwargs)
    except Exception:  # nobody waits for the answer; the log must have it, whatever the mail provider raised
        log.exception("the courier could not do its work")
    finally:
        connections.close_all()


def hand_over(work: Callable[..., None], **kwargs: Any) -> None:
    """Do `work(**kwargs)` beside the request; within it where the settings say so (tests look at the outcome)."""
    if settings.COURIER_BESIDE:
        _hands.submit(_carry, work, kwargs)
    else:
        work(**kwargs)
