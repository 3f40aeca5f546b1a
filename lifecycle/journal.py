"""Write the journal. Every verb that changes something calls `record` inside its own transaction."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any, Final

from django.core.serializers.json import DjangoJSONEncoder
from django.db import connection

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


COLUMNS: Final = ("studio_id", "actor", "at", "verb", "subject", "subject_id", "vehicle_id", "data")
CASTS: Final = {"at": "::timestamptz", "subject_id": "::bigint", "vehicle_id": "::bigint", "data": "::jsonb"}


def insert_statement(
    *, studio_id: int, actor: str, at: datetime, verb: str, subject: str, subject_id: int, **data: Any
) -> tuple[str, list[Any]]:
    """`record` as a statement, to be run inside a greater one: "INSERT … SELECT values", open for a FROM, and its
    values. For deeds that come in thousands."""
    # PostgreSQL does not guess the types of a bare SELECT.
    types = CASTS if connection.vendor == "postgresql" else {}
    values = [
        studio_id, actor, connection.ops.adapt_datetimefield_value(at), verb, subject, subject_id, None,
        json.dumps(data, cls=DjangoJSONEncoder),
    ]  # fmt: skip
    gaps = ", ".join(f"%s{types.get(name, '')}" for name in COLUMNS)
    return f"INSERT INTO lifecycle_journalentry ({', '.join(COLUMNS)}) SELECT {gaps}", values
