"""Addresses of other programs: added by an owner, changed, switched on again, ended; and how their messages fared."""

from __future__ import annotations

import base64
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import IntegrityError, transaction
from django.db.models import Count, Q
from django.utils.crypto import salted_hmac

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.connect import hook_wire as wire
from lifecycle.connect.hook_events import EVENT_KINDS, newest_entry
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import Hook, HookDelivery, HookState, Studio

SALT: Final = "lifecycle.connect.hooks"
BOTH_HOLD: Final = timedelta(hours=24)
MOST: Final = 10
SHOWN: Final = 50


@dataclass(frozen=True, slots=True)
class HookRow:
    """An address. `failing_since`: nothing was taken since; `off_at`: it was switched off, and why."""

    id: int
    url: str
    kinds: tuple[str, ...]
    made_at: datetime
    failing_since: datetime | None
    off_at: datetime | None
    off_why: str
    waiting: int
    failed: int


@dataclass(frozen=True, slots=True)
class DeliveryRow:
    """One message; `may_resend`: it can be sent once more by hand."""

    id: int
    message_id: str
    kind: str
    made_at: datetime
    state: str
    state_words: str
    state_at: datetime
    attempts: int
    error: str
    next_try_at: datetime | None
    may_resend: bool


def secret(hook: Hook, serial: int) -> str:
    """A secret of an address: 256 bits by HMAC-SHA256 from the installation's key, so that none is stored."""
    found = salted_hmac(SALT, f"{hook.uid}:{serial}", algorithm="sha256").digest()
    return wire.PREFIX + base64.b64encode(found).decode()


def secrets_of(hook: Hook, *, at: datetime) -> tuple[str, ...]:
    """The secrets to sign with: the present one, and for a day after a change the one before."""
    both = hook.rotated_at is not None and at < hook.rotated_at + BOTH_HOLD
    return tuple(secret(hook, serial) for serial in ((hook.serial, hook.serial - 1) if both else (hook.serial,)))


def _known(kinds: Collection[str]) -> list[str]:
    wrong = sorted(set(kinds) - EVENT_KINDS.keys())
    if wrong or not kinds:
        said = f"{', '.join(wrong)} is not known" if wrong else "tick at least one"
        raise DomainError(f"kinds: {said}; there are {', '.join(EVENT_KINDS)}.", field="kinds")
    return [code for code in EVENT_KINDS if code in kinds]


def _note(hook: Hook, verb: str, actor: str, at: datetime, **data: Any) -> None:
    journal.record(studio=hook.studio, actor=actor, at=at, verb=verb, subject="webhook", subject_id=hook.pk, **data)


def _standing(studio: Studio, hook_id: int) -> Hook:
    hook = one(Hook, studio, hook_id, lock=True)
    if hook.ended_at is not None:
        raise NotFoundHere(f"There is no webhook {hook_id} in this studio.")
    return hook


def add_hook(*, studio: Studio, url: str, kinds: Collection[str], actor: str, at: datetime) -> tuple[Hook, str]:
    """Add an address; it is told of what happens from now on.

    Returns:
        The address and its secret, which is shown once.

    Raises:
        DomainError: an address that messages do not go to, an unknown kind, or too many addresses.
    """
    target, wanted = wire.check_url(url), _known(kinds)
    if Hook.objects.of(studio).filter(ended_at=None).count() >= MOST:
        raise DomainError(f"url: {MOST} addresses are the most; end one first.", field="url")
    try:
        with transaction.atomic():
            hook: Hook = Hook.objects.create(
                studio=studio, url=target, kinds=wanted, from_entry=newest_entry(), made_at=at
            )
            _note(hook, "webhook added", actor, at, kinds=wanted)
    except IntegrityError as error:
        raise DomainError("url: this address is on the list already.", field="url") from error
    return hook, secret(hook, hook.serial)


def change_kinds(*, studio: Studio, hook_id: int, kinds: Collection[str], actor: str, at: datetime) -> Hook:
    """Tell an address of other kinds of events.

    Raises:
        DomainError: none, or an unknown one.
        NotFoundHere: no such address of this studio.
    """
    wanted = _known(kinds)
    with transaction.atomic():
        hook = _standing(studio, hook_id)
        hook.kinds = wanted
        hook.save(update_fields=["kinds"])
        _note(hook, "webhook changed", actor, at, kinds=wanted)
    return hook


