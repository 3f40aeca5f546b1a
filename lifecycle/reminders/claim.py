"""The one way to take messages for sending: an UPDATE that compares and sets, with a lease.

`SELECT … FOR UPDATE SKIP LOCKED` is silently ignored by SQLite, so it is not used: this UPDATE holds on every database.
Taking is in two steps. `take` puts our mark on waiting messages for the length of a lease; they stay waiting, so a
deliverer that dies loses nothing but time. `turn` puts one of them to "handing over" just before it is handed to the
provider, and the ones before on record, some at a time: when a deliverer dies, only what was being handed over in the
same few hundredths of a second and what was to follow it is in doubt afterwards.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import connection, transaction
from django.db.models import F, Q

from lifecycle.models import JournalEntry, Message, MessageState, Studio

LEASE: Final = timedelta(minutes=10)
WAITING: Final = (MessageState.READY, MessageState.RETRY)
IN_DOUBT: Final = (MessageState.HANDING_OVER, MessageState.UNCONFIRMED)
CLAIM: Final = Message._meta.get_field("claim")


@dataclass(frozen=True, slots=True)
class Claim:
    """Our mark and the messages that carry it, oldest first."""

    token: uuid.UUID
    messages: tuple[Message, ...]


def _free(at: datetime) -> Q:
    return (
        Q(state__in=WAITING)
        & (Q(next_try_at=None) | Q(next_try_at__lte=at))
        & (Q(claim=None) | Q(lease_until=None) | Q(lease_until__lte=at))
    )


# How often a deliverer that lost a race looks again; somebody else is busy with the rest then.
RACES: Final = 20


def take(*, at: datetime, limit: int, lease: timedelta = LEASE) -> Claim:
    """Mark up to `limit` waiting messages as ours until `at` + `lease`. Nobody else gets them meanwhile."""
    token = uuid.uuid4()
    if limit <= 0:
        return Claim(token, ())
    free = Message.objects.filter(_free(at))
    for _ in range(RACES):
        ids = list(free.order_by("written_at", "pk").values_list("pk", flat=True)[:limit])
        if not ids:
            break
        # The condition stands in the UPDATE again: of two deliverers that saw the same ids one gets each row, and the
        # other looks once more for what is still free.
        if free.filter(pk__in=ids).update(claim=token, lease_until=at + lease):
            return Claim(token, _of(token))
    return Claim(token, ())


def _of(token: uuid.UUID) -> tuple[Message, ...]:
    """Our messages with their customers and studios. A studio is the same for very many: it is read once."""
    rows = Message.objects.filter(claim=token, state__in=WAITING).select_related("customer")
    mine = tuple(rows.order_by("written_at", "pk"))
    wanted = {one.studio_id for one in mine} | {one.customer.studio_id for one in mine}
    studios = Studio.objects.in_bulk(wanted)
    for one in mine:
        one.studio, one.customer.studio = studios[one.studio_id], studios[one.customer.studio_id]
    return mine


@dataclass(frozen=True, slots=True)
class Taken:
    """A message that the provider has taken, which is not on record yet, and the provider's own id of it."""

    message: Message
    provider_id: str


def turn(token: uuid.UUID, *, taken: Sequence[Taken], begin: Sequence[Message], at: datetime) -> frozenset[int]:
    """Between two lots: write what the provider has taken, with its journal entries, and begin the next. In one
    transaction, and on PostgreSQL in one question to the database, because nothing else runs as often.

    As with `settle`, what somebody else knew better of the taken ones stays.

    Returns:
        Keys of the messages that are begun; the others are not ours or not waiting any more.
    """
    if not taken and not begin:
        return frozenset()
    if connection.vendor == "postgresql":
        return _turn_at_once(token, taken, begin, at)
    with transaction.atomic():
        known = [one for one in taken if _run(ACCEPT_ONE, [
            *_accepted(at), one.provider_id, one.provider_id, one.message.pk, *_ours(token, IN_DOUBT)
        ])]  # fmt: skip
        JournalEntry.objects.bulk_create(_note(one, at) for one in known)
        return frozenset(one.pk for one in begin if _run(BEGIN_ONE, [*_begun(at), one.pk, *_ours(token, WAITING)]))


