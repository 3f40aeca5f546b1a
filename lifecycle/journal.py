"""Write the journal. Every verb that changes something calls `record` inside its own transaction."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from lifecycle.models import JournalEntry, Studio


def record(
    *,
    studio: Studio,
    actor: str,
    at: datetime,
    verb: str,
    subject: str,
    subject_id: int | None,
    vehicle_id: int | None = None,
    **data: Any,
) -> JournalEntry:
    """Add one entry. `data` must hold no personal data beyond ids: the journal outlives an erasure.

    Args:
        actor: who did it, e.g. "member:3", "customer:12" or "cycle".
        at: aware time of the deed.
        verb: past tense, e.g. "layer recorded".
    """
    return JournalEntry.objects.create(
        studio=studio,
        actor=actor,
        at=at,
        verb=verb,
        subject=subject,
        subject_id=subject_id,
        vehicle_id=vehicle_id,
        data=data,
    )
