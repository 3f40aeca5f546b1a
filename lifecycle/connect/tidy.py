"""The step that throws away what programs no longer need."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from lifecycle.connect import repeats
from lifecycle.connect.hook_events import KEPT
from lifecycle.models import HookDelivery, HookState


def tidy(*, at: datetime) -> Mapping[str, int]:
    """Delete kept answers that are older than a day, and messages to other programs that were settled a month ago.

    Returns:
        Counts: answers, messages.
    """
    over = HookDelivery.objects.filter(state__in=(HookState.DELIVERED, HookState.FAILED), state_at__lte=at - KEPT)
    return {"answers": repeats.sweep(at=at), "messages": int(over.delete()[0])}
