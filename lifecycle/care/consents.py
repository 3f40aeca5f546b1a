"""What people said to being written to: every statement with its words, its day and how it was said."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Min

from lifecycle.models import Consent


@dataclass(frozen=True, slots=True)
class Statement:
    """One statement of consent or of its withdrawal.

    Attributes:
        wording: the exact words that the person saw or heard.
        version: of a consent, which wording of its studio for this purpose it was, counted by first use from 1; of a
            withdrawal 0.
        ended_at: of a consent, when it was withdrawn; None while it holds, or was followed by another consent.
    """

    customer_id: int
    studio: str
    purpose: str
    given: bool
    at: datetime
    how: str
    wording: str
    version: int
    ended_at: datetime | None


def history(customer_ids: Collection[int]) -> tuple[Statement, ...]:
    """All statements of these customers, newest first, in two queries."""
    rows = list(Consent.objects.filter(customer__in=list(customer_ids)).select_related("studio").order_by("-at", "-id"))
    versions = _versions({row.studio_id for row in rows})
    followed: dict[tuple[int, str], Consent] = {}
    lines = []
    for row in rows:
        after = followed.get((row.customer_id, row.purpose))
        followed[row.customer_id, row.purpose] = row
        lines.append(
            Statement(
                customer_id=row.customer_id,
                studio=row.studio.name,
                purpose=row.purpose,
                given=row.given,
                at=row.at,
                how=row.how,
                wording=row.wording,
                version=versions[row.studio_id, row.purpose, row.wording] if row.given else 0,
                ended_at=after.at if row.given and after is not None and not after.given else None,
            )
        )
    return tuple(lines)


def _versions(studios: Collection[int]) -> dict[tuple[int, str, str], int]:
    """The number of each wording of a studio and purpose, by the day on which it was first agreed to."""
    first_used = (
        Consent.objects.filter(studio__in=studios, given=True)
        .order_by()
        .values_list("studio_id", "purpose", "wording")
        .annotate(first=Min("id"))
        .order_by("first")
    )
    counted: dict[tuple[int, str], int] = {}
    numbers = {}
    for studio_id, purpose, wording, _ in first_used:
        counted[studio_id, purpose] = counted.get((studio_id, purpose), 0) + 1
        numbers[studio_id, purpose, wording] = counted[studio_id, purpose]
    return numbers