def rotate(*, studio: Studio, hook_id: int, actor: str, at: datetime) -> str:
    """A new secret; messages are signed with both for a day.

    Raises:
        NotFoundHere: no such address of this studio.
    """
    with transaction.atomic():
        hook = _standing(studio, hook_id)
        hook.serial, hook.rotated_at = hook.serial + 1, at
        hook.save(update_fields=["serial", "rotated_at"])
        _note(hook, "webhook secret changed", actor, at, serial=hook.serial)
    return secret(hook, hook.serial)


def switch_on(*, studio: Studio, hook_id: int, actor: str, at: datetime) -> Hook:
    """Tell an address again that was switched off; what happened meanwhile is not told.

    Raises:
        DomainError: it is on.
        NotFoundHere: no such address of this studio.
    """
    with transaction.atomic():
        hook = _standing(studio, hook_id)
        if hook.off_at is None:
            raise DomainError("This address is on already.")
        hook.off_at, hook.off_why, hook.failing_since, hook.from_entry = None, "", None, newest_entry()
        hook.save(update_fields=["off_at", "off_why", "failing_since", "from_entry"])
        _note(hook, "webhook switched on", actor, at)
    return hook


def end_hook(*, studio: Studio, hook_id: int, actor: str, at: datetime) -> None:
    """Nothing more is sent to an address; what waits for it is dropped.

    Raises:
        NotFoundHere: no such address of this studio.
    """
    with transaction.atomic():
        hook = _standing(studio, hook_id)
        hook.ended_at = at
        hook.save(update_fields=["ended_at"])
        HookDelivery.objects.filter(hook=hook).delete()
        _note(hook, "webhook ended", actor, at)


def send_again(*, studio: Studio, hook_id: int, delivery_id: int, actor: str, at: datetime) -> HookDelivery:
    """Send a message once more, under the same id, with all its tries anew.

    Raises:
        DomainError: it waits already, or the address is switched off.
        NotFoundHere: no such message of this address.
    """
    with transaction.atomic():
        hook = _standing(studio, hook_id)
        row = one(HookDelivery, studio, delivery_id, lock=True)
        if row.hook_id != hook.pk:
            raise NotFoundHere(f"There is no message {delivery_id} to this address.")
        if hook.off_at is not None:
            raise DomainError("The address is switched off; switch it on first.")
        done = HookDelivery.objects.filter(pk=row.pk, state__in=(HookState.DELIVERED, HookState.FAILED)).update(
            state=HookState.READY, state_at=at, attempts=0, next_try_at=None, error="", status=None
        )
        if not done:
            raise DomainError("This message waits to be sent already.")
        _note(hook, "webhook message sent again", actor, at, message=row.pk)
    return row


def _row(hook: Any) -> HookRow:
    return HookRow(
        hook.pk, hook.url, tuple(hook.kinds), hook.made_at, hook.failing_since, hook.off_at, hook.off_why,
        hook.waiting, hook.failed,
    )  # fmt: skip


def _rows(studio: Studio) -> Any:
    waiting = Q(deliveries__state__in=(HookState.READY, HookState.RETRY))
    return Hook.objects.of(studio).filter(ended_at=None).annotate(
        waiting=Count("deliveries", filter=waiting),
        failed=Count("deliveries", filter=Q(deliveries__state=HookState.FAILED)),
    )  # fmt: skip


def hooks(studio: Studio) -> tuple[HookRow, ...]:
    """The addresses of a studio, oldest first; one query."""
    return tuple(_row(hook) for hook in _rows(studio))


def hook(studio: Studio, hook_id: int) -> tuple[HookRow, tuple[DeliveryRow, ...]]:
    """One address with its latest messages, newest first.

    Raises:
        NotFoundHere: no such address of this studio.
    """
    row = _rows(studio).filter(pk=hook_id).first()
    if row is None:
        raise NotFoundHere(f"There is no webhook {hook_id} in this studio.")
    over = (HookState.DELIVERED, HookState.FAILED)
    told = tuple(
        DeliveryRow(
            each.pk, f"msg_{each.uid.hex}", each.kind, each.made_at, each.state, each.get_state_display(),
            each.state_at, each.attempts, each.error, each.next_try_at,
            each.state in over and row.off_at is None,
        )
        for each in HookDelivery.objects.filter(hook=row)[:SHOWN]
    )  # fmt: skip
    return _row(row), told


def switched_off(studio: Studio) -> int:
    """How many addresses of a studio were switched off and wait for its owner."""
    return int(Hook.objects.of(studio).filter(ended_at=None).exclude(off_at=None).count())