# The statements are written out: Django takes longer to put them into words than the database to do them.
ACCEPTING: Final = (
    "state = %s, state_at = %s, claim = NULL, lease_until = NULL, next_try_at = NULL, error = '', "
    "provider_id = CASE WHEN {new} = '' THEN {had} ELSE {new} END"
)
BEGINNING: Final = "state = %s, state_at = %s, lease_until = %s, attempts = attempts + 1, error = ''"
IF_OURS: Final = "claim = %s AND state IN (%s, %s)"
ACCEPT_ONE: Final = (
    f"UPDATE lifecycle_message SET {ACCEPTING.format(had='provider_id', new='%s')} "  # noqa: S608  (constants)
    f"WHERE id = %s AND {IF_OURS}"
)
BEGIN_ONE: Final = f"UPDATE lifecycle_message SET {BEGINNING} WHERE id = %s AND {IF_OURS}"  # noqa: S608
# The same for many, as parts of one statement of PostgreSQL; the journal's entries are written from what was changed.
ACCEPT_MANY: Final = (
    f"known AS (UPDATE lifecycle_message m SET {ACCEPTING.format(had='m.provider_id', new='v.pid')} "  # noqa: S608
    f"FROM unnest(%s::bigint[], %s::text[]) AS v(id, pid) WHERE m.id = v.id AND {IF_OURS} "
    "RETURNING m.id, m.studio_id, m.uid, v.pid), "
    "noted AS (INSERT INTO lifecycle_journalentry (studio_id, actor, at, verb, subject, subject_id, data) "
    "SELECT studio_id, %s, %s::timestamptz, %s, %s, id, jsonb_build_object('uid', uid::text, 'provider_id', pid) "
    "FROM known)"
)
BEGIN_MANY: Final = (
    f"begun AS (UPDATE lifecycle_message SET {BEGINNING} "  # noqa: S608
    f"WHERE id = ANY(%s) AND {IF_OURS} RETURNING id)"
)
NOTED: Final = {"actor": "cycle", "verb": "message accepted", "subject": "message"}


def _turn_at_once(token: uuid.UUID, taken: Sequence[Taken], begin: Sequence[Message], at: datetime) -> frozenset[int]:
    parts: list[str] = []
    values: list[Any] = []
    if taken:
        parts.append(ACCEPT_MANY)
        values += [*_accepted(at), [one.message.pk for one in taken], [one.provider_id for one in taken]]
        values += [*_ours(token, IN_DOUBT), NOTED["actor"], at, NOTED["verb"], NOTED["subject"]]
    if begin:
        parts.append(BEGIN_MANY)
        values += [*_begun(at), [one.pk for one in begin], *_ours(token, WAITING)]
    asked = "id FROM begun" if begin else "0 WHERE false"
    with connection.cursor() as cursor:
        cursor.execute(f"WITH {', '.join(parts)} SELECT {asked}", values)
        return frozenset(pk for (pk,) in cursor.fetchall())


def _accepted(at: datetime) -> list[Any]:
    return [str(MessageState.ACCEPTED), _stamp(at)]


def _begun(at: datetime) -> list[Any]:
    return [str(MessageState.HANDING_OVER), _stamp(at), _stamp(at + LEASE)]


def _ours(token: uuid.UUID, states: Sequence[MessageState]) -> list[Any]:
    return [CLAIM.get_db_prep_value(token, connection), *(str(state) for state in states)]


def _stamp(at: datetime) -> Any:
    return connection.ops.adapt_datetimefield_value(at)


def _run(statement: str, values: Sequence[Any]) -> int:
    """Run a statement; returns the number of rows that it changed."""
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return int(cursor.rowcount)


def _note(one: Taken, at: datetime) -> JournalEntry:
    data = {"uid": str(one.message.uid), "provider_id": one.provider_id}
    return JournalEntry(studio_id=one.message.studio_id, at=at, subject_id=one.message.pk, data=data, **NOTED)


def take_back(message: Message, token: uuid.UUID, *, at: datetime, **fields: Any) -> bool:
    """Undo the beginning of a message that was never handed over: it waits as before, and no try was used up."""
    changes = {"state": message.state, "next_try_at": message.next_try_at, "error": message.error, **fields}
    return settle(message, token, at=at, attempts=F("attempts") - 1, **changes)


def settle(message: Message, token: uuid.UUID, *, state: MessageState, at: datetime, **fields: Any) -> bool:
    """Write the outcome of a hand-over that is ours, and let go of it.

    It may have been called unconfirmed meanwhile, because the lease ran out: knowing beats not knowing. A receipt that
    was quicker stays. False: nothing was written.
    """
    return bool(
        Message.objects.filter(pk=message.pk, claim=token, state__in=IN_DOUBT).update(
            **{"state": state, "state_at": at, "claim": None, "lease_until": None, "next_try_at": None, **fields}
        )
    )


def put_back(message: Message, token: uuid.UUID, *, at: datetime, **fields: Any) -> bool:
    """Let go of a message of ours that was not handed over, with what is to be written on it."""
    changes: Mapping[str, Any] = {"claim": None, "lease_until": None, **fields}
    if "state" in changes:
        changes = {**changes, "state_at": at}
    return bool(Message.objects.filter(pk=message.pk, claim=token, state__in=WAITING).update(**changes))


def hold_ours(message: Message, token: uuid.UUID) -> bool:
    """Whether a message is ours still and waits; if so nobody changes it before the caller's transaction ends."""
    rows = Message.objects.filter(pk=message.pk, claim=token, state__in=WAITING)
    return bool(rows.select_for_update().values_list("pk"))


def hold(*, at: datetime, until: datetime) -> int:
    """Let none of the messages that wait for anybody be taken before `until`: the provider asked for it."""
    sooner = Q(next_try_at=None) | Q(next_try_at__lt=until)
    return int(Message.objects.filter(_free(at) & sooner).update(next_try_at=until))
