"""The step that tells other programs: claim, send outside any transaction, write what came of it.

At least once: a sender that dies after the hand-over tells again, under the same webhook-id.
"""

from __future__ import annotations

import time
import uuid
from collections import Counter
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import transaction
from django.db.models import F, Q

from lifecycle import journal
from lifecycle.connect import hook_wire as wire
from lifecycle.connect.hook_events import gather
from lifecycle.connect.hooks import secrets_of
from lifecycle.models import Hook, HookDelivery, HookState

# Minutes before the second, third … try: about three days in all. The Standard Webhooks specification advises growing
# waits over days, with some chance in them; the figures are ours.
WAITS: Final = (1, 5, 30, 120, 300, 600, 840, 1200, 1200)
# Nothing was taken for as long: the address is switched off. Less than the waits sum up to, whatever chance does.
SILENT: Final = timedelta(hours=60)
GONE: Final = 410
LEASE: Final = timedelta(minutes=10)
AT_ONCE: Final = 10
LONGEST_S: Final = 240.0
REST: Final = timedelta(minutes=1)
WAITING: Final = (HookState.READY, HookState.RETRY)


def deliver(*, at: datetime, limit: int = 200) -> Mapping[str, int]:
    """Copy what is new and tell it.

    Returns:
        Counts: new, delivered, retry, failed, off (addresses switched off).
    """
    counts: Counter[str] = Counter(new=gather(at=at), delivered=0, retry=0, failed=0, off=0)
    began, down, left = time.monotonic(), set[int](), limit
    while left > 0 and time.monotonic() - began < LONGEST_S:
        token, rows = _claim(at, min(left, AT_ONCE))
        if not rows:
            break
        left -= len(rows)
        for row in rows:
            now = at + timedelta(seconds=time.monotonic() - began)
            if row.hook_id in down:  # one dead address must not hold up the others
                _settle(row, token, next_try_at=now + REST)
            else:
                outcome = _tell(row, token, now)
                counts[outcome] += 1
                down |= {row.hook_id} if outcome != "delivered" else set()
    return dict(counts)


def _claim(at: datetime, limit: int) -> tuple[uuid.UUID, list[HookDelivery]]:
    """Take some by compare-and-set: of two senders one gets each row."""
    token = uuid.uuid4()
    free = (
        Q(state__in=WAITING, hook__off_at=None, hook__ended_at=None)
        & (Q(next_try_at=None) | Q(next_try_at__lte=at))
        & (Q(claim=None) | Q(lease_until__lte=at))
    )
    ids = list(HookDelivery.objects.filter(free).order_by("entry_id", "id").values_list("pk", flat=True)[:limit])
    if ids:
        HookDelivery.objects.filter(pk__in=ids).filter(free).update(claim=token, lease_until=at + LEASE)
    mine = HookDelivery.objects.filter(claim=token).select_related("hook__studio").order_by("entry_id", "id")
    return token, list(mine)


def _settle(row: HookDelivery, token: uuid.UUID, **fields: Any) -> bool:
    """Write what came of it and let go; False: the lease ran out and another sender has it."""
    mine = HookDelivery.objects.filter(pk=row.pk, claim=token, state__in=WAITING)
    return bool(mine.update(claim=None, lease_until=None, **fields))


def message_id(row: HookDelivery) -> str:
    """What the receiver knows the message by, however often it comes."""
    return f"msg_{row.uid.hex}"


def _tell(row: HookDelivery, token: uuid.UUID, at: datetime) -> str:
    signed = wire.headers(secrets_of(row.hook, at=at), message_id=message_id(row), at=at, body=row.payload)
    answer = wire.post(row.hook.url, row.payload, signed)
    told = {"state_at": at, "status": answer.status, "error": answer.error, "attempts": F("attempts") + 1}
    with transaction.atomic():
        if not answer.error:
            _settle(row, token, state=HookState.DELIVERED, next_try_at=None, **told)
            Hook.objects.filter(pk=row.hook_id).exclude(failing_since=None).update(failing_since=None)
            return "delivered"
        Hook.objects.filter(pk=row.hook_id, failing_since=None).update(failing_since=at)
        if answer.status == GONE:
            _settle(row, token, state=HookState.FAILED, next_try_at=None, **told)
            return _switch_off(row.hook, "The receiver says that it is gone for good (410).", at)
        if row.attempts < len(WAITS):
            _settle(row, token, state=HookState.RETRY, next_try_at=at + wait_before(row), **told)
            return "retry"
        _settle(row, token, state=HookState.FAILED, next_try_at=None, **told)
        since = Hook.objects.filter(pk=row.hook_id, off_at=None).values_list("failing_since", flat=True).first()
        if since is not None and at - since >= SILENT:
            return _switch_off(row.hook, f"Nothing was taken there since {since:%Y-%m-%d %H:%M} UTC.", at)
    return "failed"


def wait_before(row: HookDelivery) -> timedelta:
    """How long until the next try: a tenth more or less by chance, so that many do not come back at one moment."""
    chance = row.uid.int % 1000 / 999  # the row's own, so that a test need not guess
    return timedelta(minutes=WAITS[row.attempts]) * (0.9 + 0.2 * chance)


def _switch_off(hook: Hook, why: str, at: datetime) -> str:
    """No more is sent there until the owner switches it on again; what waits has failed."""
    Hook.objects.filter(pk=hook.pk, off_at=None).update(off_at=at, off_why=why)
    HookDelivery.objects.filter(hook=hook, state__in=WAITING).update(
        state=HookState.FAILED, state_at=at, claim=None, lease_until=None, next_try_at=None,
        error="The address was switched off before this could be told.",
    )  # fmt: skip
    journal.record(
        studio=hook.studio, actor="cycle", at=at, verb="webhook switched off", subject="webhook", subject_id=hook.pk
    )
    return "off"
