"""What other programs can be told of, and which entries of the journal those are.

The journal's entry is the row that stands in the transaction of its cause; this step only copies it, ids alone, to the
addresses that asked for its kind.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from django.db import transaction
from django.db.models import Max

from lifecycle.models import Hook, HookCursor, HookDelivery, JournalEntry

# No transaction lasts as long: a worker's task is ended after a quarter of an hour.
SETTLED: Final = timedelta(minutes=20)
AT_ONCE: Final = 500
# Messages that were settled longer ago are thrown away (`tidy`). An older entry is not told any more, since nobody
# could say whether it was; so a studio that was brought back into a fresh installation does not tell its past anew.
KEPT: Final = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class EventKind:
    """`verbs` are those of the journal; `href` is where the API tells more, with the ids of the entry."""

    code: str
    words: str
    verbs: tuple[str, ...]
    href: str


EVENT_KINDS: Final[Mapping[str, EventKind]] = {
    kind.code: kind
    for kind in (
        EventKind("vehicle.changed", "a vehicle was put on record, changed, has a new keeper, left or came back",
                  ("vehicle registered", "vehicle changed", "vehicle transferred", "vehicle retired",
                   "vehicle readmitted"), "/api/v1/vehicles/{vehicle}"),
        EventKind("layer.recorded", "a layer was recorded", ("layer recorded", "unknown layer recorded"),
                  "/api/v1/vehicles/{vehicle}/layers"),
        EventKind("due.opened", "a care window opened", ("care due opened",), "/api/v1/due?vehicle={vehicle}"),
        EventKind("offer.answered", "an offer was accepted, declined or put off",
                  ("offer accepted", "offer declined", "offer deferred"), "/api/v1/offers/{id}"),
        EventKind("visit.booked", "a visit was booked, confirmed or moved",
                  ("visit booked", "visit confirmed", "visit moved", "offered day chosen"), ""),
        EventKind("report.sealed", "a report was sealed", ("report sealed",), ""),
    )
}  # fmt: skip
KIND_OF: Final = {verb: kind for kind in EVENT_KINDS.values() for verb in kind.verbs}


def newest_entry() -> int:
    """The number of the newest entry of the journal; 0 for none."""
    return int(JournalEntry.objects.aggregate(top=Max("id"))["top"] or 0)


def payload(entry: Mapping[str, Any]) -> str:
    """What is told: the kind, when, and ids. Whoever may know more asks the API with a token."""
    kind = KIND_OF[entry["verb"]]
    data = {"id": entry["subject_id"], "vehicle_id": entry["vehicle_id"], "journal_id": entry["id"]}
    if kind.href:
        data["href"] = kind.href.format(id=entry["subject_id"], vehicle=entry["vehicle_id"])
    stamp = entry["at"].astimezone(UTC).isoformat().replace("+00:00", "Z")
    return json.dumps({"type": kind.code, "timestamp": stamp, "data": data}, separators=(",", ":"))


def gather(*, at: datetime) -> int:
    """Copy what is new in the journal for every address that asked for its kind; returns how many.

    An entry is told to an address once, however often and in how many places at once this runs.
    """
    with transaction.atomic():
        HookCursor.objects.get_or_create(name="journal", defaults={"next_at": at})  # the first of all may be two
        cursor = HookCursor.objects.select_for_update().get(name="journal")
        top = newest_entry()
        made = _copy(cursor.low_id, top, at)
        if at - cursor.next_at >= SETTLED:
            cursor.low_id, cursor.next_id, cursor.next_at = cursor.next_id, top, at
            cursor.save(update_fields=["low_id", "next_id", "next_at"])
    return made


def _copy(low: int, top: int, at: datetime) -> int:
    hooks = list(Hook.objects.filter(ended_at=None, off_at=None))
    if not hooks:
        return 0
    low = max(low, min(hook.from_entry for hook in hooks))
    told = set(HookDelivery.objects.filter(entry_id__gt=low).values_list("hook_id", "entry_id"))
    rows = [row for row in _wanted(hooks, low, top, at) if (row.hook_id, row.entry_id) not in told]
    HookDelivery.objects.bulk_create(rows, batch_size=AT_ONCE, ignore_conflicts=True)
    return len(rows)


def _wanted(hooks: list[Hook], low: int, top: int, at: datetime) -> Iterator[HookDelivery]:
    entries = JournalEntry.objects.filter(
        id__gt=low, id__lte=top, at__gt=at - KEPT, verb__in=tuple(KIND_OF),
        studio__in={hook.studio_id for hook in hooks},
    ).order_by("id")  # fmt: skip
    fields = ("id", "studio_id", "at", "verb", "subject_id", "vehicle_id")
    for entry in entries.values(*fields).iterator(chunk_size=AT_ONCE):
        code = KIND_OF[entry["verb"]].code
        for hook in hooks:
            if hook.studio_id == entry["studio_id"] and code in hook.kinds and entry["id"] > hook.from_entry:
                yield HookDelivery(
                    studio_id=hook.studio_id, hook=hook, entry_id=entry["id"], kind=code, payload=payload(entry),
                    made_at=at, state_at=at,
                )  # fmt: skip
